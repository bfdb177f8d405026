"""Every schema version ever released upgrades with its content intact, whoever else upgrades at the same moment."""

from __future__ import annotations

import sqlite3
import threading
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from old_stores import VERSIONS, old_store
from store_content import named, proved

from tapwear.errors import SchemaError
from tapwear.store.backup import prove
from tapwear.store.checking import check_store
from tapwear.store.engine import create_store, open_store
from tapwear.store.migrate import upgrade
from tapwear.store.version import LATEST


def columns(path: Path) -> dict[str, dict[str, tuple[object, ...]]]:
    """Table -> column -> type and whether it must hold something."""
    raw = sqlite3.connect(path)
    names = [name for (name,) in raw.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
    found = {name: {row[1]: (row[2], row[3]) for row in raw.execute(f"PRAGMA table_info({name})")} for name in names}
    raw.close()
    return found


def objects(path: Path) -> dict[tuple[str, str], str]:
    """Kind and name -> its SQL, whatever the blanks, of every table and index that has any."""
    raw = sqlite3.connect(path)
    found = raw.execute("SELECT type, name, sql FROM sqlite_schema WHERE sql IS NOT NULL").fetchall()
    raw.close()
    return {(kind, name): " ".join(sql.split()) for kind, name, sql in found}


def test_a_store_is_kept_of_every_version_that_was_released() -> None:
    assert list(range(1, LATEST)) == [version for version in VERSIONS if version < LATEST]


@pytest.mark.parametrize("version", VERSIONS)
def test_an_old_store_is_refused_until_it_is_upgraded_and_then_holds_all_it_held(version: int, tmp_path: Path) -> None:
    path = old_store(version, tmp_path / "old.db")
    before = named(path)
    assert sum(map(len, before.values())) > 80
    if version < LATEST:
        with pytest.raises(SchemaError, match="upgrade"):
            open_store(path)
    steps = upgrade(open_store(path, any_version=True), tmp_path / "backup.db")
    assert len(steps) == LATEST - version
    after = named(path)
    for table, rows in before.items():
        if table == "schema_step":
            assert after[table][: len(rows)] == rows
            continue
        assert [{name: new[name] for name in old} for old, new in zip(rows, after[table], strict=True)] == rows, table
    proved(path)
    ever = datetime(2100, 1, 1, tzinfo=UTC)  # after all that is recorded, whatever this machine's clock says
    assert check_store(open_store(path), today=date(2027, 1, 1), now=ever) == ()
    if steps:
        assert named(tmp_path / "backup.db") == before


@pytest.mark.parametrize("version", VERSIONS)
def test_an_upgraded_store_has_the_same_columns_as_a_new_one(version: int, tmp_path: Path) -> None:
    path = old_store(version, tmp_path / "old.db")
    upgrade(open_store(path, any_version=True), tmp_path / "backup.db")
    create_store(tmp_path / "new.db").close()
    assert columns(path) == columns(tmp_path / "new.db")


def test_an_upgraded_store_has_the_tables_indexes_and_checks_of_a_new_one(tmp_path: Path) -> None:
    path = old_store(1, tmp_path / "old.db")
    was = objects(path)
    upgrade(open_store(path, any_version=True), tmp_path / "backup.db")
    create_store(tmp_path / "new.db").close()
    now, new = objects(path), objects(tmp_path / "new.db")
    assert now.keys() == new.keys()
    for name in now.keys() - was.keys():
        assert now[name] == new[name]


def test_two_who_upgrade_at_the_same_moment_do_it_once(tmp_path: Path) -> None:
    path = old_store(1, tmp_path / "old.db")
    stores = [open_store(path, any_version=True) for _ in range(4)]
    done: list[list[str]] = []

    def run(number: int) -> None:
        done.append(upgrade(stores[number], tmp_path / f"backup{number}.db"))

    threads = [threading.Thread(target=run, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(map(len, done)) == [0, 0, 0, LATEST - 1]
    assert prove(path).version == LATEST
    proved(path)
