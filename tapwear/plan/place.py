"""Placing jobs into weeks: the most pressing first, each into the cheapest week that every limit allows.

Greedy on purpose: it is quick, gives the same plan every time, and each answer can be explained. A job that found
no place really has none beside the jobs that went before it, and the limit that stops it is named.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date

from tapwear.plan.lateness import DueDay, due_day
from tapwear.plan.stops import Stop, in_words
from tapwear.plan.types import Job, Limits, PlanResult, Slot
from tapwear.weeks import monday

# What a plan costs; only the ratios matter. Our choice: a week past the date weighs like ten weeks of interval
# thrown away, a trip of its own to a neighbourhood like forty.
COST_WEEK_LATE = 10.0
COST_WEEK_EARLY = 1.0
COST_TRIP = 40.0
ROUNDING = 1e-6  # [crew hours]
UNKNOWN = "date unknown: give the last service, the interval or a reading, then build the plan again"


@dataclass
class _Board:
    """What is taken so far, week by week (indices into the weeks of the plan)."""

    limits: Limits
    as_of: date
    mondays: list[date]
    hours: dict[tuple[str, int], float] = field(default_factory=lambda: defaultdict(float))
    out: dict[tuple[str, int], set[tuple[str, str]]] = field(default_factory=lambda: defaultdict(set))
    trips: set[tuple[str, int]] = field(default_factory=set)
    groups_of: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))

    def neighbourhood(self, job: Job) -> str:
        return self.limits.neighbourhoods.get(job.station) or f"station {job.station}"

    def stops(self, block: list[Job], start: int) -> list[Stop]:
        """Everything that keeps a block from starting in a week; none: it may."""
        found: list[Stop] = []
        weeks = self.limits.weeks
        if self.mondays[start] < self.as_of:
            found.append(Stop("past", f"weeks before {self.as_of.isoformat()} are over", start))
        length = max(job.weeks for job in block)
        if start + length > len(weeks):
            found.append(Stop("length", f"it lasts {length} weeks and must end within the year", start))
        for job in block:
            if job.kit_ready_on and self.mondays[start] < job.kit_ready_on:
                found.append(Stop("kit", f"kit is ready on {job.kit_ready_on.isoformat()}", start))
            for week in range(start, min(start + job.weeks, len(weeks))):
                why = self.limits.closed.get(job.station, {}).get(weeks[week])
                if why is not None:
                    found.append(Stop("closed", f"station {job.station} closed ({why})", week))
                found.extend(
                    Stop("group", f"another outage in transfer group {group}", week)
                    for group in self.groups_of[job.job_id]
                    if self.out[group, week] - {job.block}
                )
        found.extend(self._crew_stops(block, start))
        return found

    def _crew_stops(self, block: list[Job], start: int) -> list[Stop]:
        found = []
        wanted: dict[tuple[str, int], float] = defaultdict(float)
        for job in block:
            for week in range(start, min(start + job.weeks, len(self.limits.weeks))):
                wanted[job.region, week] += job.hours_a_week
        for (region, week), hours in sorted(wanted.items()):
            offered = self.limits.crew_hours.get((region, self.limits.weeks[week]))
            if offered is None:
                continue
            if hours > offered + ROUNDING:
                found.append(Stop("too few hours", f"region {region} has fewer than the {hours:g} crew hours", week))
            elif self.hours[region, week] + hours > offered + ROUNDING:
                found.append(Stop("hours taken", f"crew hours of region {region} taken by other jobs", week))
        return found

    def trip_cost(self, block: list[Job], start: int) -> float:
        on = {(self.neighbourhood(job), start + ahead) for job in block for ahead in range(job.weeks)}
        return COST_TRIP * len(on - self.trips)

    def put(self, block: list[Job], start: int) -> None:
        for job in block:
            for week in range(start, start + job.weeks):
                self.hours[job.region, week] += job.hours_a_week
                self.trips.add((self.neighbourhood(job), week))
                for group in self.groups_of[job.job_id]:
                    self.out[group, week].add(job.block)


def place(jobs: tuple[Job, ...], limits: Limits, as_of: date) -> PlanResult:
    """Puts jobs into weeks; the phases of one bank start together.

    Order: severe, overdue, early date, then consequence. A severe job takes the first possible week, every other
    the cheapest one: expected weeks past its date, expected weeks of interval thrown away, trips not shared. The
    slots come in the order of their weeks, the unplaced ones last. Raises nothing: what cannot be placed is said.
    """
    board = _Board(limits, as_of, [monday(week) for week in limits.weeks])
    for group, ids in sorted(limits.groups.items()):
        for job_id in ids:
            board.groups_of[job_id].append(group)
    blocks: dict[tuple[str, str], list[Job]] = defaultdict(list)
    for job in sorted(jobs, key=lambda job: job.job_id):
        if job.dated:
            blocks[job.block].append(job)
    dates = {job.job_id: due_day(job, as_of) for job in jobs if job.dated}
    slots: list[Slot] = []
    for block in sorted(blocks.values(), key=_rank):
        start, stopped_by = _best_week(board, block, dates)
        if start is not None:
            board.put(block, start)
        slots.extend(_slot(job, board, start, stopped_by, dates[job.job_id]) for job in block)
    slots.extend(Slot(job, None, UNKNOWN) for job in jobs if not job.dated)
    slots.sort(key=lambda slot: (slot.start_week or "~", not slot.job.dated, slot.job.job_id))
    return PlanResult(int(limits.weeks[0][:4]), as_of, tuple(slots), limits)


def _rank(block: list[Job]) -> tuple[bool, bool, date, float, str]:
    return (
        not any(job.severe for job in block),
        not any(job.overdue for job in block),
        min((job.early for job in block if job.early), default=date.min),
        -sum(job.weight for job in block),
        block[0].job_id,
    )


def _best_week(board: _Board, block: list[Job], dates: dict[str, DueDay]) -> tuple[int | None, str]:
    """The cheapest week that nothing stops (the earliest of equals), or what stops the block everywhere."""
    severe = any(job.severe for job in block)
    best, best_cost = None, float("inf")
    stopped = []
    for start, day in enumerate(board.mondays):
        stops = board.stops(block, start)
        if stops:
            stopped.append(stops)
            continue
        if severe:
            return start, ""
        cost = board.trip_cost(block, start)
        for job in block:
            due = dates[job.job_id]
            cost += COST_WEEK_LATE * job.weight * due.weeks_late(day) + COST_WEEK_EARLY * due.weeks_early(day)
        if cost < best_cost - ROUNDING:
            best, best_cost = start, cost
    return best, "" if best is not None else in_words(stopped, board.limits.weeks)


def _slot(job: Job, board: _Board, start: int | None, stopped_by: str, due: DueDay) -> Slot:
    if start is None:
        return Slot(job, None, stopped_by)
    return Slot(job, board.limits.weeks[start], "", due.chance_before(board.mondays[start]))
