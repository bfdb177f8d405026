from __future__ import annotations

from datetime import date

import pytest
from due_examples import FAR, OVERDUE, SEVERE_ONE, UNKNOWN, UNREAD, due, outlook

from tapwear.report.due_choice import choose

UNTIL = date(2028, 6, 30)


def units_of(choice) -> list[str]:
    return [item.unit for item in choice.dues]


def test_overdue_unknown_unread_and_severe_units_stay_whatever_the_period() -> None:
    everything = outlook(SEVERE_ONE, OVERDUE, UNKNOWN, FAR, UNREAD)
    choice = choose(everything, until=date(2026, 7, 1))
    assert units_of(choice) == ["MIR-T2", "HAL-T1", "OLD-T4", "NEW-T1"]
    assert [(hidden.units, hidden.overdue, hidden.unknown) for hidden in choice.hidden] == [(1, 0, 0)]
    assert "--all" in choice.hidden[0].sentence()


def test_the_early_date_decides_about_the_period() -> None:
    inside = due(unit="A", early=UNTIL, middle=date(2030, 1, 1), late=None)
    outside = due(unit="B", early=date(2028, 7, 1))
    assert units_of(choose(outlook(inside, outside), until=UNTIL)) == ["A"]


def test_order_of_the_outlook_is_kept() -> None:
    assert units_of(choose(outlook(UNKNOWN, OVERDUE, due()), until=None)) == ["OLD-T4", "HAL-T1", "BRK-T1"]


def test_a_filter_that_hides_units_counts_the_overdue_and_the_unknown_among_them() -> None:
    choice = choose(outlook(OVERDUE, UNKNOWN, due()), until=UNTIL, station="brackwater")
    assert units_of(choice) == ["BRK-T1"]
    assert (
        choice.hidden[0].sentence()
        == "Not shown (by --station brackwater): 2 units, 1 of them overdue, 1 with no date."
    )


@pytest.mark.parametrize(
    ("filters", "shown"),
    [
        ({"region": "South"}, ["OLD-T4"]),
        ({"driver": "unknown"}, ["OLD-T4"]),
        ({"driver": "operations"}, ["HAL-T1", "BRK-T1"]),
        ({"station": "Halloway", "driver": "oil"}, []),
    ],
)
def test_filters_keep_what_they_name(filters: dict[str, str], shown: list[str]) -> None:
    choice = choose(outlook(OVERDUE, UNKNOWN, due()), until=UNTIL, **filters)
    assert units_of(choice) == shown
    assert sum(hidden.units for hidden in choice.hidden) == 3 - len(shown)


def test_other_tasks_join_only_when_they_come_before_the_contact_service() -> None:
    sooner = due(task="inspection", early=date(2026, 8, 1))
    later = due(task="oil change", early=date(2026, 10, 1))
    choice = choose(outlook(sooner, due(), later), until=UNTIL)
    assert [item.task for item in choice.dues] == ["inspection", "contact service"]


def test_an_unknown_contact_service_is_not_replaced_by_a_known_later_task() -> None:
    other = due(unit="OLD-T4", task="inspection", early=date(2027, 1, 1))
    choice = choose(outlook(other, UNKNOWN), until=UNTIL)
    assert [item.task for item in choice.dues] == ["inspection", "contact service"]


def test_a_unit_without_a_contact_service_rule_shows_its_first_task() -> None:
    only = (due(task="oil change"), due(task="inspection", early=date(2027, 1, 1)))
    assert [item.task for item in choose(outlook(*only), until=UNTIL).dues] == ["oil change"]


def test_one_task_of_every_unit_counts_the_units_that_have_no_such_rule() -> None:
    choice = choose(outlook(due(), OVERDUE, due(task="inspection")), until=UNTIL, task="Inspection")
    assert [(item.unit, item.task) for item in choice.dues] == [("BRK-T1", "inspection")]
    assert choice.hidden[0].sentence() == "Not shown (by --task 'Inspection'): 1 unit, 1 of them overdue."


def test_every_task_shows_all_rows_and_hides_nothing() -> None:
    rows = (due(), due(task="oil change", early=date(2040, 1, 1)), FAR)
    choice = choose(outlook(*rows), until=None, every_task=True)
    assert choice.dues == rows
    assert choice.hidden == ()
