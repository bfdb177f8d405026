"""Polishing a plan by annealing: jobs change weeks, alone or by pushing others out of the way.

A block is tried in another week. Where there is no room, blocks that stand in the way are taken out and go to the
best weeks left to them. What makes the plan dearer is kept with a chance that falls as the search cools, so that
jobs of a neighbourhood can find a common week over the hill of a trip or two.
Reference: Kirkpatrick, Gelatt, Vecchi (1983), Science 220, 671-680.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp
from random import Random

from tapwear.plan.place import OUT, Board

# Temperatures in units of cost; a trip costs 40 by default. Our choice, found on random years of work.
HOT, COLD = 25.0, 1.5
STEPS_BETWEEN_LOOKS = 64  # at the clock
CLOSE = 1e-7


class Polisher:
    """Anneals some blocks of a board; the rest stays where it is."""

    def __init__(self, board: Board, movable: Sequence[int], seed: int) -> None:
        self.board = board
        self.movable = [number for number in movable if board.task.blocks[number].starts]
        self.random = Random(seed)  # noqa: S311 - no secret hangs on it
        self.can_move = set(self.movable)
        blocks = board.task.blocks
        by_trip: dict[int, list[int]] = {}
        weeks = len(board.task.weeks)
        for number in movable:
            for hood in {offset // weeks for offset in blocks[number].trips}:
                by_trip.setdefault(hood, []).append(number)
        self.mates = {
            number: sorted({m for o in blocks[number].trips for m in by_trip[o // weeks]} - {number})
            for number in movable
        }
        # The cheapest starts first: cheap ones are tried more often.
        self.by_cost = {
            number: sorted(blocks[number].starts, key=lambda start: blocks[number].cost[start])
            for number in movable
        }
        self.allowed = {number: frozenset(blocks[number].starts) for number in movable}
        self.on: dict[int, set[int]] = {}  # cell -> movable blocks in it
        for number in movable:
            self._mark(number)

    def _mark(self, number: int) -> None:
        start = self.board.at[number]
        if start != OUT:
            for offset, _ in self.board.task.blocks[number].takes:
                self.on.setdefault(offset + start, set()).add(number)

    def _put(self, number: int, start: int) -> None:
        self.board.put(number, start)
        self._mark(number)

    def _take_out(self, number: int) -> int:
        start = self.board.take_out(number)
        if start != OUT:
            for offset, _ in self.board.task.blocks[number].takes:
                self.on[offset + start].discard(number)
        return start

    def anneal(
        self, steps: int, *, hot: float = HOT, cold: float = COLD, over: Callable[[], bool] = lambda: False
    ) -> bool:
        """Runs `steps` tries from hot to cold and leaves the board at the best plan met, never dearer than before.

        False when `over` said that the time is up.
        """
        board, rand = self.board, self.random.random
        best_at, best, now = list(board.at), 0.0, 0.0  # costs relative to the start
        done = True
        heat = hot
        for step in range(steps if self.movable else 0):
            if step % STEPS_BETWEEN_LOOKS == 0:
                heat = hot * (cold / hot) ** (step / steps)
                if over():
                    done = False
                    break
            number, start = self._pick()
            if start == board.at[number]:
                continue
            change, undo = self._try(number, start)
            if change <= 0 or rand() < exp(-change / heat):
                now += change
                if now < best - CLOSE:
                    best, best_at = now, list(board.at)
            else:
                for moved, was in reversed(undo):
                    self._take_out(moved)
                    if was != OUT:
                        self._put(moved, was)
        for number in self.movable:
            self._take_out(number)
        for number in self.movable:
            self._put(number, best_at[number])
        return done

    def _pick(self) -> tuple[int, int]:
        """A block and a start to try: beside a mate of its neighbourhood, or one of the cheap ones."""
        rand = self.random.random
        number = self.movable[int(rand() * len(self.movable))]
        mates = self.mates[number]
        if mates and rand() < 0.5:
            mate = mates[int(rand() * len(mates))]
            start = self.board.at[mate]
            if start != OUT:
                longest, own = len(self.board.task.blocks[mate].trips), len(self.board.task.blocks[number].trips)
                if longest != own or rand() < 0.2:
                    start += int(rand() * (longest + own - 1)) - own + 1
                if start in self.allowed[number]:
                    return number, start
        starts = self.by_cost[number]
        return number, starts[int(len(starts) * rand() ** 2)]

    def _try(self, number: int, start: int) -> tuple[float, list[tuple[int, int]]]:
        """Moves a block, pushing others away; the change of cost and where the moved ones were."""
        board = self.board
        undo = [(number, board.at[number])]
        change = -self._lift(number)
        takes = board.task.blocks[number].takes
        pushed = []
        free = board.free
        for offset, amount in takes:
            cell = offset + start
            while free[cell] < amount:
                there = self.on.get(cell)
                if not there:  # something that may not be moved
                    self._put(number, undo[0][1])
                    for moved, was in undo[1:]:
                        self._put(moved, was)
                    return 0.0, []
                if len(there) == 1:
                    (other,) = there
                else:
                    choice = sorted(there)
                    other = choice[int(self.random.random() * len(choice))]
                undo.append((other, board.at[other]))
                change -= self._lift(other)
                pushed.append(other)
        change += board.price(number, start)
        self._put(number, start)
        for other in pushed:
            at, price = board.best(other)
            change += price
            self._put(other, at)
        return change, undo

    def _lift(self, number: int) -> float:
        """Takes a block out; what that saves."""
        start = self._take_out(number)
        return self.board.price(number, start)
