"""The outlook of small fleets whose dates can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd
from books import AS_OF, book, rule_row, service_row, steady_readings, unit_row

from tapwear.fleet import assess_book
from tapwear.outlook.types import Due


def only_due(**given: list[dict[str, object]]) -> Due:
    (due,) = assess_book(book(**given), AS_OF).outlook.dues  # type: ignore[arg-type]
    return due


def days_from_as_of(day: date | None) -> int:
    assert day is not None
    return (day - AS_OF).days


def test_steady_counter_reaches_its_interval_when_division_says_so() -> None:
    # 20 a day since a service 1,000 days ago: 20,000 of 30,000 used, the rest lasts 500 days.
    due = only_due(
        units=[unit_row("T1")],
        rules=[rule_row("T1", interval_operations=30_000.0, interval_years=float("nan"))],
        readings=steady_readings("T1", 20.0),
        services=[service_row("T1", "2023-10-04")],
    )
    assert due.known
    assert due.operations_since is not None
    assert abs(due.operations_since - 20_000) < 400
    assert abs(days_from_as_of(due.middle) - 500) < 25
    assert days_from_as_of(due.early) < days_from_as_of(due.middle) < days_from_as_of(due.late)
    assert due.driver == "operations"
    assert due.driver_share["operations"] > 0.99


def test_calendar_governs_a_quiet_unit_to_the_day() -> None:
    due = only_due(
        units=[unit_row("T1")],
        rules=[rule_row("T1")],
        readings=steady_readings("T1", 1.0),
        services=[service_row("T1", "2021-03-15")],
    )
    assert due.driver == "calendar"
    assert (due.early, due.middle, due.late) == (date(2028, 3, 15),) * 3


def test_unknown_last_service_gives_bounds_and_no_date() -> None:
    due = only_due(units=[unit_row("T1")], rules=[rule_row("T1")], readings=steady_readings("T1", 1.0))
    assert not due.known
    assert due.early is None
    assert due.driver == "unknown"
    assert due.bounds[0] == date(2017, 1, 1)  # seven years after commissioning on 2010-01-01
    assert due.bounds[1] == date(2033, 6, 30)
    assert due.bounds_words == "if never serviced: overdue since 2017-01-01; if serviced today: next due 2033-06-30"
    assert "find when" in due.next_action


def test_bounds_in_years_keep_day_and_month_over_leap_days() -> None:
    yearly = {"interval_operations": float("nan"), "interval_years": 1.0}
    units = [unit_row("T1", commissioned_on=pd.Timestamp("2019-05-01"))]
    (due,) = assess_book(book(units=units, rules=[rule_row("T1", **yearly)]), date(2019, 6, 1)).outlook.dues
    assert due.bounds == (date(2020, 5, 1), date(2020, 6, 1))


def test_a_unit_that_went_into_service_later_is_not_asked_about_before() -> None:
    units = [unit_row("T1"), unit_row("T2", commissioned_on=pd.Timestamp("2026-05-20"))]
    later = book(units=units, rules=[rule_row("T1"), rule_row("T2")])
    assert [due.unit for due in assess_book(later, date(2026, 5, 19)).outlook.dues] == ["T1"]
    assert [due.unit for due in assess_book(later, date(2026, 5, 20)).outlook.dues] == ["T1", "T2"]
    known = replace(later, services=pd.DataFrame([service_row("T2", "2026-05-01")]))
    assert len(assess_book(known, date(2026, 5, 19)).outlook.dues) == 2


def test_unit_without_any_reading_or_rule_is_still_listed() -> None:
    due = only_due(units=[unit_row("T1")])
    assert (due.unit, due.task, due.known) == ("T1", "contact service", False)
    assert "give its interval" in due.next_action


def test_unit_with_a_rule_and_no_reading_leans_on_its_peers_and_says_so() -> None:
    dues = assess_book(
        book(
            units=[unit_row("T1"), unit_row("T2"), unit_row("T3")],
            rules=[rule_row(unit) for unit in ("T1", "T2", "T3")],
            readings=steady_readings("T2", 20.0) + steady_readings("T3", 20.0),
            services=[service_row(unit, "2024-06-30") for unit in ("T1", "T2", "T3")],
        ),
        AS_OF,
    ).outlook
    (without,) = dues.of_unit("T1")
    assert without.known
    assert "no usable reading; rate taken from similar units" in without.doubts
    assert without.next_action == "read the counter"


def test_overdue_unit_comes_first_and_says_so() -> None:
    outlook = assess_book(
        book(
            units=[unit_row("T1"), unit_row("T2")],
            rules=[rule_row("T1"), rule_row("T2")],
            readings=steady_readings("T1", 5.0) + steady_readings("T2", 30.0),
            services=[service_row("T1", "2024-06-30"), service_row("T2", "2020-01-01")],
        ),
        AS_OF,
    ).outlook
    assert [due.unit for due in outlook.dues] == ["T2", "T1"]
    assert outlook.dues[0].overdue
    assert outlook.dues[0].middle is not None
    assert outlook.dues[0].middle < AS_OF


def test_time_in_store_moves_the_calendar_but_not_the_operations() -> None:
    given = {
        "rules": [rule_row("T1")],
        "readings": steady_readings("T1", 10.0, end=date(2025, 1, 1)),
        "services": [service_row("T1", "2023-06-30")],
    }
    stored = book(units=[unit_row("T1", state="spare")], **given)  # type: ignore[arg-type]
    stays = pd.DataFrame(
        {
            "unit": ["T1", "T1"],
            "place": ["AH/T1", ""],
            "from_on": pd.to_datetime(["2010-01-01", "2025-01-01"]),
            "to_on": pd.to_datetime(["2025-01-01", None]),
            "state": ["in service", "spare"],
        }
    )
    (due,) = assess_book(type(stored)(**(vars(stored) | {"stays": stays})), AS_OF).outlook.dues
    # 10 a day from 2023-06-30 to 2025-01-01 is 551 days; nothing since.
    assert due.operations_since is not None
    assert abs(due.operations_since - 5_510) < 150
    assert due.driver == "calendar"
    assert due.middle == date(2030, 6, 30)
    assert any(doubt.startswith("spare") for doubt in due.doubts)


def test_a_service_that_does_not_name_the_rule_leaves_its_clock_alone() -> None:
    given = {"units": [unit_row("T1")], "rules": [rule_row("T1")], "readings": steady_readings("T1", 1.0)}
    before = only_due(**given, services=[service_row("T1", "2021-03-15")])  # type: ignore[arg-type]
    after = only_due(
        **given,  # type: ignore[arg-type]
        services=[
            service_row("T1", "2021-03-15"),
            service_row("T1", "2025-03-15", work="oil change", resets=("oil change",)),
        ],
    )
    assert (after.early, after.middle, after.late) == (before.early, before.middle, before.late)


def test_counter_of_an_earlier_service_is_not_taken_for_the_last_one() -> None:
    due = only_due(
        units=[unit_row("T1")],
        rules=[rule_row("T1")],
        readings=steady_readings("T1", 1.0),
        services=[
            service_row("T1", "2016-03-15", as_left_counter=900.0),
            service_row("T1", "2021-03-15"),
        ],
    )
    assert due.last_service_on == date(2021, 3, 15)
    assert due.last_service_counter is None
