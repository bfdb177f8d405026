"""Everything that a store's file holds, read by SQLite alone."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


def content(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """The rows of every table, with the schema version; what can be computed again is left out."""
    raw = sqlite3.connect(path)
    try:
        names = raw.execute("SELECT name FROM sqlite_schema WHERE type='table' AND name <> 'derived'").fetchall()
        found = {name: raw.execute(f"SELECT * FROM {name} ORDER BY rowid").fetchall() for (name,) in names}  # noqa: S608
        found["version"] = raw.execute("PRAGMA user_version").fetchall()
    finally:
        raw.close()
    return found


def named(path: Path) -> dict[str, list[dict[str, object]]]:
    """The same with the names of the columns, whose order differs between a new store and an upgraded one."""
    raw = sqlite3.connect(path)
    try:
        fields = {name: [row[1] for row in raw.execute(f"PRAGMA table_info({name})")] for name in content(path)}
    finally:
        raw.close()
    return {
        table: [dict(zip(fields[table], row, strict=True)) for row in rows]
        for table, rows in content(path).items()
        if table != "version"
    }


def proved(path: Path) -> None:
    """Fails unless the file is sound and every reference in it holds."""
    raw = sqlite3.connect(path)
    try:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
    finally:
        raw.close()


@contextmanager
def past_the_guards(path: Path) -> Iterator[sqlite3.Connection]:
    """A file as somebody writes it who takes the triggers away first, and puts them back."""
    raw = sqlite3.connect(path)
    raw.execute("PRAGMA synchronous=OFF")  # each trigger is a change of the file by itself
    try:
        guards = raw.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            raw.execute(f"DROP TRIGGER {name}")
        yield raw
        for _, sql in guards:
            with suppress(sqlite3.OperationalError):  # its table is gone
                raw.execute(sql)
        raw.commit()
    finally:
        raw.close()
