"""Derived results are found while what they rest on is unchanged, and never after."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime

import pytest
import sqlalchemy as sa
from sqlalchemy.engine import Connection
from sqlmodel import SQLModel

from tapwear.store import derived, models
from tapwear.store.derived import content_key, get_derived, put_derived
from tapwear.store.engine import Store
from tapwear.store.entries import add_event, add_reading, add_sample, add_service, withdraw
from tapwear.store.find import find_unit
from tapwear.store.lean import lean
from tapwear.store.recording import Stamp, insert
from tapwear.store.register import add_unit, change_unit, move_unit

AT = datetime(2026, 11, 1, 8, tzinfo=UTC)
STAMP = Stamp("Robin", AT)
DAY = date(2026, 6, 3)


@pytest.fixture
def store(empty_store: Store) -> Store:
    store = empty_store
    with store.rows(writing=True) as connection:
        unit = add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 6}, STAMP)
        add_reading(connection, unit, {"value": 1, "read_on": DAY}, STAMP)
    return store


def _reading(connection: Connection) -> None:
    add_reading(connection, find_unit(connection, "T1"), {"value": 2, "read_on": date(2026, 7, 1)}, STAMP)


def _crew(connection: Connection) -> None:
    crew = lean("crew_week", "region", "week", "hours")
    connection.execute(sa.insert(crew).values(region="east", week="2027-W05", hours=80.0))


WRITES: dict[str, Callable[[Connection], object]] = {
    "reading": _reading,
    "withdrawal": lambda c: withdraw(c, "reading", 1, STAMP),
    "event": lambda c: add_event(c, find_unit(c, "T1"), {"kind": "inspection", "happened_on": DAY}, STAMP),
    "sample": lambda c: add_sample(c, find_unit(c, "T1"), {"sampled_on": DAY, "acetylene_ul_per_l": 5.0}, STAMP),
    "service": lambda c: add_service(c, find_unit(c, "T1"), {"done_on": DAY, "work": "overhaul"}, STAMP),
    "changed unit": lambda c: change_unit(c, "T1", {"note": "x"}, STAMP),
    "moved unit": lambda c: move_unit(c, "T1", DAY, STAMP, state="spare"),
    "new unit": lambda c: add_unit(c, {"unit": "T2", "station": "NORTH", "counter_digits": 6}, STAMP),
    "crew": _crew,
    "scheme": lambda c: insert(c, "scheme", name="new"),
    "station field without a trace": lambda c: c.exec_driver_sql("UPDATE station SET region = 'west'"),
}


@pytest.mark.parametrize("name", WRITES)
def test_a_result_is_not_found_after_any_write_to_register_or_book(store: Store, name: str) -> None:
    key = content_key(store, "2026-11-01")
    put_derived(store, "outlook", key, b"result", AT)
    assert content_key(store, "2026-11-01") == key
    assert get_derived(store, "outlook", key) == b"result"
    with store.rows(writing=True) as connection:
        WRITES[name](connection)
    assert get_derived(store, "outlook", content_key(store, "2026-11-01")) is None


def test_another_day_or_kind_is_another_result_and_the_old_one_goes(store: Store) -> None:
    key = content_key(store, "2026-11-01")
    put_derived(store, "outlook", key, b"one", AT)
    assert content_key(store, "2026-11-02") != key
    assert get_derived(store, "plan", key) is None
    put_derived(store, "outlook", content_key(store, "2026-11-02"), b"two", AT)
    assert get_derived(store, "outlook", key) is None


def test_the_key_knows_every_column_that_the_models_have() -> None:
    assert models.Derived is not None
    plans = {"plan", "plan_job", "plan_publication", "snapshot"}
    plans |= {"import_run", "import_finding", "held_row", "held_decision", "schema_step", "derived"}
    unmentioned = {"recorded_at", "recorded_by"}
    for table in SQLModel.metadata.tables.values():
        if table.name in plans | set(derived.APPENDED):
            continue
        assert set(derived.CHANGING[table.name]) == set(table.c.keys()) - unmentioned, table.name
