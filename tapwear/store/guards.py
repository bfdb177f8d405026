"""The book is append-only by the database itself: triggers refuse every change and deletion of its rows.

They guard against programs and people that write past Tapwear, by mistake or in haste. They do not guard against
whoever may drop a trigger or write into the file's pages: `check` tells where a trigger is missing, and a dump kept
elsewhere tells what was changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.trail import book_tables

# Beside the tables of the book, which are known by their columns: what is written once and never changed.
WRITTEN_ONCE = (
    *("entry", "entry_row", "import_finding", "held_row", "held_decision", "register_change", "snapshot"),
    *("plan", "plan_job"),
)
RELEASED = "_released_by"  # at the end of the name of a trigger that tapwear.store.roles makes
KEEPS = "_keeps_"  # in the name of every trigger of ours
_FUNCTION = """
CREATE OR REPLACE FUNCTION tapwear_keeps() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '%% is append-only: a row is corrected by another, see tapwear amend', TG_TABLE_NAME;
END $$"""
_SIGNED = """
CREATE OR REPLACE FUNCTION tapwear_signs() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  NEW.database_user := session_user;
  RETURN NEW;
END $$"""


def kept_tables(connection: Connection) -> list[str]:
    """The tables whose rows are never changed, of those that the database has."""
    there = set(sa.inspect(connection).get_table_names())
    return sorted({*book_tables(connection), *(name for name in WRITTEN_ONCE if name in there)})


def triggers(connection: Connection) -> dict[str, tuple[str, str]]:
    """The triggers that there should be: name -> its table, and the statement that makes it."""
    found: dict[str, tuple[str, str]] = {}
    if connection.dialect.name != "sqlite":
        for table in kept_tables(connection):
            name = f"{table}{KEEPS}rows"
            found[name] = (
                table,
                f'CREATE TRIGGER {name} BEFORE UPDATE OR DELETE OR TRUNCATE ON "{table}" '
                "FOR EACH STATEMENT EXECUTE FUNCTION tapwear_keeps()",
            )
            if table == "entry":
                name = f"{table}{KEEPS}user"
                statement = f'CREATE TRIGGER {name} BEFORE INSERT ON "{table}" FOR EACH ROW '
                found[name] = (table, statement + "EXECUTE FUNCTION tapwear_signs()")
        return found
    for table in kept_tables(connection):
        words = f"{table} is append-only: a row is corrected by another (tapwear amend)"
        refuse = f"BEGIN SELECT RAISE(ABORT, '{words}'); END"
        for what in ("update", "delete"):
            name = f"{table}{KEEPS}{what}"
            found[name] = (table, f'CREATE TRIGGER {name} BEFORE {what.upper()} ON "{table}" {refuse}')
        # INSERT OR REPLACE deletes what is in its way without asking the trigger of deletions
        # (sqlite.org/lang_conflict.html).
        name = f"{table}{KEEPS}replace"
        when = "WHEN " + " OR ".join(_same(table))  # each by its own index, and none where nothing can be in the way
        found[name] = (table, f'CREATE TRIGGER {name} BEFORE INSERT ON "{table}" {when} {refuse}')
    return found


def _same(table: str) -> list[str]:
    """For each thing that no two rows share, the condition that a new row shares it with one that is there."""
    from sqlmodel import SQLModel

    import tapwear.store.models  # noqa: F401 - fills the metadata

    held = SQLModel.metadata.tables[table]
    unique = [[column.name for column in held.primary_key]]
    unique += [[column.name] for column in held.columns if column.unique]
    unique += sorted(
        [column.name for column in one.columns] for one in held.constraints if isinstance(one, sa.UniqueConstraint)
    )
    conditions = {}
    for names in unique:
        same = " AND ".join(f'"{name}" = NEW."{name}"' for name in names)
        there = f'EXISTS (SELECT 1 FROM "{table}" WHERE {same})'  # noqa: S608 - our own names
        blank = [name for name in names if held.columns[name].nullable and not held.columns[name].primary_key]
        conditions[same] = "".join(f'NEW."{name}" IS NOT NULL AND ' for name in blank) + there
    return [f"({condition})" for condition in conditions.values()]


def make_triggers(connection: Connection) -> list[str]:
    """Makes the triggers that are not there as they should be; returns the tables that lacked one."""
    if connection.dialect.name != "sqlite":
        connection.exec_driver_sql(_FUNCTION)
        connection.exec_driver_sql(_SIGNED)
    there = present(connection)
    lacking = []
    for name, (table, statement) in triggers(connection).items():
        if there.get(name) == expected(connection, statement):
            continue
        if name in there:
            drop(connection, name, table)
        connection.exec_driver_sql(statement)
        lacking.append(table)
    return sorted(set(lacking))


def expected(connection: Connection, statement: str) -> str:
    """What `present` tells of a trigger that was made by that statement."""
    return statement if connection.dialect.name == "sqlite" else "O"


def present(connection: Connection) -> dict[str, str]:
    """All triggers that there are: name -> its SQL; on a server whether it is on, as PostgreSQL marks it."""
    if connection.dialect.name == "sqlite":
        rows = connection.exec_driver_sql("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
    else:
        rows = connection.exec_driver_sql(
            "SELECT tgname, tgenabled::text FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
            "WHERE NOT tgisinternal AND relnamespace = current_schema()::regnamespace"
        )
    return {str(name): str(sql) for name, sql in rows}


@contextmanager
def many_inserted(connection: Connection, tables: Iterable[str]) -> Iterator[None]:
    """Around a transaction's plain INSERTs, which replace nothing: takes the triggers of insertions away meanwhile.

    Any such trigger makes SQLite keep copies of pages for each row (the statement journal, sqlite.org/tempfiles.html,
    2.3), which takes a third of its time. Nobody else meets the tables without them: they are back before the end, and
    with whatever fails everything is undone.
    """
    there = present(connection) if connection.dialect.name == "sqlite" else {}
    names = {f"{table}{KEEPS}replace": table for table in tables}
    lifted = {name: there[name] for name in names if name in there}
    for name in lifted:
        drop(connection, name, names[name])
    yield
    for statement in lifted.values():
        connection.exec_driver_sql(statement)


def drop_triggers(connection: Connection) -> None:
    """Takes all of ours away, before the tables change."""
    there = present(connection)
    for name, (table, _) in triggers(connection).items():
        if name in there:
            drop(connection, name, table)


def drop(connection: Connection, name: str, table: str) -> None:
    where = "" if connection.dialect.name == "sqlite" else f' ON "{table}"'
    connection.exec_driver_sql(f'DROP TRIGGER "{name}"{where}')
