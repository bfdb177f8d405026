"""Deferrals: recorded whole or not at all, append-only, loaded as of a day."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from tapwear.errors import UsageError
from tapwear.store.deferrals import add_deferral, list_deferrals, take_back
from tapwear.store.engine import Store
from tapwear.store.find import find_unit
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit

STAMP = Stamp("Kim", datetime(2026, 7, 1, 9, tzinfo=UTC))


@pytest.fixture
def store(empty_store: Store) -> Store:
    with empty_store.rows(writing=True) as connection:
        for tag in ("T1", "T2"):
            add_unit(connection, {"unit": tag, "station": "NORTH", "counter_digits": 5}, STAMP)
    return empty_store


def put(store: Store, unit: str = "T1", **changes: Any) -> None:
    values: dict[str, Any] = {
        "task": "contact service",
        "decided_on": date(2026, 7, 1),
        "expires_on": date(2027, 3, 1),
        "engineer": "K. Lund",
        "reason": "winter peak",
        "extra_checks": "monthly sample",
    }
    with store.rows(writing=True) as connection:
        add_deferral(connection, find_unit(connection, unit), **(values | changes), stamp=STAMP)


def test_a_deferral_is_kept_with_all_that_was_decided(store: Store) -> None:
    put(store)
    with store.rows() as connection:
        (row,) = list_deferrals(connection)
    assert (row.unit, row.engineer, row.reason, row.extra_checks) == ("T1", "K. Lund", "winter peak", "monthly sample")
    (loaded,) = load_book(store).deferrals.to_dict("records")
    assert (loaded["unit"], loaded["expires_on"].date(), loaded["reason"]) == ("T1", date(2027, 3, 1), "winter peak")


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"engineer": " "}, "needs its engineer"),
        ({"reason": ""}, "needs its reason"),
        ({"extra_checks": ""}, "needs its checks"),
        ({"task": "polishing"}, "no task 'polishing'"),
        ({"expires_on": date(2026, 7, 1)}, "give a later day"),
    ],
)
def test_without_engineer_reason_checks_or_a_later_day_nothing_is_recorded(
    store: Store, changes: dict[str, Any], message: str
) -> None:
    with pytest.raises(UsageError, match=message):
        put(store, **changes)
    assert load_book(store).deferrals.empty


def test_the_book_of_a_day_before_the_decision_does_not_know_it(store: Store) -> None:
    put(store)
    assert load_book(store, as_of=date(2026, 6, 30)).deferrals.empty
    assert len(load_book(store, as_of=date(2026, 7, 1)).deferrals) == 1
    assert load_book(store, "T2").deferrals.empty


def test_one_taken_back_is_gone_from_the_list_and_kept_in_the_book(store: Store) -> None:
    put(store)
    put(store, expires_on=date(2027, 6, 1), decided_on=date(2026, 9, 1))
    with store.rows(writing=True) as connection:
        unit = find_unit(connection, "T1")
        assert take_back(connection, unit, "contact service", STAMP).expires_on == date(2027, 6, 1)
        (left,) = list_deferrals(connection, unit)
        assert left.expires_on == date(2027, 3, 1)
        assert connection.exec_driver_sql("SELECT count(*) FROM deferral").scalar() == 3
        with pytest.raises(UsageError, match="no deferral of its oil change"):
            take_back(connection, unit, "oil change", STAMP)
