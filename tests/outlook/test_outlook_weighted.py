"""Rules that weigh operations by the current broken: dates that can be worked out by hand, and no change without."""

from __future__ import annotations

import json
import math
from datetime import date

import pandas as pd
import pytest
from books import AS_OF, book, rule_row, service_row, steady_readings, unit_row

from tapwear.fleet import assess_book, count_story
from tapwear.outlook.types import Due
from tapwear.report.stories import Subject
from tapwear.report.why_count import drawn_from
from tapwear.report.why_data import why_json
from tapwear.report.why_view import why_page

Rows = list[dict[str, object]]
SERVICE = "2023-10-04"  # 1,000 days before AS_OF


def at(readings: Rows, current: float, since: str = "2000-01-01") -> Rows:
    """The readings with this current from a day on, and none before."""
    day = pd.Timestamp(since)
    return [row | {"current_a": current if row["read_on"] >= day else math.nan} for row in readings]  # type: ignore[operator]


def due_of(
    readings: Rows, unit: dict[str, object] | None = None, done: str | None = SERVICE, **rule: object
) -> tuple[Due, str, dict[str, object]]:
    """The due of the one unit, its page as text and as data; 30,000 operations and no years unless said otherwise."""
    rules = [rule_row("T1", **({"interval_operations": 30_000.0, "interval_years": math.nan} | rule))]
    services = [service_row("T1", done)] if done else []
    found = assess_book(book([unit or unit_row("T1")], rules, readings, services), AS_OF)
    (due,) = found.outlook.dues
    empty = {name: pd.DataFrame() for name in ("stays", "services", "samples", "oil_events")}
    story = count_story(found, "T1")
    subject = Subject("T1", AS_OF, {"unit": "T1"}, found.outlook.dues, **empty, verdict=None, story=story)
    text = "\n".join(line.text for block in why_page(subject) for line in block.lines)
    return due, text, json.loads(why_json(subject))


def days_ahead(day: date | None) -> int:
    assert day is not None
    return (day - AS_OF).days


def test_exponent_nought_gives_exactly_what_a_book_without_exponent_and_current_gives() -> None:
    readings = steady_readings("T1", 20.0)
    plain = due_of(readings)
    for rule in ({"current_exponent": 0.0}, {"current_exponent": math.nan}):
        assert due_of(at(readings, 200.0), **rule) == plain  # type: ignore[arg-type]
    assert plain[0].weighted is None
    assert "weighted" not in plain[1]


def test_rated_current_throughout_gives_the_dates_of_the_plain_count() -> None:
    readings = steady_readings("T1", 20.0)
    plain, weighted = due_of(readings)[0], due_of(at(readings, 400.0), current_exponent=2.0)[0]
    assert (weighted.early, weighted.middle, weighted.late) == (plain.early, plain.middle, plain.late)
    assert weighted.operations_since == pytest.approx(plain.operations_since)


def test_half_the_rated_current_lasts_twice_the_operations_with_exponent_one() -> None:
    # 20 a day for 1,000 days are 20,000 operations, weighted 10,000 of 30,000; the rest lasts 2,000 days.
    due, text, page = due_of(at(steady_readings("T1", 20.0), 200.0), current_exponent=1.0)
    plain = due_of(steady_readings("T1", 20.0), interval_operations=60_000.0)[0]
    assert (due.early, due.middle, due.late) == (plain.early, plain.middle, plain.late)
    assert due.operations_since == pytest.approx(10_000, rel=0.02)
    assert abs(days_ahead(due.middle) - 2_000) < 100
    assert due.interval_operations == 30_000
    assert due.weighted is not None
    assert due.weighted.plain_since == pytest.approx(2 * due.operations_since)
    assert due.weighted.plain_limit == pytest.approx(60_000)
    assert due.weighted.ahead == pytest.approx(0.5)
    assert due.clocks[0].words == "30,000 operations, weighted by current, exponent 1"
    assert "weighted by current, exponent 1" in text
    assert "An operation to come counts as 0.5. As counted: 20," in text
    assert "of about 60,000 that use the interval up" in text
    assert page["dues"][0]["weighted"]["ahead"] == pytest.approx(0.5)  # type: ignore[index]
    assert not [doubt for doubt in due.doubts if "current" in doubt]


def test_a_limit_passed_long_ago_is_dated_by_the_weights_of_that_time() -> None:
    # Twice the rated current with exponent 2: each operation counts as 4, so 30,000 are used up in 375 days.
    due = due_of(at(steady_readings("T1", 20.0), 800.0), current_exponent=2.0)[0]
    assert due.overdue
    assert abs(days_ahead(due.middle) - (375 - 1_000)) < 20
    assert due.operations_since == pytest.approx(80_000, rel=0.02)


def test_heavier_load_of_late_brings_the_date_forward_and_the_chart_shows_it_on_the_counter() -> None:
    readings = steady_readings("T1", 20.0)
    light = at(readings, 200.0)
    late = [row | {"current_a": 800.0} if row["read_on"] > pd.Timestamp("2025-06-30") else row for row in light]  # type: ignore[operator]
    before, after = due_of(light, current_exponent=1.0)[0], due_of(late, current_exponent=1.0)[0]
    assert after.middle is not None
    assert before.middle is not None
    assert after.middle < before.middle
    found = assess_book(
        book([unit_row("T1")], [rule_row("T1", current_exponent=1.0)], late, [service_row("T1", SERVICE)]), AS_OF
    )
    (due,) = found.outlook.dues
    assert due.weighted is not None
    drawn = drawn_from(count_story(found, "T1"), due, AS_OF)
    assert drawn.limit == due.weighted.plain_limit
    assert drawn.middle[0] == pytest.approx(due.weighted.plain_since)


@pytest.mark.parametrize(
    ("unit", "current", "since", "words"),
    [
        (unit_row("T1", rated_current_a=math.nan), 200.0, "2000-01-01", "no rated current recorded"),
        (unit_row("T1"), math.nan, "2000-01-01", "no current recorded with the readings"),
        (unit_row("T1"), 200.0, "2026-01-01", "current known for 2 of 34 spans between readings"),
    ],
)
def test_what_is_missing_for_the_weights_is_said(
    unit: dict[str, object], current: float, since: str, words: str
) -> None:
    readings = steady_readings("T1", 20.0)
    due, text, _ = due_of(at(readings, current, since), unit, current_exponent=1.5)
    assert any(doubt.startswith(words) for doubt in due.doubts)
    assert words[1:] in text
    if "spans" not in words:  # every operation counts as one
        assert days_ahead(due.middle) == days_ahead(due_of(readings)[0].middle)


def test_of_two_drives_the_one_with_more_weighted_operations_governs() -> None:
    # A makes 20 a day at half the rated current, B 15 a day at the rated one: 10,000 and 15,000 in 1,000 days.
    ours = at(steady_readings("T1", 20.0), 200.0)
    others = at(steady_readings("T1", 15.0), 400.0)
    readings = [row | {"drive": "A"} for row in ours]
    readings += [row | {"drive": "B", "reading_id": -1 - at} for at, row in enumerate(others)]
    rules, services = [rule_row("T1", current_exponent=1.0)], [service_row("T1", SERVICE)]
    (due,) = assess_book(book([unit_row("T1")], rules, readings, services), AS_OF).outlook.dues
    assert due.operations_since == pytest.approx(15_000, rel=0.02)
    assert due.weighted is not None
    assert due.weighted.plain_since == pytest.approx(15_000, rel=0.02)


def test_an_unknown_service_is_bounded_by_the_weighted_count() -> None:
    readings = steady_readings("T1", 20.0)
    due = due_of(at(readings, 200.0), done=None, current_exponent=1.0)[0]
    plain = due_of(readings, done=None, interval_operations=60_000.0)[0]
    assert not due.known
    assert due.bounds == plain.bounds
    assert due.weighted is not None
    assert due.weighted.plain_since is None


def test_a_rule_in_years_alone_has_nothing_to_weigh() -> None:
    readings = at(steady_readings("T1", 20.0), 200.0)
    due = due_of(readings, interval_operations=math.nan, interval_years=7.0, current_exponent=1.0)[0]
    assert due.weighted is None
    assert due.operations_since == pytest.approx(20_000, rel=0.02)
