"""A look through the whole store for what cannot be right, each with what to do about it. Nothing is changed."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from tapwear.store.backup import faults_of, quoted, raw_of
from tapwear.store.checking_values import wrong_values
from tapwear.store.engine import explain
from tapwear.store.guards import RELEASED, expected, present, triggers
from tapwear.store.holding import units_words
from tapwear.store.holding_facts import stored_doubts
from tapwear.store.lean import lean
from tapwear.store.moments import UtcTime
from tapwear.store.unfinished import leftovers, second_names

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from tapwear.store.engine import Store

# Days on which something was done or seen, which therefore cannot lie ahead.
PAST_DAYS = (
    *("read_on", "happened_on", "sampled_on", "received_on", "reported_on", "done_on", "noted_on", "closed_on"),
    *("observed_on", "visited_on", "decided_on"),
)
SUSPICIOUS = "suspicious"  # the kind of what may be right all the same
CLOCKS_APART = timedelta(days=1)  # how far ahead another machine's clock, or another place's day, may be: our choice
LEFTOVER = "leftover"  # the kind of what harms no row: what stopped work left beside the store, and its mode
HARMLESS = (SUSPICIOUS, LEFTOVER)
FROM_BACKUP = "the latest backup in which tapwear check finds nothing takes its place: tapwear restore FILE --replace"
FROM_SERVERS_BACKUP = "the server's latest backup in which tapwear check finds nothing takes its place: pg_restore"
PUT_BACK = "tapwear upgrade puts them back"
BY_HAND = "tell whoever keeps Tapwear, with a dump (tapwear dump FOLDER); no command of ours writes this"
# What a look through a whole store goes by, in words: in a file, and in a database on a server.
LOOKED_AT = "The file is sound, every reference and correction holds."
LOOKED_AT_ON_SERVER = (
    "Every reference and correction holds; rows that nothing leads to, days, numbering and suspicious values were "
    "looked at, too. Whether its pages on the disk are sound only the server can prove: pg_amcheck."
)


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

    In a database on a server the pages themselves are the server's to prove, and its types admit no day that is none.

    today, now : rows that say they were done or recorded later are told. Raises StoreError when the file cannot be
    read at all.
    """
    try:
        with store.rows() as connection:
            damage = () if store.on_server else faults_of(raw_of(connection))
            if damage:  # what else would be found rests on damaged pages
                return tuple(Trouble("damage", str(store.path), fault, FROM_BACKUP) for fault in damage)
            tables = _tables(connection)
            misshapen = tuple(_misshapen(connection, store.on_server, tables))
            if misshapen:  # the queries for all else need these tables
                return misshapen
            look = _Look(connection, store.on_server, tables, today, now)
            found = list(look.everything())
            for rest in (_unguarded, _suspicious):
                try:
                    found += rest(connection)
                except (ValueError, TypeError, KeyError) as error:
                    if not found:  # else what was found already explains it
                        words = f"something cannot be read: {type(error).__name__}: {error}"
                        return (Trouble("value", str(store.path), words, look.from_backup),)
            return tuple(found)
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise explain(store.path, error) from error


def wrong(found: Iterable[Trouble]) -> list[Trouble]:
    """What of that cannot be right, so that the store's own tables cannot be trusted to be read."""
    return [one for one in found if one.kind not in HARMLESS]


def check_beside(path: Path) -> tuple[Trouble, ...]:
    """What does not belong beside a store's file: the file under a second name, and what stopped work left."""
    found = []
    for other in second_names(path):
        words = "is the store itself under a second name, left by a restore that was stopped; it is no copy"
        found.append(Trouble("second name", str(other), words, f"delete that name, not {path.name}"))
    if os.name != "nt" and path.stat().st_mode & 0o007:
        words = "may be read or written by everybody on this machine"
        found.append(Trouble(LEFTOVER, str(path), words, f"chmod o= {path}"))
    for left in leftovers(path.parent):
        size = f"{left.size / 1e6:,.1f} MB"
        if left.doubt:
            words = f"looks like what a stopped backup, dump or restore leaves ({size}), but {left.doubt}"
            found.append(Trouble(LEFTOVER, str(left.path), words, "look at it; delete it if nobody needs it"))
        else:
            remedy = "the next tapwear backup, dump or restore into that folder clears it away"
            found.append(Trouble(LEFTOVER, str(left.path), f"unfinished work that was stopped ({size})", remedy))
    return tuple(found)


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


def _tables(connection: Connection) -> dict[str, tuple[str, ...]]:
    found = sa.inspect(connection).get_multi_columns()
    return {name: tuple(column["name"] for column in columns) for (_, name), columns in sorted(found.items())}


def _misshapen(connection: Connection, on_server: bool, tables: dict[str, tuple[str, ...]]) -> Iterator[Trouble]:
    """Tables and columns that are not there, and views, of which we make none."""
    from sqlmodel import SQLModel

    import tapwear.store.models  # noqa: F401 - fills the metadata

    remedy = FROM_SERVERS_BACKUP if on_server else FROM_BACKUP
    for name, table in sorted(SQLModel.metadata.tables.items()):
        lacking = [column.name for column in table.columns if column.name not in tables.get(name, ())]
        if lacking:
            whole = name not in tables
            words = "the table is not there" if whole else f"it has no column {', '.join(lacking)}"
            yield Trouble("schema", name, words, remedy)
    query = "SELECT name FROM sqlite_schema WHERE type = 'view'"
    if on_server:
        query = "SELECT viewname FROM pg_views WHERE schemaname = current_schema()"
    for (name,) in sorted(connection.exec_driver_sql(query)):
        yield Trouble("schema", str(name), "a view that no Tapwear made, which may change what is read", remedy)


def _unguarded(connection: Connection) -> Iterator[Trouble]:
    """Triggers that keep the book and are not there, or off, and those that are none of ours."""
    there, ours = present(connection), triggers(connection)
    on_server = connection.dialect.name != "sqlite"
    lacking = dict.fromkeys(
        table for name, (table, statement) in ours.items() if there.get(name) != expected(connection, statement)
    )
    if lacking:
        found = f"nothing keeps rows from being changed or deleted: triggers are missing on {', '.join(lacking)}"
        yield Trouble("unguarded", "the book", found, f"{PUT_BACK}; what was changed meanwhile, a dump of before tells")
    for name in sorted(name for name in set(there) - set(ours) if not (on_server and name.endswith(RELEASED))):
        found = "a trigger that no Tapwear made, which may change what is read"
        yield Trouble("schema", name, found, "drop it, or ask whoever keeps the database")


def _columns_of_kind(table: str, columns: tuple[str, ...], kind: type[Any]) -> list[str]:
    """The columns that hold that kind of thing, as their names tell."""
    return [column.name for column in lean(table, *columns).c if isinstance(column.type, kind)]


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


_CURRENT = "NOT withdrawn AND NOT EXISTS (SELECT 1 FROM {0} AS newer WHERE newer.supersedes_id = {0}.id)"
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


@dataclass(frozen=True)
class _Look:
    """One look through all tables, at one moment."""

    connection: Connection
    on_server: bool
    tables: dict[str, tuple[str, ...]]
    today: date
    now: datetime

    def everything(self) -> Iterator[Trouble]:
        yield from self.references()
        yield from self.corrections()
        yield from self.orphans()
        yield from self.days()
        yield from self.moments()
        yield from self.values()
        yield from self.numbering()

    @property
    def from_backup(self) -> str:
        return FROM_SERVERS_BACKUP if self.on_server else FROM_BACKUP

    def rows(self, query: str, *values: Any) -> Sequence[Any]:
        return self.connection.exec_driver_sql(query, values or None).fetchall()

    def key(self, table: str) -> str:
        """The column by which a row is named."""
        return quoted("id" if "id" in self.tables[table] else self.tables[table][0])

    def references(self) -> Iterator[Trouble]:
        if self.on_server:
            broken: Iterable[tuple[str, Any, str]] = self._references_on_server()
        else:
            broken = (row[:3] for row in self.rows("PRAGMA foreign_key_check"))
        for table, row, parent in broken:
            found = f"refers to a row of {parent} that is not there"
            yield Trouble("reference", f"{table} {row}", found, self.from_backup)

    def _references_on_server(self) -> Iterator[tuple[str, Any, str]]:
        """The server keeps them itself, unless somebody told it not to, as some ways of copying tables do."""
        for (_, table), keys in sa.inspect(self.connection).get_multi_foreign_keys().items():
            for key in keys:
                if len(key["constrained_columns"]) > 1:
                    continue  # none of ours
                (child,), (target,), parent = key["constrained_columns"], key["referred_columns"], key["referred_table"]
                query = (
                    f"SELECT {self.key(table)} FROM {quoted(table)} AS child WHERE {quoted(child)} IS NOT NULL AND "  # noqa: S608
                    f"NOT EXISTS (SELECT 1 FROM {quoted(parent)} AS parent WHERE parent.{quoted(target)} = "
                    f"child.{quoted(child)}) ORDER BY 1"
                )
                for (row,) in self.rows(query):
                    yield table, row, parent

    def corrections(self) -> Iterator[Trouble]:
        """Corrections that go round in a ring, so that none of their rows is the one that counts."""
        for table, columns in self.tables.items():
            if "supersedes_id" not in columns:
                continue
            query = f"SELECT id, supersedes_id FROM {quoted(table)} WHERE supersedes_id IS NOT NULL"  # noqa: S608
            for row in _rings({int(new): int(old) for new, old in self.rows(query)}):
                found = "corrects a row that corrects it in turn, so that neither counts"
                yield Trouble("correction", f"{table} {row}", found, self.from_backup)

    def orphans(self) -> Iterator[Trouble]:
        current = {name: _CURRENT.format(name) for name in ("stay", "fitting")}
        for what, query, found, remedy in _LOST:
            for (name,) in self.rows(query.format_map(current)):
                yield Trouble("orphan", f"{what} {name}", found, remedy.format(name))

    def days(self) -> Iterator[Trouble]:
        """Days that are none of the calendar, and days to come of what was done."""
        for table, columns in self.tables.items():
            # a corrected row is history: what it said wrongly has been mended
            still = f" AND {_CURRENT.format(quoted(table))}" if "supersedes_id" in columns else ""
            for name in _columns_of_kind(table, columns, sa.Date):
                column = quoted(name)
                rows = f"SELECT {self.key(table)}, CAST({column} AS VARCHAR) FROM {quoted(table)} WHERE {column}"  # noqa: S608
                if not self.on_server:
                    wrong = f"{rows} IS NOT NULL AND date({column}, '+0 days') IS NOT {column}"
                    for row, value in self.rows(wrong):
                        found = f"{value!r} is no day of the calendar"
                        yield Trouble("value", f"{table} {row}, {name}", found, self.from_backup)
                if name in PAST_DAYS:
                    for row, value in self.rows(f"{rows} > '{self.today + CLOCKS_APART}'{still}"):
                        remedy = "correct it with tapwear amend, or set the clock of this machine"
                        yield Trouble("value", f"{table} {row}, {name}", f"{value} lies in the future", remedy)

    def moments(self) -> Iterator[Trouble]:
        latest = f"{self.now.astimezone(UTC) + CLOCKS_APART:%Y-%m-%d %H:%M:%S}"
        for table, columns in self.tables.items():
            for name in _columns_of_kind(table, columns, UtcTime):
                column = f"substr(CAST({quoted(name)} AS VARCHAR), 1, 19)"
                none = "" if self.on_server else f"datetime({column}, '+0 days') IS NOT {column} OR "
                query = (
                    f"SELECT min({self.key(table)}), count(*), max({column}) FROM {quoted(table)} "  # noqa: S608
                    f"WHERE {column} IS NOT NULL AND ({none}{column} > '{latest}')"
                )
                ((row, number, last),) = self.rows(query)
                if number:
                    found = f"{number:,} rows from row {row} on were recorded in the future, or at no time ({last})"
                    yield Trouble("value", f"{table}, {name}", found, "set the clock of the machine that recorded them")

    def values(self) -> Iterator[Trouble]:
        for where, found in wrong_values(self.connection, self.tables):
            yield Trouble("value", where, found, self.from_backup)

    def numbering(self) -> Iterator[Trouble]:
        """On a server, the counters of rows: one that lags behind gives the next row a number that is taken."""
        for table, columns in self.tables.items() if self.on_server else ():
            if "id" not in columns:
                continue
            ((counter,),) = self.rows("SELECT pg_get_serial_sequence(%s, 'id')", quoted(table))
            if counter is None:
                continue
            ((last, begun),) = self.rows(f"SELECT last_value, is_called FROM {counter}")  # noqa: S608
            ((highest,),) = self.rows(f"SELECT max(id) FROM {quoted(table)}")  # noqa: S608
            if highest is not None and highest >= last + begun:
                found = f"the next row gets a number up to {highest:,} that is taken"
                yield Trouble("numbering", table, found, f"in the database: SELECT setval('{counter}', {highest})")
