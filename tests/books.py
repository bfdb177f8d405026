"""Small books made by hand, for tests of what stands above the store."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
import pandas as pd

from tapwear.store.book import Book

AS_OF = date(2026, 6, 30)
GASES = (
    *("hydrogen", "methane", "ethane", "ethylene", "acetylene"),
    *("carbon_monoxide", "carbon_dioxide", "oxygen", "nitrogen"),
)


def _empty(*columns: str, dates: Sequence[str] = ()) -> pd.DataFrame:
    return pd.DataFrame(
        {name: pd.Series(dtype="datetime64[us]" if name in dates else "object") for name in (*columns, *dates)}
    )


def unit_row(unit: str, **changes: object) -> dict[str, object]:
    """One row of Book.units for a plain unit in service."""
    row: dict[str, object] = {
        "unit": unit, "station": "AH", "station_name": "Alder Hill", "region": "North", "neighbourhood": "",
        "bank": "T1", "phase": "", "place": f"AH/{unit}", "state": "in service", "serial": "",
        "transformer_serial": "", "technology": "arcing_resistor", "breathing": "desiccant", "peer_group": "",
        "oil_group": "", "oil_volume_l": 200.0, "main_tank_volume_l": 20000.0, "conservator": "separate",
        "rated_current_a": 400.0, "step_voltage_v": 1000.0, "commissioned_on": pd.Timestamp("2010-01-01"),
        "scheme": "", "visit_cadence": "", "sampling_needs_outage": False, "digits": 6,
    }  # fmt: skip
    return row | changes


def rule_row(unit: str, **changes: object) -> dict[str, object]:
    """One row of Book.rules: a contact service every 50,000 operations or 7 years."""
    row: dict[str, object] = {
        "unit": unit, "task": "contact service", "interval_operations": 50_000.0, "interval_years": 7.0,
        "duration_days": 2.0, "crew_hours": 40.0, "kit": "", "lead_time_weeks": np.nan, "provenance": "",
    }  # fmt: skip
    return row | changes


def service_row(unit: str, done_on: str, **changes: object) -> dict[str, object]:
    """One row of Book.services: an overhaul that resets the contact service."""
    row: dict[str, object] = {
        "service_id": 1, "unit": unit, "done_on": pd.Timestamp(done_on), "work": "overhaul",
        "resets": ("contact service",), "serial_seen": "", "as_found_counter": np.nan, "as_left_counter": np.nan,
        "contact_left_mm": np.nan, "condemning_limit_mm": np.nan, "done_by": "", "remark": "",
    }  # fmt: skip
    return row | changes


def steady_readings(
    unit: str, a_day: float, *, start: str = "2018-01-01", end: date = AS_OF, every: int = 91, first: int = 1000
) -> list[dict[str, object]]:
    """Readings of a unit that makes `a_day` operations a day, every `every` days up to `end`."""
    begin = date.fromisoformat(start)
    days = range(0, (end - begin).days + 1, every)
    return [
        {
            "reading_id": hash((unit, day)) % 10**9, "unit": unit, "drive": "1", "source": "mechanical",
            "read_on": pd.Timestamp(begin + timedelta(days=day)), "value": (first + round(a_day * day)) % 10**6,
            "digits": 6,
        }
        for day in days
    ]  # fmt: skip


def book(
    units: Sequence[dict[str, object]],
    rules: Sequence[dict[str, object]] = (),
    readings: Sequence[dict[str, object]] = (),
    services: Sequence[dict[str, object]] = (),
    samples: Sequence[dict[str, object]] = (),
) -> Book:
    """A book of the given rows, everything else empty."""
    none_rule, none_service = _empty(*rule_row("")), _empty(*service_row("", "2020-01-01"), dates=["done_on"])
    reading_columns = ("reading_id", "unit", "drive", "source", "value", "digits")
    sample_columns = (
        *("sample_id", "unit", "compartment", "taken_from", "laboratory", "reference"),
        *("moisture_mg_per_kg", "breakdown_kv", "breakdown_method", "oil_temp_c"),
        *GASES,
        *(f"{gas}_below" for gas in GASES),
    )
    return Book(
        units=pd.DataFrame(list(units)),
        rules=pd.DataFrame(list(rules)) if rules else none_rule,
        readings=pd.DataFrame(list(readings)) if readings else _empty(*reading_columns, dates=["read_on"]),
        events=_empty("unit", "kind", "drive", "old_reading", "new_reading", dates=["happened_on"]),
        stays=_empty("unit", "place", "state", dates=["from_on", "to_on"]),
        samples=pd.DataFrame(list(samples)) if samples else _empty(*sample_columns, dates=["sampled_on"]),
        oil_events=_empty("unit", "kind", dates=["happened_on"]),
        services=pd.DataFrame(list(services)) if services else none_service,
        closures=_empty("station", "why", dates=["from_on", "to_on"]),
        transfer_groups=_empty("group", "station", "unit"),
        crews=_empty("region", "week", "hours"),
    )
