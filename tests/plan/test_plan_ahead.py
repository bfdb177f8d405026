"""Years ahead: counts that can be worked by hand, and the chances of the dates told back."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from plan_dues import AS_OF, due

from tapwear.outlook.types import Due, Outlook
from tapwear.plan.ahead import Ahead, years_ahead
from tapwear.plan.lateness import DueDay, spread_days
from tapwear.report.plan_ahead import ahead_lines
from tapwear.words import stop_notice


def lasting(first: Due, days: int | None) -> Due:
    """The same task done on AS_OF, whose next interval lasts so many days for sure; None: it has none."""
    day = None if days is None else AS_OF + timedelta(days=days)
    return replace(first, early=day, middle=day, late=day, known=day is not None, overdue=False, severe=False)


def look(*pairs: tuple[Due, int | None], years: int = 5) -> Ahead:
    now = Outlook(AS_OF, tuple(one for one, _ in pairs))
    return years_ahead(now, Outlook(AS_OF, tuple(lasting(*pair) for pair in pairs)), years)


def counts(found: Ahead, what: str = "overhauls") -> list[float]:
    return [getattr(year, what).mean for year in found.years]


def test_an_interval_of_two_years_comes_back_every_two_years() -> None:
    found = look((due("U1", "2027-03-01", crew_hours=60.0, kit="K"), 730))
    assert [year.year for year in found.years] == [2026, 2027, 2028, 2029, 2030, 2031]
    assert counts(found) == [0, 1, 0, 1, 0, 1]  # 2027-03-01, 2029-02-28, 2031-02-28
    assert counts(found, "crew_hours") == [0, 60, 0, 60, 0, 60]
    assert [year.kits["K"].mean for year in found.years] == [0, 1, 0, 1, 0, 1]
    assert [(year.overhauls.low, year.overhauls.high) for year in found.years][1] == (1, 1)


def test_the_share_of_a_year_is_the_chance_of_falling_due_in_it() -> None:
    spread: dict[str, Any] = {"middle": date(2027, 11, 20), "late": date(2028, 7, 1)}
    found = look((due("U1", "2027-04-01", **spread), None), years=2)
    days = DueDay(spread_days(date(2027, 4, 1), spread["middle"], spread["late"], AS_OF))
    in_2027 = days.chance_before(date(2028, 1, 1)) - days.chance_before(date(2027, 1, 1))
    assert found.years[1].overhauls.mean == pytest.approx(in_2027, abs=0.002)
    assert sum(counts(found)) == pytest.approx(days.chance_before(date(2029, 1, 1)), abs=0.002)


def test_what_is_overdue_counts_in_the_rest_of_this_year() -> None:
    released = due("U2", None, severe=True, release="released for work")
    found = look((due("U1", "2024-01-01", overdue=True), None), (released, None))
    assert counts(found) == [2, 0, 0, 0, 0, 0]


def test_a_unit_whose_stop_stands_is_not_counted_but_named() -> None:
    found = look((due("U1", "2024-01-01", overdue=True), None), (due("U2", "2026-07-10", severe=True), None))
    assert counts(found) == [1, 0, 0, 0, 0, 0]
    assert (found.units, found.unknown, [one.unit for one in found.at_engineer]) == (1, (), ["U2"])
    assert ahead_lines(found)[0].startswith(stop_notice("U2"))


def test_tasks_of_one_year_are_one_overhaul_that_takes_the_most_demanding_one_s_hours() -> None:
    found = look(
        (due("U1", "2027-03-01", task="oil change", crew_hours=10.0, kit="oil"), 365),
        (due("U1", "2027-09-01", task="contact service", crew_hours=60.0, kit="K"), 1460),
        years=2,
    )
    assert counts(found) == [0, 1, 1]
    assert counts(found, "crew_hours") == [0, 60, 10]
    assert found.years[1].kits["oil"].mean == found.years[1].kits["K"].mean == 1


def test_what_two_tasks_of_one_outage_both_need_counts_once() -> None:
    found = look(
        (due("U1", "2027-03-01", task="contact service", kit="set R, oil"), None),
        (due("U1", "2027-09-01", task="contact replacement", kit="contact set; set R"), None),
    )
    means = {item: figure.mean for item, figure in found.years[1].kits.items()}
    assert means == {"contact set": 1, "oil": 1, "set R": 1}


def test_an_overhaul_starts_the_lesser_tasks_again_and_not_the_greater() -> None:
    found = look(
        (due("U1", "2029-03-01", task="contact replacement", crew_hours=90.0), None),
        (due("U1", "2027-03-01", task="contact service", crew_hours=60.0), None),
        (due("U1", "2028-03-01", task="oil change", crew_hours=10.0), 700),
    )
    # The contact service of 2027 renews the oil too: its 700 days end on 2029-01-29, the year of the replacement.
    assert counts(found, "crew_hours") == [0, 60, 0, 90, 10, 0]


def test_spares_inspections_and_unknown_dates_are_left_out_and_the_unknown_named() -> None:
    found = look(
        (due("SPARE", state="spare"), 365),
        (due("LOOK", task="inspection"), 365),
        (due("NOBODY-KNOWS", None), None),
    )
    assert (found.units, found.unknown, sum(counts(found))) == (0, ("NOBODY-KNOWS",), 0)


def test_an_empty_fleet_has_empty_years() -> None:
    found = years_ahead(Outlook(AS_OF, ()), Outlook(AS_OF, ()), 1)
    assert [(year.overhauls.mean, year.crew_hours.mean, year.kits) for year in found.years] == [(0, 0, {}), (0, 0, {})]


def test_the_same_question_has_the_same_answer() -> None:
    pairs = [(due(f"U{n}", "2027-04-01", late=date(2029, 1, 1)), 900) for n in range(5)]
    assert look(*pairs) == look(*pairs)


def test_the_range_of_many_alike_units_holds_the_mean_and_narrows_against_their_number() -> None:
    spread: dict[str, Any] = {"middle": date(2027, 12, 31), "late": date(2028, 9, 1)}
    few, many = (look(*[(due(f"U{n}", "2027-05-01", **spread), None) for n in range(n)], years=2) for n in (4, 64))
    for found in (few, many):
        figure = found.years[1].overhauls
        assert figure.low <= figure.mean <= figure.high
    wide = [(found.years[1].overhauls.high - found.years[1].overhauls.low) / found.units for found in (few, many)]
    assert wide[1] < wide[0] / 2
