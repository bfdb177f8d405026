"""Outage requests of a plan: one page for each job that needs the transformer out, for whoever approves it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from tapwear.plan.limits import group_words
from tapwear.plan.types import Job, PlanResult
from tapwear.report.page import Block, Line, table
from tapwear.report.plain import plain
from tapwear.report.plan_data import JobRow, PlanView, job_rows, stop_rows
from tapwear.report.plan_words import (
    chance_words,
    engineer_lines,
    hours_words,
    recall_words,
    release_words,
    request_words,
)
from tapwear.report.templating import house
from tapwear.words import CAUTION_SHORT

NOT_GIVEN = "not given"
# What the approver fills in.
DECISION = (
    "approved as asked",
    "approved for other dates: from ______________ to ______________",
    "refused, because ______________________________________________",
)
SIGNED = ("conditions set", "applied for by (name, day)", "approver (name, day, signature)")


@dataclass(frozen=True)
class OutageRequest:
    """One request. `facts` are heading and words, in the order in which they are read; `severe` comes first:
    that only work de-energised was released, and by whom."""

    unit: str
    station: str
    title: str
    severe: str
    facts: tuple[tuple[str, str], ...]
    signed: tuple[str, ...]


def outage_requests(view: PlanView, units: Sequence[str] = ()) -> list[OutageRequest]:
    """The requests of a plan in the order of its weeks: of the units named, else of all that are still to be done.

    Jobs without a place, those of units whose stop stands, and those of units that are exchanged beside their bypass,
    need none.
    """
    slots, around = view.result.placed, _around(view.result)
    away = {one.unit for one in stop_rows(view.result)}
    rows = [row for row in job_rows(view.result) if row.start_week]
    return [
        _request(row, slot.job, view, around)
        for row, slot in zip(rows, slots, strict=True)
        if row.needs_outage and row.unit not in away and (row.unit in units if units else row.progress != "done")
    ]


@dataclass(frozen=True)
class _Around:
    """What concerns a job beside itself: units by job, placed jobs by what goes out together, groups by job."""

    units: dict[str, str]
    blocks: dict[tuple[str, str], list[str]]
    groups: dict[str, list[str]]


def _around(result: PlanResult) -> _Around:
    blocks: dict[tuple[str, str], list[str]] = defaultdict(list)
    for slot in result.placed:
        blocks[slot.job.block].append(slot.job.job_id)
    groups: dict[str, list[str]] = defaultdict(list)
    for group, ids in sorted(result.limits.groups.items()):
        for one in ids:
            groups[one].append(group)
    return _Around({slot.job.job_id: plain(slot.job.unit) for slot in result.slots}, blocks, groups)


def _request(row: JobRow, job: Job, view: PlanView, around: _Around) -> OutageRequest:
    result = view.result
    together = [one for one in around.blocks[job.block] if one != job.job_id]
    facts = {
        "equipment out": _equipment(row),
        "out together with": ", ".join(around.units[one] for one in together),
        "dates": _dates(row),
        "outage": _length(row),
        "work": "; ".join([row.task, *row.other_work]),
        "emergency return to service": recall_words(row) or NOT_GIVEN,
        "conditions": "; ".join(_conditions(row, job, result, around)) or NOT_GIVEN,
        "resources": ", ".join(row.resources) or "none named",
        "crew": hours_words(row),
        "why in these weeks": _why(row),
        "switching permit": f"ask by {row.permit_ask_by}" if row.permit_ask_by else "lead time not given: ask in time",
        "request": request_words(row),
        "plan": f"{plain(view.name)} ({view.status}), job {row.number}, made by {plain(view.recorded_by)} on "
        f"{view.recorded_at.date()}",
    }
    approver = f"approver {row.approver} (day, signature)" if row.approver else SIGNED[2]
    return OutageRequest(
        unit=row.unit,
        station=row.station,
        title=f"Outage request: {row.unit}, {row.station}",
        severe=release_words(row),
        facts=tuple((name, words) for name, words in facts.items() if words),
        signed=(*SIGNED[:2], approver),
    )


def _equipment(row: JobRow) -> str:
    where = [
        f"station {row.station}",
        f"bank {row.bank}" if row.bank else "",
        f"phase {row.phase}" if row.phase else "",
    ]
    return f"transformer with tap changer {row.unit}, {', '.join(part for part in where if part)}"


def _dates(row: JobRow) -> str:
    weeks = f"week {row.start_week}" + ("" if row.weeks == 1 else f", {row.weeks} weeks")
    return f"Monday {row.start_on} to Sunday {row.end_on} ({weeks})"


def _length(row: JobRow) -> str:
    if row.days is None:
        return f"{7 * row.weeks} days (length not given: taken as whole weeks)"
    return f"{row.days:g} working day{'' if row.days == 1 else 's'} within these dates"


def _conditions(row: JobRow, job: Job, result: PlanResult, around: _Around) -> list[str]:
    """As given; what may not be out at the same time; when the station is closed next."""
    found = [row.conditions] if row.conditions else []
    own = set(around.blocks[job.block])
    for group in around.groups.get(job.job_id, ()):
        others = sorted(around.units[one] for one in result.limits.groups[group] - own if one in around.units)
        if others:
            _, _, where = plain(group_words(group)).partition(" ")
            found.append(f"not out at the same time: {', '.join(others)} ({where})")
    return [*found, *_next_closure(row, job, result)]


def _next_closure(row: JobRow, job: Job, result: PlanResult) -> list[str]:
    """`the station is closed from 2027-W24 (summer peak)`: the first closed week after the outage."""
    closed = result.limits.closed.get(job.station, {})
    weeks = result.limits.weeks
    after = weeks[weeks.index(row.start_week or "") + row.weeks :]
    shut = next((week for week in after if week in closed), None)
    if shut is None:
        return []
    why = plain(closed[shut])
    return [f"the station is closed from {shut}" + (f" ({why})" if why else "")]


def _why(row: JobRow) -> str:
    due = f"due from {row.early} (10 %)" if row.early else ""
    late = f", by {row.late} with 90 %" if row.late and row.early else ""
    chance = f"probability of being overdue at start: {chance_words(row)}" if chance_words(row) else ""
    return "; ".join(part for part in (due + late, chance, row.why) if part)


def requests_text(view: PlanView, requests: Sequence[OutageRequest]) -> list[Block]:
    """The same as words for a pipe, a mail or a screen; the units whose stop stands come first."""
    blocks = [Block(words, loud=True) for words in engineer_lines(stop_rows(view.result))]
    for one in requests:
        facts = table(("", ""), one.facts)
        signed = [Line(f"[ ] {words}") for words in DECISION] + [Line(f"{words}: ____________") for words in one.signed]
        stop = [Line(one.severe)] if one.severe else []
        blocks.append(Block(one.title, (*stop, *facts, *signed)))
    return [*blocks, Block("Before any work", (Line(CAUTION_SHORT),))]


def requests_html(view: PlanView, requests: Sequence[OutageRequest]) -> str:
    """One A4 page for each request. Raises MissingExtra without jinja2."""
    page = house("Outage requests on paper").get_template("plan_requests.html")
    stopped = engineer_lines(stop_rows(view.result))
    made = page.render(name=view.name, stopped=stopped, requests=requests, decision=DECISION, caution=CAUTION_SHORT)
    return f"{made}\n"
