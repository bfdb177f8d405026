"""What if: dates under a supposition, worked out by hand, and nothing changed by asking."""

from __future__ import annotations

from datetime import date

import oil_frames
import pytest
from books import AS_OF, book, rule_row, service_row, steady_readings, unit_row

from tapwear.errors import UsageError
from tapwear.fleet import Assessment, assess_book, what_if_unit
from tapwear.outlook.types import Due
from tapwear.outlook.whatif import Compared, WhatIf, read_whatif

RENEWS = ("contact service", "oil change")


@pytest.fixture(scope="module")
def assessment() -> Assessment:
    """T1 makes 20 a day; its service of 2020-07-01 began an interval of 50,000 operations or 9 years.

    50,000 at 20 a day are 2,500 days: about 2027-05-06. 9 years end on 2029-07-01.
    """
    return assess_book(
        book(
            [unit_row("T1"), unit_row("T2")],
            [rule_row("T1", interval_years=9.0), rule_row("T2", interval_operations=float("nan"), interval_years=4.0)],
            steady_readings("T1", 20.0) + steady_readings("T2", 20.0),
            [service_row("T1", "2020-07-01"), service_row("T2", "2024-07-01")],
        ),
        AS_OF,
    )


def then(compared: Compared) -> Due:
    (due,) = compared.then
    return due


def ask(assessment: Assessment, *texts: str, unit: str = "T1") -> Due:
    return then(what_if_unit(assessment, unit, read_whatif(texts, AS_OF), RENEWS))


def middle(due: Due) -> date:
    assert due.middle is not None
    return due.middle


def test_supposing_nothing_changes_nothing(assessment: Assessment) -> None:
    compared = what_if_unit(assessment, "T1", WhatIf(), RENEWS)
    assert compared.then == compared.now
    assert abs((middle(compared.now[0]) - date(2027, 5, 6)).days) < 15


def test_a_longer_interval_moves_the_date_by_its_operations(assessment: Assessment) -> None:
    # 6,000 more at 20 a day: 300 days later.
    now = assessment.outlook.of_unit("T1")[0]
    moved = (middle(ask(assessment, "interval=56,000")) - middle(now)).days
    assert moved == pytest.approx(300, abs=12)


def test_a_shorter_interval_in_years_governs_to_the_day(assessment: Assessment) -> None:
    due = ask(assessment, "years=6.5")
    assert due.late is not None
    assert due.late <= date(2026, 12, 31)
    assert due.driver == "calendar"
    assert due.interval_operations == 50_000


def test_a_unit_without_an_interval_in_operations_can_be_given_one(assessment: Assessment) -> None:
    # Since 2024-07-01 T2 has made 20 x 729 = 14,580; 20,000 are reached 271 days after as-of.
    assert (middle(ask(assessment, "interval=20000", unit="T2")) - AS_OF).days == pytest.approx(271, abs=8)


def test_a_rate_twice_as_high_halves_the_days_left_from_that_day_on(assessment: Assessment) -> None:
    left = (middle(assessment.outlook.of_unit("T1")[0]) - AS_OF).days
    assert (middle(ask(assessment, "rate=2@2026-06-30")) - AS_OF).days == pytest.approx(left / 2, abs=8)
    # From 100 days ahead on: these 100 days, and half of the rest.
    later = ask(assessment, "rate=2@2026-10-08")
    assert (middle(later) - AS_OF).days == pytest.approx(100 + (left - 100) / 2, abs=8)
    assert ask(assessment, "rate=2") == ask(assessment, "rate=2@2026-06-30")


def test_an_overhaul_to_come_starts_the_clocks_again_on_that_day(assessment: Assessment) -> None:
    due = ask(assessment, "overhaul=2026-10-01")
    # 2,500 days after 2026-10-01; the calendar would end on 2035-10-01.
    assert due.last_service_on == date(2026, 10, 1)
    assert (middle(due) - date(2026, 10, 1)).days == pytest.approx(2500, abs=60)
    both = ask(assessment, "overhaul=2026-10-01", "years=3")
    assert (both.early, both.late) == (date(2029, 10, 1), date(2029, 10, 1))


def test_asking_leaves_book_and_outlook_as_they_were(assessment: Assessment) -> None:
    rules, services = assessment.book.rules.copy(), assessment.book.services.copy()
    ask(assessment, "interval=90000", "overhaul=2026-10-01", "rate=3")
    assert assessment.book.rules.equals(rules)
    assert assessment.book.services.equals(services)
    assert assessment.model.factor == 1.0


def test_a_retired_unit_has_nothing_to_compare(assessment: Assessment) -> None:
    with pytest.raises(UsageError, match="no date to compare"):
        what_if_unit(assessment, "T9", WhatIf(interval_years=5.0), RENEWS)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("wear=2", "found 'wear=2'; give interval="),
        ("interval", "an interval is a number of operations"),
        ("interval=-5", "an interval is a number of operations"),
        ("years=0", "a number above 0"),
        ("years=soon", "a number above 0"),
        ("rate=1.5@2020-01-01", "lies before 2026-06-30"),
        ("overhaul=1.9.2026", "a date is written like"),
        ("overhaul=2026-06-29", "belongs in the book"),
    ],
)
def test_what_is_not_a_supposition_is_refused_with_what_would_be(text: str, message: str) -> None:
    with pytest.raises(UsageError, match=message):
        read_whatif([text], AS_OF)


def test_a_kind_given_twice_is_refused() -> None:
    with pytest.raises(UsageError, match="twice"):
        read_whatif(["years=5", "years=6"], AS_OF)


def test_a_limit_below_what_the_last_samples_show_brings_the_date_forward_and_one_above_does_not() -> None:
    samples, units = oil_frames.steady(2, vacuum=False)  # about 800 uL/L of acetylene
    tags = list(units["unit"])
    found = assess_book(
        book(
            units=[unit_row(tag, oil_group="like", breathing="free") for tag in tags],
            rules=[rule_row(tag, interval_years=12.0) for tag in tags],
            readings=[row for tag in tags for row in steady_readings(tag, 4.0, end=oil_frames.AS_OF)],
            services=[service_row(tag, "2016-01-01") for tag in tags],
            samples=samples.to_dict("records"),
        ),
        oil_frames.AS_OF,
    )
    (now,) = found.outlook.of_unit("T1")
    above = what_if_unit(found, "T1", read_whatif(["acetylene=5000"], oil_frames.AS_OF), RENEWS)
    below = what_if_unit(found, "T1", read_whatif(["acetylene=300"], oil_frames.AS_OF), RENEWS)
    assert above.then[0].early == now.early
    assert below.then[0].driver == "oil"
    assert below.then[0].early is not None
    assert now.early is not None
    assert (now.early - below.then[0].early).days > 1000
    assert below.supposed.sentences() == ["a limit of 300 for acetylene in its oil"]
    assert found.book.limits.empty
