"""Dues and jobs that the tests of the plan write down themselves."""

from __future__ import annotations

from datetime import date
from typing import Any

from tapwear.outlook.types import Due
from tapwear.plan.types import Job

AS_OF = date(2026, 6, 30)


def due(unit: str, early: str | None = "2027-03-01", **given: Any) -> Due:
    """A contact service that is due on one day for sure, unless told otherwise."""
    day = date.fromisoformat(early) if early else None
    values: dict[str, Any] = {
        "unit": unit, "station": "ALDER", "region": "North", "bank": unit, "phase": "", "state": "in service",
        "task": "contact service", "as_of": AS_OF, "last_service_on": None, "last_service_counter": None,
        "interval_operations": 50_000, "interval_years": None, "operations_since": None, "operations_since_low": None,
        "operations_since_high": None, "operations_per_year": None, "early": day, "middle": day, "late": day,
        "known": day is not None, "overdue": False, "driver": "operations" if day else "unknown",
    }  # fmt: skip
    return Due(**{**values, **given})


def job(unit: str, on: str = "2027-03-01", station: str = "ALDER", region: str = "North", **given: Any) -> Job:
    """A job of a week and 80 crew hours, due on one day for sure."""
    day = date.fromisoformat(on)
    values: dict[str, Any] = {"weeks": 1, "crew_hours": 80.0, "task": "contact service"} | given
    task = values.pop("task")
    return Job(f"{unit} / {task}", unit, task, station, region, unit, day, day, day, **values)
