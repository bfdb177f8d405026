"""The page about one unit, made by hand for the tests."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
from due_examples import AS_OF, due

from tapwear.oil.types import GASES, AcetyleneTrend, OilFinding, OilVerdict
from tapwear.report.stories import CountStory, Subject


def story() -> CountStory:
    """Ten visits 100 days apart with 1,000 operations between them; the ninth number is doubtful."""
    days = pd.date_range("2023-11-16", periods=10, freq="100D").astype("datetime64[us]")
    points = pd.DataFrame({"on": days, "operations": [1_000.0 * i for i in range(10)]})
    ahead = pd.date_range(AS_OF, periods=30, freq="14D").astype("datetime64[us]")
    forecast = pd.DataFrame(
        {
            "on": ahead,
            "low": [9_300.0 + 100 * i for i in range(30)],
            "mid": [9_360.0 + 140 * i for i in range(30)],
            "high": [9_420.0 + 180 * i for i in range(30)],
        }
    )
    readings = pd.DataFrame(
        {
            "read_on": days,
            "drive": "1",
            "value": [95_000 + 1_000 * i for i in range(10)],
            "source": "mechanical",
            "status": ["used"] * 8 + ["doubtful", "used"],
            "reason": [""] * 8 + ["two digits changed places", ""],
            "probability": [1.0] * 9 + [0.72],
        }
    )
    return CountStory(points, forecast, ("about 3,700 operations a year at present",), readings, 1_234)


def samples(acetylene: list[float], below: list[bool] | None = None, **columns: Any) -> pd.DataFrame:
    """One compartment sample every 200 days from 2024-01-01, all gases 10 µL/L but acetylene."""
    count = len(acetylene)
    frame = pd.DataFrame(
        {
            "sample_id": range(count),
            "unit": "BRK-T1",
            "compartment": "",
            "taken_from": "compartment",
            "sampled_on": pd.date_range("2024-01-01", periods=count, freq="200D").astype("datetime64[us]"),
            **{gas: [10.0] * count for gas in GASES},
            **{f"{gas}_below": [False] * count for gas in GASES},
            "moisture_mg_per_kg": float("nan"),
            "breakdown_kv": float("nan"),
        }
    )
    return frame.assign(acetylene=acetylene, acetylene_below=below or [False] * count, **columns)


def verdict(**changed: Any) -> OilVerdict:
    fields: dict[str, Any] = {
        "unit": "BRK-T1",
        "as_of": AS_OF,
        "call": "pull forward",
        "open_by_early": date(2026, 8, 1),
        "open_by_middle": date(2026, 10, 1),
        "open_by_late": date(2027, 1, 1),
        "findings": (OilFinding("heating", "ethylene has overtaken acetylene", {"ratio": 1.32}, "", "provisional"),),
        "trend": AcetyleneTrend(34.2, 20.1, 48.0, 4, date(2024, 1, 1), 1.22, 0.9, 1.6),
        "last_sample_on": date(2025, 8, 23),
        "samples_used": 4,
        "evidence_since": date(2023, 12, 1),
    }
    return OilVerdict(**(fields | changed))


def subject(**changed: Any) -> Subject:
    fields: dict[str, Any] = {
        "unit": "BRK-T1",
        "as_of": AS_OF,
        "identity": {
            "unit": "BRK-T1",
            "station": "Brackwater",
            "digits": 6,
            "technology": "arcing_resistor",
            "breathing": "desiccant",
            "state": "in service",
            "serial": "48211",
            "transformer_serial": "",
            "commissioned_on": pd.Timestamp("2004-05-11"),
            "rated_current_a": float("nan"),
        },
        "dues": (due(doubts=("2 of 41 readings doubtful",)),),
        "stays": pd.DataFrame(columns=["unit", "place", "from_on", "to_on", "state"]),
        "services": pd.DataFrame(
            [
                {
                    "done_on": pd.Timestamp("2019-03-12"),
                    "work": "overhaul",
                    "resets": ("contact service", "oil change"),
                    "as_found_counter": 104_233.0,
                    "as_left_counter": 104_251.0,
                    "contact_left_mm": 4.2,
                    "condemning_limit_mm": 2.0,
                }
            ]
        ),
        "samples": samples([0.5, 30.0, 60.0, 90.0], [True, False, False, False]),
        "oil_events": pd.DataFrame(
            {"unit": ["BRK-T1"], "happened_on": [pd.Timestamp("2024-03-01")], "kind": ["oil_changed"]}
        ),
        "verdict": verdict(),
        "story": story(),
    }
    return Subject(**(fields | changed))
