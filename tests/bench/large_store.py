"""Makes a store of an invented fleet as large as asked, by the table models in bulk: for measurements only.

    python tests/bench/large_store.py OUT.db [--units 300] [--readings 80] [--samples 10]

Monthly readings of drifting, over-dispersed rates with one error in a hundred, yearly samples that follow them, one
overhaul in most units. As of 2026-06-30.
"""

from __future__ import annotations

import argparse
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa

from tapwear.store import models
from tapwear.store.engine import Store, create_store

AS_OF = date(2026, 6, 30)
AT = datetime(2026, 6, 30, 12, tzinfo=UTC)
PER_STATION = 8
STATIONS_PER_REGION = 25
BLOCK = 2_000  # units written in one transaction


def make(path: Path, units: int, readings: int, samples: int, seed: int = 1) -> Store:
    """A new store at `path` with that many units, readings a unit and samples a unit."""
    rng = np.random.default_rng(seed)
    store = create_store(path)
    stations = -(-units // PER_STATION)
    common = {"recorded_at": AT, "recorded_by": "bench"}
    with store.rows(writing=True) as connection:

        def add(model: Any, rows: list[dict[str, Any]]) -> None:
            if rows:
                connection.execute(sa.insert(model.__table__), rows)

        add(models.Scheme, [{"id": 1, "name": "usual"}])
        add(
            models.ServiceRule,
            [
                {"scheme_id": 1, "task": "contact service", "interval_operations": 50_000, "interval_years": 7.0,
                 "crew_hours": 64.0, "duration_days": 4.0},
                {"scheme_id": 1, "task": "inspection", "interval_operations": None,
                 "interval_years": 2.0, "crew_hours": 8.0, "duration_days": 1.0},
            ],
        )  # fmt: skip
        add(
            models.Station,
            [
                {"id": n + 1, "code": f"S{n:05d}", "region": f"R{n // STATIONS_PER_REGION:03d}",
                 "neighbourhood": f"N{n // 4:04d}"}
                for n in range(stations)
            ],
        )  # fmt: skip
    for first in range(0, units, BLOCK):
        block = np.arange(first, min(first + BLOCK, units))
        with store.rows(writing=True) as connection:
            for model, rows in _block(block, readings, samples, rng, common).items():
                connection.execute(sa.insert(model.__table__), rows)
    return store


def _block(
    block: np.ndarray, readings: int, samples: int, rng: np.random.Generator, common: dict[str, Any]
) -> dict[Any, list[dict[str, Any]]]:
    count = len(block)
    gap = rng.integers(24, 38, (count, readings))
    back = np.cumsum(gap, axis=1)[:, ::-1] - gap[:, -1:] + rng.integers(0, 25, (count, 1))
    level = rng.normal(2.0, 0.8, (count, 1)) + np.cumsum(rng.normal(0, 0.03, (count, readings)), axis=1)
    made = rng.poisson(np.exp(level + rng.normal(0, 0.1, (count, readings))) * gap)
    total = np.cumsum(made, axis=1) + rng.integers(0, 200_000, (count, 1))
    wrong = rng.random((count, readings)) < 0.01
    shown = np.where(wrong, (total * 10) % 1_000_000, total % 1_000_000)
    rows: dict[Any, list[dict[str, Any]]] = {
        model: []
        for model in (
            *(models.Place, models.Transformer, models.TapChanger, models.Compartment, models.Drive, models.Counter),
            *(models.Stay, models.Fitting, models.Reading, models.Sample, models.Service),
        )
    }
    for at, number in enumerate(map(int, block)):
        key = number + 1
        tag = f"U{number:06d}"
        rows[models.Place].append({"id": key, "station_id": number // PER_STATION + 1, "bank": f"T{number % 8 + 1}"})
        rows[models.Transformer].append({"id": key, "serial": f"TX{number:06d}"})
        rows[models.TapChanger].append(
            {"id": key, "tag": tag, "serial": f"TC{number:06d}", "scheme_id": 1, "technology": "arcing_resistor",
             "breathing": "free", "peer_group": f"duty {number % 4}", "oil_group": f"type {number % 6}",
             "commissioned_on": date(2005, 1, 1) + timedelta(days=number % 3000)}
        )  # fmt: skip
        rows[models.Compartment].append({"tap_changer_id": key, "oil_volume_l": 150.0 + 10 * (number % 20)})
        rows[models.Drive].append({"id": key})
        rows[models.Counter].append({"id": key, "drive_id": key, "digits": 6})
        rows[models.Stay].append({"uid": f"y{number}", "tap_changer_id": key, "place_id": key, "transformer_id": key,
                                  **common})  # fmt: skip
        rows[models.Fitting].append({"uid": f"f{number}", "tap_changer_id": key, "drive_id": key, **common})
        days = [AS_OF - timedelta(days=int(day)) for day in back[at]]
        rows[models.Reading].extend(
            {"uid": f"r{number}.{visit}", "counter_id": key, "read_on": days[visit], "value": int(shown[at, visit]),
             "reader": "Kim", **common}
            for visit in range(readings)
        )  # fmt: skip
        served = int(rng.integers(0, readings))
        if number % 10:
            rows[models.Service].append(
                {"uid": f"s{number}", "tap_changer_id": key, "done_on": days[served], "work": "overhaul",
                 "resets": "contact service;inspection;oil change", **common}
            )  # fmt: skip
        base = float(rng.lognormal(3.5, 0.7))
        rows[models.Sample].extend(
            {"uid": f"o{number}.{year}", "tap_changer_id": key, "sampled_on": AS_OF - timedelta(days=365 * year + 20),
             "laboratory": "North lab",
             "acetylene_ul_per_l": round(base * float(rng.lognormal(0, 0.2)), 1),
             "ethylene_ul_per_l": round(base / 4 * float(rng.lognormal(0, 0.2)), 1),
             "hydrogen_ul_per_l": round(base * float(rng.lognormal(0, 0.3)), 1),
             "methane_ul_per_l": round(base / 6 * float(rng.lognormal(0, 0.3)), 1),
             "ethane_ul_per_l": round(base / 12 * float(rng.lognormal(0, 0.3)), 1), **common}
            for year in range(samples)
        )  # fmt: skip
    return {model: given for model, given in rows.items() if given}


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--units", type=int, default=300)
    parser.add_argument("--readings", type=int, default=80)
    parser.add_argument("--samples", type=int, default=10)
    asked = parser.parse_args()
    make(asked.out, asked.units, asked.readings, asked.samples)
    print(f"{asked.out}: {asked.out.stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
