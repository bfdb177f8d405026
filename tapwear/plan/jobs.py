"""Which overhauls belong in the plan of a year, with what they need."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

from tapwear.outlook.types import Due, Outlook
from tapwear.plan.types import Job
from tapwear.weeks import monday, weeks_of_year
from tapwear.words import SEVERE

WORKING_DAYS = 5  # of a week of outage; our choice
# The least demanding first. Each includes what stands before it: contacts are not replaced without opening, and
# opening drains and refills. Our choice.
TASKS = ("inspection", "oil change", "contact service", "contact replacement")
# Crew hours where the rule gives none, switching and tests included: two people for a day, three for a day, and
# between what an in-tank unit takes (up to 3 people for two days) and a side-mounted one (up to 4 people for four
# days). Our choice.
DEFAULT_HOURS = {"inspection": 16.0, "oil change": 24.0, "contact service": 80.0, "contact replacement": 80.0}
DEFAULT_DAYS = 5.0
NO_OUTAGE = ("spare", "workshop", "retired")
LONGEST_LEAD_WEEKS = 1000.0  # beyond any plan; keeps a mistyped lead time from running past the calendar


def last_day(year: int) -> date:
    """The Sunday of the last ISO week of a year."""
    return monday(weeks_of_year(year)[-1]) + timedelta(days=6)


def jobs_from(outlook: Outlook, year: int) -> tuple[Job, ...]:
    """One job for each unit in service that has something due before the end of `year`, in the order of unit tags.

    Overdue and severe ones always belong, and so do units whose date is unknown (a job without dates). Where
    several tasks of a unit are due, the most demanding leads and the others ride along in the same outage.
    """
    end = last_day(year)
    by_unit: dict[str, list[Due]] = {}
    for due in outlook.dues:
        if due.state not in NO_OUTAGE:
            by_unit.setdefault(due.unit, []).append(due)
    chosen = {unit: _belonging(dues, end) for unit, dues in by_unit.items()}
    return tuple(_job(chosen[unit], outlook.as_of) for unit in sorted(chosen) if chosen[unit])


def _belonging(dues: list[Due], end: date) -> list[Due]:
    """The tasks of one unit that belong in the plan. A severe finding brings in one task, however far its date."""
    inside = [due for due in dues if due.overdue or not due.known or (due.early is not None and due.early <= end)]
    severe = [due for due in dues if due.severe]
    if severe and not any(due.severe for due in inside):
        inside.append(min(severe, key=lambda due: (due.task != "contact service", due.early or date.max, due.task)))
    return inside


def _hours(due: Due) -> float:
    return DEFAULT_HOURS.get(due.task, 80.0) if due.crew_hours is None else due.crew_hours


def _days(due: Due) -> float:
    return DEFAULT_DAYS if due.duration_days is None else due.duration_days


def _demand(due: Due) -> tuple[float, float, int, str]:
    return _hours(due), _days(due), TASKS.index(due.task) if due.task in TASKS else len(TASKS), due.task


def _earliest(days: Sequence[date | None]) -> date | None:
    return min((day for day in days if day is not None), default=None)


def _job(dues: list[Due], as_of: date) -> Job:
    dated = [due for due in dues if due.known or due.severe or due.overdue]
    work = dated or dues
    lead = max(work, key=_demand)
    kits = sorted({due.kit for due in work if due.kit})
    leads = [due.lead_time_weeks for due in work if due.lead_time_weeks is not None]
    ready = as_of + timedelta(weeks=min(max(leads), LONGEST_LEAD_WEEKS)) if leads else None
    assumed = []
    if lead.duration_days is None:
        assumed.append("1 week of outage")
    if lead.crew_hours is None:
        assumed.append(f"{_hours(lead):g} crew hours")
    if ready is None:
        assumed.append("kit in stock")
    return Job(
        job_id=f"{lead.unit} / {lead.task}",
        unit=lead.unit,
        task=lead.task,
        station=lead.station,
        region=lead.region,
        bank=lead.bank,
        phase=lead.phase,
        # The earliest of several tasks governs: day by day, as if their dates moved together.
        early=_earliest([due.early for due in dated]),
        middle=_earliest([due.middle for due in dated]),
        late=_earliest([due.late for due in dated]),
        weeks=max(1, math.ceil(max(_days(due) for due in work) / WORKING_DAYS)),
        crew_hours=max(_hours(due) for due in work),
        kit="; ".join(kits),
        kit_ready_on=ready,
        severe=any(due.severe for due in dues),
        overdue=any(due.overdue for due in dues),
        why=_why(lead, dues),
        assumed=tuple(assumed),
    )


def _driver_words(due: Due) -> str:
    if due.driver == "unknown" or not due.known:
        return due.bounds_words
    if due.driver == "oil":
        return "the oil drives the date"
    moved = f", {due.oil_moved_days} days earlier for the oil" if due.oil_moved_days > 0 else ""
    return ("the calendar drives the date" if due.driver == "calendar" else "operations drive the date") + moved


def _why(lead: Due, dues: list[Due]) -> str:
    parts = []
    if any(due.severe for due in dues):
        parts.append(f"severe finding: {SEVERE.rstrip('.')}")
    for due in dues:
        if due.overdue:
            since = f" since {due.middle.isoformat()}" if due.middle else ""
            parts.append(f"{due.task} overdue{since}, needs a recorded deferral until the work is done")
    if _driver_words(lead):
        parts.append(_driver_words(lead))
    for rider in dues:
        if rider is not lead:
            when = f"due from {rider.early.isoformat()}" if rider.known and rider.early else "date unknown"
            parts.append(f"with it: {rider.task} ({when})")
    return "; ".join(parts)
