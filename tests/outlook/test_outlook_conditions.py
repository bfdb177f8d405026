"""What people noted stands beside the clocks and acts as its author said."""

from __future__ import annotations

import dataclasses
from datetime import date
from typing import Any

import pandas as pd
import pytest
from books import AS_OF, book, rule_row, service_row, steady_readings, unit_row

from tapwear.fleet import assess_book, known_on, severe_units
from tapwear.outlook.conditions import Noted, governing, open_conditions
from tapwear.outlook.types import Due
from tapwear.plan.jobs import jobs_from
from tapwear.report.due_data import due_record
from tapwear.report.due_words import next_words, status_words
from tapwear.store.book import Book
from tapwear.words import stop_notice


def condition(unit: str = "T1", **changes: Any) -> dict[str, Any]:
    row = {
        "unit": unit, "noted_on": "2026-05-02", "kind": "motor_current", "words": "peak odd", "act_by_on": None,
        "severe": False, "author": "K.", "closed_on": None, "closed_words": "",
    } | changes  # fmt: skip
    return row | {name: pd.Timestamp(row[name]) for name in ("noted_on", "act_by_on", "closed_on")}


def fleet(*conditions: dict[str, Any], tasks: tuple[str, ...] = ("contact service",), services: bool = True) -> Book:
    """A quiet unit whose seven years end on 2028-03-15, with what was noted about it."""
    plain = book(
        units=[unit_row("T1")],
        rules=[rule_row("T1", task=task) for task in tasks],
        readings=steady_readings("T1", 1.0),
        services=[service_row("T1", "2021-03-15")] if services else [],
    )
    return dataclasses.replace(plain, conditions=pd.DataFrame(list(conditions))) if conditions else plain


def dues(*conditions: dict[str, Any], **given: Any) -> tuple[Due, ...]:
    return assess_book(fleet(*conditions, **given), AS_OF).outlook.dues


def test_a_condition_without_a_day_is_told_and_moves_nothing() -> None:
    (without,), (due,) = dues(), dues(condition())
    assert due.doubts == ("motor current: peak odd, noted 2026-05-02 by K.", *without.doubts)
    assert (due.early, due.middle, due.late, due.driver) == (without.early, without.middle, without.late, "calendar")
    assert [clock.driver for clock in due.clocks] == ["operations", "calendar", "oil"]


def test_an_act_by_day_before_the_other_clocks_becomes_the_date() -> None:
    (due,) = dues(condition(act_by_on="2026-09-01"))
    assert (due.early, due.middle, due.late) == (date(2026, 9, 1),) * 3
    assert (due.driver, due.overdue) == ("condition", False)
    assert due.driver_share["condition"] > 0.999
    assert due.conditions == ("motor current: peak odd, noted 2026-05-02 by K. (act by 2026-09-01)",)
    assert due.clocks[-1].words == "motor current, noted 2026-05-02"
    assert next_words(due) == "act on what was noted (motor current) by 2026-09-01"
    record = due_record(due)
    assert (record["driver"], record["conditions"]) == ("condition", [due.conditions[0]])
    (job,) = jobs_from(assess_book(fleet(condition(act_by_on="2026-09-01")), AS_OF).outlook, 2026)
    assert "a noted condition drives the date (motor current: peak odd" in job.why


def test_an_act_by_day_after_the_other_clocks_changes_no_date() -> None:
    (without,), (due,) = dues(), dues(condition(act_by_on="2029-09-01"))
    assert (due.early, due.middle, due.late, due.driver) == (without.early, without.middle, without.late, "calendar")
    assert due.driver_share["condition"] == 0.0


def test_an_act_by_day_gone_by_is_due_now_and_is_no_overdue_limit() -> None:
    (due,) = dues(condition(act_by_on="2026-06-01"))
    assert (due.middle, due.overdue) == (date(2026, 6, 1), False)
    assert status_words(due) == "The act-by day of a noted condition has come."
    assert next_words(due) == "act on what was noted (motor current) now: it was due by 2026-06-01"


def test_an_act_by_day_gives_a_date_where_the_last_service_is_unknown() -> None:
    (due,) = dues(condition(act_by_on="2026-09-01"), services=False)
    assert (due.known, due.middle) == (True, date(2026, 9, 1))
    assert "last contact service unknown" in due.doubts


@pytest.mark.parametrize("closed", ["2026-06-30", "2026-05-02"])
def test_a_closed_condition_acts_no_more(closed: str) -> None:
    assert dues(condition(act_by_on="2026-09-01", severe=True, closed_on=closed)) == dues()


def test_as_of_an_earlier_day_it_is_as_it_was_then() -> None:
    noted = fleet(condition(act_by_on="2026-09-01", closed_on="2026-06-10"))
    then = assess_book(known_on(noted, date(2026, 6, 9)), date(2026, 6, 9)).outlook.dues[0]
    assert then.driver == "condition"
    before = assess_book(known_on(noted, date(2026, 5, 1)), date(2026, 5, 1)).outlook.dues[0]
    assert (before.driver, before.conditions) == ("calendar", ())


def test_a_severe_condition_leaves_one_thing_to_do_for_every_task() -> None:
    trip = condition(kind="relay_trip", words="surge relay", severe=True)
    service, look = sorted(dues(trip, tasks=("contact service", "inspection")), key=lambda due: due.task)
    assert (service.severe, next_words(service), next_words(look)) == (True, stop_notice("T1"), stop_notice("T1"))
    assert service.doubts[0].endswith(
        "noted 2026-05-02 by K.; do not re-energise or operate until the engineer releases it"
    )
    calm = dues(condition(kind="relay_trip", words="surge relay"), tasks=("contact service", "inspection"))
    assert not any(due.severe or stop_notice("T1") in next_words(due) for due in calm)
    assert "re-energise" not in " ".join(words for due in calm for words in due.doubts)


def test_a_unit_without_a_contact_service_shows_it_at_its_other_tasks() -> None:
    (due,) = dues(condition(act_by_on="2026-09-01", severe=True), tasks=("inspection",))
    assert (due.task, due.driver, due.severe) == ("inspection", "condition", True)


def test_the_earliest_of_several_governs_and_severe_ones_are_told_first() -> None:
    rows = [
        condition(act_by_on="2026-12-01"),
        condition(kind="infrared", act_by_on="2026-08-01"),
        condition(kind="other", severe=True),
    ]
    noted = open_conditions(pd.DataFrame(rows), AS_OF)["T1"]
    assert [one.kind for one in noted] == ["other", "infrared", "motor_current"]
    first = governing(noted)
    assert first is not None
    assert first.act_by == date(2026, 8, 1)
    assert governing([Noted("other", "x", AS_OF, None, False, "")]) is None
    assert open_conditions(pd.DataFrame(rows), date(2026, 5, 1)) == {}


def test_a_severe_condition_stops_everybody_at_a_unit_without_a_rule_too() -> None:
    noted = fleet(condition(severe=True), tasks=())
    found = assess_book(noted, AS_OF)
    assert severe_units(found) == {"T1": "STOP since 2026-05-02"}
    closed = fleet(condition(severe=True, closed_on="2026-05-20"), tasks=())
    assert severe_units(assess_book(closed, AS_OF)) == {}
