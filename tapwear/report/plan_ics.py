"""An outage plan as calendar entries (RFC 5545): one all-day event per placed job, with alarms for its deadlines."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from tapwear.errors import MissingExtra
from tapwear.report.plain import plain
from tapwear.report.plan_data import JobRow, PlanView, job_rows, stop_rows, taken_out_rows
from tapwear.report.plan_words import (
    chance_words,
    engineer_lines,
    kit_words,
    parts,
    release_words,
    request_words,
    resources_words,
)
from tapwear.words import CAUTION_SHORT, stop_notice

ALARM_HOUR = 8  # local time of the calendar; our choice
SETTLED = ("asked", "approved")  # an outage asked for needs no reminder to ask


def plan_ics(view: PlanView, earlier: Sequence[PlanView] = ()) -> bytes:
    """The calendar file. DTEND is the day after the last one, as the standard has it.

    An event keeps its UID from plan to plan of the same year, and a plan made or published later carries a higher
    SEQUENCE, so that a calendar moves the entry instead of showing it twice. What stood in one of the `earlier` plans
    of that year (oldest first) and stands no more is there as cancelled, or as done. A unit whose stop stands has no
    event but such a cancelled one; the calendar's own description says so first.
    Raises MissingExtra without icalendar.
    """
    try:
        from icalendar import Calendar
    except ImportError:
        raise MissingExtra("icalendar", "The calendar export") from None
    calendar = Calendar()
    calendar.add("prodid", "-//Tapwear//Outage plan//EN")
    calendar.add("version", "2.0")
    calendar.add("name", f"Outage plan {view.result.year}")
    stopped = stop_rows(view.result)
    if stopped:
        calendar.add("description", "\n".join(engineer_lines(stopped)))
    rows = job_rows(view.result)
    placed, waiting = parts(rows)
    for row in placed:
        event = _event(row, view, _title(row), _words(row, view))
        event.add("status", "CONFIRMED" if _is_firm(row, view) else "TENTATIVE")
        for day, words in _deadlines(row):
            if day >= view.result.as_of:
                event.add_component(_alarm(row, day, words))
        calendar.add_component(event)
    gone = _gone([*earlier, view], {row.unit for row in placed})
    away = {one.unit: one.reason for one in stopped}
    known = {plain(one.unit): plain(one.words) for one in view.result.left_out}
    known |= {row.unit: row.stopped_by for row in waiting}
    for row in gone:
        done = row.progress == "done"
        why = f"{plain(view.name)}: {known.get(row.unit) or f'no longer in the plan for {view.result.year}'}"
        cancelled = "cancelled: "
        if row.unit in away:
            why, cancelled = f"{stop_notice(row.unit)}\n{plain(view.name)}: {away[row.unit]}", "STOP, cancelled: "
        event = _event(row, view, f"{'' if done else cancelled}{_title(row)}", why)
        event.add("status", "CONFIRMED" if done else "CANCELLED")
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _gone(earlier: Sequence[PlanView], kept: set[str]) -> list[JobRow]:
    """What plans had placed and is not kept, each as the newest of them had it, whatever was taken out of it since."""
    found: dict[str, JobRow] = {}
    for view in earlier:
        found |= {row.unit: row for row in (*job_rows(view.result), *taken_out_rows(view.result)) if row.start_week}
    return [row for unit, row in sorted(found.items()) if unit not in kept]


def _is_firm(row: JobRow, view: PlanView) -> bool:
    return view.status == "published" and row.request_status not in ("refused", "cancelled")


def _event(row: JobRow, view: PlanView, title: str, words: str) -> Any:
    from icalendar import Event

    first, last = _days(row)
    event = Event()
    event.add("uid", _uid(row, view.result.year))
    event.add("sequence", view.sequence + view.revised.get(row.unit, 0))
    event.add("dtstamp", view.recorded_at)
    event.add("dtstart", first)
    event.add("dtend", last + timedelta(days=1))
    event.add("summary", title)
    event.add("location", row.station)
    event.add("description", words)
    event.add("transp", "TRANSPARENT")  # it keeps nobody's own day busy
    return event


def _days(row: JobRow) -> tuple[date, date]:
    assert row.start_on is not None and row.end_on is not None  # noqa: S101, PT018 - only placed rows come here
    return row.start_on, row.end_on


def _uid(row: JobRow, year: int) -> str:
    """The same for one unit and year: a unit has one outage in a plan."""
    return hashlib.sha256(f"{year} {row.unit}".encode()).hexdigest()[:32] + "@tapwear"


def _title(row: JobRow) -> str:
    before = "done: " if row.progress == "done" else f"{row.stop}: " if row.release else ""
    return f"{before}{row.task}: {row.unit}, {row.station}"


def _deadlines(row: JobRow) -> list[tuple[date, str]]:
    """What must be asked for or ordered by which day, for this slot; nothing more once it is done."""
    if row.progress == "done":
        return []
    found = []
    if row.permit_ask_by and row.request_status not in SETTLED:
        found.append((row.permit_ask_by, "ask for the outage and the switching permit"))
    if row.kit_order_by and row.kit:
        found.append((row.kit_order_by, f"order {kit_words(row)}"))
    return found


def _alarm(row: JobRow, day: date, words: str) -> Any:
    from icalendar import Alarm

    first, _ = _days(row)
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("trigger", timedelta(days=(day - first).days, hours=ALARM_HOUR))
    alarm.add("description", f"Last day to {words}: {row.unit}, {row.station}, out from {first.isoformat()}")
    return alarm


def _words(row: JobRow, view: PlanView) -> str:
    late = chance_words(row)
    lines = [
        release_words(row),
        row.why,
        f"due from {row.early.isoformat()}" if row.early else "",
        f"probability of being overdue at start: {late}" if late else "",
        f"outage request: {request_words(row)}",
        *(f"by {day.isoformat()}: {words}" for day, words in _deadlines(row)),
        resources_words(row),
        f"other work: {'; '.join(row.other_work)}" if row.other_work else "",
        "; ".join(part for part in (f"{row.crew_hours:g} crew hours", row.skill, kit_words(row)) if part),
        f"plan {plain(view.name)}, as of {view.result.as_of.isoformat()}",
        CAUTION_SHORT,
    ]
    return "\n".join(line for line in lines if line)
