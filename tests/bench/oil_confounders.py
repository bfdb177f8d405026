"""How often sound units are pulled forward when something else than a fault happens to their oil.

    python tests/bench/oil_confounders.py [--units 400] [--seed 1]

Simulates a fleet of sound units twice, with and without one disturbance each, and assesses both as of every
quarter of the two years after it. Prints the share of units that are pulled forward at any of those dates.
The simulation is of its own making: gas per operation, loss through the breather, laboratories with errors
and biases, detection limits.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np
import pandas as pd

from tapwear.oil.assess import assess
from tapwear.oil.settings import READ_GASES

MONTHS = 12 * 9
START = pd.Timestamp("2015-01-01")
DISTURBED_AT = 12 * 7  # months after the start
LOSS = np.array([3.0, 1.2, 0.4, 0.6, 0.8])  # [1/year], the gases in the order of READ_GASES
ARC_MIX = np.array([0.7, 0.12, 0.04, 0.3, 1.0])  # relative to acetylene
LIMIT = np.array([5.0, 1.0, 1.0, 1.0, 0.5])  # [uL/L]
CONFOUNDERS = (
    "nothing",
    "rate changed",
    "oil changed, recorded",
    "oil changed, not recorded",
    "degassed, recorded",
    "degassed, not recorded",
    "breather changed, recorded",
    "breather changed, not recorded",
    "laboratory changed",
    "laboratory biased",
    "one air-exposed sample",
    "labels exchanged",
    "gas left after a repair",
    "common conservator",
)


@dataclass(frozen=True)
class Fleet:
    """The three frames that the oil layer reads, and what was simulated."""

    samples: pd.DataFrame
    events: pd.DataFrame
    units: pd.DataFrame


def simulate(kind: str, count: int, seed: int) -> Fleet:
    """A fleet of `count` sound units, each disturbed once in the way of `kind`."""
    base = np.random.default_rng(seed)  # the same draws for every kind, so that fleets are twins
    other = np.random.default_rng(seed + 1)
    vacuum = np.arange(count) % 3 == 2
    breathing = np.where(vacuum, np.where(np.arange(count) % 6 == 2, "sealed", "desiccant"), "free")
    volume = base.choice([180.0, 400.0, 900.0, 1900.0], count)
    per_1000 = np.exp(base.normal(np.log(40.0), 0.6, count))  # mL acetylene per 1000 operations
    ethylene = np.exp(base.normal(0.0, 0.5, count))
    rate = np.exp(base.normal(np.log(6.0), 0.8, count))  # thousand operations a year
    every = base.choice([6, 6, 12], count)
    phase = base.integers(0, 6, count)
    bias = base.normal(0.0, 0.10, (4, 5))
    laboratory = base.integers(0, 3, count)
    stray = np.exp(base.normal(np.log([1.5, 4.0, 6.0, 3.0, 0.03]), 0.4, (count, 5)))  # vacuum units [uL/L a year]
    loss = LOSS * np.where(breathing == "sealed", 0.15, np.where(vacuum, 0.5, 1.0))[:, None]
    loss = loss * np.exp(base.normal(0.0, 0.15, count))[:, None]
    noise = base.normal(0.0, 0.12, (count, MONTHS, 5))
    wander = np.cumsum(base.normal(0.0, 0.015, (count, MONTHS)), axis=1)
    tank_start = 6.0 if kind == "common conservator" else 0.0
    tank = np.full(count, tank_start)
    held = np.zeros((count, 5))
    made = np.zeros(count)
    hot = np.zeros(count)
    rows, events = [], []
    for month in range(MONTHS):
        after = month >= DISTURBED_AT
        busy = rate * (1.0 + 0.3 * np.sin(2 * np.pi * month / 12.0))
        if after and kind == "rate changed":
            busy = busy * np.where(np.arange(count) % 2 == 0, 2.2, 0.4)
        k = loss
        if after and kind.startswith("breather"):
            k = loss * np.where(np.arange(count) % 2 == 0, 1.6, 0.6)[:, None]
        mix = ARC_MIX * np.stack([np.ones(count), ethylene, ethylene, ethylene, np.ones(count)], axis=1)
        arc = (per_1000 * busy / volume * 1000.0)[:, None] * mix * np.exp(wander[:, month])[:, None]
        made_a_year = np.where(vacuum[:, None], stray, arc)
        if month == 0:
            held = made_a_year / np.maximum(k, 0.2)
        held = held * np.exp(-k / 12.0) + made_a_year * (1.0 - np.exp(-k / 12.0)) / k
        made = made + busy / 12.0
        if kind == "gas left after a repair" and DISTURBED_AT - 18 <= month < DISTURBED_AT:
            grown = np.exp((month - DISTURBED_AT) / 4.0) * 3.0e6 / volume / 4.0  # hot contacts, until the repair
            hot = hot + grown / 10.0
            held = held + np.stack([hot * 0, grown * 0.05, grown * 0.03, grown * 0.1, grown * 0.002], axis=1)
        if month == DISTURBED_AT:
            held = _disturb(kind, held, events, count, other)
        if kind == "gas left after a repair" and DISTURBED_AT < month <= DISTURBED_AT + 3:
            held = held + np.stack([hot * 0, hot * 0.01, hot * 0.006, hot * 0.02, hot * 0.0004], axis=1) * 0.1
        if kind == "common conservator":
            tank = tank + 0.02 * (0.01 * held[:, 4] - tank) * 1.0
        due = (month + phase) % every == 0
        lab = laboratory.copy()
        if after and kind == "laboratory changed":
            lab = (laboratory + 1) % 3
        shift = bias[lab]
        if after and kind == "laboratory biased":
            shift = shift + np.array([0.1, -0.1, 0.1, 0.12, -0.1])
        value = held * np.exp(noise[:, month] + shift)
        if kind == "one air-exposed sample" and DISTURBED_AT <= month < DISTURBED_AT + every.max():
            first = due & (month < DISTURBED_AT + every)
            value = np.where(first[:, None], value * np.array([0.15, 0.7, 0.85, 0.8, 0.8]), value)
        if kind == "labels exchanged" and DISTURBED_AT <= month < DISTURBED_AT + 12:
            pairs = np.arange(count) ^ 1
            both = due & due[pairs] & (month < DISTURBED_AT + np.maximum(every, every[pairs]))
            value = np.where(both[:, None], value[pairs], value)
        day = START + pd.DateOffset(months=month)
        for i in np.flatnonzero(due):
            rows.append((i, "compartment", day, lab[i], made[i], value[i]))
            if tank_start:
                seen = np.array([20.0, 30.0, 30.0, 20.0, tank[i]]) * np.exp(noise[i, month])
                rows.append((i, "main_tank", day, lab[i], made[i], seen))
    return Fleet(_samples(rows), _events(events), _units(count, vacuum, breathing, volume, kind))


def _disturb(
    kind: str, held: np.ndarray, events: list[tuple[int, str]], count: int, random: np.random.Generator
) -> np.ndarray:
    left = random.uniform(0.05, 0.20, (count, 1))
    if kind.startswith(("oil changed", "degassed")):
        if kind.endswith(", recorded"):
            events += [(i, "oil_changed" if kind.startswith("oil") else "oil_degassed") for i in range(count)]
        return held * left
    if kind == "gas left after a repair":
        events += [(i, "overhaul") for i in range(count)]
        return held * left
    if kind == "breather changed, recorded":
        events += [(i, "breather_changed") for i in range(count)]
    return held


def _samples(rows: list[tuple]) -> pd.DataFrame:
    unit, taken, day, lab, made, value = zip(*rows, strict=True)
    gas = np.array(value)
    below = gas < LIMIT
    out = pd.DataFrame(
        {
            "sample_id": np.arange(len(unit)),
            "unit": [f"U{i:04d}" for i in unit],
            "compartment": "",
            "taken_from": taken,
            "sampled_on": pd.to_datetime(pd.Series(day)),
            "laboratory": [f"laboratory {i}" for i in lab],
            "reference": "",
            "moisture_mg_per_kg": np.nan,
            "breakdown_kv": np.nan,
            "breakdown_method": "",
            "oil_temp_c": np.nan,
        }
    )
    for g, name in enumerate(READ_GASES):
        out[name] = np.where(below[:, g], LIMIT[g], np.round(gas[:, g], 1))
        out[f"{name}_below"] = below[:, g]
    operations = np.array(made) * 1000.0
    for name, error in (("low", -0.01), ("mid", 0.0), ("high", 0.01)):
        out[f"operations_{name}"] = operations * (1.0 + error)
    return out


def _events(events: list[tuple[int, str]]) -> pd.DataFrame:
    day = START + pd.DateOffset(months=DISTURBED_AT) + pd.DateOffset(days=1)
    return pd.DataFrame(
        {
            "unit": [f"U{i:04d}" for i, _ in events],
            "happened_on": pd.to_datetime(pd.Series([day] * len(events), dtype="datetime64[ns]")),
            "kind": [kind for _, kind in events],
        }
    )


def _units(count: int, vacuum: np.ndarray, breathing: np.ndarray, volume: np.ndarray, kind: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "unit": [f"U{i:04d}" for i in range(count)],
            "station": [f"S{i // 2:03d}" for i in range(count)],
            "technology": np.where(vacuum, "vacuum", "arcing_resistor"),
            "breathing": breathing,
            "oil_group": np.where(vacuum, "V", "A"),
            "oil_volume_l": volume,
            "main_tank_volume_l": 20000.0,
            "conservator": "common" if kind == "common conservator" else "separate",
            "rated_current_a": 400.0,
            "step_voltage_v": 1000.0,
        }
    )


def pulled(fleet: Fleet) -> tuple[float, float]:
    """Shares of units pulled forward, and asked for another sample, at any quarter after the disturbance."""
    pull: set[str] = set()
    again: set[str] = set()
    for months in range(DISTURBED_AT + 3, MONTHS + 1, 3):
        as_of = (START + pd.DateOffset(months=months)).date()
        for verdict in assess(fleet.samples, fleet.events, fleet.units, as_of):
            if verdict.call == "pull forward":
                pull.add(verdict.unit)
            elif verdict.call == "resample":
                again.add(verdict.unit)
    return len(pull) / len(fleet.units), len(again - pull) / len(fleet.units)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="one disturbance by name")
    given = parser.parse_args()
    print(f"{'disturbance':28s} pulled forward   another sample")
    for kind in [given.only] if given.only else CONFOUNDERS:
        pull, again = pulled(simulate(kind, given.units, given.seed))
        print(f"{kind:28s} {100 * pull:10.1f} %     {100 * again:8.1f} %")


if __name__ == "__main__":
    main()
