from __future__ import annotations

from datetime import date

import pytest
from due_examples import AS_OF, FAR, OVERDUE, SEVERE_ONE, UNKNOWN, UNREAD, due

from tapwear.report.due_data import due_record
from tapwear.report.due_words import (
    chance_words,
    count_words,
    day_words,
    driver_words,
    interval_words,
    next_words,
    operations_words,
    place_words,
    reading_words,
    service_words,
    status_words,
)
from tapwear.words import stop_notice


def test_dates_beyond_the_horizon_read_after_2041() -> None:
    assert day_words(FAR.early, FAR) == "2034-02-01"
    assert day_words(FAR.late, FAR) == "after 2041"
    assert day_words(None, UNKNOWN) == "unknown"


def test_overdue_units_say_since_when_and_between_which_dates_they_passed() -> None:
    assert status_words(OVERDUE) == "Overdue since about May 2025: passed between 2025-01-10 and 2025-11-02."


def test_an_overdue_unit_whose_late_date_is_ahead_does_not_claim_to_have_passed_it() -> None:
    wide = due(early=date(2025, 1, 10), middle=date(2026, 5, 20), late=date(2027, 1, 1), overdue=True)
    assert status_words(wide) == "Overdue since about May 2026."


def test_a_calendar_limit_is_overdue_since_its_very_day() -> None:
    day = date(2026, 3, 12)
    assert status_words(due(early=day, middle=day, late=day, overdue=True)) == "Overdue since 2026-03-12."


def test_an_early_date_that_has_passed_is_said() -> None:
    assert status_words(due(early=AS_OF)) == "May already have passed its limit."
    assert status_words(due()) == ""


def test_unknown_dates_say_what_bounds_them() -> None:
    assert status_words(UNKNOWN) == (
        "Due date unknown. If never serviced: overdue since 2011-04-02. If serviced today: next due 2033-06-30."
    )
    assert status_words(due(known=False)) == "Due date unknown."


@pytest.mark.parametrize(
    ("driver", "share", "words"),
    [
        ("operations", {"operations": 0.99, "calendar": 0.01}, "operations"),
        ("operations", {"operations": 0.82, "calendar": 0.18}, "mostly operations"),
        ("operations", {"operations": 0.5, "calendar": 0.1, "oil": 0.4}, "operations or oil"),
        ("calendar", {}, "calendar"),
        ("operations", {"operations": 0.7, "calendar": 0.0, "oil": 0.0}, "operations"),
        ("unknown", {}, "nothing by then"),
    ],
)
def test_the_driver_is_named_as_surely_as_it_is_known(driver: str, share: dict[str, float], words: str) -> None:
    assert driver_words(due(driver=driver, driver_share=share)) == words
    assert driver_words(UNKNOWN) == "unknown"


def test_operations_are_shown_against_the_interval() -> None:
    assert operations_words(due()) == "61,200 of 70,000"
    assert operations_words(due(interval_operations=None)) == "61,200, years only"
    assert operations_words(UNKNOWN) == "interval 70,000"
    assert operations_words(due(interval_operations=None, interval_years=None)) == "61,200, no interval"


@pytest.mark.parametrize(("number", "words"), [(7.4, "7"), (1_234.0, "1,230"), (61_234.0, "61,200"), (None, "unknown")])
def test_counts_are_rounded_to_what_a_reader_can_hold(number: float | None, words: str) -> None:
    assert count_words(number) == words


def test_small_facts_read_like_a_crew_would_say_them() -> None:
    assert interval_words(due()) == "70,000 operations or 8 years, whichever comes first"
    assert interval_words(due(interval_operations=None, interval_years=1.0)) == "1 year"
    assert interval_words(due(interval_operations=None, interval_years=None)) == "no interval is recorded"
    assert place_words(due(phase="B")) == "Brackwater, T1, phase B"
    assert service_words(due()) == "2019-03-12 at 104,233"
    assert service_words(UNKNOWN) == "unknown"
    assert reading_words(due()) == "14 days ago"
    assert reading_words(due(last_reading_on=AS_OF)) == "today"
    assert reading_words(UNREAD) == "no usable reading"
    assert [chance_words(chance) for chance in (0.99, 0.82, 0.06, 0.01)] == [
        "almost sure",
        "8 in 10",
        "1 in 10",
        "unlikely",
    ]


def test_a_severe_finding_leaves_one_thing_to_do() -> None:
    assert next_words(SEVERE_ONE) == stop_notice("MIR-T2")
    assert next_words(due(task="inspection", severe=True)) == stop_notice("BRK-T1")
    assert next_words(due()) == "schedule outage before 2026-09-14"


def test_a_stopped_unit_is_told_no_day_that_is_still_to_come() -> None:
    far = {"early": date(2028, 1, 1), "middle": date(2028, 6, 1), "late": None}
    stands = due(severe=True, **far)
    assert [day_words(far[name], stands) for name in far] == ["stopped"] * 3
    record = due_record(stands)
    assert [record[name] for name in ("early", "middle", "late", "early_words")] == [None, None, None, "stopped"]
    assert day_words(None, due(severe=True, known=False, early=None)) == "stopped"
    past = due(severe=True, early=date(2025, 1, 1), overdue=True)
    assert day_words(past.early, past) == "2025-01-01"
    released = due(severe=True, release="released for work", **far)
    assert day_words(released.early, released) == "2028-01-01"
