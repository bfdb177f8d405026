"""The year at a glance: which job is out in which week at which station, and how many crew hours that takes."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import timedelta
from itertools import groupby

from tapwear.plan.types import PlanResult
from tapwear.report.plain import plain
from tapwear.weeks import monday


@dataclass(frozen=True)
class BoardCell:
    """One week of one station: the numbers of the jobs that are out, and why the station is closed, if it is."""

    numbers: tuple[int, ...]
    closed: str


@dataclass(frozen=True)
class BoardRow:
    """One station, with a cell for each week."""

    station: str
    cells: tuple[BoardCell, ...]


@dataclass(frozen=True)
class CrewRow:
    """Crew hours of a region in each week; on offer None: not limited."""

    region: str
    planned: tuple[float, ...]
    on_offer: tuple[float | None, ...]


@dataclass(frozen=True)
class Board:
    """The weeks of a plan across, stations down, the regions' crews below."""

    weeks: tuple[str, ...]
    rows: tuple[BoardRow, ...]
    crews: tuple[CrewRow, ...]


def part_of(board: Board, first: int, end: int) -> Board:
    """The weeks from index `first` up to `end` of a board, all its stations and regions."""
    return Board(
        board.weeks[first:end],
        tuple(BoardRow(row.station, row.cells[first:end]) for row in board.rows),
        tuple(CrewRow(row.region, row.planned[first:end], row.on_offer[first:end]) for row in board.crews),
    )


def months(board: Board) -> list[tuple[str, int]]:
    """Names of the months across a board and over how many weeks; a week belongs to the month of its Thursday."""
    names = [(monday(week) + timedelta(days=3)).strftime("%B") for week in board.weeks]
    return [(name, len(list(some))) for name, some in groupby(names)]


def week_board(result: PlanResult) -> Board:
    """Stations with a job in the plan (in alphabetical order) against the weeks of the year; regions likewise.

    Numbers are those of `plan_data.job_rows`.
    """
    weeks = result.limits.weeks
    out: dict[tuple[str, int], list[int]] = defaultdict(list)
    hours: dict[tuple[str, int], float] = defaultdict(float)
    known = result.numbers
    for slot in result.placed:
        number = known[slot.job.job_id]
        first = weeks.index(slot.start_week or "")
        for week in range(first, first + slot.job.weeks):
            out[slot.job.station, week].append(number)
            hours[slot.job.region, week] += slot.job.hours_a_week
    jobs = [slot.job for slot in (*result.placed, *result.unplaced) if slot.job.dated]
    stations, regions = sorted({job.station for job in jobs}), sorted({job.region for job in jobs})
    limits = result.limits
    rows = [
        BoardRow(
            plain(station),
            tuple(
                BoardCell(tuple(out[station, at]), plain(limits.closed.get(station, {}).get(week, "")))
                for at, week in enumerate(weeks)
            ),
        )
        for station in stations
    ]
    crews = [
        CrewRow(
            plain(region),
            tuple(round(hours[region, at], 1) for at in range(len(weeks))),
            tuple(limits.crew_hours.get((region, week)) for week in weeks),
        )
        for region in regions
    ]
    return Board(weeks, tuple(rows), tuple(crews))
