"""A look through the whole store for what cannot be right, each with what to do about it. Nothing is changed."""

from __future__ import annotations

import sqlite3
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from tapwear.store.backup import faults_of, quoted, raw_of
from tapwear.store.dump import columns_of
from tapwear.store.engine import explain
from tapwear.store.holding import units_words
from tapwear.store.holding_facts import stored_doubts
from tapwear.store.lean import lean
from tapwear.store.moments import UtcTime

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from tapwear.store.engine import Store

# Days on which something was done or seen, which therefore cannot lie ahead.
PAST_DAYS = (
    *("read_on", "happened_on", "sampled_on", "received_on", "reported_on", "done_on", "noted_on", "closed_on"),
    *("observed_on", "visited_on", "decided_on"),
)
SUSPICIOUS = "suspicious"  # the kind of what may be right all the same
CLOCKS_APART = timedelta(days=1)  # our choice: how far ahead another machine's clock may run
FROM_BACKUP = "the latest backup in which tapwear check finds nothing takes its place: tapwear restore FILE --replace"
BY_HAND = "tell whoever keeps Tapwear, with a dump (tapwear dump FOLDER); no command of ours writes this"


@dataclass(frozen=True)
class Trouble:
    """One thing that cannot be right: of what kind, where, what was found, what to do."""

    kind: str
    where: str
    found: str
    remedy: str

    def sentence(self) -> str:
        return f"{self.kind}: {self.where}: {self.found} -> {self.remedy}"


def check_store(store: Store, *, today: date, now: datetime) -> tuple[Trouble, ...]:
    """All that is wrong with a store's file, its references, its corrections and its dates, worst first.

    today, now : rows that say they were done or recorded later are told. Raises StoreError when the file cannot be
    read at all.
    """
    try:
        with store.rows() as connection:
            found = _look(raw_of(connection), str(store.path), today, now)
            if any(one.kind == "damage" for one in found):
                return found
            return (*found, *_suspicious(connection))
    except sqlite3.Error as error:
        raise explain(store.path, error) from error


def _suspicious(connection: Connection) -> Iterator[Trouble]:
    """What is probably wrong without being impossible, and what still waits for somebody's word."""
    held, decided = lean("held_row", "id"), lean("held_decision", "held_id")
    waiting = sa.select(sa.func.count()).select_from(held).where(~sa.exists().where(decided.c.held_id == held.c.id))
    number = connection.execute(waiting).scalar_one()
    if number:
        yield Trouble(SUSPICIOUS, "held rows", f"{number:,} wait for somebody's word", "look at them: tapwear confirm")
    for item, found in stored_doubts(connection):
        matters = f"; it matters for {units_words(item.units)}" if item.units else ""
        remedy = "hold it against the manual; if it is wrong: tapwear limits set --help, tapwear unit change --help"
        yield Trouble(SUSPICIOUS, f"{item.whose}, {item.what}", found + matters, remedy)


def _look(raw: sqlite3.Connection, path: str, today: date, now: datetime) -> tuple[Trouble, ...]:
    damage = tuple(Trouble("damage", path, fault, FROM_BACKUP) for fault in faults_of(raw))
    if damage:
        return damage  # what else would be found rests on damaged pages
    tables = _tables(raw)
    found = [*_references(raw), *_corrections(raw, tables), *_orphans(raw)]
    return (*found, *_days(raw, tables, today), *_moments(raw, tables, now), *_kept_results(raw))


def _tables(raw: sqlite3.Connection) -> dict[str, tuple[str, ...]]:
    names = raw.execute("SELECT name FROM sqlite_schema WHERE type='table' AND name NOT LIKE 'sqlite_%' ORDER BY name")
    return {str(name): tuple(columns_of(raw, name)) for (name,) in names.fetchall()}


def _columns_of_kind(table: str, columns: tuple[str, ...], kind: type[Any]) -> list[str]:
    """The columns that hold that kind of thing, as their names tell."""
    return [column.name for column in lean(table, *columns).c if isinstance(column.type, kind)]


def _references(raw: sqlite3.Connection) -> Iterator[Trouble]:
    for table, row, parent, _ in raw.execute("PRAGMA foreign_key_check").fetchall():
        yield Trouble("reference", f"{table} {row}", f"refers to a row of {parent} that is not there", FROM_BACKUP)


def _corrections(raw: sqlite3.Connection, tables: dict[str, tuple[str, ...]]) -> Iterator[Trouble]:
    """Corrections that go round in a ring, so that none of their rows is the one that counts."""
    for table, columns in tables.items():
        if "supersedes_id" not in columns:
            continue
        pairs = raw.execute(f"SELECT id, supersedes_id FROM {quoted(table)} WHERE supersedes_id IS NOT NULL")  # noqa: S608
        for row in _rings({int(new): int(old) for new, old in pairs}):
            found = "corrects a row that corrects it in turn, so that neither counts"
            yield Trouble("correction", f"{table} {row}", found, FROM_BACKUP)


def _rings(corrects: dict[int, int]) -> Iterable[int]:
    """One row of each ring: the smallest. A row corrects at most one, and at most one corrects it."""
    seen: set[int] = set()
    for start in sorted(corrects):
        path: list[int] = []
        row: int | None = start
        while row is not None and row not in seen:
            seen.add(row)
            path.append(row)
            row = corrects.get(row)
        if row is not None and row in path:
            yield min(path[path.index(row) :])


_CURRENT = "withdrawn = 0 AND NOT EXISTS (SELECT 1 FROM {0} AS newer WHERE newer.supersedes_id = {0}.id)"
# What no list can show, since nothing leads to it: kind of thing, query for its name, what is missing, what to do.
_LOST = (
    (
        "unit",
        "SELECT tag FROM tap_changer WHERE id NOT IN (SELECT tap_changer_id FROM stay WHERE {stay})",
        "stands nowhere and has no state",
        "say where it is: tapwear unit move {0} --help",
    ),
    (
        "unit",
        "SELECT tag FROM tap_changer WHERE id NOT IN (SELECT tap_changer_id FROM compartment)",
        "has no compartment, so that it can have no oil sample",
        BY_HAND,
    ),
    (
        "readings of counter",
        "SELECT DISTINCT counter.id FROM counter JOIN reading ON reading.counter_id = counter.id WHERE drive_id NOT IN "
        "(SELECT drive_id FROM fitting WHERE tap_changer_id IS NOT NULL AND {fitting})",
        "belong to a drive that was never on any unit, so that they count for none",
        BY_HAND,
    ),
    (
        "drive",
        "SELECT id FROM drive WHERE id NOT IN (SELECT drive_id FROM counter)",
        "has no counter, so that nothing can be read from it",
        BY_HAND,
    ),
)


def _orphans(raw: sqlite3.Connection) -> Iterator[Trouble]:
    current = {name: _CURRENT.format(name) for name in ("stay", "fitting")}
    for what, query, found, remedy in _LOST:
        for (name,) in raw.execute(query.format_map(current)).fetchall():
            yield Trouble("orphan", f"{what} {name}", found, remedy.format(name))


def _days(raw: sqlite3.Connection, tables: dict[str, tuple[str, ...]], today: date) -> Iterator[Trouble]:
    """Days that are none of the calendar, and days to come of what was done."""
    for table, columns in tables.items():
        # a corrected row is history: what it said wrongly has been mended
        still = f" AND {_CURRENT.format(quoted(table))}" if "supersedes_id" in columns else ""
        for name in _columns_of_kind(table, columns, sa.Date):
            column = quoted(name)
            wrong = f"{column} IS NOT NULL AND date({column}, '+0 days') IS NOT {column}"
            for row, value in raw.execute(f"SELECT rowid, {column} FROM {quoted(table)} WHERE {wrong}").fetchall():  # noqa: S608
                yield Trouble("value", f"{table} {row}, {name}", f"{value!r} is no day of the calendar", FROM_BACKUP)
            if name in PAST_DAYS:
                query = f"SELECT rowid, {column} FROM {quoted(table)} WHERE {column} > ?{still}"  # noqa: S608
                for row, value in raw.execute(query, (today.isoformat(),)).fetchall():
                    remedy = "correct it with tapwear amend, or set the clock of this machine"
                    yield Trouble("value", f"{table} {row}, {name}", f"{value} lies in the future", remedy)


def _moments(raw: sqlite3.Connection, tables: dict[str, tuple[str, ...]], now: datetime) -> Iterator[Trouble]:
    latest = f"{now.astimezone(UTC) + CLOCKS_APART:%Y-%m-%d %H:%M:%S}"
    for table, columns in tables.items():
        for name in _columns_of_kind(table, columns, UtcTime):
            column = f"substr({quoted(name)}, 1, 19)"
            query = (
                f"SELECT min(rowid), count(*), max({column}) FROM {quoted(table)} WHERE {column} IS NOT NULL AND "  # noqa: S608
                f"(datetime({column}, '+0 days') IS NOT {column} OR {column} > ?)"
            )
            row, number, last = raw.execute(query, (latest,)).fetchone()
            if number:
                found = f"{number:,} rows from row {row} on were recorded in the future, or at no time ({last})"
                yield Trouble("value", f"{table}, {name}", found, "set the clock of the machine that recorded them")


def _kept_results(raw: sqlite3.Connection) -> Iterator[Trouble]:
    for row, payload in raw.execute("SELECT id, payload FROM snapshot"):
        try:
            zlib.decompress(payload)
        except zlib.error as error:
            yield Trouble("value", f"snapshot {row}", f"what was told that day cannot be read: {error}", FROM_BACKUP)
