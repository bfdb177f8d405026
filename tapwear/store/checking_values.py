"""What single values of a store can be: text that is text, numbers within their range, documents that can be read."""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from tapwear.store.backup import quoted
from tapwear.store.lean import lean
from tapwear.visits.fields import CONDITIONS, EVENTS, READINGS, SAMPLES, SERVICES
from tapwear.visits.observations import BY_NAME
from tapwear.visits.specs import FieldSpec

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

Tables = Mapping[str, Sequence[str]]
Told = tuple[str, str]  # where, what was found
FIRST_YEAR, LAST_YEAR = 1850, 2200  # our choice: no tap changer is older, no date of ours lies later
SHOWN = 60  # characters of a value that are shown; our choice
SPECS = {"reading": READINGS, "event": EVENTS, "sample": SAMPLES, "service": SERVICES, "condition": CONDITIONS}


def wrong_values(connection: Connection, tables: Tables) -> Iterator[Told]:
    """Everything that no column of its kind can hold, by table."""
    on_server = connection.dialect.name != "sqlite"
    for table, columns in tables.items():
        key = quoted("id" if "id" in columns else columns[0])
        for column in lean(table, *columns).c:
            for condition, said in _conditions(column, table, on_server):
                query = f"SELECT {key}, {quoted(column.name)} FROM {quoted(table)} WHERE {condition} ORDER BY 1"  # noqa: S608
                for row, value in connection.exec_driver_sql(query.replace("%", "%%") if on_server else query):
                    yield f"{table} {row}, {column.name}", f"{str(value)[:SHOWN]!r} {said}"
        if not on_server:
            yield from _no_text(connection, table, columns, key)
    yield from _observed(connection)
    yield from _longer_than_their_counter(connection)
    yield from _documents(connection)


def _conditions(column: Any, table: str, on_server: bool) -> Iterator[tuple[str, str]]:
    """SQL for what a column cannot hold, each with the words for it."""
    name = quoted(column.name)
    if isinstance(column.type, sa.Boolean) and not on_server:
        yield f"{name} NOT IN (0, 1)", "is neither yes nor no"
    if isinstance(column.type, sa.Date):
        first, last = f"'{FIRST_YEAR}-01-01'", f"'{LAST_YEAR}-12-31'"
        day = "" if on_server else f"date({name}, '+0 days') IS {name} AND "
        yield f"{day}({name} < {first} OR {name} > {last})", f"lies outside {FIRST_YEAR} to {LAST_YEAR}"
    spec = next((one for one in SPECS[table].fields if one.name == column.name), None) if table in SPECS else None
    if spec is not None:
        yield from _range(name, spec)
    if isinstance(column.type, sa.types.NullType) and not on_server:
        yield f"typeof({name}) = 'real' AND ({name} > 1e300 OR {name} < -1e300)", "is no number that anybody measured"


def _range(name: str, spec: FieldSpec) -> Iterator[tuple[str, str]]:
    limits = [f"{name} {sign} {limit!r}" for sign, limit in (("<", spec.low), (">", spec.high)) if limit is not None]
    if limits and spec.kind in ("count", "number", "gas"):
        yield " OR ".join(limits), f"lies outside what {spec.name} can be, {spec.low} to {spec.high}"


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


def _observed(connection: Connection) -> Iterator[Told]:
    rows = lean("observation", "id", "quantity", "value")
    for number, quantity, value in connection.execute(sa.select(rows).where(rows.c.value.is_not(None))):
        spec = BY_NAME[quantity]
        low, high = spec.low, spec.high
        if (low is not None and value < low) or (high is not None and value > high):
            yield f"observation {number}, value", f"{value:g} lies outside what {quantity} can be, {low} to {high}"


def _longer_than_their_counter(connection: Connection) -> Iterator[Told]:
    query = (
        "SELECT reading.id, reading.value, counter.digits FROM reading JOIN counter ON counter.id = reading.counter_id "
        "WHERE length(CAST(reading.value AS VARCHAR)) > counter.digits AND NOT reading.withdrawn AND NOT EXISTS "
        "(SELECT 1 FROM reading AS newer WHERE newer.supersedes_id = reading.id) ORDER BY 1"
    )
    for row, value, digits in connection.exec_driver_sql(query):
        yield f"reading {row}, value", f"{value} is longer than its counter, which has {digits} digits"


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
