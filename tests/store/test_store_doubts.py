"""What is probably wrong is told from what is only unusual: for each doubt a case, and its healthy twin."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tapwear.store.doubts import Item, anothers, fits, other_century, other_length, soon_again, tenfold
from tapwear.store.doubts_samples import exchanged

TODAY = date(2026, 6, 30)


def odd(*values: float) -> list[float]:
    return [item.value for item, _ in tenfold([Item("interval", f"S{n}", value) for n, value in enumerate(values)])]


@pytest.mark.parametrize(
    ("values", "held"),
    [
        ((60_000, 70_000, 700_000), [700_000]),
        ((60_000, 70_000, 7_000), [7_000]),
        ((60_000, 70_000, 300_000), []),  # vacuum, perhaps
        ((20_000, 70_000, 200_000), []),  # a wide range, without a gap
        ((60_000, 70_000, 2_000_000), []),  # no slip of one place
        ((70_000, 700_000), []),  # too few to say which is wrong
        ((60_000, 70_000, 650_000, 700_000), []),  # two of one kind
    ],
)
def test_a_slip_of_one_place_among_like_ones_is_told(values: tuple[float, ...], held: list[float]) -> None:
    assert odd(*values) == held


def test_a_counter_of_a_length_that_no_like_unit_has_is_told() -> None:
    digits = {f"U{n}": 5 + n % 2 for n in range(8)} | {"NEW": 7, "SOUND": 5, "ALONE": 4}
    alike = dict.fromkeys(digits, "resistor") | {"ALONE": "furnace"}
    assert set(other_length(digits, alike, ["NEW", "SOUND", "ALONE"])) == {"NEW"}
    assert other_length({"A": 5, "NEW": 7}, {"A": "r", "NEW": "r"}, ["NEW"]) == {}


@pytest.mark.parametrize(
    ("table", "name", "day", "held"),
    [
        ("readings", "read_on", date(1924, 5, 1), True),
        ("readings", "read_on", date(1971, 5, 1), False),
        ("units", "commissioned_on", date(1926, 5, 1), True),
        ("units", "commissioned_on", date(1955, 5, 1), False),
        ("units", "commissioned_on", date(2066, 5, 1), True),
        ("units", "commissioned_on", date(2028, 5, 1), False),
        ("closures", "from_on", date(2127, 5, 1), True),
        ("closures", "from_on", date(2031, 5, 1), False),
    ],
)
def test_a_day_of_another_century_is_told(table: str, name: str, day: date, held: bool) -> None:
    assert (other_century(table, {name: day}, TODAY) is not None) is held


def counter(start: int, a_day: int) -> list[tuple[date, int]]:
    return [(date(2024, 1, 1) + timedelta(days=90 * n), start + 90 * a_day * n) for n in range(9)]


def test_a_counter_that_only_the_neighbour_can_have_shown_is_told() -> None:
    readings = {"T1": counter(1_000, 10), "T2": counter(60_000, 12)}
    day = date(2025, 3, 1)
    assert anothers("T1", day, 65_000, ["T1", "T2"], readings) == ("T2",)
    assert anothers("T1", day, 5_300, ["T1", "T2"], readings) == ()
    assert anothers("T1", day, 990_000, ["T1", "T2"], readings) == ()  # nobody's: a slip, not another unit
    rolled = {"T1": [*counter(99_000, 10), (date(2026, 6, 1), 12)], "T2": readings["T2"]}
    assert anothers("T1", day, 65_000, ["T1", "T2"], rolled) == ()  # rolled over: the readings do not tell


def test_readings_after_the_work_bound_it_as_well() -> None:
    own = counter(1_000, 10)
    assert fits(own, date(2024, 2, 1), 1_300)
    assert fits(own, date(2024, 2, 1), 7_000) is False
    assert fits(own, date(2023, 2, 1), 500) is None
    assert fits(own, date(2027, 1, 1), 11_500)


def test_two_overhauls_in_short_order_are_told() -> None:
    assert soon_again([date(2024, 5, 2)], date(2024, 6, 30)) == date(2024, 5, 2)
    assert soon_again([date(2024, 5, 2)], date(2024, 5, 2)) is None
    assert soon_again([date(2019, 5, 2)], date(2024, 5, 2)) is None


def lab(acetylene: float, hydrogen: float) -> dict[str, float]:
    return {"acetylene_ul_per_l": acetylene, "hydrogen_ul_per_l": hydrogen}


PAST = {f"T{n}": [lab(800 + 50 * n, 60 + n), lab(900 + 50 * n, 70 + n)] for n in range(6)}


def test_exchanged_columns_are_told_by_what_the_units_showed_before() -> None:
    file = [(f"T{n}", lab(75 + n, 950 + 50 * n)) for n in range(6)]
    assert exchanged(file, PAST) == ("hydrogen_ul_per_l", "acetylene_ul_per_l", 6)
    assert exchanged(file[:2], PAST) is None  # too few
    assert exchanged([(unit, lab(1_000, 80)) for unit, _ in file], PAST) is None
    assert exchanged([(unit, lab(2, 1)) for unit, _ in file], PAST) is None  # after an overhaul both are low
    assert exchanged([(unit, lab(9_000, 700)) for unit, _ in file], PAST) is None  # both rose


def test_exchanged_columns_are_told_by_nature_where_nothing_is_known_before() -> None:
    air = [(f"N{n}", {"oxygen_ul_per_l": 60_000.0 + n, "nitrogen_ul_per_l": 20_000.0}) for n in range(3)]
    assert exchanged(air, {}) == ("nitrogen_ul_per_l", "oxygen_ul_per_l", 3)
    sound = [(f"N{n}", {"oxygen_ul_per_l": 20_000.0 + n, "nitrogen_ul_per_l": 60_000.0}) for n in range(3)]
    assert exchanged(sound, {}) is None
