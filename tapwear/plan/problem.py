"""The outage plan as plain arithmetic: blocks of jobs, start weeks with their costs, and cells that fill up.

A block is what goes out together. A cell is one limit in one week: the crew hours of a region, its hours with one
skill, a transfer group, a bookable resource. A block that starts in week s takes an amount of each of its cells, and
an amount that does not fit is the only way in which blocks hinder each other. Whatever forbids a start week by
itself is kept as a Stop, for the words.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import inf

from tapwear.plan.lateness import DueDay, due_day
from tapwear.plan.limits import group_words
from tapwear.plan.stops import Stop
from tapwear.plan.types import Costs, Job, Limits
from tapwear.weeks import monday

HOURS = "{hours}"  # to be replaced, in the words for hours that are too few
ROUNDING = 1e-6  # [crew hours]
WEEKS_AFTER = 52  # a job left out is taken to be done that long after the last week of the plan; our choice


@dataclass(frozen=True)
class Block:
    """Jobs that start together. Offsets count cells from the one of the start week: cell = offset + start."""

    jobs: tuple[Job, ...]
    starts: tuple[int, ...]  # start weeks (indices) that nothing forbids by itself
    cheapest: tuple[int, ...]  # the same, in the order of their costs
    cost: tuple[float, ...]  # of starting in each week: lateness, interval thrown away, moving; inf where forbidden
    left_out: float  # cost of leaving it out
    takes: tuple[tuple[int, float], ...]  # (offset into the cells, amount)
    trips: tuple[int, ...]  # offsets into the trip cells
    stops: tuple[tuple[Stop, ...], ...]  # per start week, what forbids it by itself
    pin: int | None = None  # index of the only start week that the planner allows
    pin_words: str = ""  # "pinned to 2027-W05", "under way since" it, or why that is no week of the plan

    @property
    def pinned(self) -> bool:
        return bool(self.pin_words)

    @property
    def severe(self) -> bool:
        return any(job.severe for job in self.jobs)

    @property
    def rank(self) -> tuple[bool, bool, bool, bool, bool, date, float, str]:
        """Who goes first: under way, released for work under a stop, pinned, with an alarm for the engineer, overdue,
        early date, consequence; at last the job's name."""
        return (
            not any(job.progress == "started" for job in self.jobs),
            not self.severe,
            not self.pinned,
            not any(job.alarms for job in self.jobs),
            not any(job.overdue for job in self.jobs),
            min((job.early for job in self.jobs if job.early), default=date.min),
            -sum(job.weight for job in self.jobs),
            self.jobs[0].job_id,
        )


@dataclass(frozen=True)
class Problem:
    """All blocks that can be thought of placing, in the order of `Block.rank`, and how much each cell holds."""

    weeks: tuple[str, ...]
    mondays: tuple[date, ...]
    blocks: tuple[Block, ...]
    capacity: tuple[float, ...]  # per cell; the weeks of one limit stand side by side
    taken: tuple[Stop, ...]  # per limit: how to say that others have taken it (its week is to be replaced)
    trip_cells: int
    trip: float  # cost of one trip
    hill: float  # what it may cost for a while to get from one good plan to another

    def stop_at(self, cell: int) -> Stop:
        limit, week = divmod(cell, len(self.weeks))
        return Stop(self.taken[limit].kind, self.taken[limit].what, week)


@dataclass
class _Cells:
    """Collects the limits met while the blocks are read."""

    limits: Limits
    capacity: list[float] = field(default_factory=list)
    taken: list[Stop] = field(default_factory=list)
    small: list[Stop] = field(default_factory=list)  # per limit: how to say that it is too small even when free
    first: dict[tuple[str, ...], int] = field(default_factory=dict)
    trip_first: dict[str, int] = field(default_factory=dict)

    def offset(self, key: tuple[str, ...]) -> int:
        """The first cell of a limit: (crew, region), (skill, region, skill), (group, name) or (resource, name)."""
        if key not in self.first:
            self.first[key] = len(self.capacity)
            self.capacity.extend(self._capacity(key, week) for week in self.limits.weeks)
            self.taken.append(_taken(key))
            self.small.append(_small(key))
        return self.first[key]

    def trip_offset(self, neighbourhood: str) -> int:
        return self.trip_first.setdefault(neighbourhood, len(self.trip_first) * len(self.limits.weeks))

    def _capacity(self, key: tuple[str, ...], week: str) -> float:
        if key[0] == "crew":
            return self.limits.crew_hours.get((key[1], week), inf)
        if key[0] == "skill":
            return self.limits.skill_hours.get((key[1], key[2], week), 0.0)
        return 1.0 if key[0] == "group" else float(self.limits.resources.get((key[1], week), 0))


def _taken(key: tuple[str, ...]) -> Stop:
    if key[0] == "group":
        return Stop("group", f"another outage {group_words(key[1])}", 0)
    if key[0] == "resource":
        return Stop("resource taken", f"{key[1]} booked for other jobs", 0)
    skill = f" with skill {key[2]}" if key[0] == "skill" else ""
    return Stop("hours taken", f"crew hours of region {key[1]}{skill} taken by other jobs", 0)


def _small(key: tuple[str, ...]) -> Stop:
    if key[0] == "resource":
        return Stop("no resource", f"{key[1]} not to be had", 0)
    skill = f" with skill {key[2]}" if key[0] == "skill" else ""
    return Stop("too few hours", f"region {key[1]} has fewer than the {HOURS}{skill}", 0)


def problem(jobs: tuple[Job, ...], limits: Limits, as_of: date, costs: Costs) -> Problem:
    """Reads jobs and limits. Jobs without a date are left aside unless the planner has pinned them."""
    groups_of: dict[str, list[str]] = defaultdict(list)
    for group, ids in sorted(limits.groups.items()):
        for job_id in sorted(ids):
            groups_of[job_id].append(group)
    by_block: dict[tuple[str, str], list[Job]] = defaultdict(list)
    for job in sorted(jobs, key=lambda job: job.job_id):
        if job.dated or job.pinned_week:
            by_block[job.block].append(job)
    mondays = tuple(monday(week) for week in limits.weeks)
    cells = _Cells(limits)
    limited = {(region, skill) for region, skill, _ in limits.skill_hours}, {name for name, _ in limits.resources}
    blocks = [_block(block, cells, mondays, as_of, costs, groups_of, limited) for block in by_block.values()]
    blocks.sort(key=lambda block: block.rank)
    trip_cells = len(cells.trip_first) * len(limits.weeks)
    return Problem(
        limits.weeks, mondays, tuple(blocks), tuple(cells.capacity), tuple(cells.taken), trip_cells, costs.trip,
        max(costs.trip, costs.late, costs.early) or 1.0,
    )  # fmt: skip


def _block(
    jobs: list[Job],
    cells: _Cells,
    mondays: tuple[date, ...],
    as_of: date,
    costs: Costs,
    groups_of: dict[str, list[str]],
    limited: tuple[set[tuple[str, str]], set[str]],
) -> Block:
    pin, pin_words = _pin(jobs, cells.limits.weeks)
    takes = _takes(jobs, cells, groups_of, limited)
    of = " a week" if any(job.weeks > 1 for job in jobs) else ""
    of += f" of bank {jobs[0].bank}" if len(jobs) > 1 else ""
    stops = []
    for start in range(len(mondays)):
        found = [stop for job in jobs for stop in _job_stops(job, start, cells.limits, mondays, as_of)]
        found += _too_small(takes, start, cells, of)
        stops.append(tuple(dict.fromkeys(found)))
    starts = tuple(s for s, found in enumerate(stops) if not found and (not pin_words or s == pin))
    cost = [inf] * len(mondays)
    due = [(job, due_day(job, as_of) if job.dated else None) for job in jobs]
    for start in starts:
        cost[start] = sum(_start_cost(job, day, start, cells.limits.weeks, mondays, costs) for job, day in due)
    after = mondays[-1] + timedelta(weeks=WEEKS_AFTER)
    left_out = sum(
        costs.unplaced * job.weight
        + (costs.late * job.weight * day.weeks_late(after) if day else 0.0)
        + (costs.move if job.kept_week else 0.0)
        for job, day in due
    )
    hoods = sorted(
        {
            cells.trip_offset(cells.limits.neighbourhoods.get(job.station) or f"station {job.station}") + ahead
            for job in jobs
            for ahead in range(min(job.weeks, len(mondays)))
        }
    )
    return Block(
        tuple(jobs), starts, tuple(sorted(starts, key=lambda start: cost[start])), tuple(cost), left_out,
        tuple(sorted(takes.items())), tuple(hoods), tuple(stops), pin, pin_words,
    )  # fmt: skip


def _pin(jobs: list[Job], weeks: tuple[str, ...]) -> tuple[int | None, str]:
    pins = sorted({job.pinned_week for job in jobs if job.pinned_week})
    if not pins:
        return None, ""
    if len(pins) > 1:
        return None, f"the phases of bank {jobs[0].bank} are pinned to different weeks ({', '.join(pins)})"
    if pins[0] not in weeks:
        return None, f"pinned to {pins[0]}, which is no week of this plan"
    held = "under way since" if any(job.progress == "started" for job in jobs) else "pinned to"
    return weeks.index(pins[0]), f"{held} {pins[0]}"


def _takes(
    jobs: list[Job],
    cells: _Cells,
    groups_of: dict[str, list[str]],
    limited: tuple[set[tuple[str, str]], set[str]],
) -> dict[int, float]:
    """Crew hours add up over the jobs of a block; of a transfer group or a resource a block takes one."""
    takes: dict[int, float] = defaultdict(float)
    for job in jobs:
        hours: list[tuple[str, ...]] = [("crew", job.region)]
        if job.skill and (job.region, job.skill) in limited[0]:
            hours.append(("skill", job.region, job.skill))
        ones: list[tuple[str, ...]] = []
        if job.needs_outage:
            ones += [("group", group) for group in groups_of[job.job_id]]
            ones += [("resource", name) for name in job.resources if name in limited[1]]
        for ahead in range(min(job.weeks, len(cells.limits.weeks))):
            for key in hours:
                takes[cells.offset(key) + ahead] += job.hours_a_week
            for key in ones:
                takes[cells.offset(key) + ahead] = 1.0
    return takes


def _job_stops(job: Job, start: int, limits: Limits, mondays: tuple[date, ...], as_of: date) -> list[Stop]:
    """What keeps a job from starting in a week, whatever the other jobs do."""
    found: list[Stop] = []
    first = mondays[start]
    begun = job.pinned_week == limits.weeks[start] and first < as_of < first + timedelta(weeks=job.weeks)
    if not begun:
        if first < as_of:
            found.append(Stop("past", f"weeks before {as_of.isoformat()} are over", start))
        if job.work_from and first < job.work_from:
            found.append(Stop("release", f"released for work from {job.work_from.isoformat()}", start))
        if job.kit_ready_on and first < job.kit_ready_on:
            found.append(Stop("kit", f"kit is ready on {job.kit_ready_on.isoformat()}", start))
        if job.permit_from and first < job.permit_from and job.permit_week != limits.weeks[start]:
            found.append(Stop("permit", f"the switching permit is there on {job.permit_from.isoformat()}", start))
    if start + job.weeks > len(mondays):
        found.append(Stop("length", f"it lasts {job.weeks} weeks and must end within the year", start))
    closed = limits.closed.get(job.station, {}) if job.needs_outage else {}
    why_not = dict(zip(job.forbidden_weeks, job.forbidden_why, strict=False))
    for week in range(start, min(start + job.weeks, len(mondays))):
        why = closed.get(limits.weeks[week])
        if why is not None:
            found.append(Stop("closed", f"station {job.station} closed ({why})", week))
        if limits.weeks[week] in job.forbidden_weeks:
            words = why_not.get(limits.weeks[week]) or ""
            found.append(Stop("forbidden", f"not to be out ({words})" if words else "forbidden by the planner", week))
    return found


def _too_small(takes: dict[int, float], start: int, cells: _Cells, of: str) -> list[Stop]:
    """`of` says which hours: those of a week, of a whole bank; blank for one job of one week."""
    weeks = len(cells.limits.weeks)
    found = []
    for offset, amount in sorted(takes.items()):
        limit, ahead = divmod(offset, weeks)
        if start + ahead < weeks and amount > cells.capacity[offset + start] + ROUNDING:
            small = cells.small[limit]
            what = small.what.replace(HOURS, f"{amount:g} crew hours{of}")
            found.append(Stop(small.kind, what, start + ahead))
    return found


def _start_cost(
    job: Job, due: DueDay | None, start: int, weeks: tuple[str, ...], mondays: tuple[date, ...], costs: Costs
) -> float:
    moved = costs.move if job.kept_week and job.kept_week != weeks[start] else 0.0
    if due is None:
        return moved
    late, early = due.weeks_late(mondays[start]), due.weeks_early(mondays[start])
    return costs.late * job.weight * late + costs.early * early + moved
