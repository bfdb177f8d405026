"""In which order rows are stored, so that no row has to wait for one that stands in a later line or file."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from tapwear.visits.fields import TABLES
from tapwear.visits.types import Row

MOVES = ("moved", "swapped")
_PLACE = {name: number for number, name in enumerate(TABLES)}


def in_order(rows: Sequence[Row]) -> Sequence[Row]:
    """The rows, which come in the order of the tables, with two kinds of them at the end of their table.

    Units: rows that cannot found a unit, for another file may. Events: moves and swaps, by their day, since each
    builds on the stay before it, and of one day by their units, whatever line they stand in.
    """
    return sorted(rows, key=_key) if any(map(_waits, rows)) else rows


def _waits(row: Row) -> bool:
    if row.table == "units":
        return not {"station", "counter_digits"} <= row.values.keys()
    return row.table == "events" and row.values["kind"] in MOVES


def _key(row: Row) -> tuple[int, bool, date, str, str]:
    waits = _waits(row)
    if not (waits and row.table == "events"):
        return _PLACE[row.table], waits, date.min, "", ""
    units = (str(row.values.get(name, "")).casefold() for name in ("unit", "other_unit"))
    return _PLACE[row.table], waits, row.values["happened_on"], *units
