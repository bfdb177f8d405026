"""Snapshots are kept as they are, by day; changed rules come out of the register's history."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit, change_unit
from tapwear.store.rule_changes import rule_changes
from tapwear.store.snapshots import list_snapshots, load_snapshot, save_snapshot

AT = datetime(2026, 7, 1, 9, tzinfo=UTC)
STAMP = Stamp("Kim", AT)


def test_snapshots_come_back_as_they_were_kept_by_day(empty_store: Store) -> None:
    later = {"dues": [{"unit": "T1 µ", "early": None}]}
    with empty_store.rows(writing=True) as connection:
        number = save_snapshot(connection, date(2026, 6, 30), later, STAMP)
        save_snapshot(connection, date(2025, 6, 30), {"dues": []}, STAMP)
    with empty_store.rows() as connection:
        heads = list_snapshots(connection)
        assert [(head.as_of, head.recorded_by, head.recorded_at) for head in heads] == [
            (date(2025, 6, 30), "Kim", AT),
            (date(2026, 6, 30), "Kim", AT),
        ]
        assert load_snapshot(connection, number) == later
        with pytest.raises(UsageError, match="no snapshot number 9"):
            load_snapshot(connection, 9)


def test_a_changed_interval_is_told_with_who_when_and_why(empty_store: Store) -> None:
    with empty_store.rows(writing=True) as connection:
        add_unit(connection, {"unit": "T1", "station": "N", "counter_digits": 5, "interval_operations": 70_000}, STAMP)
        stamp = Stamp("Lee", datetime(2026, 9, 2, 9, tzinfo=UTC), "as-found wear")
        change_unit(connection, "T1", {"interval_operations": 50_000}, stamp)
    with empty_store.rows() as connection:
        (made,) = rule_changes(connection, date(2026, 6, 30), date(2026, 8, 31))
        assert made.words == "T1, contact service: interval operations none to 70000, on 2026-07-01 by Kim"
        (row,) = rule_changes(connection, date(2026, 8, 31), date(2026, 9, 30))
        assert row.words == (
            "T1, contact service: interval operations 70000 to 50000, on 2026-09-02 by Lee (as-found wear)"
        )
        assert rule_changes(connection, date(2026, 9, 2), date(2026, 9, 30)) == []
