"""Schema versions: numbered steps, run on demand, each recorded in the store, with a backup before the first.

A new store is made at the latest version. Steps are never edited once released: a mistake is mended by the next.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Connection
from sqlmodel import SQLModel

from tapwear import __version__
from tapwear.errors import SchemaError
from tapwear.store import models
from tapwear.store.backup import back_up, raw_of
from tapwear.store.engine import APPLICATION_ID, Store, explain
from tapwear.store.guards import drop_triggers, make_triggers
from tapwear.store.lean import lean
from tapwear.store.recording import insert
from tapwear.store.server import version_on_server
from tapwear.store.trail import book_tables
from tapwear.store.undoing import UNDONE
from tapwear.store.version import LATEST

Step = Callable[[Connection], None]


def _statements(name: str) -> Step:
    """A step that runs the SQL of a file in tapwear/store/steps, statement by statement; on a server that of
    NAME.postgresql.sql."""

    def run(connection: Connection) -> None:
        on_file = connection.dialect.name == "sqlite"
        text = (files("tapwear.store") / "steps" / f"{name}{'' if on_file else '.postgresql'}.sql").read_text("utf-8")
        for statement in text.split(";\n"):
            if statement.strip():
                connection.exec_driver_sql(statement)

    return run


def _third(connection: Connection) -> None:
    _statements("3")(connection)
    make_entries(connection)


# number -> (name, what it does). Version 1 is what `create_schema` made at first, so its step does nothing.
STEPS: dict[int, tuple[str, Step]] = {
    1: ("the first schema", lambda connection: None),
    2: ("planning inputs, visits and follow-ups", _statements("2")),
    3: ("stops, more that visits note, and a book that the database keeps in its own order", _third),
}
assert max(STEPS) == LATEST  # noqa: S101 - a new step needs the new number in tapwear.store.version


def create_schema(connection: Connection, *, guarded: bool = True) -> None:
    """All tables in an empty database, stamped with the latest version.

    guarded : its book is kept by triggers from the start; else whoever fills it makes them afterwards
    """
    SQLModel.metadata.create_all(connection)
    if guarded:
        make_triggers(connection)
    for number in STEPS:
        _record(connection, number)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
        connection.exec_driver_sql(f"PRAGMA user_version={LATEST}")


def _record(connection: Connection, number: int) -> None:
    connection.execute(
        sa.insert(models.SchemaStep.__table__).values(  # type: ignore[attr-defined]
            number=number, name=STEPS[number][0], applied_at=datetime.now(UTC), tapwear_version=__version__
        )
    )


def version_of(store: Store) -> int:
    """The schema version of an opened store."""
    with store.engine.connect() as connection:
        if store.on_server:
            return version_on_server(connection) or 0
        return int(connection.exec_driver_sql("PRAGMA user_version").scalar() or 0)


def upgrade(store: Store, backup_to: Path) -> list[str]:
    """Brings an older store to the latest version and names the steps that were run (none: it was up to date).

    A backup of a file is written to `backup_to` first; a database on a server has its own backups. A step that fails
    leaves the store as it was. Raises SchemaError for a store that is newer than this program, or when the result
    would break a foreign key.
    """
    version = version_of(store)
    if version > LATEST:
        raise SchemaError(f"{store.path} has schema {version}, newer than this Tapwear knows ({LATEST}).")
    todo = [number for number in sorted(STEPS) if number > version]
    if not todo:
        with store.rows(writing=True) as connection:
            lacked = make_triggers(connection)
        return [f"the triggers that keep the book, on {', '.join(lacked)}"] if lacked else []
    names = [f"{number}: {STEPS[number][0]}" for number in todo]
    if store.on_server:
        with store.rows(writing=True) as connection:
            _run(connection, todo)
        return names
    back_up(store, backup_to)
    try:
        done = _upgrade_file(store, todo)
    except sa.exc.DatabaseError as error:
        raise explain(store.path, error.orig or error) from error
    return names if done else []


def _upgrade_file(store: Store, todo: list[int]) -> bool:
    """Runs the steps in one transaction; False when somebody else has done so since the version was looked at."""
    with store.engine.execution_options(writing=True).connect() as connection:
        # Foreign keys can only be switched outside a transaction (sqlite.org/lang_altertable.html, section 7).
        raw = raw_of(connection)
        raw.execute("PRAGMA foreign_keys=OFF")
        with connection.begin():
            if raw.execute("PRAGMA user_version").fetchone()[0] >= todo[0]:
                return False
            _run(connection, todo)
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise SchemaError(f"The upgrade of {store.path} would break {len(broken)} references; undone.")
            connection.exec_driver_sql(f"PRAGMA user_version={LATEST}")
    return True


def _run(connection: Connection, numbers: list[int]) -> None:
    drop_triggers(connection)
    for number in numbers:
        STEPS[number][1](connection)
        _record(connection, number)
    make_triggers(connection)


def make_entries(connection: Connection) -> None:
    """Makes the entries of rows that have none, as those of older stores: what one person recorded at one moment.

    Such a store knows no other order than its clocks. What an undo recorded is told by the words before its reason,
    and by its being a withdrawal or a copy of an earlier row.
    """
    first = sa.select(sa.literal(1)).select_from(lean("entry", "id")).limit(1)
    if connection.execute(first).first() is not None:
        return
    found: dict[tuple[datetime, str, int | None], dict[str, list[int]]] = {}
    undone: dict[tuple[str, int], int] = {}
    for table in [*book_tables(connection), "register_change"]:
        book = table != "register_change"
        columns = ("import_id", "reason", "withdrawn", "supersedes_id") if book else ()
        rows = lean(table, "id", "recorded_at", "recorded_by", *columns)
        corrects = {}
        for row in connection.execute(sa.select(rows).order_by(rows.c.id)).mappings():
            group = found.setdefault((row["recorded_at"], row["recorded_by"], row.get("import_id")), {})
            if row.get("import_id") is None:
                group.setdefault(table, []).append(row["id"])
            before = row.get("supersedes_id")
            if before is None:
                continue
            corrects[row["id"]] = before
            if row["reason"].startswith(UNDONE) and (row["withdrawn"] or before in corrects):
                undone[table, row["id"]] = before
    _write_entries(connection, found, undone)


def _write_entries(
    connection: Connection,
    found: dict[tuple[datetime, str, int | None], dict[str, list[int]]],
    undone: dict[tuple[str, int], int],
) -> None:
    of_row: dict[tuple[str, int], int] = {}
    imports = {(at, by) for at, by, import_id in found if import_id is not None}
    links = lean("entry_row", "entry_id", "table_name", "row_id")
    for number, (at, by, import_id) in enumerate(sorted(found, key=lambda one: (one[0], one[2] or 0, one[1])), 1):
        group = found[at, by, import_id]
        if import_id is None and list(group) == ["register_change"] and (at, by) in imports:
            continue  # which carries the import's stamp
        made = [(table, row) for table, rows in group.items() for row in rows]
        before = next((undone[one] for one in made if one in undone), None)
        table = next((one[0] for one in made if one in undone), "")
        entry = insert(
            connection, "entry", uid=f"{number:032x}", recorded_at=at, recorded_by=by, database_user="",
            import_id=import_id, undoes_id=None if before is None else of_row.get((table, before), number - 1 or None),
        )  # fmt: skip
        of_row |= dict.fromkeys(made, entry)
        if made:
            connection.execute(sa.insert(links), [{"entry_id": entry, "table_name": t, "row_id": r} for t, r in made])
