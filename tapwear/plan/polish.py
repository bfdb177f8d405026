"""Polishing a plan by annealing: jobs change weeks, alone or by pushing others out of the way.

A block is tried in another week. Where there is no room, blocks that stand in the way are taken out and go to the
best weeks left to them. What makes the plan dearer is kept with a chance that falls as the search cools, so that
jobs of a neighbourhood can find a common week over the hill of a trip or two.
Reference: Kirkpatrick, Gelatt, Vecchi (1983), Science 220, 671-680.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from math import inf, log
from random import Random

from tapwear.plan.place import OUT, Board

# Temperatures from, to, in units of the cost of a trip, the hill that lies between most plans; seeds take turns. Full
# years want a warmer end than easy ones, and a good plan a gentler start. Our choice, found by trying.
HEATS = ((1.0, 0.05), (1.0, 0.15), (0.4, 0.04))
STEPS_BETWEEN_LOOKS = 64  # at the clock
TRIPS = 0.25  # share of tries that move all of a neighbourhood's work of a week; our choice
CLOSE = 1e-7
TINY = 1e-300


class Polisher:
    """Anneals some blocks of a board; the rest stays where it is."""

    def __init__(self, board: Board, movable: Sequence[int], seed: int) -> None:
        blocks = board.task.blocks
        self.board = board
        self.movable = [number for number in movable if blocks[number].starts]
        self.heats = HEATS[seed % len(HEATS)]
        self.random = Random(seed).random  # noqa: S311 - no secret hangs on it
        weeks = len(board.task.weeks)
        by_trip: dict[int, list[int]] = {}
        for number in self.movable:
            for hood in {offset // weeks for offset in blocks[number].trips}:
                by_trip.setdefault(hood, []).append(number)
        self.mates = {
            number: sorted({mate for offset in blocks[number].trips for mate in by_trip[offset // weeks]} - {number})
            for number in self.movable
        }
        self.least = {number: min(blocks[number].left_out, min(blocks[number].cost)) for number in self.movable}
        self.allowed = {number: frozenset(blocks[number].starts) for number in self.movable}
        self.on: dict[int, set[int]] = defaultdict(set)  # per cell: the movable blocks in it
        for number in self.movable:
            self._put(number, board.take_out(number))

    def _put(self, number: int, start: int) -> None:
        if start != OUT:
            self.board.put(number, start)
            on = self.on
            for offset, _ in self.board.task.blocks[number].takes:
                on[offset + start].add(number)

    def _take_out(self, number: int) -> int:
        start = self.board.take_out(number)
        if start != OUT:
            on = self.on
            for offset, _ in self.board.task.blocks[number].takes:
                on[offset + start].discard(number)
        return start

    def anneal(self, steps: int, *, over: Callable[[], bool] = lambda: False) -> bool:
        """Runs `steps` tries from hot to cold and leaves the board at the best plan met, never dearer than before.

        False when `over` said that the time is up.
        """
        board, rand = self.board, self.random
        best_at, best, now = self._starts(), 0.0, 0.0  # costs relative to the start
        done = True
        hot, cold = (board.task.hill * share for share in self.heats)
        heat = hot
        for step in range(steps if self.movable else 0):
            if step % STEPS_BETWEEN_LOOKS == 0:
                heat = hot * (cold / hot) ** (step / steps)
                if over():
                    done = False
                    break
            number, start = self._pick()
            most = -heat * log(rand() + TINY)  # the rise of cost that is let pass this time
            change, undo = (self._try_trip if rand() < TRIPS else self._try)(number, start, most)
            if change <= most:
                now += change
                if now < best - CLOSE:
                    best, best_at = now, self._starts()
            else:
                self._undo(undo)
        for number in self.movable:
            self._take_out(number)
        for number, start in zip(self.movable, best_at, strict=True):
            self._put(number, start)
        return done

    def _starts(self) -> list[int]:
        at = self.board.at
        return [at[number] for number in self.movable]

    def _pick(self) -> tuple[int, int]:
        """A block and a start to try: beside a mate of its neighbourhood, or one of the cheap ones."""
        rand, board = self.random, self.board
        number = self.movable[int(rand() * len(self.movable))]
        block = board.task.blocks[number]
        mates = self.mates[number]
        if mates and rand() < 0.5:
            mate = mates[int(rand() * len(mates))]
            start = board.at[mate]
            if start != OUT:
                longest, own = len(board.task.blocks[mate].trips), len(block.trips)
                if longest != own or rand() < 0.2:
                    start += int(rand() * (longest + own - 1)) - own + 1
                if start in self.allowed[number]:
                    return number, start
        return number, block.cheapest[int(len(block.cheapest) * rand() ** 2)]

    def _try(self, number: int, start: int, most: float) -> tuple[float, list[tuple[int, int]]]:
        """Moves a block, pushing others away; the change of cost and where the moved ones were.

        Gives up with an infinite change as soon as it is clear that the change is above `most`.
        """
        board = self.board
        block, was = board.task.blocks[number], board.at[number]
        if start == was:
            return 0.0, []
        now = block.left_out if was == OUT else block.cost[was] + len(block.trips) * board.task.trip
        if block.cost[start] - now > most:
            return inf, []
        undo = [(number, was)]
        change = block.cost[start] - self._lift(number)  # and at least that
        pushed = []
        free, on, rand = board.free, self.on, self.random
        for offset, amount in block.takes:
            cell = offset + start
            while free[cell] < amount:
                there = on[cell]
                if not there:  # something that may not be moved
                    return inf, undo
                other = max(there) if len(there) == 1 else sorted(there)[int(rand() * len(there))]
                undo.append((other, board.at[other]))
                change += self.least[other] - self._lift(other)
                pushed.append(other)
        change += board.price(number, start) - block.cost[start]
        self._put(number, start)
        for other in pushed:
            if change > most:
                return inf, undo
            at, price = board.best(other)
            change += price - self.least[other]
            self._put(other, at)
        return change, undo

    def _try_trip(self, number: int, start: int, most: float) -> tuple[float, list[tuple[int, int]]]:
        """Moves a block and all mates of its neighbourhood that start in the same week."""
        at = self.board.at
        was = at[number]
        along = [mate for mate in self.mates[number] if at[mate] == was and start in self.allowed[mate]]
        if was == OUT or not along:
            return self._try(number, start, most)
        whole, undo = self._try(number, start, inf)
        for mate in along:
            if at[mate] == was:
                change, moved = self._try(mate, start, inf)
                undo += moved
                whole += change
                if whole == inf:
                    break
        return whole, undo

    def _undo(self, moved: list[tuple[int, int]]) -> None:
        first: dict[int, int] = {}
        for number, was in moved:
            first.setdefault(number, was)
        for number in first:
            self._take_out(number)
        for number, was in first.items():
            self._put(number, was)

    def _lift(self, number: int) -> float:
        """Takes a block out; what that saves."""
        start = self._take_out(number)
        return self.board.price(number, start)
