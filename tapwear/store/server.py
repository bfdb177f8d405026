"""A team's store: the same tables in a PostgreSQL database, named by a URL instead of a file.

Reads see one unchanging state (REPEATABLE READ). Writers take turns under one advisory lock of the database, so that
what a writer read still holds when it writes, as BEGIN IMMEDIATE does for a file.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine, make_url

from tapwear.errors import SchemaError, StoreError, UsageError
from tapwear.store.engine import APPLICATION_ID, BUSY_TIMEOUT_MS, Store
from tapwear.store.version import LATEST

SCHEMES = ("postgresql", "postgres")
INSTALL = "pip install 'tapwear[server]'"


def read_url(text: str) -> URL:
    """The URL of a PostgreSQL database. Raises UsageError for anything else."""
    try:
        url = make_url(text)
        (url.host or "").encode("idna")  # as a name is looked up: no empty or overlong part
    except (sa.exc.ArgumentError, ValueError):  # UnicodeError is one
        url = None
    if url is not None and "@" in f"{url.host}{url.database}":
        raise UsageError(
            "The URL of the store holds @ more than once: in a password, @ is written %40 and / is written %2F. The "
            "password is best kept in ~/.pgpass."
        )
    if url is None or url.drivername.split("+")[0] not in SCHEMES or not url.database:
        raise UsageError(
            "A store on a server is named like postgresql://USER@HOST/DATABASE; a store in a file by its path. "
            "The password is best kept in ~/.pgpass."
        )
    return url.set(drivername="postgresql+psycopg")


def name_of(url: URL) -> str:
    """How the store is called in messages: without user and password."""
    return f"{url.database} on {url.host or 'this machine'}"


def connect_to(url: URL) -> Engine:
    """An engine whose writers take turns. Raises StoreError where the driver is not installed."""
    try:
        engine = sa.create_engine(
            url,
            poolclass=sa.NullPool,
            isolation_level="REPEATABLE READ",
            connect_args={"connect_timeout": max(BUSY_TIMEOUT_MS // 1000, 2), "application_name": "tapwear"},
        )
    except ImportError as error:
        raise StoreError(f"A store on a server needs the PostgreSQL driver. Install it with: {INSTALL}") from error

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if connection.get_execution_options().get("writing", False):
            # Under REPEATABLE READ the wait for the lock would already belong to the state that is read.
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL READ COMMITTED")
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = {BUSY_TIMEOUT_MS}")
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({APPLICATION_ID})")

    return engine


def create_on_server(text: str) -> Store:
    """A new, empty store in a database that is there already and holds no tables.

    Raises UsageError for a URL that is none, StoreError when the database cannot be reached or is not empty.
    """
    store = store_at(text)
    with store.rows(writing=True) as connection:
        create_in_empty(store, connection)
    return store


def store_at(text: str) -> Store:
    """The store that is, or is to be, in the database of that URL; nothing of it is looked at yet."""
    url = read_url(text)
    return Store(Path(name_of(url)), connect_to(url))


def create_in_empty(store: Store, connection: Connection, *, guarded: bool = True) -> None:
    """All tables, in a transaction that has the lock. Raises StoreError where there are tables already.

    guarded : as in tapwear.store.migrate.create_schema
    """
    from tapwear.store.migrate import create_schema

    tables = _tables(connection)
    if tables:
        kind = "a Tapwear store" if "schema_step" in tables else "other tables"
        raise StoreError(f"{store.path} holds {kind} already. Name an empty database, or use the store as it is.")
    create_schema(connection, guarded=guarded)


def open_on_server(text: str, *, any_version: bool = False) -> Store:
    """The store in a database, checked to be ours and of this schema version.

    Raises UsageError, StoreError and SchemaError as for a file, see tapwear.store.engine.open_store.
    """
    store = store_at(text)
    with store.rows() as connection:
        version = version_on_server(connection)
    if version is None:
        raise StoreError(f"{store.path} holds no Tapwear store. Make one with: tapwear --db URL init")
    if not any_version and version != LATEST:
        if version > LATEST:
            raise SchemaError(f"{store.path} was written by a newer Tapwear (schema {version}); install that one.")
        raise SchemaError(
            f"{store.path} has schema {version}, this Tapwear needs {LATEST}. Make a backup of the database, then run: "
            "tapwear --db URL upgrade"
        )
    return store


def version_on_server(connection: Connection) -> int | None:
    """The schema version in a database, or None where there is no store."""
    if "schema_step" not in _tables(connection):
        return None
    return int(connection.exec_driver_sql("SELECT coalesce(max(number), 0) FROM schema_step").scalar() or 0)


def _tables(connection: Connection) -> set[str]:
    inspector: Any = sa.inspect(connection)
    return set(inspector.get_table_names())
