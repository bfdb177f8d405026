"""Every row of the book about a unit, corrected and withdrawn ones too: who recorded it, when, why, what became of it.

A table belongs to the book when its rows can supersede each other; the store itself is asked which tables do, so a
new kind of entry shows here without being named.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import entry_number
from tapwear.store.whereabouts import FittingRow, by_drive

# What every row of the book carries beside what it says.
CARRIED = ("id", "uid", "recorded_at", "recorded_by", "import_id", "reason", "withdrawn", "supersedes_id")
_TRAIL = ("id", "recorded_at", "recorded_by", "import_id", "reason", "withdrawn", "supersedes_id")
_SQLITE = (
    "SELECT m.name, c.name FROM sqlite_master m JOIN pragma_table_info(m.name) c WHERE m.type = 'table' "
    "ORDER BY m.name, c.cid"
)
_ON_SERVER = (
    "SELECT table_name, column_name FROM information_schema.columns WHERE table_schema = current_schema() "
    "ORDER BY table_name, ordinal_position"
)
_FIT = ("from_on", "supersedes_id", "withdrawn")
_DAYS = (
    *("read_on", "happened_on", "sampled_on", "done_on", "noted_on", "observed_on", "visited_on", "decided_on"),
    "from_on",
)


@dataclass(frozen=True)
class TrailRow:
    """One row of the book.

    kind : its table; with `id` it names the row
    day : the day that it is about (None: since always)
    says : its columns without what every row carries; a reading has `drive` and `source` in place of its counter
    replaced_by : number of the row that supersedes it, None for the one that stands
    entry : number of the entry that recorded it, in the store's own order; undo : whether that took another back
    """

    kind: str
    id: int
    day: date | None
    says: Mapping[str, Any]
    recorded_at: datetime
    recorded_by: str
    reason: str
    import_id: int | None
    withdrawn: bool
    supersedes_id: int | None
    replaced_by: int | None
    entry: int = 0
    undo: bool = False

    @property
    def stands(self) -> bool:
        """Whether it is what the book says now."""
        return self.replaced_by is None and not self.withdrawn

    @property
    def name(self) -> str:
        """`reading 812 of 2026-06-20`."""
        return f"{self.kind.replace('_', ' ')} {self.id}" + (f" of {self.day}" if self.day else "")


def book_tables(connection: Connection) -> dict[str, tuple[str, ...]]:
    """The tables of the book, each with its own columns: those beside what every row carries."""
    ask = _SQLITE if connection.dialect.name == "sqlite" else _ON_SERVER
    rows = connection.exec_driver_sql(ask)
    columns: dict[str, list[str]] = {}
    for table, column in rows:
        columns.setdefault(table, []).append(column)
    carried = set(CARRIED)
    return {
        table: tuple(name for name in names if name not in carried)
        for table, names in columns.items()
        if carried <= set(names)
    }


def trail_of(connection: Connection, unit: UnitKey, kinds: Iterable[str] = ()) -> list[TrailRow]:
    """The rows about a unit in the order in which they were entered, those of one import by day.

    kinds : only of these tables; none: of all
    """
    wanted = set(kinds)
    found: list[TrailRow] = []
    for table, names in book_tables(connection).items():
        if wanted and table not in wanted:
            continue
        if "tap_changer_id" in names:
            found += _rows(connection, table, names, tap_changer_id=unit.id)
        elif table == "reading":
            found += _readings(connection, unit, names)
    return sorted(found, key=lambda row: (row.entry, row.day or date.min, row.kind, row.id))


def rows_of_entry(connection: Connection, entry: int) -> list[TrailRow]:
    """All rows of the book that one entry by hand recorded, of whichever units."""
    link = lean("entry_row", "entry_id", "table_name", "row_id")
    made = connection.execute(sa.select(link.c.table_name, link.c.row_id).where(link.c.entry_id == entry)).all()
    found: list[TrailRow] = []
    for table, names in book_tables(connection).items():
        for number in sorted(row_id for name, row_id in made if name == table):
            found += _rows(connection, table, names, id=number)
    return found


def row_of(connection: Connection, kind: str, number: int) -> TrailRow:
    """One row of the book, also one that does not stand any more. It has to be there."""
    names = book_tables(connection)[kind]
    return _rows(connection, kind, names, id=number)[0]


def _rows(connection: Connection, table: str, names: Sequence[str], **where: Any) -> list[TrailRow]:
    """The rows of a table in which each column of `where` has the value given."""
    rows = lean(table, *dict.fromkeys((*_TRAIL, *names)))
    newer = lean(table, "id", "supersedes_id").alias("newer")
    entry = lean("entry", "id", "undoes_id")
    number = entry_number(table, rows)
    undo = sa.select(entry.c.undoes_id).where(entry.c.id == number).correlate(rows).scalar_subquery()
    query = (
        sa.select(
            newer.c.id.label("replaced_by"),
            number.label("entry"),
            undo.label("undoes"),
            *(rows.c[name] for name in (*_TRAIL, *names)),
        )
        .select_from(rows.outerjoin(newer, newer.c.supersedes_id == rows.c.id))
        .where(*(rows.c[name] == value for name, value in where.items()))
        .order_by(rows.c.id)
    )
    found = []
    for row in connection.execute(query).mappings():
        says = {name: row[name] for name in names}
        carried = {name: row[name] for name in (*_TRAIL, "replaced_by", "entry")}
        day = next((says[name] for name in _DAYS if name in says), None)
        found.append(TrailRow(kind=table, day=day, says=says, undo=row["undoes"] is not None, **carried))
    return found


def _readings(connection: Connection, unit: UnitKey, names: Sequence[str]) -> list[TrailRow]:
    """The readings of the drives that are or were on the unit, each for the days on which its drive was there."""
    fitting = lean(
        "fitting",
        *("id", "drive_id", "tap_changer_id", "slot", "from_on", "counter_then"),
        "supersedes_id",
        "withdrawn",
    )
    ours = sa.select(fitting.c.drive_id).where(fitting.c.tap_changer_id == unit.id)
    fittings = [
        FittingRow(row.id, row.drive_id, str(row.tap_changer_id), row.slot, row.from_on, row.counter_then)
        for row in connection.execute(sa.select(fitting).where(is_current(fitting), fitting.c.drive_id.in_(ours)))
    ]
    counter = lean("counter", "id", "drive_id", "source")
    found = []
    for drive, own in by_drive(fittings).items():
        ends = [one.from_on for one in own[1:]] + [None]
        counters = connection.execute(sa.select(counter.c.id, counter.c.source).where(counter.c.drive_id == drive))
        for number, source in counters.all():
            for row in _rows(connection, "reading", names, counter_id=number):
                for spell, end in zip(own, ends, strict=True):
                    here = spell.unit == str(unit.id) and (end is None or (row.day or date.min) < end)
                    if here and (spell.from_on or date.min) <= (row.day or date.min):
                        found.append(_with_counter(row, spell.slot, source))
                        break
    return found


def _with_counter(row: TrailRow, slot: str, source: str) -> TrailRow:
    says = {name: value for name, value in row.says.items() if name != "counter_id"}
    return replace(row, says={"drive": slot, "source": source, **says})


def tag_of(connection: Connection, row: TrailRow) -> str:
    """The tag of the unit that a row is about, "" for a row of no one unit; a reading's is the one its drive is on."""
    changer = lean("tap_changer", "id", "tag")
    number = row.says.get("tap_changer_id")
    if "counter_id" in row.says:
        counter, fitting = lean("counter", "id", "drive_id"), lean("fitting", "id", "drive_id", "tap_changer_id", *_FIT)
        number = connection.execute(
            sa.select(fitting.c.tap_changer_id)
            .join_from(counter, fitting, fitting.c.drive_id == counter.c.drive_id)
            .where(
                counter.c.id == row.says["counter_id"],
                is_current(fitting),
                sa.or_(fitting.c.from_on.is_(None), fitting.c.from_on <= row.day),
            )
            .order_by(fitting.c.from_on.desc().nulls_last(), fitting.c.id.desc())
        ).scalar()
    return str(connection.execute(sa.select(changer.c.tag).where(changer.c.id == number)).scalar() or "")
