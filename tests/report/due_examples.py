"""Dues made by hand, for the tests of what people see."""

from __future__ import annotations

from datetime import date
from typing import Any

from tapwear.outlook.types import Clock, Due, Outlook

AS_OF = date(2026, 6, 30)


def due(**changed: Any) -> Due:
    """A contact service of an ordinary unit, due between 2026-09-14 and 2027-05-02; `changed` fields instead."""
    fields: dict[str, Any] = {
        "unit": "BRK-T1",
        "station": "Brackwater",
        "region": "North",
        "bank": "T1",
        "phase": "",
        "state": "in service",
        "task": "contact service",
        "as_of": AS_OF,
        "last_service_on": date(2019, 3, 12),
        "last_service_counter": 104_233,
        "interval_operations": 70_000,
        "interval_years": 8.0,
        "operations_since": 61_234.0,
        "operations_since_low": 60_100.0,
        "operations_since_high": 62_800.0,
        "operations_per_year": 8_400.0,
        "early": date(2026, 9, 14),
        "middle": date(2026, 12, 20),
        "late": date(2027, 5, 2),
        "known": True,
        "overdue": False,
        "driver": "operations",
        "driver_share": {"operations": 0.82, "calendar": 0.15, "oil": 0.03},
        "clocks": (
            Clock("operations", date(2026, 9, 14), date(2026, 12, 20), date(2027, 5, 2), "70,000 operations"),
            Clock("calendar", date(2027, 3, 12), date(2027, 3, 12), date(2027, 3, 12), "8 years"),
            Clock("oil", None, None, None, "nothing unusual"),
        ),
        "readings_used": 39,
        "readings_doubtful": 2,
        "last_reading_on": date(2026, 6, 16),
        "last_reading_value": 165_433,
        "last_sample_on": date(2026, 2, 3),
        "next_action": "schedule outage before 2026-09-14",
    }
    return Due(**(fields | changed))


OVERDUE = due(
    unit="HAL-T1",
    station="Halloway",
    early=date(2025, 1, 10),
    middle=date(2025, 5, 20),
    late=date(2025, 11, 2),
    overdue=True,
    doubts=("2 of 41 readings doubtful",),
    next_action="plan the contact service now",
)
UNKNOWN = due(
    unit="OLD-T4",
    station="Old Quay",
    region="South",
    last_service_on=None,
    last_service_counter=None,
    operations_since=None,
    operations_since_low=None,
    operations_since_high=None,
    early=None,
    middle=None,
    late=None,
    known=False,
    driver="unknown",
    driver_share={},
    clocks=(),
    bounds=(date(2011, 4, 2), date(2033, 6, 30)),
    bounds_words="if never serviced: overdue since 2011-04-02; if serviced today: next due 2033-06-30",
    doubts=("last contact service unknown",),
    next_action="find when the last contact service was done and log it (tapwear service OLD-T4)",
)
UNREAD = due(
    unit="NEW-T1",
    early=date(2035, 1, 1),
    middle=date(2038, 1, 1),
    late=None,
    readings_used=0,
    readings_doubtful=0,
    last_reading_on=None,
    last_reading_value=None,
    next_action="read the counter",
)
FAR = due(unit="FAR-T1", early=date(2034, 2, 1), middle=None, late=None)
SEVERE_ONE = due(
    unit="MIR-T2",
    severe=True,
    early=AS_OF,
    middle=AS_OF,
    late=date(2026, 7, 30),
    overdue=True,
    driver="oil",
    driver_share={"oil": 1.0},
    next_action="take another oil sample by 2026-07-05",
)


def outlook(*dues: Due) -> Outlook:
    return Outlook(AS_OF, dues)
