"""The worth of a reading beforehand: the model with one more visit that shows what is expected."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from books import AS_OF, book, rule_row, service_row, steady_readings, unit_row

from tapwear.counts.reread import as_if_read
from tapwear.fleet import Assessment, assess_book

LAST = AS_OF - timedelta(days=400)


def assessed() -> Assessment:
    """T1 was last read 400 days ago at 20 a day; T2 was never read."""
    return assess_book(
        book(
            [unit_row("T1"), unit_row("T2")],
            [rule_row("T1"), rule_row("T2")],
            steady_readings("T1", 20.0, end=LAST),
            [service_row("T1", "2021-03-01")],
        ),
        AS_OF,
    )


def test_a_reading_that_shows_what_is_expected_keeps_the_middle_and_narrows_the_range() -> None:
    before = assessed()
    b = before.book
    history, after = as_if_read(before.history, before.model, b.units, b.events, b.stays, AS_OF)
    assert len(history.points) == len(before.history.points) + 1
    day = np.array([AS_OF + timedelta(days=365)], "datetime64[D]")
    was, now = before.model.operations_at("T1", day)[0], after.operations_at("T1", day)[0]
    assert abs(now[1] / was[1] - 1) < 0.01
    assert now[2] - now[0] < 0.8 * (was[2] - was[0])
    today = np.array([AS_OF], "datetime64[D]")
    known = after.operations_at("T1", today)[0]
    assert known[0] == known[1] == known[2]


def test_a_unit_never_read_and_one_read_that_day_stay_as_they_are() -> None:
    before = assessed()
    b = before.book
    history, after = as_if_read(before.history, before.model, b.units, b.events, b.stays, AS_OF)
    assert "T2" not in set(history.points["unit"])
    again, _ = as_if_read(history, after, b.units, b.events, b.stays, AS_OF)
    assert len(again.points) == len(history.points)


def test_a_second_explanation_of_the_last_reading_is_settled() -> None:
    before = assessed()
    b = before.book
    history, model = as_if_read(before.history, before.model, b.units, b.events, b.stays, date(2026, 9, 1))
    assert history.open_ends.empty
    assert model.as_of == date(2026, 9, 1)
    assert not model.alternatives.rows
