"""From a dump to a store in an empty database on a server: all in one transaction, and read back before it ends."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from tapwear.errors import StoreError, UsageError
from tapwear.store.backup import quoted
from tapwear.store.dump import as_it_is, form_of_a_file
from tapwear.store.engine import Store, explain
from tapwear.store.server import create_in_empty, store_at
from tapwear.store.undump import Dump, read_dump, rows_in
from tapwear.store.version import LATEST

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection


def restore_on_server(source: Path, url: str) -> tuple[Store, dict[str, int]]:
    """Makes a store of a dump in an empty database; returns it, with the rows of each table.

    What was written is read back and held against the dump, row by row, before it counts; a failure leaves the
    database empty. Raises UsageError for a URL that is none and for a source that is no folder, StoreError when the
    database is not empty, or the dump does not hold what it should; SchemaError for a dump of a newer Tapwear.
    """
    from tapwear.store.guards import make_triggers
    from tapwear.store.migrate import make_entries

    store = store_at(url)
    if not source.exists():
        raise UsageError(f"There is nothing at {source}. Name a folder made by tapwear dump.")
    if not source.is_dir():
        raise UsageError(
            f"Into a database on a server goes a dump, and {source} is a file. Where it is a backup, make a dump of it "
            f"with: tapwear --db {source} dump FOLDER"
        )
    dump = read_dump(source)
    with store.rows(writing=True) as connection:
        create_in_empty(store, connection, guarded=False)  # else what it holds would be signed by whoever restores it
        if dump.version == LATEST:
            connection.exec_driver_sql("DELETE FROM schema_step")
        for name in dump.entries:
            _fill(connection, store, dump, name)
            _number_on(connection, name)
        make_entries(connection)
        make_triggers(connection)
    return store, {name: dump.rows_of(name) for name in dump.entries}


def _fill(connection: Connection, store: Store, dump: Dump, table: str) -> None:
    """Sends a table as one statement, so that a row may refer to a later one of its own table."""
    path, errors = dump.file_of(table), connection.dialect.loaded_dbapi
    columns, held = form_of_a_file(table)
    with rows_in(path, table, columns, dump.rows_of(table)) as (names, values):
        chosen = [held.columns[name] for name in names]
        sent = _Sum()
        listed = ", ".join(map(quoted, names))
        cursor = connection.connection.cursor()
        try:
            with cursor.copy(f"COPY {quoted(table)} ({listed}) FROM STDIN") as copy:  # type: ignore[attr-defined, unused-ignore]
                for values_sent in _sendable(connection, path, chosen, values, sent):
                    copy.write_row(values_sent)
        except (errors.IntegrityError, errors.DataError) as error:
            raise StoreError(f"{path}{_row_of(error)}: {_told(error, table)}. Nothing was made.") from error
        except errors.Error as error:
            raise explain(store.path, error) from error
        finally:
            cursor.close()
    found = _Sum()
    for row in connection.execute(sa.select(*chosen), execution_options={"stream_results": True}):
        found.add(row)
    if found.total != sent.total:
        raise StoreError(f"{store.path} gives back rows of {table} otherwise than {path} has them. Nothing was made.")


class _Sum:
    """Stands for a number of rows in any order: the sum of their SHA-256 (FIPS 180-4)."""

    total = 0

    def add(self, row: Iterable[Any]) -> None:
        self.total += int.from_bytes(hashlib.sha256(repr(tuple(row)).encode()).digest(), "big")


def _sendable(
    connection: Connection, path: Path, chosen: Sequence[sa.Column[Any]], values: Iterable[Sequence[Any]], sent: _Sum
) -> Iterator[list[Any]]:
    """The rows as the driver takes them, from the form in which a file holds them; each is added to the sum."""
    from sqlalchemy.dialects import sqlite

    form = sqlite.dialect()
    read = [column.type.dialect_impl(form).result_processor(form, None) or as_it_is for column in chosen]
    to = connection.dialect
    bind = [column.type.dialect_impl(to).bind_processor(to) or as_it_is for column in chosen]
    for number, row in enumerate(values, 2):
        try:
            meant = [turn(value) for turn, value in zip(read, row, strict=True)]
        except (ValueError, TypeError) as error:
            raise StoreError(f"{path}, row {number}: {error}. Nothing was made.") from error
        sent.add(meant)
        yield [turn(value) for turn, value in zip(bind, meant, strict=True)]


def _told(error: Any, table: str) -> str:
    said = str(error.diag.message_detail or error.diag.message_primary or error).rstrip(".")
    if error.sqlstate == "23503":  # foreign_key_violation (PostgreSQL's manual, appendix A)
        return f"a row refers to one that is not there: {said}"
    return f"a row does not fit the table {table}: {said}"


def _row_of(error: Any) -> str:
    """Which row of the file the server complains about, where it says so; it does not count the headings."""
    named = re.search(r"line (\d+)", error.diag.context or "")
    return f", row {int(named[1]) + 1}" if named else ""


def _number_on(connection: Connection, table: str) -> None:
    """The next row gets the number after the highest, as in a file."""
    query = f"SELECT setval(pg_get_serial_sequence(%s, 'id'), max(id)) FROM {quoted(table)} HAVING max(id) > 0"  # noqa: S608
    if "id" in form_of_a_file(table)[0]:
        connection.exec_driver_sql(query, (quoted(table),))
