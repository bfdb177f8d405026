"""Small oil frames for tests: like units with steady gas, one of which a test may change."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pandas as pd

from tapwear.oil.assess import assess
from tapwear.oil.settings import READ_GASES
from tapwear.oil.types import OilVerdict

ARCING_GAS = np.array([500.0, 100.0, 40.0, 240.0, 800.0])  # hydrogen, methane, ethane, ethylene, acetylene [uL/L]
VACUUM_GAS = np.array([12.0, 10.0, 30.0, 12.0, 0.4])
LIMITS = np.array([5.0, 1.0, 1.0, 1.0, 0.5])
START = pd.Timestamp("2016-03-01")
SAMPLES = 16  # one every half year
AS_OF = date(2024, 1, 10)

Change = Callable[[np.ndarray, np.ndarray], np.ndarray]  # gas (n, 5), years before the newest (n,) -> gas


def steady(count: int, vacuum: bool, seed: int = 1) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Samples and units of `count` sound like units T1, T2 ... with 8 % of laboratory error."""
    random = np.random.default_rng(seed)
    level = VACUUM_GAS if vacuum else ARCING_GAS
    frames = []
    for i in range(count):
        gas = level * np.exp(random.normal(0.0, 0.08, (SAMPLES, 5)))
        frames.append(rows(f"T{i + 1}", gas))
    units = pd.DataFrame(
        {
            "unit": [f"T{i + 1}" for i in range(count)],
            "station": [f"S{i // 2}" for i in range(count)],
            "technology": "vacuum" if vacuum else "arcing_resistor",
            "breathing": "desiccant" if vacuum else "free",
            "oil_group": "like",
            "oil_volume_l": 300.0,
            "main_tank_volume_l": 15000.0,
            "conservator": "separate",
            "rated_current_a": 400.0,
            "step_voltage_v": 1000.0,
        }
    )
    return pd.concat(frames, ignore_index=True), units


def rows(unit: str, gas: np.ndarray, taken_from: str = "compartment", shift_days: int = 0) -> pd.DataFrame:
    """Samples of one unit, one every half year, from concentrations (n, 5) [uL/L]."""
    n = len(gas)
    days = [START + pd.DateOffset(months=6 * i, days=shift_days) for i in range(SAMPLES - n, SAMPLES)]
    years = np.array([(d - START).days / 365.25 for d in days])
    frame = pd.DataFrame(
        {
            "sample_id": np.arange(n) + 1000 * (int(unit[1:]) + (500 if taken_from == "main_tank" else 0)),
            "unit": unit,
            "compartment": "",
            "taken_from": taken_from,
            "sampled_on": pd.to_datetime(pd.Series(days)),
            "laboratory": "North",
            "reference": "",
            "moisture_mg_per_kg": np.nan,
            "breakdown_kv": np.nan,
            "breakdown_method": "",
            "oil_temp_c": np.nan,
            "operations_low": 6000.0 * years * 0.99,
            "operations_mid": 6000.0 * years,
            "operations_high": 6000.0 * years * 1.01,
        }
    )
    for g, name in enumerate(READ_GASES):
        below = gas[:, g] < LIMITS[g]
        frame[name] = np.where(below, LIMITS[g], gas[:, g])
        frame[f"{name}_below"] = below
    return frame


def changed(samples: pd.DataFrame, unit: str, change: Change, taken_from: str = "compartment") -> pd.DataFrame:
    """The samples with the gas of one unit passed through `change`."""
    out = samples.copy()
    mine = (out["unit"] == unit) & (out["taken_from"] == taken_from)
    day = out.loc[mine, "sampled_on"]
    before = ((day.max() - day).dt.days / 365.25).to_numpy()
    gas = change(out.loc[mine, list(READ_GASES)].to_numpy(), before)
    for g, name in enumerate(READ_GASES):
        out.loc[mine, name] = np.maximum(gas[:, g], LIMITS[g])
        out.loc[mine, f"{name}_below"] = gas[:, g] < LIMITS[g]
    return out


def no_events(**events: list[tuple[str, str]]) -> pd.DataFrame:
    """Oil events, kind=[(unit, day)], or none."""
    found = [(unit, pd.Timestamp(day), kind) for kind, rows_ in events.items() for unit, day in rows_]
    frame = pd.DataFrame(found, columns=["unit", "happened_on", "kind"])
    frame["happened_on"] = pd.to_datetime(frame["happened_on"])
    return frame


def verdict_on(
    samples: pd.DataFrame, units: pd.DataFrame, unit: str, as_of: date = AS_OF, events: pd.DataFrame | None = None
) -> OilVerdict:
    """The verdict on one unit."""
    found = assess(samples, no_events() if events is None else events, units, as_of)
    return next(v for v in found if v.unit == unit)


def heated(half_life_years: float, now: float) -> Change:
    """Ethylene `now` [uL/L] beyond the usual at the newest sample, less before; methane and ethane with it."""

    def change(gas: np.ndarray, before: np.ndarray) -> np.ndarray:
        extra = now * 0.5 ** (before / half_life_years)
        return gas + extra[:, None] * np.array([0.3, 0.55, 0.4, 1.0, 0.0])

    return change


def words_of(verdict: OilVerdict) -> str:
    """All the sentences of a verdict."""
    return "\n".join(f.words for f in (*verdict.findings, *verdict.oil_work))
