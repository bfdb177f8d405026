"""What is said to do next, and what the oil does to a date, where several things meet at one unit."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest
from books import AS_OF, book, rule_row, service_row, steady_readings, unit_row

from tapwear.fleet import assess_book, ground_of
from tapwear.oil.types import OilFinding, OilVerdict
from tapwear.outlook.build import build_outlook
from tapwear.outlook.types import Due
from tapwear.report.due_words import day_words, driver_words
from tapwear.words import limits_words

NAN = float("nan")
KIT = {"kit": "set K", "lead_time_weeks": 10.0}
RULE = rule_row("T1", interval_operations=NAN, interval_years=7.0)


def only_due(
    oil: OilVerdict | None = None, rules: tuple[dict[str, Any], ...] = (RULE,), last: str = "", **kit: Any
) -> Due:
    made = book(
        units=[unit_row("T1")],
        rules=list(rules),
        readings=steady_readings("T1", 5.0),
        services=[service_row("T1", last)] if last else [],
    )
    made = replace(made, rules=made.rules.assign(**kit))
    found = assess_book(made, AS_OF)
    ground = ground_of(made, found.history, found.model, {"T1": oil} if oil else {}, AS_OF)
    (due,) = build_outlook(made.units, made.rules, made.services, made.events, ground, AS_OF).dues
    return due


def asking(call: str, early: int = 0, middle: int = 0, late: int = 0) -> OilVerdict:
    days = [AS_OF + timedelta(days=ahead) for ahead in (early, middle, late)]
    return OilVerdict("T1", AS_OF, call, False, *days, resample_by=AS_OF)  # type: ignore[arg-type]


@pytest.mark.parametrize(("middle", "late"), [(69, 468), (47, 48), (33, 707)])
def test_the_oil_clock_gives_the_very_days_that_the_oil_gives(middle: int, late: int) -> None:
    due = only_due(asking("pull forward", 0, middle, late), last="2024-01-01")
    days = [AS_OF + timedelta(days=ahead) for ahead in (0, middle, late)]
    assert [due.early, due.middle, due.late] == days
    clock = next(clock for clock in due.clocks if clock.driver == "oil")
    assert [clock.early, clock.middle, clock.late] == days


def test_without_an_interval_the_opening_that_the_oil_asks_for_comes_first() -> None:
    assert only_due(asking("pull forward"), rules=()).next_action == "schedule the overhaul now (oil results)"
    assert only_due(rules=()).next_action.startswith("give its interval")


def test_the_oil_brings_a_date_forward_only_where_something_else_gives_one() -> None:
    unknown = only_due(asking("pull forward"))
    assert (unknown.known, unknown.oil_moved_days) == (True, 0)
    assert only_due(asking("pull forward"), last="2020-06-30").oil_moved_days == 365


def test_a_sample_to_confirm_does_not_hide_a_service_that_is_due_in_days() -> None:
    sample = f"take another oil sample by {AS_OF}"
    near = only_due(asking("resample"), last="2019-07-02", **KIT)
    assert near.next_action == f"{sample}; order the kit (set K, 10 weeks) and schedule outage before 2026-07-02"
    assert only_due(asking("resample"), last="2021-07-02", **KIT).next_action == sample


def test_a_day_that_is_past_is_not_one_to_plan_before() -> None:
    """Due at 30,000 operations, made by about as many: it may be due already, and is as likely not to be."""
    rule = rule_row("T1", interval_operations=30_000.0, interval_years=NAN)
    made = book(
        units=[unit_row("T1")],
        rules=[rule],
        readings=steady_readings("T1", 20.0, end=date(2026, 3, 1)),
        services=[service_row("T1", str(AS_OF - timedelta(days=1_498)))],
    )
    (due,) = assess_book(made, AS_OF).outlook.dues
    assert due.early is not None
    assert due.early <= AS_OF
    assert not due.overdue
    assert due.next_action == "schedule outage now: it may be due already"


def test_one_year_is_one_year() -> None:
    yearly = only_due(rules=(rule_row("T1", interval_operations=NAN, interval_years=1.0),), last="2025-07-02")
    assert next(clock.words for clock in yearly.clocks if clock.driver == "calendar") == "1 year"
    assert (limits_words(50_000, 1.0), limits_words(None, 1.5)) == ("50,000 operations or 1 year", "1.5 years")


def test_after_a_year_means_after_its_end() -> None:
    def told(done: str) -> date | None:
        years = rule_row("T1", interval_operations=NAN, interval_years=20.0)
        due = only_due(rules=(years,), last=done)
        assert (due.early is None) == (day_words(due.early, due) == "after 2041")
        return due.early

    assert told("2021-12-31") == date(2041, 12, 31)
    assert told("2022-01-01") is None
    far = only_due(rules=(rule_row("T1", interval_operations=5e6, interval_years=NAN),), last="2024-01-01")
    assert (day_words(far.early, far), driver_words(far)) == ("after 2041", "nothing by then")


def test_a_question_that_the_oil_asks_stands_in_the_list_too() -> None:
    question = OilFinding("unrecorded reset", "Was the oil changed or degassed?", asks_about=AS_OF - timedelta(days=90))
    oil = replace(asking("pull forward"), findings=(question,), last_sample_on=AS_OF)
    assert "Was the oil changed or degassed?" in only_due(oil).doubts
