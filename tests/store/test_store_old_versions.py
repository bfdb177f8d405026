"""Every schema version ever released upgrades with its content intact, whoever else upgrades at the same moment."""

from __future__ import annotations

import sqlite3
import threading
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from old_stores import FOLDER, VERSIONS, old_store
from sqlalchemy.engine import Connection
from store_content import named, proved

from tapwear.errors import SchemaError
from tapwear.store.backup import prove
from tapwear.store.checking import check_store
from tapwear.store.engine import Store, create_store, open_store
from tapwear.store.migrate import upgrade
from tapwear.store.server import store_at
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


def structure(store: Store) -> dict[str, set[tuple[object, ...]]]:
    """What a database on a server is made of: columns, constraints, indexes and triggers."""
    queries = {
        "columns": "SELECT table_name, ordinal_position, column_name, data_type, is_nullable, column_default "
        "FROM information_schema.columns WHERE table_schema = current_schema()",
        "constraints": "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint "
        "WHERE connamespace = current_schema()::regnamespace",
        "indexes": "SELECT tablename, indexname, indexdef FROM pg_indexes WHERE schemaname = current_schema()",
        "triggers": "SELECT tgrelid::regclass::text, pg_get_triggerdef(pg_trigger.oid) FROM pg_trigger JOIN pg_class "
        "ON pg_class.oid = tgrelid WHERE relnamespace = current_schema()::regnamespace AND NOT tgisinternal",
    }
    with store.rows() as connection:
        return {what: {tuple(row) for row in connection.exec_driver_sql(text)} for what, text in queries.items()}


def test_an_upgraded_store_on_a_server_is_made_as_a_new_one_and_holds_all_it_held(
    server_store: Store, empty_database: str, tmp_path: Path
) -> None:
    old = store_at(empty_database)
    with old.rows(writing=True) as connection:
        for statement in (FOLDER / "server_2.sql").read_text(encoding="utf-8").split(";\n"):
            if statement.strip():
                connection.exec_driver_sql(statement)
        connection.exec_driver_sql("INSERT INTO schema_step VALUES (1, '', now(), ''), (2, '', now(), '')")
        add_some(connection)
    assert len(upgrade(old, tmp_path / "never.db")) == LATEST - 2
    assert structure(old) == structure(server_store)
    with old.rows() as connection:
        assert connection.exec_driver_sql("SELECT value, read_time FROM reading ORDER BY id").fetchall() == [
            (500, ""), (510, ""),
        ]  # fmt: skip
        assert connection.exec_driver_sql("SELECT content_key FROM import_run").fetchall() == [("",)]
        assert connection.exec_driver_sql("SELECT id, recorded_by, import_id FROM entry ORDER BY id").fetchall() == [
            (1, "Robin", 1), (2, "Kim", None),
        ]  # fmt: skip
    assert check_store(old, today=date(2027, 1, 1), now=datetime(2100, 1, 1, tzinfo=UTC)) == ()


def add_some(connection: Connection) -> None:
    """A unit with a reading from an import and one by hand, as a store of schema 2 holds them."""
    for statement in (
        "INSERT INTO station (code, name, region, neighbourhood, note) VALUES ('NORTH', '', '', '', '')",
        "INSERT INTO place (station_id, bank, phase) VALUES (1, '', '')",
        "INSERT INTO tap_changer (tag, technology, breathing, peer_group, oil_group, sampling_needs_outage, "
        "visit_cadence, positions, note) VALUES ('T1', '', '', '', '', false, '', '', '')",
        "INSERT INTO compartment (tap_changer_id, name) VALUES (1, '')",
        "INSERT INTO drive (note) VALUES ('')",
        "INSERT INTO counter (drive_id, source, digits) VALUES (1, 'mechanical', 6)",
        "INSERT INTO import_run (recorded_at, recorded_by, what, rows_stored, rows_known, rows_in_findings) "
        "VALUES ('2026-05-01 08:00', 'Robin', 'units.csv', 3, 0, 0)",
        "INSERT INTO stay (uid, recorded_at, recorded_by, import_id, reason, withdrawn, tap_changer_id, place_id, "
        "state) VALUES ('a', '2026-05-01 08:00', 'Robin', 1, '', false, 1, 1, 'in service')",
        "INSERT INTO fitting (uid, recorded_at, recorded_by, import_id, reason, withdrawn, drive_id, tap_changer_id, "
        "slot) VALUES ('b', '2026-05-01 08:00', 'Robin', 1, '', false, 1, 1, '1')",
    ):
        connection.exec_driver_sql(statement)
    reading = (
        "INSERT INTO reading (uid, recorded_at, recorded_by, import_id, reason, withdrawn, counter_id, read_on, value, "
        "reader, doubt, remark) VALUES ({}, '', false, 1, {}, '', '', '')"
    )
    connection.exec_driver_sql(reading.format("'c', '2026-05-01 08:00', 'Robin', 1", "'2026-04-30', 500"))
    connection.exec_driver_sql(reading.format("'d', '2026-05-02 08:00', 'Kim', NULL", "'2026-05-02', 510"))
