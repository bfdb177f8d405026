"""Upgrades: a backup first, each step recorded, a failing step undone."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import SchemaError
from tapwear.store import migrate
from tapwear.store.engine import Store, create_store
from tapwear.store.lean import lean
from tapwear.store.recording import insert


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = create_store(tmp_path / "fleet.db")
    with store.rows(writing=True) as connection:
        insert(connection, "station", code="NORTH")
    return store


def later(monkeypatch: pytest.MonkeyPatch, step: migrate.Step) -> None:
    """One more step than there is."""
    number = migrate.LATEST + 1
    monkeypatch.setattr(migrate, "STEPS", {**migrate.STEPS, number: ("one more", step)})
    monkeypatch.setattr(migrate, "LATEST", number)


def test_the_oldest_store_is_brought_to_the_latest_version_with_a_backup(
    store: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    later(monkeypatch, lambda connection: connection.exec_driver_sql("ALTER TABLE station ADD COLUMN grid TEXT"))
    before = migrate.version_of(store)
    assert migrate.upgrade(store, tmp_path / "backup.db") == [f"{before + 1}: one more"]
    assert migrate.version_of(store) == before + 1
    with store.rows() as connection:
        steps = connection.execute(sa.select(lean("schema_step", "number").c.number)).scalars().all()
        assert connection.exec_driver_sql("SELECT grid FROM station").fetchall() == [(None,)]
    assert steps == list(range(1, before + 2))
    kept = sqlite3.connect(tmp_path / "backup.db")
    assert kept.execute("SELECT * FROM station").fetchall()[0][1] == "NORTH"
    assert kept.execute("PRAGMA user_version").fetchone()[0] == before
    kept.close()


def test_a_store_that_is_up_to_date_is_left_alone(store: Store, tmp_path: Path) -> None:
    assert migrate.upgrade(store, tmp_path / "backup.db") == []
    assert not (tmp_path / "backup.db").exists()


def test_a_step_that_fails_leaves_the_store_as_it_was(
    store: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def fails(connection: Connection) -> None:
        connection.exec_driver_sql("ALTER TABLE station ADD COLUMN grid TEXT")
        raise RuntimeError("half way")

    version = migrate.version_of(store)
    later(monkeypatch, fails)
    with pytest.raises(RuntimeError):
        migrate.upgrade(store, tmp_path / "backup.db")
    assert migrate.version_of(store) == version
    with store.rows() as connection:
        columns = [row[1] for row in connection.exec_driver_sql("PRAGMA table_info(station)")]
    assert "grid" not in columns


def test_a_step_that_would_break_a_reference_is_undone(
    store: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with store.rows(writing=True) as connection:
        insert(connection, "place", station_id=1)
    later(monkeypatch, lambda connection: connection.exec_driver_sql("DELETE FROM station"))
    with pytest.raises(SchemaError, match="would break 1 reference"):
        migrate.upgrade(store, tmp_path / "backup.db")
    with store.rows() as connection:
        assert connection.execute(sa.select(lean("station", "code").c.code)).scalars().all() == ["NORTH"]
