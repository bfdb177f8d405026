"""Which would-be counter entries are questioned, each judged from the rows dated before it.

    python tests/bench/slips.py --counts DIR --entries FILE --out FILE

DIR holds units.csv, readings.csv and events.csv; FILE has entry_id, unit_id, date, value. Writes entry_id, questioned
(0 or 1), reason, and what was found besides: likely, last_doubtful, low, high, probability.
"""

from __future__ import annotations

import argparse
import csv
import time
from datetime import date
from pathlib import Path

from tapwear.counts.plausible import Neighbour, check_entry


def rows(path: Path) -> list[dict[str, str]]:
    """All rows of a CSV file."""
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


def number(text: str) -> float | None:
    """A number, or None where nothing was written."""
    return float(text) if text.strip() else None


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--counts", type=Path, required=True)
    parser.add_argument("--entries", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    units = {row["unit_id"]: row for row in rows(args.counts / "units.csv")}
    book: dict[str, list[tuple[int, int]]] = {}
    for row in rows(args.counts / "readings.csv"):
        day = date.fromisoformat(row["date"]).toordinal()
        book.setdefault(row["unit_id"], []).append((day, int(float(row["counter_reading"]))))
    events: dict[str, list[tuple[int, dict[str, str]]]] = {}
    for row in sorted(rows(args.counts / "events.csv"), key=lambda one: one["date"]):
        events.setdefault(row["unit_id"], []).append((date.fromisoformat(row["date"]).toordinal(), row))
    entries = rows(args.entries)
    started = time.perf_counter()
    with args.out.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(
            ["entry_id", "questioned", "reason", "likely", "last_doubtful", "low", "high", "probability"]
        )
        for entry in entries:
            unit, on = entry["unit_id"], date.fromisoformat(entry["date"]).toordinal()
            known = [(day, row) for day, row in events.get(unit, ()) if day < on]
            station = units[unit]["substation"]
            check = check_entry(
                [row for row in book.get(unit, ()) if row[0] < on],
                on,
                int(float(entry["value"])),
                int(units[unit]["counter_digits"]),
                replacements=[
                    (day, number(row["old_reading"]), number(row["new_reading"]))
                    for day, row in known
                    if row["event_type"] == "counter_replaced"
                ],
                inspections=[day for day, row in known if row["event_type"] == "inspection"],
                out_of_service=spells(known),
                neighbours=[
                    Neighbour(name, [row for row in book.get(name, ()) if row[0] < on])
                    for name, row in units.items()
                    if row["substation"] == station and name != unit
                ],
            )
            writer.writerow(
                [
                    entry["entry_id"],
                    int(check.questioned),
                    check.reason,
                    "" if check.likely is None else check.likely,
                    int(check.last_doubtful),
                    check.low,
                    check.high,
                    f"{check.probability:.6f}",
                ]
            )
    took = time.perf_counter() - started
    print(f"{len(entries)} entries in {took:.1f} s, {1000 * took / max(len(entries), 1):.1f} ms each")


def spells(known: list[tuple[int, dict[str, str]]]) -> list[tuple[int, int | None]]:
    """Spells out of service from events in order of their days."""
    found: list[tuple[int, int | None]] = []
    for day, row in known:
        if row["event_type"] == "out_of_service" and not (found and found[-1][1] is None):
            found.append((day, None))
        elif row["event_type"] == "back_in_service" and found and found[-1][1] is None:
            found[-1] = (found[-1][0], day)
    return found


if __name__ == "__main__":
    main()
