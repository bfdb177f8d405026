"""How many operations each unit has made since its last service, as of past days, on a folder of simulated counts.

    python tests/bench/since.py --counts DIR --services FILE --asof FILE --out FILE

DIR holds units.csv, readings.csv and events.csv. FILE of --services: unit, done_on, work; of --asof: unit_id, as_of.
Each day is answered from rows dated on or before it, by the dues that `tapwear due --json` prints. Writes unit_id,
as_of, low, mid, high (operations since the last service; 10, 50, 90 %), doubt (1 where the due says anything that
makes it doubtful, oil apart: there are no samples here) and the doubts in words.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from books import book, rule_row, service_row, unit_row
from doubtful import load

from tapwear.counts.backtest import known_on
from tapwear.fleet import assess_book
from tapwear.store.book import Book

INTERVAL = 1e6  # far beyond every count here, so that no due is merged with another date [operations]


def fleet(folder: Path, services: pd.DataFrame) -> Book:
    """The folder as a book in which every unit has one rule and its services."""
    units, readings, events, stays = load(folder)
    rows = [
        unit_row(one.unit, station=one.station, place=one.place, bank="", peer_group=one.peer_group,
                 commissioned_on=one.commissioned_on)
        for one in units.itertuples()
    ]  # fmt: skip
    made = book(
        units=rows,
        rules=[rule_row(unit, interval_operations=INTERVAL, interval_years=np.nan) for unit in units["unit"]],
        services=[service_row(one.unit, one.done_on) for one in services.itertuples()],
    )
    return Book(**{**vars(made), "readings": readings, "events": events, "stays": stays})


def answer(whole: Book, asked: pd.DataFrame) -> pd.DataFrame:
    """low, mid, high, doubt and words of every row of `asked`, in its order."""
    found = {}
    for text in sorted(set(asked["as_of"])):
        day = pd.Timestamp(text)
        seen, happened, stood = known_on(whole.readings, whole.events, whole.stays, day)
        done = whole.services[whole.services["done_on"] <= day]
        known = Book(**{**vars(whole), "readings": seen, "events": happened, "stays": stood, "services": done})
        for due in assess_book(known, day.date()).outlook.dues:
            said = [words for words in due.doubts if not words.startswith("no oil")]
            made = (due.operations_since_low, due.operations_since, due.operations_since_high)
            found[due.unit, text] = (*made, int(bool(said)), " | ".join(said))
    keys = zip(asked["unit_id"], asked["as_of"], strict=True)
    columns = ["low", "mid", "high", "doubt", "words"]
    rows = pd.DataFrame([found[key] for key in keys], columns=columns)
    return pd.concat([asked[["unit_id", "as_of"]].reset_index(drop=True), rows], axis=1)


def main() -> None:
    """Read the folder, the services and the days; write the answers."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("counts", "services", "asof", "out"):
        parser.add_argument(f"--{name}", type=Path, required=True)
    given = parser.parse_args()
    services = pd.read_csv(given.services, dtype={"unit": str, "done_on": str})
    asked = pd.read_csv(given.asof, dtype={"unit_id": str, "as_of": str})
    answer(fleet(given.counts, services), asked).to_csv(given.out, index=False)


if __name__ == "__main__":
    main()
