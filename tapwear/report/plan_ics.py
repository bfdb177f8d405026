"""An outage plan as calendar entries (RFC 5545): one all-day event per placed job."""

from __future__ import annotations

import hashlib
from datetime import timedelta

from tapwear.errors import MissingExtra
from tapwear.report.plan_data import JobRow, PlanView, job_rows
from tapwear.report.plan_words import chance_words
from tapwear.words import CAUTION_SHORT


def plan_ics(view: PlanView) -> bytes:
    """The calendar file. DTEND is the day after the last one, as the standard has it.

    An event keeps its UID from plan to plan of the same year, and a later plan carries a higher SEQUENCE, so that a
    calendar moves the entry instead of showing it twice. Raises MissingExtra without icalendar.
    """
    try:
        from icalendar import Calendar, Event
    except ImportError:
        raise MissingExtra("icalendar", "The calendar export") from None
    calendar = Calendar()
    calendar.add("prodid", "-//Tapwear//Outage plan//EN")
    calendar.add("version", "2.0")
    for row in job_rows(view.result):
        if row.start_on is None or row.end_on is None:
            continue
        event = Event()
        event.add("uid", _uid(row, view.result.year))
        event.add("sequence", view.sequence)
        event.add("dtstamp", view.recorded_at)
        event.add("dtstart", row.start_on)
        event.add("dtend", row.end_on + timedelta(days=1))
        event.add("summary", f"{row.task}: {row.unit}, {row.station}")
        event.add("location", row.station)
        event.add("description", _words(row, view))
        event.add("status", "CONFIRMED" if view.status == "published" else "TENTATIVE")
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _uid(row: JobRow, year: int) -> str:
    """The same for one unit and year: a unit has one outage in a plan."""
    return hashlib.sha256(f"{year} {row.unit}".encode()).hexdigest()[:32] + "@tapwear"


def _words(row: JobRow, view: PlanView) -> str:
    dates = f"due from {row.early.isoformat()}, " if row.early else ""
    lines = [
        f"{dates}chance of being past due when it starts: {chance_words(row)}",
        row.why,
        f"{row.crew_hours:g} crew hours" + (f"; kit: {row.kit}" if row.kit else ""),
        f"plan {view.name}, as of {view.result.as_of.isoformat()}",
        CAUTION_SHORT,
    ]
    return "\n".join(line for line in lines if line)
