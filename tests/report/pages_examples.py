"""A fleet made by hand, for the tests of the report."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
from due_examples import AS_OF, OVERDUE, SEVERE_ONE, UNKNOWN, UNREAD, due, outlook
from why_examples import subject, verdict

from tapwear.oil.types import OilVerdict
from tapwear.outlook.types import Due
from tapwear.report.oil_unit import OilUnit
from tapwear.report.pages_fleet import Fleet
from tapwear.report.stories import Subject

LATER = due(unit="FAR-T1", early=date(2034, 2, 1), middle=None, late=None)
ORDINARY = due()
DUES = (SEVERE_ONE, OVERDUE, ORDINARY, UNKNOWN, UNREAD, LATER)


def readings(**last: str) -> pd.DataFrame:
    """Two used readings a unit, then one whose status is given by unit (`BRK_T1="doubtful"`)."""
    rows = []
    for one in DUES:
        tag = one.unit
        status = last.get(tag.replace("-", "_"), "used")
        for day, how in (("2026-01-10", "used"), ("2026-03-10", "used"), ("2026-06-10", status)):
            reason = "digits transposed?" if how == "doubtful" else ""
            rows.append((tag, "1", pd.Timestamp(day), 95_000, "mechanical", how, reason, 1.0))
    names = ["unit", "drive", "read_on", "value", "source", "status", "reason", "probability"]
    return pd.DataFrame(rows, columns=names)


def oil_unit(tag: str, found: OilVerdict | None = None, **changed: Any) -> OilUnit:
    fields: dict[str, Any] = {
        "unit": tag,
        "as_of": AS_OF,
        "identity": {"unit": tag, "station": "Brackwater", "state": "in service"},
        "samples": (),
        "events": (),
        "verdict": found,
        "stop": "",
    }
    return OilUnit(**(fields | changed))


def fleet(*dues: Due, **changed: Any) -> Fleet:
    """Six units: severe, overdue, ordinary, without date, never read, and one due long after; or the dues given."""
    some = dues or DUES
    tags = list(dict.fromkeys(one.unit for one in some))
    fields: dict[str, Any] = {
        "as_of": AS_OF,
        "identities": tuple({"unit": tag, "station": "Brackwater", "state": "in service"} for tag in tags),
        "outlook": outlook(*some),
        "oil": {tag: oil_unit(tag) for tag in tags},
        "readings": readings(),
        "conditions": {},
        "rules": pd.DataFrame(
            {
                "unit": tags,
                "task": "contact service",
                "interval_operations": 70_000.0,
                "interval_years": 8.0,
                "provenance": "manual",
            }
        ),
        "asked": (),
        "in_store": len(tags),
    }
    return Fleet(**(fields | changed))


def page_subject(tag: str, **changed: Any) -> Subject:
    """What the page of one of the fleet's units rests on."""
    own = tuple(one for one in DUES if one.unit == tag)
    given: dict[str, Any] = {"unit": tag, "dues": own, "verdict": verdict(unit=tag)}
    return subject(**(given | changed))
