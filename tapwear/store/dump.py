"""Everything in plain CSV, one file a table with a list of contents, so that no one is ever locked in.

The files are UTF-8 with a line of headings, cells separated by commas, lines ended as RFC 4180 says. Dates are ISO
8601, yes and no are 1 and 0, numbers are written in full, bytes in base64 (RFC 4648).

    nothing recorded    an empty cell; in a column of text, `\\N`
    text                as it is; where it begins, after blanks, with = + - @ ' or \\, with one apostrophe before it,
                        so that a spreadsheet takes it for text; taken off again on the way back

The table `derived`, which nothing rests on, is left out.
"""

from __future__ import annotations

import base64
import csv
import hashlib
import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tapwear import __version__
from tapwear.errors import StoreError
from tapwear.store.backup import quoted, raw_of, sync
from tapwear.store.unfinished import making
from tapwear.store.version import LATEST

if TYPE_CHECKING:
    from sqlalchemy import Table
    from sqlalchemy.engine import Connection

    from tapwear.store.engine import Store

KIND = "tapwear dump"
MANIFEST = "manifest.json"
NOTHING = "\\N"
LEFT_OUT = ("derived",)
_MARKED = ("=", "+", "-", "@", "'", "\\", "＝", "＋", "－", "＠")
FORMAT = (
    "UTF-8; commas; a line of headings; lines ended by CR LF; quotes as in RFC 4180. Dates are ISO 8601, yes and no "
    "are 1 and 0, bytes are base64. Nothing recorded: an empty cell, in a column of text \\N. A text that begins, "
    "after blanks, with = + - @ ' or \\ has one apostrophe before it, to be taken off again."
)


def tables() -> tuple[str, ...]:
    """The tables of a dump, each after those that it refers to."""
    from sqlmodel import SQLModel

    import tapwear.store.models  # noqa: F401 - fills the metadata

    ordered = SQLModel.metadata.sorted_tables
    return tuple(table.name for table in ordered if table.name not in LEFT_OUT)


def columns_of(raw: sqlite3.Connection, table: str) -> dict[str, str]:
    """The columns of a table, each with its type in a STRICT table: INTEGER, REAL, TEXT or BLOB."""
    found = raw.execute(f"PRAGMA table_info({quoted(table)})").fetchall()
    return {str(row[1]): str(row[2]).upper() for row in found}


def dump_store(store: Store, folder: Path, *, at: datetime, access: int = 0o600) -> dict[str, int]:
    """Writes everything that the store holds at one moment into a new folder; returns the rows of each table.

    access : of a store on a server, who may read and write the files, as the bits of a file's mode; those of a store
        in a file may be read by whoever may read the store

    The folder appears only when it is complete.
    Raises StoreError when something is there already, or when it cannot be written.
    """
    folder = folder.resolve()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StoreError(f"{folder} is there already and not empty; a dump never overwrites. Name another folder.")
    access = access if store.on_server else store.path.stat().st_mode & 0o777
    with making(folder) as part, store.rows() as connection:
        part.mkdir()
        read = _from_server if store.on_server else _from_file
        contents = {name: _write(part, name, *read(connection, name), access) for name in tables()}
        manifest = {
            "kind": KIND, "schema": LATEST, "tapwear": __version__, "made_at": at.isoformat(timespec="seconds"),
            "format": FORMAT, "left_out": list(LEFT_OUT), "tables": contents,
            "digest": digest_of(contents),
        }  # fmt: skip
        _save(part / MANIFEST, (json.dumps(manifest, indent=1) + "\n").encode(), access)
        part.chmod(0o770 if access & 0o060 else 0o700)
        sync(part)
        part.rename(folder)
        sync(folder.parent)
    return {name: int(entry["rows"]) for name, entry in contents.items()}


def digest_of(contents: Mapping[str, Any]) -> str:
    """SHA-256 of the list of tables itself, with the digest of each, so that a change of the list shows as well."""
    return hashlib.sha256(json.dumps(contents, sort_keys=True).encode()).hexdigest()


def _from_file(connection: Connection, table: str) -> tuple[dict[str, str], Iterable[Sequence[Any]]]:
    """The columns of a table with their types, and its rows just as the file holds them."""
    raw = raw_of(connection)
    columns = columns_of(raw, table)
    listed = ", ".join(map(quoted, columns))
    return columns, raw.execute(f"SELECT {listed} FROM {quoted(table)} ORDER BY rowid")  # noqa: S608 - our own names


def _from_server(connection: Connection, table: str) -> tuple[dict[str, str], Iterable[Sequence[Any]]]:
    """The same from a database on a server, in the form in which a file would hold it."""
    import sqlalchemy as sa
    from sqlalchemy.dialects import sqlite

    columns, held = form_of_a_file(table)
    form = sqlite.dialect()
    forms = [column.type.dialect_impl(form).bind_processor(form) or as_it_is for column in held.columns]
    every = sa.select(held).order_by(*held.primary_key)
    rows = connection.execute(every, execution_options={"stream_results": True})  # never the whole table at once
    return columns, ([turn(value) for turn, value in zip(forms, row, strict=True)] for row in rows)


def form_of_a_file(table: str) -> tuple[dict[str, str], Table]:
    """The columns of a table, each with its type in a file, and the table as SQL knows it."""
    from sqlalchemy.dialects import sqlite
    from sqlmodel import SQLModel

    held = SQLModel.metadata.tables[table]
    return {column.name: str(column.type.compile(dialect=sqlite.dialect())) for column in held.columns}, held


def as_it_is(value: Any) -> Any:
    """For types whose values are alike in both."""
    return value


def _write(
    folder: Path, table: str, columns: dict[str, str], found: Iterable[Sequence[Any]], access: int
) -> dict[str, Any]:
    """One file; returns what the list of contents says of it."""
    rows = 0

    def lines() -> Iterator[Sequence[str]]:
        nonlocal rows
        yield list(columns)
        kinds = list(columns.values())
        for row in found:
            rows += 1
            yield [to_cell(value, kind) for value, kind in zip(row, kinds, strict=True)]

    digest = _save(folder / f"{table}.csv", csv_bytes(lines()), access)
    return {"file": f"{table}.csv", "rows": rows, "sha256": digest, "columns": columns}


def csv_bytes(rows: Iterable[Sequence[str]]) -> Iterator[bytes]:
    """Lines of CSV as bytes, one after the other."""
    kept: list[str] = []

    class _Into:
        def write(self, text: str) -> None:
            kept.append(text)

    writer = csv.writer(_Into(), lineterminator="\r\n")
    for row in rows:
        writer.writerow(row)
        yield kept.pop().encode()


def _save(path: Path, content: bytes | Iterator[bytes], access: int) -> str:
    """Writes a new file to the disk itself; returns its SHA-256 (FIPS 180-4)."""
    digest = hashlib.sha256()
    with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, access), "wb") as file:
        for piece in (content,) if isinstance(content, bytes) else content:
            digest.update(piece)
            file.write(piece)
        file.flush()
        os.fsync(file.fileno())
    return digest.hexdigest()


def to_cell(value: Any, kind: str) -> str:
    """A value of the store as a cell of that column."""
    if value is None:
        return NOTHING if kind == "TEXT" else ""
    if isinstance(value, bytes):
        return base64.b64encode(value).decode("ascii")
    if isinstance(value, str):
        return "'" + value if value.lstrip()[:1] in _MARKED and value.strip() else value
    return repr(value)


def from_cell(cell: str, kind: str) -> Any:
    """The value that `to_cell` wrote. Raises ValueError for a cell that it cannot have written."""
    if kind == "TEXT":
        return None if cell == NOTHING else cell.removeprefix("'") if cell[:1] == "'" else cell
    if cell == "":
        return None
    if kind == "BLOB":
        return base64.b64decode(cell, validate=True)
    return float(cell) if kind == "REAL" else int(cell)
