"""The outage plan as a mixed-integer program, solved by HiGHS through scipy.

One 0/1 column for each block and start week, one column for each trip that is not made anyway. A block on in a week
makes its trip: one row for each block and trip cell, which is tighter than one for all blocks together. Capacity
rows are cut down to the largest sum of amounts that can be reached at all. Columns that the linear program proves
too dear for a plan better than the one at hand are left out.
Reference: Huangfu, Hall (2018), Mathematical Programming Computation 10, 119-142 (HiGHS).
"""

from __future__ import annotations

import warnings
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from time import monotonic
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array

from tapwear.plan.place import OUT, Board
from tapwear.plan.problem import ROUNDING

GAP = 1e-6  # relative; a plan within it is told as the best there is
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
    trip_column: dict[int, int] = {}
    rows: list[int] = []
    cols: list[int] = []
    data: list[float] = []
    most: list[float] = []
    of_block: dict[int, list[int]] = defaultdict(list)
    of_trip: dict[tuple[int, int], list[int]] = defaultdict(list)
    of_cell: dict[int, list[tuple[int, float]]] = defaultdict(list)
    for column, (number, start) in enumerate(columns):
        block = task.blocks[number]
        of_block[number].append(column)
        for offset in block.trips:
            if not board.trips[offset + start]:
                of_trip[number, offset + start].append(column)
                trip_column.setdefault(offset + start, len(columns) + len(trip_column))
        for offset, amount in block.takes:
            of_cell[offset + start].append((column, amount))

    def row(entries: Sequence[tuple[int, float]], limit: float) -> None:
        rows.extend([len(most)] * len(entries))
        cols.extend(column for column, _ in entries)
        data.extend(value for _, value in entries)
        most.append(limit)

    for chosen in of_block.values():
        row([(column, 1.0) for column in chosen], 1.0)
    for (_, cell), chosen in of_trip.items():
        row([*((column, 1.0) for column in chosen), (trip_column[cell], -1.0)], 0.0)
    for cell, entries in of_cell.items():
        amounts: dict[int, float] = {columns[column][0]: amount for column, amount in entries}
        room = board.free[cell] - ROUNDING
        if sum(amounts.values()) > room + ROUNDING:
            row(entries, reachable(list(amounts.values()), room))
    gain = np.full(len(columns) + len(trip_column), task.trip)
    for column, (number, start) in enumerate(columns):
        gain[column] = task.blocks[number].cost[start] - task.blocks[number].left_out
    matrix = csr_array((data, (rows, cols)), shape=(len(most), len(gain)))
    return Model(columns, sum(task.blocks[number].left_out for number in numbers), gain, matrix, np.array(most))


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
    began = monotonic()
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
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # an end by the clock
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
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return milp(
            program.gain[keep],
            integrality=np.ones(int(keep.sum())),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(matrix[used], ub=program.most[used]),
            options={"time_limit": max(seconds, 0.01), "mip_rel_gap": GAP},
        )
