"""Time and memory of importing a very large file of readings, once and once more.

python tests/bench/speed_import.py --out FOLDER [--readings 1000000]
"""

from __future__ import annotations

import argparse
import random
import resource
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from tapwear.store.engine import create_store
from tapwear.store.importing import store_intake
from tapwear.visits.reading import read_paths

UNITS = 2_000
TODAY = date(2026, 11, 1)


def write_fleet(folder: Path, readings: int) -> None:
    """Units and fortnightly readings of an invented fleet, as CSV files in our own headings."""
    rng = random.Random(1)
    with (folder / "units.csv").open("w", encoding="utf-8") as file:
        file.write("unit,station,counter_digits\n")
        file.writelines(f"U{unit:05d},S{unit // 10:03d},6\n" for unit in range(UNITS))
    with (folder / "readings.csv").open("w", encoding="utf-8") as file:
        file.write("unit,read_on,value,reader\n")
        for unit in range(UNITS):
            value = 0
            for visit in range(readings // UNITS):
                value += rng.randrange(400)
                day = date(2000, 1, 1) + timedelta(days=14 * visit)
                file.write(f"U{unit:05d},{day},{value % 1_000_000},R{rng.randrange(40):02d}\n")


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--readings", type=int, default=1_000_000)
    asked = parser.parse_args()
    asked.out.mkdir(parents=True)
    write_fleet(asked.out, asked.readings)
    store = create_store(asked.out / "fleet.db")
    for name in ("units.csv", "readings.csv", "readings.csv"):
        begun = time.perf_counter()
        intake = read_paths([asked.out / name])
        read = time.perf_counter()
        result = store_intake(store, intake, by="bench", now=datetime.now(UTC), today=TODAY, what=name)
        stored = time.perf_counter()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
        print(
            f"{name}: read {read - begun:.1f} s, store {stored - read:.1f} s, peak {peak:.2f} GB; "
            f"stored {result.total('stored'):,}, known {result.total('known'):,}"
        )


if __name__ == "__main__":
    main()
