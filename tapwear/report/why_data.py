"""The page about one unit as data: JSON with a schema that carries its version.

stop      what stands at the unit, blank for nothing
waiting   imported rows that await confirmation and are not counted: a sentence, then a line for each; [] for none
schema    "tapwear.why/1"; the number rises when a field changes its meaning or goes away
as_of     [ISO date]
caution   what to keep in mind before any work; with a severe finding, that first
unit      the unit's row in the register: tag, station, serial, technology, and so on; null where not recorded
dues      [fields as in tapwear.due/1, clocks: {driver, early, middle, late, words}, and weighted: null, or for a
          rule that weighs operations by current {exponent, plain_since, plain_limit, ahead}: operations since the
          service as counted, how many of these use the interval up, and what one to come counts as]
services  [{done_on, work, resets, as_found_counter, as_left_counter, contact_left_mm, condemning_limit_mm}]
wear      {per_thousand, sets, measurements, last_on, left_mm, limit_mm, reach, verdict, words}: measured contacts, 10,
          50 and 90 % [mm per 1,000 operations; operations until the limit]; null where none was measured
observations  [{quantity, compartment, observed_on, value, words}]: the newest of each kind noted on visits
followups [{kind, compartment, place, words, first_on, last_on, times, origin, well_on, by}]: open ones
rate      sentences on how fast the counter runs
bands     {past_errors, words}: what the forecast's bands rest on; past_errors 0: shipped values alone
readings  [{read_on, drive, value, source, status, reason, probability}], oldest first
points    [{on, operations}]: usable visits, operations since the first of them
forecast  [{on, low, mid, high}]: the same scale, 10, 50 and 90 %
oil       {call, severe, open_by_early, open_by_middle, open_by_late, resample_by, last_sample_on, samples_used,
          evidence_since, findings, oil_work, trend}, or null; a severe finding leaves resample_by null and
          oil_work empty
"""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from tapwear.oil.types import OilVerdict
from tapwear.outlook.types import Due
from tapwear.outlook.wear import Wear
from tapwear.report.due_data import due_record
from tapwear.report.frames import json_values, newest, stops_first
from tapwear.report.plain import json_text
from tapwear.report.stories import CountStory, Subject
from tapwear.report.visit_notes import note_records
from tapwear.report.why_count import bands_words
from tapwear.words import CAUTION_SHORT, stop_notice

if TYPE_CHECKING:
    import pandas as pd

WHY_SCHEMA = "tapwear.why/1"
SERVICE_FIELDS = (
    "done_on",
    "work",
    "resets",
    "as_found_counter",
    "as_left_counter",
    "contact_left_mm",
    "condemning_limit_mm",
)


def why_json(subject: Subject) -> str:
    """The page as JSON text, see the top of this module."""
    story = subject.story
    services = [{name: row.get(name) for name in SERVICE_FIELDS} for row in _oldest(subject.services, "done_on")]
    stop = subject.stands
    page = {
        "stop": stop,
        "schema": WHY_SCHEMA,
        "as_of": subject.as_of,
        "caution": f"{stop_notice(subject.unit)} {CAUTION_SHORT}" if subject.severe else CAUTION_SHORT,
        "waiting": list(subject.waiting),
        "unit": dict(subject.identity),
        "dues": [_due(due) for due in subject.dues],
        "services": services,
        "wear": _wear(subject.wear) if subject.wear else None,
        **note_records(subject),
        "rate": list(story.rate_words) if story else [],
        "bands": _bands(story) if story else None,
        "readings": _oldest(story.readings, "read_on") if story else [],
        "points": _oldest(story.points, "on") if story else [],
        "forecast": _oldest(story.forecast, "on") if story else [],
        "oil": _oil(subject.verdict, subject.severe) if subject.verdict else None,
    }
    return json_text(stops_first(json_values(page), {subject.unit: stop} if stop else {}))


def _due(due: Due) -> dict[str, Any]:
    weighted = asdict(due.weighted) if due.weighted else None
    return due_record(due) | {"clocks": [asdict(clock) for clock in due.clocks], "weighted": weighted}


def _wear(wear: Wear) -> dict[str, Any]:
    """The wear with None for what is without end or not given: JSON knows no such numbers."""
    reach = [number if math.isfinite(number) else None for number in wear.reach] if wear.reach else None
    limit = wear.limit_mm if math.isfinite(wear.limit_mm) else None
    return asdict(wear) | {"reach": reach, "limit_mm": limit}


def _oil(verdict: OilVerdict, severe: bool) -> dict[str, Any]:
    oil = asdict(verdict)
    del oil["unit"], oil["as_of"]
    return oil | {"resample_by": None, "oil_work": []} if severe else oil


def _bands(story: CountStory) -> dict[str, object]:
    return {"past_errors": story.past_errors, "words": bands_words(story.past_errors, story.own_settings)}


def _oldest(frame: pd.DataFrame, column: str) -> list[dict[str, Any]]:
    return newest(frame, column, None)[::-1]
