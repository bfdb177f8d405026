"""The due list as data: JSON with a schema that carries its version, and CSV that a spreadsheet opens safely.

JSON is one object:

    schema   "tapwear.due/1"; the number rises when a field changes its meaning or goes away
    as_of    the day as of which everything is said [ISO date]
    until    dues were asked for up to this day [ISO date], null for all
    caution  what to keep in mind before any work
    hidden   [{by, units, overdue, unknown}]: units that each filter left out
    dues     [{the fields below}], most pressing first

CSV has one row per due with the same fields, named in its first line; lists are joined by "; ", what is not known
is left blank. A text cell that begins like a formula (= + - @) is given an apostrophe before it.
"""

from __future__ import annotations

import csv
import io
import string
from collections.abc import Iterable
from dataclasses import asdict
from datetime import date
from typing import Any

from tapwear.outlook.types import Due
from tapwear.report.due_choice import Choice
from tapwear.report.due_words import day_words, doubt_words, driver_words, next_words, status_words, told_day
from tapwear.report.plain import json_text, plain
from tapwear.words import CAUTION_SHORT

DUE_SCHEMA = "tapwear.due/1"
# What a formula begins with in spreadsheets; the wide forms do so in East Asian settings.
FORMULA = ("=", "+", "-", "@", "＝", "＋", "－", "＠")
CLOCKS = ("operations", "calendar", "oil", "condition")

# name -> meaning of every field of a due, in order
DUE_FIELDS: dict[str, str] = {
    "stop": "STOP since the day of its evidence, or what an engineer released it for; blank: nothing stands",
    "unit": "the owner's asset tag",
    "station": "station where it stands",
    "region": "crew region",
    "bank": "transformer bank",
    "phase": "phase of a single-phase unit",
    "state": "in service, spare, workshop or retired",
    "task": "the service rule: inspection, contact service, contact replacement, oil change",
    "as_of": "the day as of which everything is said [ISO date]",
    "early": "day by which the task has become due with 10 % [ISO date; null: after the horizon, unknown, or stopped]",
    "middle": "the same with 50 %",
    "late": "the same with 90 %; not approval to wait",
    "early_words": "early as the table says it: a date, `after 2041`, `unknown`, `stopped`",
    "late_words": "late as the table says it",
    "known": "false: no date can be given",
    "overdue": "the limit in operations or years has been passed, more likely than not",
    "status": "overdue, asked for by the oil, or unknown, as a sentence; blank otherwise",
    "driver": "which clock runs out first: operations, calendar, oil, condition (a noted one's act-by day), unknown",
    "driver_words": "the same with how sure that is",
    "chance_operations": "chance that the operations clock runs out first [0-1]",
    "chance_calendar": "chance that the calendar clock does [0-1]",
    "chance_oil": "chance that the oil clock does [0-1]",
    "chance_condition": "chance that the act-by day of a noted condition comes first [0-1; null: there is none]",
    "oil_moved_days": "how much earlier the oil makes the middle date [days]",
    "bounds_earliest": "where unknown: the earliest it could be [ISO date]",
    "bounds_latest": "where unknown: the latest it could be [ISO date]",
    "bounds_words": "what the bounds rest on",
    "last_service_on": "last service that started this task's clock [ISO date]",
    "last_service_counter": "counter as left then",
    "interval_operations": "interval [operations]",
    "interval_years": "interval [years]",
    "operations_since": "operations since that service, best estimate on as_of; weighted where the rule says so",
    "operations_since_low": "the same, 10 %",
    "operations_since_high": "the same, 90 %",
    "operations_per_year": "present rate [operations per year]",
    "readings_used": "counter readings that it rests on",
    "readings_doubtful": "readings kept but not relied on",
    "last_reading_on": "day of the last usable reading [ISO date]",
    "last_reading_value": "that reading, as written",
    "last_reading_age_days": "its age on as_of [days]",
    "last_sample_on": "day of the last oil sample [ISO date]",
    "severe": "a stop is open at the unit: possible arcing or overheating",
    "stop_words": "its evidence, as sentences",
    "release": "an engineer's release for work de-energised; blank: nobody may work on it",
    "alarms": "what the responsible engineer has to decide today, as sentences; also among the doubts",
    "conditions": "open conditions that people noted, as sentences; also among the doubts",
    "observed": "what visits showed, to be referred to the engineer, as sentences; also among the doubts",
    "doubts": "what makes the date doubtful, as sentences",
    "next_action": "what to do next",
    "deferral": "a recorded deferral in force: until when, by whom, why, extra checks; blank: none",
    "deferred_until": "its last day [ISO date; null: none]",
    "duration_days": "outage that the work needs [days]",
    "crew_hours": "work [crew hours]",
    "kit": "parts that it needs",
    "lead_time_weeks": "time to get the parts [weeks]",
}


def due_record(due: Due) -> dict[str, Any]:
    """One due as plain values: str, int, float, bool, None and, for doubts, a list of str. Keys: DUE_FIELDS."""
    read = due.last_reading_on
    return {
        **{name: plain(getattr(due, name)) for name in ("stop", "unit", "station", "region", "bank", "phase", "state")},
        "task": plain(due.task),
        "as_of": due.as_of.isoformat(),
        "early": _day(told_day(due.early, due)),
        "middle": _day(told_day(due.middle, due)),
        "late": _day(told_day(due.late, due)),
        "early_words": day_words(due.early, due),
        "late_words": day_words(due.late, due),
        "known": due.known,
        "overdue": due.overdue,
        "status": plain(status_words(due)),
        "driver": due.driver,
        "driver_words": driver_words(due),
        **{f"chance_{name}": _round(due.driver_share.get(name), 3) for name in CLOCKS},
        "oil_moved_days": due.oil_moved_days,
        "bounds_earliest": _day(due.bounds[0]),
        "bounds_latest": _day(due.bounds[1]),
        "bounds_words": plain(due.bounds_words),
        "last_service_on": _day(due.last_service_on),
        "last_service_counter": due.last_service_counter,
        "interval_operations": due.interval_operations,
        "interval_years": due.interval_years,
        "operations_since": _round(due.operations_since, 1),
        "operations_since_low": _round(due.operations_since_low, 1),
        "operations_since_high": _round(due.operations_since_high, 1),
        "operations_per_year": _round(due.operations_per_year, 1),
        "readings_used": due.readings_used,
        "readings_doubtful": due.readings_doubtful,
        "last_reading_on": _day(read),
        "last_reading_value": due.last_reading_value,
        "last_reading_age_days": (due.as_of - read).days if read else None,
        "last_sample_on": _day(due.last_sample_on),
        "severe": due.severe,
        "stop_words": [plain(words) for words in due.stop_words],
        "release": plain(due.release),
        "alarms": [plain(words) for words in due.alarms],
        "conditions": [plain(words) for words in due.conditions],
        "observed": [plain(words) for words in due.observed],
        "doubts": [plain(doubt) for doubt in due.doubts],
        "next_action": plain(next_words(due)),
        "deferral": plain(due.deferral),
        "deferred_until": _day(due.deferred_until),
        "duration_days": due.duration_days,
        "crew_hours": due.crew_hours,
        "kit": plain(due.kit),
        "lead_time_weeks": due.lead_time_weeks,
    }


def due_json(choice: Choice) -> str:
    """The list as JSON text, see the top of this module."""
    page = {
        "schema": DUE_SCHEMA,
        "as_of": choice.as_of.isoformat(),
        "until": _day(choice.until),
        "caution": CAUTION_SHORT,
        "hidden": [asdict(hidden) for hidden in choice.hidden],
        "dues": [due_record(due) for due in choice.dues],
    }
    return json_text(page)


def due_csv(dues: Iterable[Due]) -> str:
    """The list as CSV text with a heading line, lines ending in a line feed."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(DUE_FIELDS)
    for due in dues:
        record = due_record(due)
        record |= {name: "; ".join(record[name]) for name in ("stop_words", "alarms", "conditions", "observed")}
        record |= {"doubts": plain(doubt_words(due))}
        writer.writerow([csv_cell(record[name]) for name in DUE_FIELDS])
    return out.getvalue()


def csv_cell(value: object) -> object:
    """A value for a CSV cell: None is blank, yes or no in words.

    Text that begins like a formula, after blanks and apostrophes, has one apostrophe before it, so that no
    spreadsheet runs it; taking one off such a text again gives back what it was.
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str) and value.lstrip("'" + string.whitespace)[:1] in FORMULA:
        return "'" + value
    return value


def _day(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _round(number: float | None, digits: int) -> float | None:
    return None if number is None else round(number, digits)
