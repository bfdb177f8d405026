"""The check of one would-be entry, at the moment of typing."""

from __future__ import annotations

import subprocess
import sys
from datetime import date, timedelta

import pytest
from clean_frames import steady

from tapwear.counts.plausible import Neighbour, check_entry

FIRST = date(2020, 1, 15)


def book(values: list[int]) -> list[tuple[int, int]]:
    return [((FIRST + timedelta(days=30 * i)).toordinal(), value) for i, value in enumerate(values)]


def after(readings: list[tuple[int, int]]) -> int:
    return readings[-1][0] + 30


VALUES = steady(14_000, 300, 16)  # ends at 18 504
READINGS = book(VALUES)
NEXT = after(READINGS)


def test_a_usual_entry_passes_without_a_word():
    check = check_entry(READINGS, NEXT, VALUES[-1] + 310, 5)
    assert not check.questioned
    assert check.reason == ""
    assert check.likely is None
    assert not check.last_doubtful
    assert VALUES[-1] < check.low < VALUES[-1] + 310 < check.high < VALUES[-1] + 900


def test_two_digits_exchanged_are_questioned_and_the_right_number_offered():
    right, typed = 18_813, 18_183
    assert right == VALUES[-1] + 310
    check = check_entry(READINGS, NEXT, typed, 5)
    assert check.questioned
    assert check.likely == right
    last = f"below the last reading, {VALUES[-1]} of 2021-04-09"
    assert check.reason == f"{last}; digits transposed? {typed} instead of {right}"


def test_the_same_number_as_last_time_is_questioned():
    check = check_entry(READINGS, NEXT, VALUES[-1], 5)
    assert check.questioned
    assert check.reason == "same number as last time, though operations went on"


def test_a_number_below_the_last_one_is_questioned():
    check = check_entry(READINGS, NEXT, 300, 5)
    assert check.questioned
    assert check.reason.startswith(f"below the last reading, {VALUES[-1]} of ")


def test_a_neighbours_number_is_recognised():
    others = book(steady(61_000, 800, 16))
    typed = others[-1][1] + 810
    check = check_entry(READINGS, NEXT, typed, 5, neighbours=[Neighbour("T2", others)])
    assert check.questioned
    assert check.reason.startswith("far more operations than usual since 2021-04-09: ")
    assert check.reason.endswith("; looks like the counter of T2")


def test_an_entry_that_fits_the_readings_before_a_wrong_last_one_passes_and_the_last_one_is_named():
    values = [*VALUES[:-1], 71_476]
    check = check_entry(book(values), NEXT, VALUES[-1] + 310, 5)
    assert not check.questioned
    assert check.last_doubtful
    assert check.reason == "the last reading in the book, 71476 of 2021-04-09, looks wrong, not this one"


def test_a_rollover_passes():
    values = [96_200 + 300 * k for k in range(13)]  # ends at 99 800
    check = check_entry(book(values), after(book(values)), 110, 5)
    assert not check.questioned
    assert check.low < 110 < check.high or check.low > check.high


def test_a_number_with_too_many_digits_is_questioned():
    check = check_entry(READINGS, NEXT, 185_040, 5)
    assert check.questioned
    assert check.reason == "more than 5 digits"


def test_a_recorded_replacement_is_taken_into_account():
    swap = (NEXT - 10, VALUES[-1] + 200, 0)
    assert not check_entry(READINGS, NEXT, 110, 5, replacements=[swap]).questioned
    assert check_entry(READINGS, NEXT, 110, 5).questioned


def test_an_unmoved_counter_passes_while_the_unit_is_out_of_service():
    out = [(READINGS[-1][0], None)]
    assert not check_entry(READINGS, NEXT, VALUES[-1], 5, out_of_service=out).questioned


@pytest.mark.parametrize("readings", [[], READINGS[:1], READINGS[:2]], ids=["none", "one", "two"])
def test_little_history_questions_little(readings):
    on = readings[-1][0] + 30 if readings else NEXT
    value = readings[-1][1] + 290 if readings else 5_000
    assert not check_entry(readings, on, value, 5).questioned


def test_a_second_entry_of_one_day_is_compared_with_the_first():
    again = [*READINGS, (NEXT, VALUES[-1] + 310)]
    assert not check_entry(again, NEXT, VALUES[-1] + 310, 5).questioned


def test_the_check_starts_without_pandas():
    code = "import sys, tapwear.counts.plausible; print(sorted({'pandas', 'scipy', 'statsmodels'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
