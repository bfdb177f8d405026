"""A report as data: JSON with a schema that carries its version. The schema stands in schema/report-1.json.

schema    "tapwear.report/1"; the number rises when a field changes its meaning or goes away; fields may be added
as_of     [ISO date]
caution   what to keep in mind before any work; with a severe finding anywhere, that first
asked     the units that were named; [] for the whole fleet
units     how many units the report covers
summary   the state of the fleet, as sentences
rests_on  the assumptions behind the dates, as sentences
severe    units at which severe arcing or heating is suspected
conditions  [{unit, noted_on, kind, words, author, act_by, severe}]: noted by people and still open
dues      [fields as in tapwear.due/1]: every task of every unit, most pressing first
pages     [objects as in tapwear.why/1]: the evidence of the units that have a page
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import asdict
from typing import Any

from tapwear.report.due_data import due_record
from tapwear.report.frames import json_values
from tapwear.report.pages_fleet import Fleet, summary
from tapwear.report.pages_rests import rests_on
from tapwear.report.plain import json_text
from tapwear.report.stories import Subject
from tapwear.report.why_data import why_json
from tapwear.words import CAUTION_SHORT, stop_notice

REPORT_SCHEMA = "tapwear.report/1"


def pages_json(fleet: Fleet, subjects: Iterable[Subject], done: Callable[[int], None]) -> str:
    """The report as JSON text, see the top of this module; `done` is told after each page."""
    severe = fleet.severe()
    page = {
        "schema": REPORT_SCHEMA,
        "as_of": fleet.as_of,
        "caution": f"{stop_notice()} {CAUTION_SHORT}" if severe else CAUTION_SHORT,
        "asked": list(fleet.asked),
        "units": len(fleet.identities),
        "summary": summary(fleet),
        "rests_on": rests_on(fleet),
        "severe": severe,
        "conditions": [{"unit": tag} | asdict(one) for tag, some in fleet.conditions.items() for one in some],
        "dues": [due_record(due) for due in fleet.outlook.dues],
    }
    return json_text(json_values(page) | {"pages": _pages(subjects, done)}) + "\n"  # pages are plain already


def _pages(subjects: Iterable[Subject], done: Callable[[int], None]) -> list[Any]:
    """Each page in the very form in which `tapwear why --json` gives it."""
    found = []
    for subject in subjects:
        found.append(json.loads(why_json(subject)))
        done(1)
    return found
