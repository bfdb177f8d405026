"""Calls and dates as of every question of a bench set, from rows dated on or before it.

    python tests/bench/oil.py --set FOLDER --counts FOLDER --out calls.csv

The counts folder gives the readings from which the operations at each sample are taken.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
from doubtful import load

from tapwear.cli.backtest_oil import told
from tapwear.counts.backtest import known_on
from tapwear.counts.clean import read_counters
from tapwear.counts.rate import RateModel, fit_rates
from tapwear.fleet import with_operations
from tapwear.oil.assess import assess
from tapwear.oil.settings import OilSettings

GAS = {
    "h2": "hydrogen",
    "ch4": "methane",
    "c2h6": "ethane",
    "c2h4": "ethylene",
    "c2h2": "acetylene",
    "co": "carbon_monoxide",
    "co2": "carbon_dioxide",
    "o2": "oxygen",
    "n2": "nitrogen",
}


def load_set(folder: Path) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Samples, events, units and questions of a set, under the names the oil layer uses."""
    raw = pd.read_csv(folder / "oil_samples.csv", dtype=str, keep_default_na=False)
    samples = pd.DataFrame(
        {
            "sample_id": np.arange(len(raw)),
            "unit": raw["unit_id"],
            "compartment": "",
            "taken_from": raw["compartment"].map({"tap_changer": "compartment", "main_tank": "main_tank"}),
            "sampled_on": pd.to_datetime(raw["sampled_on"]),
            "laboratory": raw["lab"],
            "reference": raw["sample_ref"],
            "moisture_mg_per_kg": pd.to_numeric(raw["moisture_ppm"], errors="coerce"),
            "breakdown_kv": pd.to_numeric(raw["breakdown_kv"], errors="coerce"),
            "breakdown_method": "IEC 60156 2.5 mm",
            "oil_temp_c": pd.to_numeric(raw["oil_temp_c"], errors="coerce"),
        }
    )
    for short, name in GAS.items():
        samples[name] = pd.to_numeric(raw[short].str.lstrip("<"), errors="coerce")
        samples[f"{name}_below"] = raw[short].str.startswith("<")
    events = pd.read_csv(folder / "oil_events.csv", parse_dates=["date"])
    events = events[events["known"] == 1].rename(columns={"unit_id": "unit", "date": "happened_on"})
    events["kind"] = events["kind"].replace({"lab_changed": "laboratory_changed"})
    units = pd.read_csv(folder / "oil_units.csv").rename(
        columns={"unit_id": "unit", "substation": "station", "oil_peer_group": "oil_group"}
    )
    questions = pd.read_csv(folder / "asof.csv", parse_dates=["as_of"])
    return samples, events, units, questions


class Operations:
    """Operations at each sample, from the counter readings dated on or before a question."""

    def __init__(self, folder: Path) -> None:
        self.units, self.readings, self.events, self.stays = load(folder)
        self.models: dict[pd.Timestamp, RateModel] = {}

    def lend(self, samples: pd.DataFrame, as_of: pd.Timestamp) -> pd.DataFrame:
        """The samples with their operations as known on `as_of`."""
        if as_of not in self.models:
            seen, happened, stood = known_on(self.readings, self.events, self.stays, as_of)
            history = read_counters(self.units, seen, happened, stood, as_of.date())
            self.models[as_of] = fit_rates(history, self.units, happened, stood, as_of.date())
        return with_operations(samples, self.models[as_of])


def answer(
    folder: Path, operations: Operations, settings: OilSettings | None = None, every: bool = False
) -> pd.DataFrame:
    """One row per question: unit_id, as_of, call, open_by."""
    samples, events, units, questions = load_set(folder)
    rows = []
    for as_of, asked in questions.groupby("as_of"):
        seen = operations.lend(samples[samples["sampled_on"] <= as_of], as_of)
        verdicts = {v.unit: v for v in assess(seen, events, units, as_of.date(), settings=settings)}
        for unit in asked["unit_id"]:
            v = verdicts[unit]
            call, open_by = told(v, as_of.date())
            row = {"unit_id": unit, "as_of": as_of.date(), "call": call, "open_by": open_by}
            if every:
                row |= {"middle": v.open_by_middle, "late": v.open_by_late, "findings": v.findings}
            rows.append(row)
    return pd.DataFrame(rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--set", type=Path, required=True)
    parser.add_argument("--counts", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args()
    answer(given.set, Operations(given.counts)).to_csv(given.out, index=False)


if __name__ == "__main__":
    main()
