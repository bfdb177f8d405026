"""Restoring: proved first, in place in one move, the former store kept, and nobody writes into the wrong file."""

from __future__ import annotations

import sqlite3
import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest
from store_content import content, proved

from tapwear.errors import SchemaError, StoreError, UsageError
from tapwear.store import engine
from tapwear.store import restore as restoring
from tapwear.store.backup import back_up
from tapwear.store.dump import dump_store
from tapwear.store.engine import Store, open_store
from tapwear.store.recording import insert
from tapwear.store.restore import restore


@pytest.fixture
def store(file_store: Store) -> Store:
    add(file_store, "NORTH")
    return file_store


@pytest.fixture
def kept(store: Store, tmp_path: Path) -> Path:
    """A backup of the store, which has gone on since."""
    back_up(store, tmp_path / "kept.db")
    add(store, "SINCE")
    return tmp_path / "kept.db"


def add(store: Store, code: str) -> None:
    with store.rows(writing=True) as connection:
        insert(connection, "station", code=code)


def codes(path: Path) -> list[object]:
    return [row[1] for row in content(path)["station"]]


def test_a_backup_becomes_a_new_store(kept: Path, tmp_path: Path) -> None:
    done = restore(kept, tmp_path / "new.db", aside=tmp_path / "aside.db")
    assert done.aside is None
    assert content(tmp_path / "new.db") == content(kept)
    add(open_store(tmp_path / "new.db"), "MORE")
    assert codes(kept) == ["NORTH"]


def test_a_store_that_is_there_stays_unless_it_is_said(store: Store, kept: Path, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"is there already, with 0 units and .* rows.*--replace"):
        restore(kept, store.path, aside=tmp_path / "aside.db")
    assert codes(store.path) == ["NORTH", "SINCE"]


@pytest.mark.parametrize("form", ["backup", "dump"])
def test_a_replaced_store_is_kept_aside_with_all_it_held(store: Store, kept: Path, tmp_path: Path, form: str) -> None:
    source = kept
    if form == "dump":
        source = tmp_path / "dump"
        dump_store(open_store(kept), source, at=datetime(2026, 11, 1, tzinfo=UTC))
    store.path.chmod(0o660)
    done = restore(source, store.path, aside=tmp_path / "aside.db", replace=True)
    assert done.aside == tmp_path / "aside.db"
    assert codes(tmp_path / "aside.db") == ["NORTH", "SINCE"]
    assert codes(store.path) == ["NORTH"]
    assert store.path.stat().st_mode & 0o777 == 0o660
    proved(store.path)
    add(store, "AGAIN")
    assert codes(store.path) == ["NORTH", "AGAIN"]
    assert not [path.name for path in tmp_path.iterdir() if ".part" in path.name]


def test_a_store_in_use_is_not_replaced(
    store: Store, kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(restoring, "PATIENCE_S", 0.1)
    with store.rows() as connection:
        connection.exec_driver_sql("SELECT * FROM station").fetchall()
        with pytest.raises(StoreError, match="in use"):
            restore(kept, store.path, aside=tmp_path / "aside.db", replace=True)
    assert codes(store.path) == ["NORTH", "SINCE"]
    assert not (tmp_path / "aside.db").exists()


def test_whoever_waits_while_a_store_is_replaced_is_told_and_writes_into_neither(
    store: Store, kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[str] = []
    has_opened = threading.Event()

    def which_file(path: Path) -> tuple[int, int] | None:
        found = asked(path)
        has_opened.set()
        return found

    def late() -> None:
        try:
            add(store, "LATE")
        except StoreError as error:
            told.append(str(error))

    waiting = threading.Thread(target=late)

    def name_it(part: Path, to: Path) -> None:
        if to.name == "aside.db":
            waiting.start()
            assert has_opened.wait(60)  # it holds the file that is about to go
        real(part, to)

    real, asked = restoring.name_it, engine._which_file
    monkeypatch.setattr(restoring, "name_it", name_it)
    monkeypatch.setattr(engine, "_which_file", which_file)
    restore(kept, store.path, aside=tmp_path / "aside.db", replace=True)
    waiting.join()
    assert len(told) == 1
    assert "Another file took the place" in told[0]
    assert codes(store.path) == ["NORTH"]
    assert codes(tmp_path / "aside.db") == ["NORTH", "SINCE"]


def test_a_damaged_store_can_be_replaced_and_is_kept(store: Store, kept: Path, tmp_path: Path) -> None:
    store.path.write_bytes(b"no longer a database" * 500)
    restore(kept, store.path, aside=tmp_path / "aside.db", replace=True)
    assert codes(store.path) == ["NORTH"]
    assert (tmp_path / "aside.db").read_bytes().startswith(b"no longer")


def test_another_programs_database_is_never_replaced(kept: Path, tmp_path: Path) -> None:
    raw = sqlite3.connect(tmp_path / "other.db")
    raw.execute("CREATE TABLE t (x)")
    raw.close()
    with pytest.raises(StoreError, match="another program"):
        restore(kept, tmp_path / "other.db", aside=tmp_path / "aside.db", replace=True)
    assert not (tmp_path / "aside.db").exists()


def test_a_damaged_backup_is_refused_and_nothing_changes(store: Store, kept: Path, tmp_path: Path) -> None:
    with kept.open("r+b") as file:
        file.seek(6 * 4096)
        file.write(b"\xff" * 4096 * 3)
    with pytest.raises(StoreError, match=r"not sound|damaged"):
        restore(kept, store.path, aside=tmp_path / "aside.db", replace=True)
    assert codes(store.path) == ["NORTH", "SINCE"]


def test_an_older_backup_comes_back_as_it_is_and_a_newer_one_is_refused(kept: Path, tmp_path: Path) -> None:
    for version in (1, 999):
        raw = sqlite3.connect(kept)
        raw.execute(f"PRAGMA user_version={version}")
        raw.close()
        if version == 1:
            assert restore(kept, tmp_path / "old.db", aside=tmp_path / "aside.db").proof.version == 1
        else:
            with pytest.raises(SchemaError, match="newer Tapwear"):
                restore(kept, tmp_path / "new.db", aside=tmp_path / "aside.db")
    assert not (tmp_path / "new.db").exists()


def test_what_is_not_there_or_is_the_store_itself_is_told(store: Store, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="nothing at"):
        restore(tmp_path / "nowhere.db", store.path, aside=tmp_path / "aside.db")
    with pytest.raises(UsageError, match="the store itself"):
        restore(store.path, store.path, aside=tmp_path / "aside.db", replace=True)
