"""A look through the store: each kind of trouble is found and told with what to do; a sound store is left in peace."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa
from store_content import past_the_guards

from tapwear.errors import StoreError
from tapwear.store.checking import SUSPICIOUS, Trouble, check_store
from tapwear.store.engine import Store, open_store
from tapwear.store.entries import add_reading, withdraw
from tapwear.store.recording import Stamp, insert
from tapwear.store.register import add_unit, change_unit

AT = datetime(2036, 11, 1, 8, tzinfo=UTC)  # later than any machine that makes the store
STAMP = Stamp("Robin", AT)
TODAY = date(2026, 11, 1)


def filled(empty: Store) -> Store:
    with empty.rows(writing=True) as connection:
        unit = add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 6}, STAMP)
        for day in (1, 2, 3):
            add_reading(connection, unit, {"value": day, "read_on": date(2026, 6, day)}, STAMP)
        add_reading(connection, unit, {"value": 9, "read_on": date(2026, 6, 3)}, STAMP, replace=True)
        withdraw(connection, "reading", 2, STAMP)
    return empty


@pytest.fixture
def store(file_store: Store) -> Store:
    return filled(file_store)


@pytest.fixture
def any_store(empty_store: Store) -> Store:
    """The same in a file, and on a server."""
    return filled(empty_store)


def look(store: Store) -> tuple[Trouble, ...]:
    return check_store(store, today=TODAY, now=AT)


def spoil(store: Store, *statements: str) -> None:
    """What no command of ours does: writes past every check."""
    if store.on_server:
        with store.rows(writing=True) as connection:
            connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
            for statement in statements:
                connection.exec_driver_sql(statement.replace("x'00'", "decode('00', 'hex')"))
        return
    with past_the_guards(store.path) as raw:
        for statement in statements:
            raw.execute(statement)


def test_a_sound_store_with_corrections_is_left_in_peace(any_store: Store) -> None:
    assert look(any_store) == ()


SPOILT = {
    "a row that refers to nothing": (
        "UPDATE reading SET counter_id = 99 WHERE id = 1",
        ("reference", "reading 1", "row of counter that is not there"),
    ),
    "two rows that correct each other": (
        "UPDATE reading SET supersedes_id = 4 WHERE id = 3",
        ("correction", "reading 3", "corrects a row that corrects it in turn"),
    ),
    "a row that corrects itself": (
        "UPDATE reading SET supersedes_id = 1 WHERE id = 1",
        ("correction", "reading 1", "corrects a row"),
    ),
    "a unit that stands nowhere": ("UPDATE stay SET withdrawn = TRUE", ("orphan", "unit T1", "stands nowhere")),
    "readings of a drive on no unit": (
        "UPDATE fitting SET withdrawn = TRUE",
        ("orphan", "readings of counter 1", "count for none"),
    ),
    "a unit without a compartment": ("DELETE FROM compartment", ("orphan", "unit T1", "no compartment")),
    "a drive without a counter": ("INSERT INTO drive (note) VALUES ('')", ("orphan", "drive 2", "no counter")),
    "a day that is none": (
        "UPDATE reading SET read_on = '2026-02-30' WHERE id = 1",
        ("value", "reading 1, read_on", "'2026-02-30' is no day"),
    ),
    "words for a day": (
        "UPDATE tap_changer SET commissioned_on = 'unknown'",
        ("value", "tap_changer 1, commissioned_on", "'unknown' is no day"),
    ),
    "a reading of the day after tomorrow, which it is nowhere yet": (
        "UPDATE reading SET read_on = '2026-11-03' WHERE id = 1",
        ("value", "reading 1, read_on", "lies in the future"),
    ),
    "a row recorded next year": (
        "UPDATE reading SET recorded_at = '2037-11-02 00:00:00' WHERE id = 3",
        ("value", "reading, recorded_at", "1 rows from row 3 on"),
    ),
    "a snapshot that cannot be read": (
        "INSERT INTO snapshot (uid, as_of, recorded_at, recorded_by, tapwear_version, payload) "
        "VALUES ('a', '2026-01-01', '2026-01-01 00:00:00', 'x', '0', x'00')",
        ("value", "snapshot 1", "cannot be read"),
    ),
}


@pytest.mark.parametrize("name", SPOILT)
def test_what_cannot_be_right_is_told_once_with_its_place_and_a_remedy(any_store: Store, name: str) -> None:
    statement, (kind, where, found) = SPOILT[name]
    if any_store.on_server and "is no day" in found:
        pytest.skip("a server takes no such value for a day")
    spoil(any_store, statement)
    (trouble,) = look(any_store)
    assert (trouble.kind, trouble.where) == (kind, where)
    assert found in trouble.found
    assert trouble.remedy
    assert " -> " in trouble.sentence()
    assert "tapwear restore" not in trouble.remedy or not any_store.on_server  # backups are the server's there


def test_numbers_of_rows_that_lag_behind_on_a_server_are_told_with_the_statement_that_mends(
    server_store: Store,
) -> None:
    store = filled(server_store)
    spoil(store, "SELECT setval(pg_get_serial_sequence('reading', 'id'), 2)")
    (trouble,) = look(store)
    assert (trouble.kind, trouble.where) == ("numbering", "reading")
    spoil(store, trouble.remedy.partition(": ")[2])
    assert look(store) == ()


def test_a_corrected_row_may_have_said_something_impossible(any_store: Store) -> None:
    spoil(any_store, "UPDATE reading SET read_on = '2036-06-03' WHERE id = 3")  # row 4 corrects it
    assert look(any_store) == ()


def test_a_suspicious_interval_is_told_with_its_units(any_store: Store) -> None:
    store = any_store
    with store.rows(writing=True) as connection:
        for number, interval in enumerate((60_000, 70_000, 700_000)):
            scheme = insert(connection, "scheme", name=f"S{number}")
            values = {"task": "contact service", "interval_operations": interval}
            insert(connection, "service_rule", scheme_id=scheme, tap_changer_id=None, **values)
        change_unit(connection, "T1", {"scheme": "S2"}, STAMP)
    (told,) = look(store)
    assert told.kind == SUSPICIOUS
    assert told.where == "scheme S2, contact service, interval_operations"
    assert told.found.endswith("it matters for T1")


def tear(content: bytearray) -> None:
    content[3 * 4096 + 8 : 5 * 4096] = b"\xff" * (2 * 4096 - 8)


@pytest.mark.parametrize("harm", [tear, lambda content: content.__delitem__(slice(8 * 4096, None))])
def test_damage_is_found_and_the_way_out_is_a_backup(store: Store, harm: Callable[[bytearray], None]) -> None:
    with store.rows(writing=True) as connection:
        for number in range(2_000):
            insert(connection, "station", code=f"S{number}")
    spoil(store)
    raw = sqlite3.connect(store.path)
    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.close()
    content = bytearray(store.path.read_bytes())
    harm(content)
    store.path.write_bytes(content)
    try:
        found = check_store(open_store(store.path), today=TODAY, now=AT)
    except StoreError as error:
        assert "restore" in str(error)  # noqa: PT017 - either way is right
        return
    assert {one.kind for one in found} == {"damage"}
    assert "restore" in found[0].remedy


@pytest.mark.parametrize(
    ("statement", "where", "found"),
    [
        ("ALTER TABLE observation RENAME TO gone", "observation", "the table is not there"),
        ("ALTER TABLE reading DROP COLUMN remark", "reading", "it has no column remark"),
    ],
)
def test_a_table_or_column_that_is_not_there_is_told(store: Store, statement: str, where: str, found: str) -> None:
    spoil(store, statement)
    (trouble,) = look(store)
    assert (trouble.kind, trouble.where, trouble.found) == ("schema", where, found)
    assert "backup" in trouble.remedy


def test_what_would_act_on_its_own_in_a_file_is_told(store: Store) -> None:
    spoil(
        store,
        "CREATE TRIGGER late AFTER INSERT ON reading BEGIN DELETE FROM reading; END",
        "CREATE VIEW other AS SELECT 1",
    )
    assert [(one.where, one.found.split(" that")[0]) for one in look(store)] == [
        ("other", "a view"),
    ]
    spoil(store, "DROP VIEW other")
    assert [(one.where, one.found.split(" that")[0]) for one in look(store)] == [("late", "a trigger")]


def test_a_book_that_nothing_keeps_is_told_and_an_upgrade_puts_the_triggers_back(any_store: Store) -> None:
    from tapwear.store.guards import drop_triggers
    from tapwear.store.migrate import upgrade

    with any_store.rows(writing=True) as connection:
        drop_triggers(connection)
    (trouble,) = look(any_store)
    assert trouble.kind == "unguarded"
    assert "reading" in trouble.found
    upgrade(any_store, any_store.path.with_name("never.db"))
    assert look(any_store) == ()


WAYS = (
    "UPDATE {0} SET id = id",
    "DELETE FROM {0}",
    "INSERT OR REPLACE INTO {0} SELECT * FROM {0}",
    "REPLACE INTO {0} SELECT * FROM {0}",
)


def test_the_database_refuses_every_change_of_what_was_recorded(any_store: Store) -> None:
    from tapwear.store.guards import WRITTEN_ONCE, kept_tables

    with any_store.rows() as connection:
        tables = kept_tables(connection)
    assert {"reading", "service", "plan_publication", "entry"} <= set(tables)
    assert set(WRITTEN_ONCE) < set(tables)
    before = {table: _all(any_store, table) for table in tables}
    assert len(before["reading"]) == 5
    for table in tables:
        for way in WAYS[:2] if any_store.on_server else WAYS:
            if not before[table] and not any_store.on_server:
                continue  # in a file a trigger fires for rows
            with pytest.raises(sa.exc.DBAPIError, match="append-only"):
                _try(any_store, way.format(f'"{table}"'))
    assert {table: _all(any_store, table) for table in tables} == before


def _all(store: Store, table: str) -> list[tuple[object, ...]]:
    with store.rows() as connection:
        return [tuple(row) for row in connection.exec_driver_sql(f'SELECT * FROM "{table}" ORDER BY id')]  # noqa: S608


def _try(store: Store, statement: str) -> None:
    with store.engine.begin() as connection:
        connection.exec_driver_sql(statement)


def test_a_row_cannot_take_the_place_of_another_by_what_it_must_not_share(file_store: Store) -> None:
    store = filled(file_store)
    columns = [row[1] for row in _pragma(store, "reading")]
    for shared in ("uid", "supersedes_id"):
        listed = ", ".join("'new'" if name == "uid" and shared != "uid" else name for name in columns if name != "id")
        names = ", ".join(name for name in columns if name != "id")
        statement = f"INSERT OR REPLACE INTO reading ({names}) SELECT {listed} FROM reading WHERE supersedes_id = 3"  # noqa: S608
        with pytest.raises(sa.exc.DBAPIError, match="append-only"):
            _try(store, statement)


def _pragma(store: Store, table: str) -> list[tuple[object, ...]]:
    with store.rows() as connection:
        return [tuple(row) for row in connection.exec_driver_sql(f"PRAGMA table_info({table})")]


CANNOT_BE = {
    "an odd mark": "UPDATE reading SET withdrawn = -1 WHERE id = 3",
    "a number beyond every counter": "UPDATE reading SET value = 10000000000 WHERE id = 3",
    "a reading of no counter": "UPDATE reading SET counter_id = 1000000 WHERE id = 3",
    "a correction of nothing": "UPDATE reading SET supersedes_id = 1000000 WHERE supersedes_id = 3",
    "a time of day": "UPDATE reading SET read_time = 'soon' WHERE id = 3",
    "a blank tag": "UPDATE tap_changer SET tag = '' WHERE id = 1",
    "a technology": "UPDATE tap_changer SET technology = 'junk' WHERE id = 1",
    "tasks that there are not": (
        "INSERT INTO service (uid, recorded_at, recorded_by, reason, withdrawn, tap_changer_id, done_on, work, resets, "
        "serial_seen, done_by, witness, remark) VALUES ('s', '2026-06-01', 'Kim', '', 0, 1, '2026-06-01', 'overhaul', "
        "'junk', '', '', '', '')"
    ),
}


@pytest.mark.parametrize("statement", CANNOT_BE.values(), ids=CANNOT_BE.keys())
def test_what_cannot_be_is_found_and_nothing_is_worked_out_from_it(file_store: Store, statement: str) -> None:
    from tapwear.store.loading import load_book

    store = filled(file_store)
    with past_the_guards(store.path) as raw:
        raw.execute("PRAGMA ignore_check_constraints=ON")
        assert raw.execute(statement).rowcount >= 1
    assert look(store)
    with pytest.raises(StoreError, match="tapwear check"):
        load_book(store, as_of=date(2026, 11, 1))


def test_a_row_that_names_another_by_table_and_number_names_one_that_is_there(file_store: Store) -> None:
    store = filled(file_store)
    spoil(store, "UPDATE entry_row SET row_id = 1000000 WHERE id = 1")
    assert [(one.kind, one.where) for one in look(store)] == [("value", "entry_row 1")]


def test_an_import_of_many_rows_leaves_the_triggers_as_they_were(
    file_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tapwear.store import importing
    from tapwear.store.guards import present
    from tapwear.visits.types import Intake, Row

    store = filled(file_store)
    monkeypatch.setattr(importing, "MANY", 1)
    with store.rows() as connection:
        before = present(connection)
    for day in (date(2026, 8, 1), date(2026, 8, 1)):
        rows = (Row("readings", "f.csv", 2, {"unit": "T1", "read_on": day, "value": 900}),)
        importing.store_intake(store, Intake(rows, (), (), 1), by="Kim", now=AT, today=TODAY, what="f")
        with store.rows() as connection:
            assert present(connection) == before
    with pytest.raises(sa.exc.DBAPIError, match="append-only"):
        _try(store, WAYS[2].format("reading"))
