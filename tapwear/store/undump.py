"""From a dump back to a store: every file held against the list of contents, then all rows in one transaction."""

from __future__ import annotations

import csv
import hashlib
import json
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from tapwear.errors import SchemaError, StoreError
from tapwear.store.backup import quoted, raw_of
from tapwear.store.dump import KIND, MANIFEST, columns_of, digest_of, from_cell, tables
from tapwear.store.engine import create_store
from tapwear.store.version import LATEST

DIGEST_SINCE = 3  # schema whose dumps have a digest of the list itself
LARGEST_MANIFEST = 10_000_000  # our choice, in bytes: a list of contents takes some thousands
LARGEST_CELL = 1 << 30  # the most that SQLite keeps in one (sqlite.org/limits.html, about)
PIECE = 1 << 20


def is_dump(folder: Path) -> bool:
    """Whether the folder holds a dump's list of contents."""
    try:
        return folder.is_dir() and _manifest(folder).get("kind") == KIND
    except StoreError:
        return False


@dataclass(frozen=True)
class Dump:
    """A dump whose files are as its list of contents says: its schema, and of each table rows and SHA-256."""

    folder: Path
    version: int
    entries: dict[str, dict[str, Any]]

    def file_of(self, table: str) -> Path:
        return self.folder / f"{table}.csv"

    def rows_of(self, table: str) -> int:
        return int(self.entries[table]["rows"])


def read_dump(folder: Path) -> Dump:
    """Holds every file of a dump against its list of contents.

    Only the files named after our own tables are read, whatever the list of contents says. Raises StoreError when a
    file is missing or was changed; SchemaError for a dump of a newer Tapwear.
    """
    manifest = _manifest(folder)
    if manifest.get("kind") != KIND or not isinstance(manifest.get("tables"), dict):
        raise StoreError(f"{folder} holds no dump of Tapwear. Name a folder made by tapwear dump, or a backup.")
    version = manifest.get("schema")
    if not isinstance(version, int) or not 1 <= version <= LATEST:
        raise SchemaError(
            f"{folder} is a dump of schema {version}; this Tapwear reads 1 to {LATEST}. Install the newer Tapwear."
        )
    listed = {name: manifest["tables"][name] for name in tables() if name in manifest["tables"]}
    unknown = sorted(set(manifest["tables"]) - set(listed))
    if unknown or not all(isinstance(entry, dict) and type(entry.get("rows")) is int for entry in listed.values()):
        what = ", ".join(map(repr, unknown[:5])) or "entries that say nothing"
        raise StoreError(f"{folder / MANIFEST} lists what no store of ours has: {what}. Nothing was made.")
    lacking = [name for name in tables() if name not in listed]
    if version == LATEST and lacking:  # an older schema had fewer tables
        raise StoreError(f"{folder / MANIFEST} leaves out {', '.join(lacking[:5])}. Take the dump as it was made.")
    if version >= DIGEST_SINCE and manifest.get("digest") != digest_of(manifest["tables"]):
        raise StoreError(f"{folder / MANIFEST} was changed since it was written: its digest is another one.")
    for name, entry in listed.items():
        _unchanged(folder / f"{name}.csv", entry)
    return Dump(folder, version, listed)


def load_dump(folder: Path, part: Path) -> None:
    """Makes a store of a dump in the file `part`, which is empty or not there.

    Raises StoreError when a file is missing, was changed, or does not hold what it should; SchemaError for a dump of
    a newer Tapwear.
    """
    from tapwear.store.migrate import make_entries

    dump = read_dump(folder)
    part.unlink(missing_ok=True)
    store = create_store(part)
    try:
        with store.rows(writing=True) as connection:
            raw = raw_of(connection)
            raw.execute("PRAGMA defer_foreign_keys=ON")  # corrections may stand before what they correct
            if dump.version == LATEST:
                raw.execute("DELETE FROM schema_step")
            for name in dump.entries:
                _fill(raw, dump.file_of(name), name, dump.rows_of(name))
            make_entries(connection)
            broken = raw.execute("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise StoreError(f"{folder}: {len(broken)} rows of {broken[0][0]} refer to rows that are not there.")
    except sa.exc.IntegrityError as error:
        raise StoreError(f"{folder}: rows that contradict each other: {error.orig}. Nothing was made.") from error
    finally:
        store.close()


def _manifest(folder: Path) -> dict[str, Any]:
    path = folder / MANIFEST
    try:
        if path.stat().st_size > LARGEST_MANIFEST:
            raise StoreError(f"{path} is larger than any list of contents of ours.")
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise StoreError(f"{folder} holds no dump of Tapwear: {MANIFEST} cannot be read ({error}).") from error
    if not isinstance(found, dict):
        raise StoreError(f"{folder} holds no dump of Tapwear: {MANIFEST} says nothing of one.")
    return found


def _unchanged(path: Path, entry: dict[str, Any]) -> None:
    digest = hashlib.sha256()
    if path.exists() and not path.is_file():  # a pipe would be waited for without end
        raise StoreError(f"{path} is part of the dump and cannot be read: it is no file.")
    try:
        with path.open("rb") as file:
            while piece := file.read(PIECE):
                digest.update(piece)
    except OSError as error:
        raise StoreError(f"{path} is part of the dump and cannot be read: {error.strerror}.") from error
    if digest.hexdigest() != entry.get("sha256"):
        raise StoreError(
            f"{path} is not as it was when the dump was made. Take the dump as it was; changed rows come in with "
            "tapwear import, so that the store says who changed them."
        )


def _fill(raw: sqlite3.Connection, path: Path, table: str, rows: int) -> None:
    try:
        with rows_in(path, table, columns_of(raw, table), rows) as (names, values):
            listed, marks = ", ".join(map(quoted, names)), ", ".join("?" * len(names))
            statement = f"INSERT INTO {quoted(table)} ({listed}) VALUES ({marks})"  # noqa: S608 - our own names
            raw.executemany(statement, values)
    except (sqlite3.IntegrityError, sqlite3.DataError, OverflowError) as error:
        raise StoreError(f"{path}: a row does not fit the table {table}: {error}. Nothing was made.") from error


@contextmanager
def rows_in(
    path: Path, table: str, columns: dict[str, str], rows: int
) -> Iterator[tuple[tuple[str, ...], Iterator[tuple[Any, ...]]]]:
    """The names of the columns that a file of a dump fills, and its rows, in the form in which a file holds them.

    columns : of the table, each with its type, see `columns_of`
    rows : how many there must be

    Raises StoreError, while it is read, for what is no CSV of ours, with the row.
    """
    before = csv.field_size_limit(LARGEST_CELL)
    read = 0

    def values() -> Iterator[tuple[Any, ...]]:
        nonlocal read
        for read, cells in enumerate(lines, 1):
            try:
                yield (*(from_cell(cell, kind) for cell, kind in zip(cells, kinds, strict=True)), *added.values())
            except ValueError as error:
                raise StoreError(f"{path}, row {read + 1}: {error}. Nothing was made.") from error

    try:
        with path.open(encoding="utf-8", newline="") as file:
            lines = csv.reader(file, strict=True)
            headings = next(lines, [])
            if len(set(headings)) != len(headings) or not set(headings) <= set(columns):
                raise StoreError(f"{path}:1: the headings are not columns of {table}. Nothing was made.")
            added = _defaults(table, set(columns) - set(headings))
            kinds = [columns[name] for name in headings]
            yield (*headings, *added), values()
    except (UnicodeError, csv.Error) as error:
        raise StoreError(f"{path} is not CSV as a dump has it: {error}. Nothing was made.") from error
    finally:
        csv.field_size_limit(before)
    if read != rows:
        raise StoreError(f"{path} holds {read:,} rows, its list of contents says {rows:,}.")


def _defaults(table: str, missing: set[str]) -> dict[str, Any]:
    """What stands in columns that a dump of an older schema does not have yet: what the model says, else nothing."""
    from sqlmodel import SQLModel

    model = next(mapper.class_ for mapper in SQLModel._sa_registry.mappers if mapper.class_.__tablename__ == table)
    fields = model.model_fields
    return {
        name: None if fields[name].is_required() else fields[name].default for name in sorted(missing) if name in fields
    }
