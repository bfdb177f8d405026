"""Backups: complete, sound, never over another file, and nothing left behind when they cannot be made."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa

from tapwear.errors import StoreError
from tapwear.store import backup
from tapwear.store.backup import back_up, prove
from tapwear.store.dump import dump_store
from tapwear.store.engine import Store, open_store
from tapwear.store.lean import lean
from tapwear.store.recording import insert
from tapwear.store.restore import restore

AT = datetime(2026, 11, 1, 8, tzinfo=UTC)


@pytest.fixture
def store(file_store: Store) -> Store:
    with file_store.rows(writing=True) as connection:
        insert(connection, "station", code="NORTH")
    return file_store


def test_a_backup_never_overwrites(store: Store, tmp_path: Path) -> None:
    target = tmp_path / "backup.db"
    target.write_text("mine", encoding="utf-8")
    with pytest.raises(StoreError, match="never overwrites"):
        back_up(store, target)
    assert target.read_text(encoding="utf-8") == "mine"


def test_a_backup_of_a_store_in_use_is_complete_and_opens_as_a_store(store: Store, tmp_path: Path) -> None:
    with store.rows():
        proof = back_up(store, tmp_path / "backup.db")
    assert proof.rows["station"] == 1
    assert proof.faults == ()
    copy = open_store(tmp_path / "backup.db")
    with copy.rows() as connection:
        assert connection.execute(sa.select(lean("station", "code").c.code)).scalars().all() == ["NORTH"]


def test_a_backup_shows_one_moment_although_rows_are_added_meanwhile(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def copy_late(source: sqlite3.Connection, to: Path, journal: str) -> None:
        with store.rows(writing=True) as connection:
            insert(connection, "station", code="LATE")
        copy(source, to, journal)

    copy = backup.copy
    monkeypatch.setattr(backup, "copy", copy_late)
    assert back_up(store, tmp_path / "backup.db").rows["station"] == 1


def test_a_backup_is_as_private_as_the_store_and_stands_alone(store: Store, tmp_path: Path) -> None:
    to = tmp_path / "kept" / "backup.db"
    to.parent.mkdir()
    back_up(store, to)
    assert to.stat().st_mode & 0o777 == 0o600
    store.path.chmod(0o660)
    back_up(store, tmp_path / "kept" / "shared.db")
    assert (tmp_path / "kept" / "shared.db").stat().st_mode & 0o777 == 0o660
    assert sorted(path.name for path in to.parent.iterdir()) == ["backup.db", "shared.db"]


def test_a_copy_that_is_not_sound_is_not_kept(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def copy_torn(source: sqlite3.Connection, to: Path, journal: str) -> None:
        copy(source, to, journal)
        with to.open("r+b") as file:
            file.seek(5 * 4096)
            file.write(os.urandom(3 * 4096))

    copy = backup.copy
    monkeypatch.setattr(backup, "copy", copy_torn)
    before = sorted(tmp_path.iterdir())
    with pytest.raises(StoreError):
        back_up(store, tmp_path / "backup.db")
    assert sorted(path for path in tmp_path.iterdir() if path.suffix not in (".db-wal", ".db-shm")) == before


@pytest.mark.parametrize("copied", [back_up, lambda store, to: dump_store(store, to, at=AT)])
def test_of_a_damaged_store_the_store_is_named_and_not_what_was_to_be_made(
    store: Store, tmp_path: Path, copied: Callable[[Store, Path], object]
) -> None:
    with store.rows() as connection:
        query = "SELECT rootpage FROM sqlite_schema WHERE name = 'reading'"
        page = connection.exec_driver_sql(query).scalar_one()
    store.close()
    raw = sqlite3.connect(store.path)
    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()
    with store.path.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\xa5" * 4096)
    with pytest.raises(StoreError, match=r"fleet\.db is (not sound|not a Tapwear store, or it is damaged)") as refused:
        copied(store, tmp_path / "copied")
    assert "copied" not in str(refused.value)
    assert not (tmp_path / "copied").exists()


@pytest.mark.parametrize("name", ["file:fleet?mode=memory", "file:fleet.db", "fleet;#%41.db"])
def test_a_name_that_looks_like_an_address_is_a_name(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    assert back_up(store, Path(name)).total == prove(tmp_path / name).total > 0
    assert restore(Path(name), Path(f"{name}2"), aside=tmp_path / "aside").aside is None
    assert restore(Path(name), Path(f"{name}2"), aside=tmp_path / "aside", replace=True).aside == tmp_path / "aside"


def test_a_folder_that_is_not_there_is_told(store: Store, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="cannot be opened"):
        back_up(store, tmp_path / "nowhere" / "backup.db")


def test_what_is_no_store_is_not_taken_for_one(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("Dear all", encoding="utf-8")
    with pytest.raises(StoreError, match="not a Tapwear store"):
        prove(tmp_path / "letter.txt")
    raw = sqlite3.connect(tmp_path / "other.db")
    raw.execute("CREATE TABLE t (x)")
    raw.close()
    with pytest.raises(StoreError, match="not a Tapwear store"):
        prove(tmp_path / "other.db")
