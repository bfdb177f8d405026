"""What single values of a store can be: text that is text, numbers within their range, documents that can be read."""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from tapwear.store.backup import quoted
from tapwear.store.lean import lean
from tapwear.store.possible import SPECS, impossible, observed_words
from tapwear.visits.fields import TABLES
from tapwear.visits.specs import Unfit
from tapwear.visits.values import parser_for

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

Tables = Mapping[str, Sequence[str]]
Told = tuple[str, str]  # where, what was found
FIRST_YEAR, LAST_YEAR = 1850, 2200  # our choice: no tap changer is older, no date of ours lies later
SHOWN = 60  # characters of a value that are shown; our choice
WRITTEN = ("week", "position", "positions")  # kinds of fields whose writing takes more than SQL to read
# What every row of these names by table and number is there.
NAMING = ("entry_row", "register_change")


def wrong_values(connection: Connection, tables: Tables) -> Iterator[Told]:
    """Everything that no column of its kind can hold, by table."""
    on_server = connection.dialect.name != "sqlite"
    for table, columns in tables.items():
        key = quoted("id" if "id" in columns else columns[0])
        found = [*impossible(table, tuple(columns), on_server), *_conditions(table, columns, on_server)]
        found += observed_words() if table == "observation" else ()
        for column, condition, said in found:
            query = f"SELECT {key}, {quoted(column)} FROM {quoted(table)} WHERE {condition} ORDER BY 1"  # noqa: S608
            for row, value in connection.exec_driver_sql(query.replace("%", "%%") if on_server else query):
                yield f"{table} {row}, {column}", f"{str(value)[:SHOWN]!r} {said}"
        if not on_server:
            yield from _no_text(connection, table, columns, key)
        yield from _written(connection, table, columns, key)
    yield from _longer_than_their_counter(connection)
    yield from _named_rows(connection, tables)
    yield from _documents(connection)


def _conditions(table: str, columns: Sequence[str], on_server: bool) -> Iterator[tuple[str, str, str]]:
    """Columns, SQL and words for what their type alone rules out."""
    for column in lean(table, *columns).c:
        name = quoted(column.name)
        if isinstance(column.type, sa.Date):
            first, last = f"'{FIRST_YEAR}-01-01'", f"'{LAST_YEAR}-12-31'"
            day = "" if on_server else f"date({name}, '+0 days') IS {name} AND "
            words = f"lies outside {FIRST_YEAR} to {LAST_YEAR}"
            yield column.name, f"{day}({name} < {first} OR {name} > {last})", words
        if isinstance(column.type, sa.types.NullType) and not on_server:
            real = f"typeof({name}) = 'real' AND ({name} > 1e300 OR {name} < -1e300)"
            yield column.name, real, "is no number that anybody measured"


def _written(connection: Connection, table: str, columns: Sequence[str], key: str) -> Iterator[Told]:
    """Weeks and positions that are none, as they are written."""
    spec, names = SPECS.get(table, (None, {}))
    fields = {field.name: field for field in spec.fields if field.kind in WRITTEN} if spec else {}
    for name in columns:
        field = fields.get(names.get(name, name))
        if field is None:
            continue
        query = f"SELECT {key}, {quoted(name)} FROM {quoted(table)} WHERE {quoted(name)} <> '' ORDER BY 1"  # noqa: S608
        read = parser_for(field)
        for row, value in connection.exec_driver_sql(query):
            try:
                read(str(value))
            except Unfit as unfit:
                yield f"{table} {row}, {name}", unfit.found


def _no_text(connection: Connection, table: str, columns: Sequence[str], key: str) -> Iterator[Told]:
    """Bytes in a column of text that are no UTF-8; a file takes them."""
    for name in columns:
        column = quoted(name)
        query = (
            f"SELECT {key}, CAST({column} AS BLOB) FROM {quoted(table)} "  # noqa: S608 - our own names
            f"WHERE typeof({column}) = 'text' AND {column} GLOB '*[^ -~]*'"
        )
        for row, value in connection.exec_driver_sql(query):
            try:
                value.decode()
            except UnicodeDecodeError:
                yield f"{table} {row}, {name}", f"{value[:SHOWN]!r} is no text"


def _longer_than_their_counter(connection: Connection) -> Iterator[Told]:
    query = (
        "SELECT reading.id, reading.value, counter.digits FROM reading JOIN counter ON counter.id = reading.counter_id "
        "WHERE length(CAST(reading.value AS VARCHAR)) > counter.digits AND NOT reading.withdrawn AND NOT EXISTS "
        "(SELECT 1 FROM reading AS newer WHERE newer.supersedes_id = reading.id) ORDER BY 1"
    )
    for row, value, digits in connection.exec_driver_sql(query):
        yield f"reading {row}, value", f"{value} is longer than its counter, which has {digits} digits"


def _named_rows(connection: Connection, tables: Tables) -> Iterator[Told]:
    """Rows that are named by table and number, and are not there; held rows of no table that can be handed in."""
    for naming in NAMING:
        names = connection.exec_driver_sql(f"SELECT DISTINCT table_name FROM {naming}").scalars().all()  # noqa: S608
        for name in names:
            lost = f"NOT EXISTS (SELECT 1 FROM {quoted(name)} AS named WHERE named.id = {naming}.row_id)"  # noqa: S608
            query = sa.text(
                f"SELECT id, row_id FROM {naming} WHERE table_name = :name AND {lost if name in tables else '1 = 1'}"  # noqa: S608
            )
            for row, number in connection.execute(query, {"name": name}):
                yield f"{naming} {row}", f"names row {number} of {name[:SHOWN]!r}, which is not there"
    held = lean("held_row", "id", "table_name")
    strange = sa.select(held.c.id, held.c.table_name).where(held.c.table_name.not_in(TABLES))
    for row, name in connection.execute(strange):
        yield f"held_row {row}, table_name", f"{str(name)[:SHOWN]!r} is no table that can be handed in"


def _documents(connection: Connection) -> Iterator[Told]:
    """What is kept as a document: visits, held rows, snapshots, plans."""
    from tapwear.store.holding import from_json
    from tapwear.visits.visit import visit_from

    readers: tuple[tuple[str, str, Callable[[Any], Any]], ...] = (
        ("visit", "content", lambda text: visit_from(json.loads(text))),
        ("held_row", "payload", from_json),
        ("snapshot", "payload", lambda payload: dict(json.loads(zlib.decompress(bytes(payload))))),
    )
    for table, column, read in readers:
        rows = lean(table, "id", column)
        for number, document in connection.execute(sa.select(rows.c.id, rows.c[column])):
            if words := _unreadable(read, document):
                yield f"{table} {number}", f"cannot be read: {words}"
    plan, job = lean("plan", "id", "name", "assumptions"), lean("plan_job", "plan_id", "tap_changer_id", "task")
    for number, name, document in connection.execute(sa.select(plan.c.id, plan.c.name, plan.c.assumptions)):
        there = connection.execute(sa.select(job.c.tap_changer_id, job.c.task).where(job.c.plan_id == number)).all()
        if words := _unreadable(_jobs_of({(int(unit), str(task)) for unit, task in there}), document):
            yield f"plan {name}", f"its document cannot be read: {words}"


def _jobs_of(there: set[tuple[int, str]]) -> Callable[[Any], Any]:
    def read(document: Any) -> None:
        told = {(job["tap_changer_id"], job["task"]) for job in json.loads(document)["jobs"]}
        if told != there:
            raise ValueError("its jobs are not those of the list of jobs")

    return read


def _unreadable(read: Callable[[Any], Any], document: Any) -> str:
    try:
        read(document)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError, zlib.error) as error:
        return f"{type(error).__name__}: {error}"[: SHOWN * 2]
    return ""
