"""An empty store for each test: a file copied from one made once, or a database on a server where one is named."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import sqlalchemy as sa

from tapwear.store.engine import Store, create_store, open_store
from tapwear.store.server import connect_to, create_on_server, read_url


@pytest.fixture(scope="session")
def empty_store_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("store") / "empty.db"
    create_store(path).close()
    return path


@pytest.fixture
def file_store(empty_store_file: Path, tmp_path: Path) -> Store:
    """An empty store in a file."""
    return open_store(Path(shutil.copy(empty_store_file, tmp_path / "fleet.db")))


@pytest.fixture(scope="session")
def server_tables(server_url: str) -> list[str]:
    """The tables of an empty store on the server, made once."""
    with connect_to(read_url(server_url)).begin() as connection:
        connection.execute(sa.text("DROP SCHEMA public CASCADE"))
        connection.execute(sa.text("CREATE SCHEMA public"))
    return sorted(sa.inspect(create_on_server(server_url).engine).get_table_names())


@pytest.fixture
def server_store(server_url: str, server_tables: list[str]) -> Store:
    """The store on the server, emptied."""
    store = Store(Path("the server"), connect_to(read_url(server_url)))
    with store.rows(writing=True) as connection:
        # Quicker than TRUNCATE for tables of a few rows; the role leaves references unchecked meanwhile.
        connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
        for name in server_tables:
            if name != "schema_step":
                connection.execute(sa.delete(sa.table(name)))
                connection.execute(sa.select(sa.func.setval(sa.func.pg_get_serial_sequence(name, "id"), 1, False)))
    return store


@pytest.fixture(params=["file", "server"])
def empty_store(request: pytest.FixtureRequest) -> Store:
    """An empty store, once in a file and once on a server: what holds for one holds for the other."""
    store: Store = request.getfixturevalue(f"{request.param}_store")
    return store
