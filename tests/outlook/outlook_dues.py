"""A due made by hand, for tests of what is done with dues."""

from __future__ import annotations

from datetime import date
from typing import Any

from tapwear.outlook.types import Due

AS_OF = date(2026, 6, 30)


def due(**changed: Any) -> Due:
    """A contact service of an ordinary unit, due between 2026-09-14 and 2027-05-02; `changed` fields instead."""
    fields: dict[str, Any] = {
        "unit": "BRK-T1", "station": "BRK", "region": "North", "bank": "T1", "phase": "", "state": "in service",
        "task": "contact service", "as_of": AS_OF, "last_service_on": date(2019, 3, 12),
        "last_service_counter": 104_233, "interval_operations": 70_000, "interval_years": 8.0,
        "operations_since": 61_234.0, "operations_since_low": 60_100.0, "operations_since_high": 62_800.0,
        "operations_per_year": 8_400.0, "early": date(2026, 9, 14), "middle": date(2026, 12, 20),
        "late": date(2027, 5, 2), "known": True, "overdue": False, "driver": "operations",
        "driver_share": {"operations": 0.82, "calendar": 0.15, "oil": 0.03}, "readings_used": 39,
        "readings_doubtful": 2, "last_reading_on": date(2026, 6, 16), "last_reading_value": 165_433,
        "last_sample_on": date(2026, 2, 3), "next_action": "schedule outage before 2026-09-14",
    }  # fmt: skip
    return Due(**(fields | changed))
