"""Oil of single units, made by hand for the tests of what people see."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from tapwear.oil.types import GASES, AcetyleneTrend, OilFinding, OilVerdict
from tapwear.report.oil_unit import OilUnit, Row

AS_OF = date(2026, 6, 30)
HEATING = OilFinding(
    "heating",
    "Ethylene rose from the usual 0.22 to 1.7 times acetylene.",
    {"chance that a fault has begun": 0.8, "ethylene of hot oil, mL": 1539.2},
    "IEEE C57.139",
    "our choice",
)
TREND = AcetyleneTrend(608.2, 424.3, 756.8, 11, date(2022, 5, 18), 20.06, 14.58, 26.37)


def sample(on: str, acetylene: float = 300.0, ethylene: float = 60.0, **changed: Any) -> dict[str, Any]:
    """One sample of the only compartment, all other gases 10 µL/L, by North lab."""
    row: dict[str, Any] = {
        "sample_id": int(on.replace("-", "")),
        "unit": "AH-T1",
        "sampled_on": pd.Timestamp(on),
        "compartment": "",
        "compartment_serial": "",
        "taken_from": "compartment",
        "laboratory": "North lab",
        "reference": f"N{on}",
        "breakdown_method": "IEC 60156",
        "breakdown_gap_mm": 2.5,
        **dict.fromkeys(GASES, 10.0),
        **{f"{gas}_below": False for gas in GASES},
        "moisture_mg_per_kg": float("nan"),
        "breakdown_kv": float("nan"),
        "oil_temp_c": float("nan"),
    }
    return row | {"acetylene": acetylene, "ethylene": ethylene} | changed


def verdict(call: Any = "nothing unusual", **changed: Any) -> OilVerdict:
    fields: dict[str, Any] = {"unit": "AH-T1", "as_of": AS_OF, "call": call, "samples_used": 3}
    return OilVerdict(**(fields | changed))


def pulled(**changed: Any) -> OilVerdict:
    """Opening asked for between August 2026 and January 2027, because of heating."""
    days = {
        "open_by_early": date(2026, 8, 1),
        "open_by_middle": date(2026, 10, 1),
        "open_by_late": date(2027, 1, 1),
        "findings": (HEATING,),
        "trend": TREND,
    }
    return verdict("pull forward", **(days | changed))


def unit(*samples: Row, **changed: Any) -> OilUnit:
    """AH-T1, arcing in oil, in service; samples in any order."""
    identity = {
        "unit": "AH-T1", "station": "AH", "station_name": "Alder Hill", "bank": "T1", "phase": "", "serial": "S-1042",
        "state": "in service", "technology": "arcing_resistor", "breathing": "desiccant", "oil_group": "town",
        "oil_volume_l": 300.0, "main_tank_volume_l": float("nan"), "conservator": "common", "transformer_serial": "X7",
        "sampling_needs_outage": False,
    }  # fmt: skip
    identity |= changed.pop("identity", {})
    fields: dict[str, Any] = {
        "unit": identity["unit"],
        "as_of": AS_OF,
        "identity": identity,
        "samples": tuple(sorted(samples, key=lambda row: row["sampled_on"], reverse=True)),
        "events": (),
        "verdict": verdict(),
        "stop": "",
    }
    return OilUnit(**(fields | changed))
