"""Which overhauls belong in the plan of a year, with what they need."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import date, timedelta

from tapwear.outlook.types import Clock, Due, Outlook
from tapwear.plan.inputs import WORKING_DAYS
from tapwear.plan.types import AtEngineer, Job, LeftOut
from tapwear.weeks import monday, weeks_of_year

# The least demanding first. Each includes what stands before it: contacts are not replaced without opening, and
# opening drains and refills. Our choice.
TASKS = ("inspection", "oil change", "contact service", "contact replacement")
# Crew hours where the rule gives none, switching and tests included: two people for a day, three for a day, and
# between what an in-tank unit takes (up to 3 people for two days) and a side-mounted one (up to 4 people for four
# days). Our choice.
DEFAULT_HOURS = {"inspection": 16.0, "oil change": 24.0, "contact service": 80.0, "contact replacement": 80.0}
DEFAULT_DAYS = 5.0
INSPECTION = "inspection"  # done on a visit, without opening: makes no outage of its own. Our choice.
NO_OUTAGE = ("spare", "workshop", "retired")
LONGEST_LEAD_WEEKS = 1000.0  # beyond any plan; keeps a mistyped lead time from running past the calendar


def kit_parts(kit: str) -> list[str]:
    """The things that a kit names, each once: they are set apart by semicolons, or by commas before a blank."""
    return list(dict.fromkeys(part.strip() for part in re.split(r";|,\s", kit) if part.strip()))


def last_day(year: int) -> date:
    """The Sunday of the last ISO week of a year."""
    return monday(weeks_of_year(year)[-1]) + timedelta(days=6)


def jobs_from(outlook: Outlook, year: int) -> tuple[Job, ...]:
    """One job for each unit in service that has something due before the end of `year`, in the order of unit tags.

    A unit whose stop stands has none: the engineer decides now (`at_engineer`). Overdue ones and those an engineer has
    released for work always belong, and so do units whose date is unknown (a job without dates). Where
    several tasks of a unit are due, the most demanding leads and the others ride along in the same outage.
    """
    end = last_day(year)
    by_unit: dict[str, list[Due]] = {}
    for due in outlook.dues:
        if due.state not in NO_OUTAGE and not due.must_stop:
            by_unit.setdefault(due.unit, []).append(due)
    chosen = {unit: _belonging(dues, end) for unit, dues in by_unit.items()}
    return tuple(_job(chosen[unit], outlook.as_of) for unit in sorted(chosen) if chosen[unit])


def _belonging(dues: list[Due], end: date) -> list[Due]:
    """The tasks of one unit that belong in the plan; none where there is nothing to open it for.

    An inspection makes no outage of its own, it rides along. A release for work brings in one task, however far its
    date.
    """
    inside = [due for due in dues if due.overdue or _may_fall(due, end)]
    severe = [due for due in dues if due.severe]
    if severe and not any(due.severe and due.task != INSPECTION for due in inside):
        first = min(severe, key=lambda due: (due.task != "contact service", due.early or date.max, due.task))
        return [first, *(due for due in inside if due is not first)]
    return inside if any(due.task != INSPECTION for due in inside) else []


def _may_fall(due: Due, end: date) -> bool:
    """Whether a task can be due by the end; one of unknown date cannot if never done it were far from due yet."""
    if due.known:
        return due.early is not None and due.early <= end
    counted = not due.interval_operations or due.operations_per_year is not None
    return not (counted and due.bounds[0] is None and due.bounds_words.startswith("if never serviced: due after "))


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
    opening = [due for due in dated if due.task != INSPECTION]
    work = opening or [due for due in dues if due.task != INSPECTION] or dues
    lead = max(work, key=_demand)
    kits = sorted({due.kit for due in work if due.kit})
    leads = [due.lead_time_weeks for due in work if due.lead_time_weeks is not None]
    lead_weeks = min(max(leads), LONGEST_LEAD_WEEKS) if leads else None
    ready = as_of + timedelta(weeks=lead_weeks) if lead_weeks is not None else None
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
        early=_earliest([due.early for due in opening]),
        middle=_earliest([due.middle for due in opening]),
        late=_earliest([due.late for due in opening]),
        weeks=max(1, math.ceil(max(_days(due) for due in work) / WORKING_DAYS)),
        crew_hours=max(_hours(due) for due in work),
        kit="; ".join(kits),
        kit_ready_on=ready,
        severe=any(due.severe for due in dues),
        release=lead.release,
        work_from=lead.work_from,
        overdue=any(due.overdue for due in work),
        why=_why(lead, work, [due for due in dues if due not in work]),
        assumed=tuple(assumed),
        days=max(_days(due) for due in work) if lead.duration_days is not None else None,
        kit_weeks=lead_weeks,
        task_middles=tuple((due.task, due.middle.isoformat() if due.middle else "") for due in opening),
        rests_on=rests_on(lead),
        suspected=tuple(dict.fromkeys(words for due in dues for words in _suspected(due))),
        alarms=tuple(dict.fromkeys(words for due in dues for words in _own_alarms(due))),
    )


def _suspected(due: Due) -> tuple[str, ...]:
    """What the crew is told of why the unit is opened."""
    return (*due.stop_words, *_own_alarms(due), *due.oil_findings, *due.conditions, *due.observed)


def _own_alarms(due: Due) -> tuple[str, ...]:
    """Without what a stop in its bank says: that is told as it stands when the plan is shown (`under_stops`)."""
    return tuple(words for words in due.alarms if words not in due.bank_stop)


def left_out(outlook: Outlook, jobs: Sequence[Job]) -> tuple[LeftOut, ...]:
    """Every unit of the outlook that has no job, with the reason, in the order of unit tags; but for those whose stop
    stands (`at_engineer`)."""
    planned = {job.unit for job in jobs} | {due.unit for due in outlook.dues if due.must_stop}
    first: dict[str, Due] = {}
    for due in outlook.dues:
        if due.unit not in planned and (due.unit not in first or _sooner(due, first[due.unit])):
            first[due.unit] = due
    return tuple(LeftOut(unit, _left_out_words(first[unit]), rests_on(first[unit])) for unit in sorted(first))


def at_engineer(outlook: Outlook) -> tuple[AtEngineer, ...]:
    """Every unit whose stop stands, in service or not, in the order of unit tags."""
    stopped = {due.unit: due for due in outlook.dues if due.must_stop}
    return tuple(
        AtEngineer(unit, stopped[unit].station, stopped[unit].stop, " ".join(stopped[unit].stop_words))
        for unit in sorted(stopped)
    )


def _sooner(due: Due, other: Due) -> bool:
    return (due.task == INSPECTION, due.early or date.max) < (other.task == INSPECTION, other.early or date.max)


def _left_out_words(due: Due) -> str:
    if due.state in NO_OUTAGE:
        return f"{due.state}, not in service"
    last = f", last done on {_day(due.last_service_on)}" if due.last_service_on else ""
    return f"{due.task} due from {_day(due.early)}{last}" if due.early else f"{due.task} has no date near{last}"


def rests_on(due: Due) -> tuple[str, ...]:
    """What the dates of a task rest on, one "head: words" each, so that two plans can be held against one another."""
    operations = f"{due.interval_operations:,} operations" if due.interval_operations else ""
    years = f"{due.interval_years:g} years" if due.interval_years else ""
    seen = f"{due.last_reading_value:,} on " if due.last_reading_value is not None else ""
    oil = next((clock for clock in due.clocks if clock.driver == "oil" and clock.early), None)
    lines = {
        "reading": f"{seen}{due.last_reading_on}" if due.last_reading_on else "",
        "rate": f"{due.operations_per_year:,.0f} operations per year" if due.operations_per_year else "",
        "interval": ", ".join(part for part in (operations, years) if part),
        "last service": str(due.last_service_on or ""),
        "oil sample": str(due.last_sample_on or ""),
        "oil": _oil_words(oil, due.as_of) if oil else "",
        "condition": "; ".join(due.conditions),
        "deferral": due.deferral,
    }
    return tuple(f"{head}: {words}" for head, words in lines.items() if words)


def _oil_words(oil: Clock, as_of: date) -> str:
    """What the oil asks for; a day that has come reads "now", so that it stays the same from plan to plan."""
    asks = "opening" if oil.words == "pull forward" else oil.words
    return f"{asks} {'now' if oil.early is None or oil.early <= as_of else f'from {oil.early}'}"


def _driver_words(due: Due) -> str:
    if due.driver == "unknown" or not due.known:
        return _bounds_words(due)
    if due.driver == "oil":
        return "the oil drives the date"
    if due.driver == "condition":
        return f"a noted condition drives the date ({due.conditions[0]})" if due.conditions else "a noted condition"
    moved = f", {due.oil_moved_days} days earlier for the oil" if due.oil_moved_days > 0 else ""
    return ("the calendar drives the date" if due.driver == "calendar" else "operations drive the date") + moved


def _bounds_words(due: Due) -> str:
    first, last = due.bounds
    between = f"at the earliest {_day(first)}, at the latest {_day(last)}" if first or last else ""
    words = due.bounds_words or between
    return f"due date unknown ({words})" if words else ""


def _day(day: date | None) -> str:
    return day.isoformat() if day else "unknown"


def _why(lead: Due, work: list[Due], riders: list[Due]) -> str:
    """What drives the date of this outage, what is past its limit, what else is done in it."""
    parts = [words.rstrip(".") for words in dict.fromkeys(words for due in work for words in _own_alarms(due))]
    overdue = [f"{due.task} since {_day(due.middle)}" for due in work if due.overdue]
    if overdue:
        needed = any(due.overdue and not due.deferral for due in work)
        also = "; a recorded deferral is needed until the work is done" if needed else ""
        parts.append(f"overdue: {', '.join(overdue)}{also}")
    parts += [f"{due.task} {due.deferral}" for due in work if due.deferral]
    governs = min(work, key=lambda due: (due.early or date.max, due is not lead))
    driver = _driver_words(governs)
    if governs is not lead:
        driver = f"{governs.task} governs ({driver})"
    rest = [due for due in (*work, *riders) if due is not lead]
    parts.append(driver)
    for due in rest:
        along = "with it" if _goes_along(due, lead, work) else "not counted in"
        parts.append(f"{along}: {due.task} ({_when(due)})")
    if governs is not lead and lead.early:
        parts.append(f"the {lead.task} alone would be due from {_day(lead.early)}")
    return "; ".join(part for part in parts if part)


def _goes_along(due: Due, lead: Due, work: list[Due]) -> bool:
    """Whether hours and kit of an outage hold a task: one of unknown date only where the lead includes it anyway."""
    order = {task: at for at, task in enumerate(TASKS)}
    return due in work or order.get(due.task, len(TASKS)) < order.get(lead.task, len(TASKS))


def _when(due: Due) -> str:
    return f"due from {due.early.isoformat()}" if due.known and due.early else "date unknown"
