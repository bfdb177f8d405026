"""One judge of an entry: what lies before and after it, several readings a day, exchanges, and the first fact first."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from datetime import date, timedelta

import pytest
from clean_frames import Row, clean, monthly, steady

from tapwear.counts.judge import expected_range, judge
from tapwear.counts.plausible import Neighbour, check_entry, limits_of

FIRST = date(2020, 1, 15)
VALUES = steady(14_000, 300, 16)
READINGS = [((FIRST + timedelta(days=30 * i)).toordinal(), value) for i, value in enumerate(VALUES)]
LAST = READINGS[-1][0]
YOUNG = [(date(2026, 9, 30), 123_000), (date(2026, 10, 30), 123_400), (date(2026, 11, 30), 123_456)]


def young() -> list[tuple[int, int]]:
    return [(day.toordinal(), value) for day, value in YOUNG]


# --- before and after -----------------------------------------------------------------------------------------


def test_a_number_of_a_day_between_later_readings_is_held_against_what_comes_after() -> None:
    check = check_entry(young(), date(2026, 10, 15).toordinal(), 130_000, 6)
    assert check.questioned
    assert check.reason.startswith("above the next reading, 123400 of 2026-10-30")
    right = check_entry(young(), date(2026, 10, 15).toordinal(), 123_190, 6)
    assert not right.questioned
    assert 123_000 < (right.low or 0) < 123_190 < (right.high or 0) < 123_400


def test_a_slip_that_stands_in_the_book_poisons_nothing_that_follows() -> None:
    rows = [*young(), (date(2026, 10, 15).toordinal(), 130_000)]
    check = check_entry(rows, date(2026, 12, 10).toordinal(), 123_480, 6)
    assert not check.questioned
    assert (check.high or 0) < 130_000


def test_a_number_before_the_first_reading_is_held_against_it() -> None:
    before = date(2026, 9, 1).toordinal()
    check = check_entry(young(), before, 123_999, 6)
    assert check.questioned
    assert check.reason.startswith("above the next reading, 123000 of 2026-09-30")
    assert not check_entry(young(), before, 122_700, 6).questioned


def test_a_wrong_reading_after_the_entry_is_named_instead_of_it() -> None:
    rows = [*READINGS[:-1], (LAST, 81_503)]
    check = check_entry(rows, READINGS[-2][0] + 10, VALUES[-2] + 100, 5)
    assert not check.questioned
    assert check.reason == "the next reading in the book, 81503 of 2021-04-09, looks wrong, not this one"


# --- the first fact first -------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [60_000, 95_000])
def test_far_too_many_operations_are_never_called_too_few(value: int) -> None:
    check = check_entry(READINGS, LAST + 30, value, 5)
    assert check.questioned
    assert "far more operations than usual since 2021-04-09" in check.reason
    assert f"{value - VALUES[-1]} against about" in check.reason
    assert "fewer" not in check.reason


def test_a_number_below_the_last_is_said_to_be_before_its_likely_slip() -> None:
    check = check_entry(READINGS, LAST + 30, VALUES[-1] - 900, 5)
    assert check.reason.startswith(f"below the last reading, {VALUES[-1]} of 2021-04-09")


# --- several readings a day -----------------------------------------------------------------------------------


def test_readings_of_one_day_are_taken_in_order_of_time() -> None:
    day = LAST + 30
    limits = limits_of([*READINGS, (day, VALUES[-1] + 310, 9 * 60)], day, 5)
    later, earlier = VALUES[-1] + 313, VALUES[-1] + 306
    assert not judge(limits, day, later, 15 * 60).questioned
    assert not judge(limits, day, earlier, 7 * 60).questioned
    assert judge(limits, day, VALUES[-1] - 900, 15 * 60).reason.startswith("below the last reading, ")
    assert judge(limits, day, VALUES[-1] + 3_000, 7 * 60).reason.startswith("above the next reading, ")
    for value in (later, earlier):  # without a time the number tells the order
        assert not judge(limits, day, value).questioned


def test_after_an_exchange_the_new_counters_first_number_of_that_day_is_accepted() -> None:
    rows = [(day, 240_000 + value - VALUES[0]) for day, value in READINGS]
    day, last = LAST, rows[-1][1]
    swap = [(day, last, 0)]
    assert not check_entry(rows, day, 4, 6, replacements=swap).questioned
    assert check_entry(rows, day, 4, 6).questioned
    assert not check_entry([*rows, (day, 4)], day + 30, 310, 6, replacements=swap).questioned
    assert not check_entry([*rows, (day, 4)], day, last, 6, replacements=swap).questioned  # and the old one's again


def test_a_counter_that_is_seen_standing_twice_is_not_questioned_again() -> None:
    first = check_entry(READINGS, LAST + 30, VALUES[-1], 5)
    assert first.questioned
    again = check_entry([*READINGS, (LAST + 30, VALUES[-1])], LAST + 60, VALUES[-1], 5)
    assert not again.questioned
    assert again.reason == f"the counter has shown {VALUES[-1]} since 2021-04-09: does it stand still?"


# --- young stores ---------------------------------------------------------------------------------------------


def test_three_plain_readings_of_a_young_store_are_not_doubted() -> None:
    rows: list[Row] = [("T1", day.isoformat(), value, {"digits": 6}) for day, value in YOUNG]
    table = clean(rows).readings
    assert table["status"].tolist() == ["used"] * 3
    assert table["reason"].tolist() == [""] * 3
    for number in range(3):
        others = [row for row in young() if row != young()[number]]
        assert not check_entry(others, *young()[number], 6).questioned


def test_of_two_readings_one_wild_one_does_not_make_a_rate() -> None:
    rows = [(date(2018, 6, 2), 10_409), (date(2018, 7, 9), 20_430), (date(2018, 8, 4), 10_450)]
    limits = limits_of([(day.toordinal(), value) for day, value in rows], date(2018, 9, 7).toordinal(), 6)
    assert not judge(limits, date(2018, 9, 7).toordinal(), 10_476).questioned


# --- limits as data -------------------------------------------------------------------------------------------


def test_limits_hold_for_any_later_day_and_go_through_json() -> None:
    limits = limits_of(READINGS, LAST, 5, neighbours=[Neighbour("T2", [(LAST - 30, 61_000), (LAST, 61_800)])])
    assert json.loads(json.dumps(limits.as_plain()))["digits"] == 5
    low, high = expected_range(limits, LAST + 90) or (0, 0)
    assert VALUES[-1] + 500 < low < VALUES[-1] + 900 < high < VALUES[-1] + 1_500
    assert judge(limits, LAST + 30, 62_590).reason.endswith("looks like the counter of T2")
    assert expected_range(replace(limits, known=()), LAST) is None


def test_no_entry_whatever_makes_the_judge_stumble() -> None:
    lot = random.Random(20261130)
    for _ in range(150):
        digits = lot.choice((3, 5, 6))
        rows = [
            (lot.randrange(737_000, 738_000), lot.randrange(10**digits), lot.choice((None, lot.randrange(1_440))))
            for _ in range(lot.randrange(9))
        ]
        swaps = [(lot.randrange(737_000, 738_000), lot.choice((None, 500)), lot.choice((None, 0)))] * lot.randrange(2)
        day, value = lot.randrange(736_900, 738_100), lot.randrange(10 ** (digits + 1))
        check = judge(limits_of(rows, day, digits, replacements=swaps), day, value, lot.choice((None, 600)))
        assert 0.0 <= check.probability <= 1.0
        assert check.reason or not check.questioned
        assert check.questioned or value < 10**digits


def test_a_whole_history_passes_as_it_was_read() -> None:
    rows = [(date.fromisoformat(day).toordinal(), value) for _, day, value, *_ in monthly("T1", VALUES)]
    questioned = [
        value for number, (day, value) in enumerate(rows) if check_entry(rows[:number], day, value, 5).questioned
    ]
    assert questioned == []
