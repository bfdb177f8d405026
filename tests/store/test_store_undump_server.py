"""A dump goes into an empty database whole or not at all, comes out of it equal, and the next row finds its number."""

from __future__ import annotations

import signal
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa
from old_stores import old_store
from store_content import named
from test_store_dump import NASTY, ODD, WRONG, rewrite

from tapwear.errors import StoreError, UsageError
from tapwear.store import undump_server
from tapwear.store.backup import back_up
from tapwear.store.checking import check_store
from tapwear.store.dump import dump_store, tables
from tapwear.store.engine import Store, open_store
from tapwear.store.entries import add_reading
from tapwear.store.find import find_unit
from tapwear.store.guards import drop_triggers, make_triggers
from tapwear.store.lean import lean
from tapwear.store.migrate import upgrade
from tapwear.store.recording import Stamp, insert
from tapwear.store.register import add_unit
from tapwear.store.server import connect_to, open_on_server, read_url
from tapwear.store.snapshots import save_snapshot
from tapwear.store.undump import load_dump
from tapwear.store.undump_server import restore_on_server

AT = datetime(2026, 11, 1, 8, tzinfo=UTC)
STAMP = Stamp("Kim", AT, "misread")


@pytest.fixture
def store(file_store: Store) -> Store:
    """Every kind of value, a correction that stands before what it corrects, and numbers with a gap."""
    with file_store.rows(writing=True) as connection:
        unit = add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 6}, STAMP)
        for value in (5, 6):
            values = {"value": value, "read_on": date(2026, 6, 3), "current_a": 0.1 + 0.2}
            add_reading(connection, unit, values, STAMP, replace=True)
        for number, text in enumerate(NASTY + ODD):
            insert(connection, "station", code=f"S{number}{text[:50]}", name=text, note=text)
        insert(connection, "transformer", serial="", main_tank_volume_l=45678.900000000001)
        save_snapshot(connection, date(2026, 6, 30), {"any": ["bytes"]}, STAMP)
        drop_triggers(connection)
        connection.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
        connection.exec_driver_sql("UPDATE reading SET id = 70 WHERE id = 1")
        connection.exec_driver_sql("UPDATE entry_row SET row_id = 70 WHERE table_name = 'reading' AND row_id = 1")
        connection.exec_driver_sql("UPDATE reading SET supersedes_id = 70 WHERE id = 2")
        make_triggers(connection)
    return file_store


@pytest.fixture
def dump(store: Store, tmp_path: Path) -> Path:
    dump_store(store, tmp_path / "dump", at=AT)
    return tmp_path / "dump"


def tables_in(url: str) -> list[str]:
    return sa.inspect(connect_to(read_url(url))).get_table_names()


def there_and_back(store: Store, url: str, folder: Path) -> Path:
    """File, dump, server, dump, file."""
    dump_store(store, folder / "first", at=AT)
    on_server, _ = restore_on_server(folder / "first", url)
    dump_store(on_server, folder / "second", at=AT)
    load_dump(folder / "second", folder / "again.db")
    return folder / "again.db"


def test_a_dump_comes_out_of_a_server_as_it_went_in(store: Store, empty_database: str, tmp_path: Path) -> None:
    again = there_and_back(store, empty_database, tmp_path)
    assert named(again) == named(store.path)
    for name in tables():
        first, second = ((tmp_path / which / f"{name}.csv").read_bytes() for which in ("first", "second"))
        assert first == second, name
    now = datetime(2036, 1, 1, tzinfo=UTC)
    assert check_store(open_on_server(empty_database), today=now.date(), now=now) == ()


@pytest.mark.parametrize("version", [1, 2])
def test_released_stores_with_plans_go_there_and_back(version: int, empty_database: str, tmp_path: Path) -> None:
    store = open_store(old_store(version, tmp_path / "old.db"), any_version=True)
    upgrade(store, tmp_path / "backup.db")
    again = there_and_back(store, empty_database, tmp_path)
    assert named(again) == named(store.path)
    assert len(named(again)["plan_job"]) > 0


def test_the_next_reading_on_the_server_gets_the_number_after_the_highest(dump: Path, empty_database: str) -> None:
    store, rows = restore_on_server(dump, empty_database)
    assert rows["reading"] == 2
    with store.rows(writing=True) as connection:
        add_reading(connection, find_unit(connection, "T1"), {"value": 9, "read_on": date(2026, 7, 3)}, STAMP)
        add_unit(connection, {"unit": "T2", "station": "SOUTH", "counter_digits": 6}, STAMP)
    reading = lean("reading", "id", "value")
    with store.rows() as connection:
        assert connection.execute(sa.select(reading.c.id).where(reading.c.value == 9)).scalar_one() == 71


WRONG_FOR_A_SERVER = [
    ("id,station_id,bank,phase\r\n1,1,,\r\n99999999999,1,,b\r\n", 2, "row 3: a row does not fit"),
    ("id,station_id,bank,phase\r\n1,1,a\0b,\r\n", 1, "does not fit"),
]


@pytest.mark.parametrize(("text", "rows", "said"), WRONG + WRONG_FOR_A_SERVER)
def test_a_wrong_row_is_told_with_its_place_and_the_database_stays_empty(
    dump: Path, empty_database: str, text: str, rows: int, said: str
) -> None:
    rewrite(dump, "place", text, rows)
    with pytest.raises(StoreError, match=said) as told:
        restore_on_server(dump, empty_database)
    assert "place.csv" in str(told.value)
    assert "Nothing was made" in str(told.value) or "list of contents" in str(told.value)
    assert tables_in(empty_database) == []


def test_a_day_that_is_none_is_told_with_its_row(dump: Path, empty_database: str) -> None:
    text = (dump / "reading.csv").read_text(encoding="utf-8").replace("2026-06-03", "2026-02-30", 1)
    rewrite(dump, "reading", text, 2)
    with pytest.raises(StoreError, match=r"reading\.csv, row 2: .*day"):
        restore_on_server(dump, empty_database)
    assert tables_in(empty_database) == []


def test_rows_that_come_back_otherwise_are_not_kept(
    dump: Path, empty_database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    number_on = undump_server._number_on

    def and_change(connection: sa.Connection, table: str) -> None:
        number_on(connection, table)
        if table == "station":  # as a trigger or a setting of the server might
            connection.exec_driver_sql("ALTER TABLE reading ALTER COLUMN current_a TYPE real")

    monkeypatch.setattr(undump_server, "_number_on", and_change)
    with pytest.raises(StoreError, match="gives back rows of reading otherwise"):
        restore_on_server(dump, empty_database)
    assert tables_in(empty_database) == []


KILLED = """
import os, signal, sys
from pathlib import Path
from tapwear.store import undump_server
def killed(connection, table):
    if table == "reading":
        os.kill(os.getpid(), signal.SIGKILL)
undump_server._number_on = killed
undump_server.restore_on_server(Path(sys.argv[1]), sys.argv[2])
"""


def test_a_restore_killed_half_way_leaves_the_database_empty_for_the_next(dump: Path, empty_database: str) -> None:
    done = subprocess.run([sys.executable, "-c", KILLED, str(dump), empty_database], check=False)
    assert done.returncode == -signal.SIGKILL
    assert restore_on_server(dump, empty_database)[1]["reading"] == 2  # waits until the server has noticed
    assert len(tables_in(empty_database)) > 20


def test_a_database_that_holds_something_is_refused_and_left(dump: Path, empty_database: str) -> None:
    restore_on_server(dump, empty_database)
    with pytest.raises(StoreError, match="holds a Tapwear store already"):
        restore_on_server(dump, empty_database)
    assert len(tables_in(empty_database)) > 20


def test_a_backup_is_refused_with_the_way_to_a_dump(store: Store, empty_database: str, tmp_path: Path) -> None:
    back_up(store, tmp_path / "kept.db")
    with pytest.raises(UsageError, match=r"kept\.db dump FOLDER"):
        restore_on_server(tmp_path / "kept.db", empty_database)
    with pytest.raises(UsageError, match="nothing at"):
        restore_on_server(tmp_path / "nowhere", empty_database)
    assert tables_in(empty_database) == []
