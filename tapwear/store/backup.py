"""Backups: one file that holds everything, copied while others go on working, and proved before it is kept."""

from __future__ import annotations

import os
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tapwear.errors import StoreError
from tapwear.store.engine import APPLICATION_ID, explain, not_of_a_journal
from tapwear.store.unfinished import making

if TYPE_CHECKING:
    from sqlalchemy.engine import Connection

    from tapwear.store.engine import Store


LONG_TABLES = ("reading", "sample", "observation", "visit", "entry_row", "import_finding")
OF_OWNER_AND_GROUP = 0o660  # bits of a file's mode: no copy is for everybody, whatever the store's own mode


@dataclass(frozen=True)
class Proof:
    """What a look through a whole file found: its schema version, the rows of each table, and faults in words."""

    version: int
    rows: dict[str, int]
    faults: tuple[str, ...]

    @property
    def total(self) -> int:
        return sum(self.rows.values())


def prove(path: Path) -> Proof:
    """Reads a store's file from end to end, changing nothing.

    Raises StoreError when it is no store of ours, or cannot be read as a database at all.
    """
    try:
        # SQLite's own URI form; `ro` so that a look at a backup leaves no trace (sqlite.org/uri.html)
        raw = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)
        try:
            raw.execute("BEGIN")
            if raw.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
                raise StoreError(f"{path} is not a Tapwear store; name a backup, or a folder made by tapwear dump.")
            return Proof(int(raw.execute("PRAGMA user_version").fetchone()[0]), count_rows(raw), faults_of(raw))
        finally:
            raw.close()
    except (OSError, sqlite3.Error, UnicodeDecodeError) as error:
        raise explain(path, error) from error


def count_rows(raw: sqlite3.Connection) -> dict[str, int]:
    """Rows by table, as the connection sees them."""
    known = raw.execute("SELECT name FROM sqlite_schema WHERE type='table' AND name NOT LIKE 'sqlite_%' ORDER BY name")
    names = [str(name) for (name,) in known.fetchall()]
    return {name: int(raw.execute(f"SELECT count(*) FROM {quoted(name)}").fetchone()[0]) for name in names}  # noqa: S608


def raw_of(connection: Connection) -> sqlite3.Connection:
    """The connection as SQLite's own module has it. Raises StoreError for a store that is no file."""
    raw = connection.connection.driver_connection
    if not isinstance(raw, sqlite3.Connection):
        raise StoreError(
            "This needs a store in a file. A database on a server has means of its own, such as pg_dump and "
            "pg_amcheck; tapwear dump writes all of it as CSV, of which tapwear restore makes a store anywhere."
        )
    return raw


def quoted(name: str) -> str:
    """The name of a table or column as SQL takes it, whatever it holds."""
    return '"' + name.replace('"', '""') + '"'


def faults_of(raw: sqlite3.Connection) -> tuple[str, ...]:
    """What SQLite's own proof of the whole file complains about; nothing for a sound file."""
    lines = [str(line) for (line,) in raw.execute("PRAGMA integrity_check").fetchall()]
    return tuple(line for line in lines if line != "ok")


def glance(raw: sqlite3.Connection) -> tuple[str, ...]:
    """What SQLite complains about in all but the longest tables, whose proof would take as long as a list of dates."""
    found = []
    for (name,) in raw.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"):
        if name not in LONG_TABLES:
            lines = [str(line) for (line,) in raw.execute(f"PRAGMA integrity_check({quoted(name)})")]
            found += [line for line in lines if line != "ok"]
    return tuple(found)


def back_up(store: Store, to: Path) -> Proof:
    """A copy of the store as it is at one moment, proved sound and complete before it gets its name.

    Others may read and write meanwhile. The copy has the permissions of the store, and is one file, which also
    opens from a place that cannot be written to. Raises StoreError when `to` exists, cannot be written, or when
    the copy is not sound; nothing is left behind then.
    """
    not_of_a_journal(to)
    if to.exists():
        raise StoreError(f"{to} is there already; a backup never overwrites. Name another file.")
    with making(to) as part, store.rows() as connection:
        source = raw_of(connection)
        rows = count_rows(source)  # the first look, which fixes the moment that the copy shows
        copy(source, part, "DELETE")
        try:
            proof = prove(part)
            what = "; ".join(proof.faults[:3]) or ("" if proof.rows == rows else "rows are missing in the copy")
        except StoreError:  # its words are of the copy, whose pages are those of the store
            what = "it cannot be read to its end"
        if what:
            raise StoreError(f"No backup was made: the copy of {store.path} is not sound ({what}). Run: tapwear check")
        part.chmod(store.path.stat().st_mode & OF_OWNER_AND_GROUP)
        name_it(part, to)
    return proof


def copy(source: sqlite3.Connection, to: Path, journal: str) -> None:
    """Writes all pages of the database into the file `to`, which then uses that kind of journal."""
    target = sqlite3.connect(to.resolve(), isolation_level=None)  # else a name like file:x?y is taken for a URI
    try:
        source.backup(target)
        target.execute(f"PRAGMA journal_mode={journal}")
    finally:
        target.close()


def name_it(part: Path, to: Path) -> None:
    """Gives the finished file its name, once it is on the disk; never over another file.

    Raises FileExistsError when something has that name by now.
    """
    sync(part)
    try:
        os.link(part, to)  # fails where the name is taken, unlike a renaming
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        if to.exists():
            raise FileExistsError(f"{to} is there already") from None
        part.rename(to)
    sync(to.parent)


def opened_files_stay() -> bool:
    """Whether a file that somebody has open cannot be replaced, as on Windows (Win32, MoveFileEx)."""
    return os.name == "nt"


def sync(path: Path) -> None:
    """Has the file or folder written to the disk itself."""
    if os.name == "nt" and path.is_dir():  # pragma: no cover - Windows cannot open folders
        return
    # Windows flushes only through a handle that may write (Win32, FlushFileBuffers).
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
