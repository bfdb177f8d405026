"""Every generated example is the same on every machine, however slow it is; the longest tests wait for `--long`.

Settings of whoever runs the tests (TAPWEAR_..., their settings file, colours, the terminal's width) are out of reach.

TAPWEAR_TEST_SERVER names an empty PostgreSQL database that the tests may fill and empty, such as
postgresql://postgres@localhost:5433/tapwear, by a role that may make others beside it; without it the tests on a
server are skipped.
"""

from __future__ import annotations

import atexit
import os
import tempfile
from collections.abc import Iterator

import pytest
from hypothesis import settings

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # the programs started here keep their bytecode, as installed ones do
OF_THE_TERMINAL = ("COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR", "PY_COLORS", "GITHUB_ACTIONS")
for name in [*os.environ]:
    if name in OF_THE_TERMINAL or (name.startswith("TAPWEAR_") and name != "TAPWEAR_TEST_SERVER"):
        del os.environ[name]
nobodys = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
atexit.register(nobodys.cleanup)
os.environ["XDG_CONFIG_HOME"] = nobodys.name

settings.register_profile("steady", deadline=None, derandomize=True)
settings.load_profile("steady")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="run the longest tests too")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if config.getoption("--long"):
        return
    for item in items:
        if item.get_closest_marker("long"):
            item.add_marker(pytest.mark.skip(reason="takes long: pytest --long runs it"))


@pytest.fixture(scope="session")
def server_url() -> Iterator[str]:
    """The database on a server that the tests may use; each worker has one of its own."""
    named = os.environ.get("TAPWEAR_TEST_SERVER") or pytest.skip("no PostgreSQL: TAPWEAR_TEST_SERVER names none")
    worker = os.environ.get("PYTEST_XDIST_WORKER")
    yield from _database_beside(named, worker) if worker else iter([named])


@pytest.fixture
def empty_database(server_url: str) -> Iterator[str]:
    """The URL of a database beside that one, which holds no tables."""
    yield from _database_beside(server_url, "beside")


def _database_beside(named: str, ending: str) -> Iterator[str]:
    """The URL of a new, empty database beside the one named; it is dropped when asked for again, or afterwards."""
    import sqlalchemy as sa

    from tapwear.store.server import connect_to, read_url

    url = read_url(named)
    made, engine = f"{url.database}_{ending}", connect_to(url).execution_options(isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(sa.text(f'DROP DATABASE IF EXISTS "{made}" WITH (FORCE)'))
        connection.execute(sa.text(f'CREATE DATABASE "{made}"'))
    yield url.set(database=made).render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.execute(sa.text(f'DROP DATABASE IF EXISTS "{made}"'))
