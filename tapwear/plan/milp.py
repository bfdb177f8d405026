"""The outage plan as a mixed-integer program, solved by HiGHS through scipy.

One 0/1 column for each block and start week, one column for each trip that is not made anyway. A block on in a week
makes its trip. Blocks that exclude each other (one transfer group, too many hours together) share one such row, so
that a trip made by halves carries half a block only, which is what makes the linear program nearly tight. Capacity
rows are cut down to the largest sum of amounts that can be reached at all. Columns that the linear program proves
too dear for a plan better than the one at hand are left out.
Reference: Huangfu, Hall (2018), Mathematical Programming Computation 10, 119-142 (HiGHS).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import inf
from time import monotonic
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array

from tapwear.plan.place import OUT, Board
from tapwear.plan.problem import ROUNDING, Problem

GAP = 1e-6  # relative; a plan within it is told as the best there is; our choice
SHORTEST = 0.01  # [s]; HiGHS refuses a time limit that is over already
SCALE = 100  # amounts are looked at in hundredths of an hour
WIDEST = 200_000  # hundredths; a wider capacity row stays as it is


@dataclass(frozen=True)
class Solved:
    """What came out for some blocks of a board."""

    starts: dict[int, int] | None  # None: nothing better than the plan at hand was found
    cost: float  # of these blocks with the trips that they add; inf where there are no starts
    bound: float  # no placing of these blocks is cheaper
    done: bool  # the plan at hand or `starts` is the cheapest


@dataclass
class Model:
    """The columns and rows of some blocks that are not on the board; the others stay where they are."""

    columns: list[tuple[int, int]]  # block, start; the trips stand behind them
    base: float  # cost of leaving all blocks out
    gain: NDArray[np.float64]  # cost of each column, against leaving out
    matrix: csr_array
    most: NDArray[np.float64]


def model(board: Board, numbers: Sequence[int]) -> Model:
    """Builds the program of blocks that have been taken out of the board."""
    task = board.task
    columns = [
        (number, start)
        for number in numbers
        for start in task.blocks[number].starts
        if board.fits(number, start)
    ]  # fmt: skip
    of_block: dict[int, list[int]] = defaultdict(list)
    of_trip: _Columns = defaultdict(lambda: defaultdict(list))
    of_cell: _Columns = defaultdict(lambda: defaultdict(list))
    amounts: dict[int, dict[int, float]] = defaultdict(dict)  # cell -> block -> amount
    for column, (number, start) in enumerate(columns):
        block = task.blocks[number]
        of_block[number].append(column)
        for offset in block.trips:
            if not board.trips[offset + start]:
                of_trip[offset + start][number].append(column)
        for offset, amount in block.takes:
            of_cell[offset + start][number].append(column)
            amounts[offset + start][number] = amount
    made = {trip: len(columns) + at for at, trip in enumerate(of_trip)}  # trip cell -> its column
    rows = _Rows()
    for chosen in of_block.values():
        rows.add([(column, 1.0) for column in chosen], 1.0)
    covered: set[tuple[int, int]] = set()
    for cell, of in of_cell.items():
        trips = _trips_of(cell, of, task, made)
        said = _cell_rows(rows, of, amounts[cell], board.free[cell] - ROUNDING, trips)
        # A phase of a bank may be out for longer than the one that takes the cell.
        covered |= {(trip, number) for trip, number in said if len(of[number]) == len(of_trip[trip][number])}
    for trip, of in of_trip.items():
        for number, chosen in of.items():
            if (trip, number) not in covered:
                rows.add([*((column, 1.0) for column in chosen), (made[trip], -1.0)], 0.0)
    gain = np.full(len(columns) + len(made), task.trip)
    for column, (number, start) in enumerate(columns):
        gain[column] = task.blocks[number].cost[start] - task.blocks[number].left_out
    base = sum(task.blocks[number].left_out for number in numbers)
    return Model(columns, base, gain, rows.matrix(len(gain)), np.array(rows.most))


_Columns = defaultdict[int, defaultdict[int, list[int]]]  # cell -> block -> columns of the starts that are on in it


def _trips_of(
    cell: int, of: Mapping[int, list[int]], task: Problem, made: dict[int, int]
) -> dict[int, tuple[int, set[int]]]:
    """By trip cell of the same week: its column, and which of these blocks make the trip when they are on."""
    week = cell % len(task.weeks)
    trips: dict[int, tuple[int, set[int]]] = {}
    for number in of:
        for first in {offset - offset % len(task.weeks) for offset in task.blocks[number].trips}:
            if first + week in made:
                trips.setdefault(first + week, (made[first + week], set()))[1].add(number)
    return trips


def _cell_rows(
    rows: _Rows,
    of: Mapping[int, list[int]],
    taken: dict[int, float],
    room: float,
    trips: dict[int, tuple[int, set[int]]],
) -> set[tuple[int, int]]:
    """The rows of one cell; returns the (trip cell, block) that are tied together by them.

    Besides the room itself: of blocks that exclude each other one may be on, and within a neighbourhood only where
    the trip is made; the hours of a neighbourhood need its trip.
    """
    if sum(taken.values()) <= room + ROUNDING:
        return set()
    rows.add([(column, taken[number]) for number in of for column in of[number]], reachable([*taken.values()], room))
    apart = _apart(taken, room)
    if len(apart) > 1 and set(taken.values()) != {1.0}:
        rows.add([(column, 1.0) for number in apart for column in of[number]], 1.0)
    covered: set[tuple[int, int]] = set()
    for trip, (column_made, makers) in trips.items():
        here = [number for number in of if number in makers]
        together = [number for number in apart if number in makers]
        if len(together) > 1:
            rows.add([*((column, 1.0) for number in together for column in of[number]), (column_made, -1.0)], 0.0)
            covered |= {(trip, number) for number in together}
        if len(here) > len(together) and sum(taken[number] for number in here) > room + ROUNDING:
            most = reachable([taken[number] for number in here], room)
            entries = [(column, taken[number]) for number in here for column in of[number]]
            rows.add([*entries, (column_made, -most)], 0.0)
    return covered


@dataclass
class _Rows:
    """Rows of the program as they are found."""

    most: list[float] = field(default_factory=list)
    starts: list[int] = field(default_factory=lambda: [0])
    columns: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)

    def add(self, entries: Sequence[tuple[int, float]], most: float) -> None:
        self.columns.extend(column for column, _ in entries)
        self.values.extend(value for _, value in entries)
        self.starts.append(len(self.columns))
        self.most.append(most)

    def matrix(self, width: int) -> csr_array:
        short = np.int32  # the indices that HiGHS takes through every scipy
        places = (np.asarray(self.columns, short), np.asarray(self.starts, short))
        return csr_array((self.values, *places), shape=(len(self.most), width))


def _apart(taken: dict[int, float], room: float) -> list[int]:
    """Blocks of which no two have room together: all that take more than half, and one that fits beside none of
    them."""
    large = [number for number, amount in taken.items() if 2 * amount > room + 2 * ROUNDING]
    if large:
        least = min(taken[number] for number in large)
        rest = [number for number, amount in taken.items() if number not in large and amount + least > room + ROUNDING]
        large += rest[:1]
    return large


def reachable(amounts: Sequence[float], room: float) -> float:
    """The largest sum of some of these amounts within a room; the room itself where that is not cheap to tell."""
    whole = [round(amount * SCALE) for amount in amounts]
    top = int((room + ROUNDING) * SCALE)
    if top > WIDEST or any(abs(amount * SCALE - of) > 1e-4 for amount, of in zip(amounts, whole, strict=True)):
        return room
    sums, mask = 1, (1 << (top + 1)) - 1  # bit k: a sum of k hundredths can be reached
    for amount in whole:
        sums |= sums << amount & mask
    return (sums.bit_length() - 1) / SCALE


def solve(board: Board, numbers: Sequence[int], *, at_hand: float, seconds: float) -> Solved:
    """The cheapest placing of blocks that are not on the board, where one below `at_hand` is found in time."""
    program = model(board, numbers)
    if not program.columns:
        return Solved(None, inf, min(program.base, at_hand), True)
    began, seconds = monotonic(), max(seconds, SHORTEST)
    keep, floor = _worth_keeping(program, at_hand, seconds)
    if floor >= at_hand - GAP * abs(at_hand):
        return Solved(None, inf, at_hand, True)
    result = _highs(program, keep, seconds - (monotonic() - began))
    bound = floor if result.mip_dual_bound is None else max(floor, program.base + float(result.mip_dual_bound))
    if result.x is None:
        return Solved(None, inf, at_hand if result.status == 2 else min(bound, at_hand), result.status == 2)
    x = np.zeros(len(program.gain))
    x[keep] = result.x
    starts = dict.fromkeys(numbers, OUT)
    for (number, start), share in zip(program.columns, x, strict=False):
        if share > 0.5:
            starts[number] = start
    cost = program.base + float(result.fun)
    # What was left out as too dear is dearer than the plan at hand.
    return Solved(starts, cost, min(bound, at_hand, cost), result.status == 0)


def _worth_keeping(program: Model, at_hand: float, seconds: float) -> tuple[NDArray[np.bool_], float]:
    """Which columns a plan below `at_hand` may use, by their reduced costs, and the linear bound."""
    linear = linprog(
        program.gain, program.matrix, program.most, bounds=(0, 1), method="highs", options={"time_limit": seconds}
    )
    if linear.status != 0:
        return np.full(len(program.gain), True), -inf
    floor = program.base + float(linear.fun)
    return floor + np.maximum(linear.lower.marginals, 0) <= at_hand + ROUNDING, floor


def _highs(program: Model, keep: NDArray[np.bool_], seconds: float) -> Any:
    matrix = program.matrix[:, keep]
    used = np.diff(matrix.indptr) > 0
    return milp(
        program.gain[keep],
        integrality=np.ones(int(keep.sum())),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix[used], ub=program.most[used]),
        options={"time_limit": max(seconds, SHORTEST), "mip_rel_gap": GAP},
    )
