"""Mending a plan: a few jobs are taken out and put back in the best way, the rest staying where it is.

The few are the work of two neighbourhoods, or what is on around one week; HiGHS finds their best places. How many are
taken at once follows from what it could finish: more after a quick end, fewer after none.
Reference: Shaw (1998), Principles and Practice of Constraint Programming, LNCS 1520, 417-431.
"""

from __future__ import annotations

from collections.abc import Sequence
from random import Random
from time import monotonic

from tapwear.plan.milp import solve
from tapwear.plan.place import OUT, Board

# Our choices.
LONGEST = 4.0  # [s] for one repair
QUICK = 0.25  # share of it; an end within may take more jobs next time
FIRST_REACH, LEAST_REACH = 16.0, 6.0  # jobs taken out at once
GROWTH = 1.15  # of these numbers after a quick end, or the inverse
CLOSE = 1e-6  # [cost] less is no improvement


class Mender:
    """Mends the plan of some blocks of a board, one small set after another."""

    def __init__(self, movable: Sequence[int], seed: int) -> None:
        self.movable = list(movable)
        self.random = Random(seed)  # noqa: S311 - no secret hangs on it
        self.reach = {"neighbourhoods": FIRST_REACH, "weeks": FIRST_REACH}

    def mend(self, board: Board, until: float) -> None:
        """One repair, done before `until` on the monotonic clock; the board never gets dearer."""
        kind = self.random.choice(sorted(self.reach))
        numbers = self._few(board, kind)
        starts = {number: board.take_out(number) for number in numbers}
        began = monotonic()
        seconds = min(LONGEST, until - began)
        at_hand = board.cost_of(starts)
        found = solve(board, numbers, at_hand=at_hand, seconds=seconds)
        if found.starts is not None and found.cost < at_hand - CLOSE:
            starts = found.starts
        for number, start in starts.items():
            board.put(number, start)
        if not found.done:
            self.reach[kind] = max(LEAST_REACH, self.reach[kind] / GROWTH)
        elif monotonic() - began < QUICK * seconds:
            self.reach[kind] = min(float(len(self.movable)), self.reach[kind] * GROWTH)

    def _few(self, board: Board, kind: str) -> list[int]:
        blocks, weeks = board.task.blocks, len(board.task.weeks)
        reach = round(self.reach[kind])
        if kind == "weeks":
            middle = self.random.randrange(weeks)
            away = {  # what has no place may belong anywhere
                number: (abs(start - middle) if (start := board.at[number]) != OUT else self.random.randrange(weeks))
                for number in self.movable
            }
            return sorted(sorted(self.movable, key=lambda number: (away[number], number))[:reach])
        of = {number: {offset // weeks for offset in blocks[number].trips} for number in self.movable}
        hoods = sorted(set().union(*of.values()))
        chosen = set(self.random.sample(hoods, min(2, len(hoods))))
        near = [number for number in self.movable if of[number] & chosen]
        return sorted(self.random.sample(near, min(reach, len(near))))
