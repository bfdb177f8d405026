"""Placing jobs into weeks: the most pressing first, each into the cheapest week that every limit allows.

Greedy on purpose: it is quick, gives the same plan every time, and each answer can be explained. A job that found
no place really has none beside the jobs that went before it, and the limit that stops it is named. The optimiser
starts from here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from math import inf

from tapwear.plan.lateness import due_day
from tapwear.plan.problem import ROUNDING, Problem, problem
from tapwear.plan.stops import Stop, in_words
from tapwear.plan.types import Costs, Job, Limits, PlanResult, Slot

UNKNOWN = "date unknown: give the last service, the interval or a reading, then build the plan again"
OUT = -1  # start of a block that is left out
CHEAPER_OUT = "leaving it out costs less than placing it"


class Board:
    """A plan in the making: where each block starts, what is left in each cell, how often each trip is made.

    Blocks are numbered as in `Problem.blocks`. Only `put` and `take_out` change a board.
    """

    def __init__(self, task: Problem) -> None:
        self.task = task
        self.at = [OUT] * len(task.blocks)
        self.free = [room + ROUNDING for room in task.capacity]
        self.trips = [0] * task.trip_cells

    def put(self, number: int, start: int) -> None:
        """Places a block that is not placed; OUT leaves it out."""
        if start != OUT:
            block, free, trips = self.task.blocks[number], self.free, self.trips
            for offset, amount in block.takes:
                free[offset + start] -= amount
            for offset in block.trips:
                trips[offset + start] += 1
            self.at[number] = start

    def take_out(self, number: int) -> int:
        """Takes a block out and returns where it was."""
        start = self.at[number]
        if start != OUT:
            block, free, trips = self.task.blocks[number], self.free, self.trips
            for offset, amount in block.takes:
                free[offset + start] += amount
            for offset in block.trips:
                trips[offset + start] -= 1
            self.at[number] = OUT
        return start

    def fits(self, number: int, start: int) -> bool:
        """Whether the cells have room; that the block may start then at all is for `Block.starts` to say."""
        free = self.free
        for offset, amount in self.task.blocks[number].takes:  # noqa: SIM110 - all() takes twice the time
            if free[offset + start] < amount:
                return False
        return True

    def price(self, number: int, start: int) -> float:
        """What a block adds to the cost when it is put there, with the trips not yet made."""
        block = self.task.blocks[number]
        if start == OUT:
            return block.left_out
        trips = self.trips
        return block.cost[start] + self.task.trip * sum(not trips[offset + start] for offset in block.trips)

    def best(self, number: int) -> tuple[int, float]:
        """The cheapest start with room, the earliest of equals, and its price; OUT where leaving it out is cheaper."""
        block, free, trips, trip = self.task.blocks[number], self.free, self.trips, self.task.trip
        cost, takes, made = block.cost, block.takes, block.trips
        best, least = OUT, inf if block.pinned else block.left_out
        for start in block.cheapest:
            price = cost[start]
            if price > least + ROUNDING:
                break
            for offset, amount in takes:  # as in `fits`; a call would take as long as the loop
                if free[offset + start] < amount:
                    break
            else:
                for offset in made:
                    if not trips[offset + start]:
                        price += trip
                if price < least - ROUNDING or (price < least + ROUNDING and start < best):
                    best, least = start, price
        return best, least

    def cost(self) -> float:
        """The whole cost of the plan."""
        own = sum(
            block.left_out if start == OUT else block.cost[start]
            for block, start in zip(self.task.blocks, self.at, strict=True)
        )
        return own + self.task.trip * sum(times > 0 for times in self.trips)

    def cost_of(self, starts: Mapping[int, int]) -> float:
        """What placing some blocks that are not placed would cost, with the trips that they add."""
        blocks, own = self.task.blocks, 0.0
        trips = set()
        for number, start in starts.items():
            if start == OUT:
                own += blocks[number].left_out
            else:
                own += blocks[number].cost[start]
                trips |= {offset + start for offset in blocks[number].trips if not self.trips[offset + start]}
        return own + self.task.trip * len(trips)

    def load(self, starts: Sequence[int]) -> None:
        """Makes the board show another plan."""
        for number, start in enumerate(starts):
            if self.at[number] != start:
                self.take_out(number)
        for number, start in enumerate(starts):
            if self.at[number] != start:
                self.put(number, start)

    def stops(self, number: int, start: int) -> list[Stop]:
        """Everything that keeps a block which is not placed from starting in a week; none: it may."""
        block = self.task.blocks[number]
        taken = [] if block.stops[start] else [
            offset + start for offset, amount in block.takes if self.free[offset + start] < amount
        ]  # fmt: skip
        return [*block.stops[start], *(self.task.stop_at(cell) for cell in taken)]

    def in_the_way(self, number: int, start: int) -> list[str]:
        """The units that take what a block would need and has no room for, were it to start in a week."""
        takes = self.task.blocks[number].takes
        full = {offset + start for offset, amount in takes if self.free[offset + start] < amount}
        return sorted(
            job.unit
            for block, at in zip(self.task.blocks, self.at, strict=True)
            if at != OUT and any(offset + at in full for offset, _ in block.takes)
            for job in block.jobs
        )


def place(jobs: tuple[Job, ...], limits: Limits, as_of: date, *, costs: Costs | None = None) -> PlanResult:
    """Puts jobs into weeks; the phases of one bank start together.

    Order: under way, severe (released for work under a stop), pinned, with an alarm, overdue, early date, then
    consequence. A severe job takes the first possible week, every other the cheapest one: expected weeks past its
    date, expected weeks of interval thrown away, trips not shared.
    The slots come in the order of their weeks, the unplaced ones last. Raises nothing: what cannot be placed is
    said.
    """
    costs = costs or Costs()
    task = problem(jobs, limits, as_of, costs)
    board = greedy(task)
    words = {number: stopped_words(board, number) for number, start in enumerate(board.at) if start == OUT}
    return to_result(jobs, limits, as_of, costs, board, words)


def first_fixed(task: Problem) -> Board:
    """A board with what is not the optimiser's to move: pinned blocks, and severe ones in their first weeks."""
    board = Board(task)
    for number, block in enumerate(task.blocks):
        if block.pinned or block.severe:
            board.put(number, next((start for start in block.starts if board.fits(number, start)), OUT))
    return board


def greedy(task: Problem) -> Board:
    """Every block in its turn to the cheapest start that is left."""
    board = first_fixed(task)
    for number, block in enumerate(task.blocks):
        if not block.pinned and not block.severe:
            board.put(number, board.best(number)[0])
    return board


def stopped_words(board: Board, number: int) -> str:
    """What stops a block that is not placed."""
    task, block = board.task, board.task.blocks[number]
    if block.pinned:
        if block.pin is None:
            return block.pin_words
        stops = board.stops(number, block.pin)
        others = board.in_the_way(number, block.pin) if not block.stops[block.pin] else []
        told = f" ({', '.join(others)})" if others else ""
        return f"{block.pin_words}: " + "; ".join(in_words([[stop]], task.weeks) for stop in stops) + told
    stopped = [board.stops(number, start) for start in range(len(task.weeks))]
    if all(stopped):
        return in_words(stopped, task.weeks, max(job.weeks for job in block.jobs))
    return CHEAPER_OUT


def to_result(
    jobs: tuple[Job, ...], limits: Limits, as_of: date, costs: Costs, board: Board, words: dict[int, str]
) -> PlanResult:
    """The slots of a board, with the words for the blocks that are left out."""
    slots = []
    for number, block in enumerate(board.task.blocks):
        start = board.at[number]
        for job in block.jobs:
            if start == OUT:
                slots.append(Slot(job, None, words[number]))
            else:
                chance = due_day(job, as_of).chance_before(board.task.mondays[start]) if job.dated else None
                slots.append(Slot(job, limits.weeks[start], "", chance))
    read = {job.job_id for block in board.task.blocks for job in block.jobs}
    slots.extend(Slot(job, None, UNKNOWN) for job in jobs if job.job_id not in read)
    slots.sort(key=lambda slot: (slot.start_week or "~", not slot.job.dated, slot.job.job_id))
    return PlanResult(int(limits.weeks[0][:4]), as_of, tuple(slots), limits, costs)
