"""A plan with a slot past a limit is not handed out, unless somebody has decided so."""

from __future__ import annotations

from datetime import date
from typing import Any

from plan_dues import AS_OF, job

from tapwear.plan.publish import past_limit
from tapwear.plan.types import Limits, PlanResult, Slot
from tapwear.weeks import weeks_of_year

DECIDED = date(2026, 6, 1)


def plan(week: str | None, **given: Any) -> PlanResult:
    given.setdefault("task_middles", (("contact service", "2027-03-01"), ("oil change", "2027-06-01")))
    slot = Slot(job("U1", **given), week, "" if week else "no crew", 0.8 if week else None)
    return PlanResult(2027, AS_OF, (slot,), Limits(tuple(weeks_of_year(2027)), {}, {}, {}))


def test_a_slot_up_to_the_middle_date_may_stand() -> None:
    assert past_limit(plan("2027-W09"), [], AS_OF) == []  # its Monday is 2027-03-01


def test_a_slot_past_the_middle_date_is_named_with_its_tasks_and_chance() -> None:
    assert past_limit(plan("2027-W10"), [], AS_OF) == [
        "U1 starts in 2027-W10: contact service due on 2027-03-01, 80 % past due by then"
    ]
    assert "oil change due on 2027-06-01" in past_limit(plan("2027-W30"), [], AS_OF)[0]


def test_what_an_engineer_has_released_for_work_needs_no_deferral() -> None:
    assert past_limit(plan("2027-W10", severe=True, release="released for work"), [], AS_OF) == []
    assert past_limit(plan("2027-W10", severe=True), [], AS_OF) != []


def test_what_is_released_for_work_and_finds_no_place_is_named_all_the_same() -> None:
    (words,) = past_limit(plan(None, severe=True, release="released for work"), [], AS_OF)
    assert words.startswith("U1 has no place in 2027: contact service due on 2027-03-01")


def test_a_deferral_of_that_task_until_the_slot_lets_it_through() -> None:
    until = date(2027, 3, 8)
    assert past_limit(plan("2027-W10"), [("U1", "contact service", DECIDED, until)], AS_OF) == []
    for other in (
        ("U2", "contact service", DECIDED, until),
        ("U1", "oil change", DECIDED, until),
        ("U1", "contact service", DECIDED, date(2027, 3, 7)),
        ("U1", "contact service", date(2026, 7, 1), until),
    ):
        assert past_limit(plan("2027-W10"), [other], AS_OF) != []


def test_of_several_deferrals_the_newest_decision_counts() -> None:
    long = ("U1", "contact service", DECIDED, date(2027, 12, 31))
    short = ("U1", "contact service", date(2026, 6, 20), date(2026, 9, 1))
    assert past_limit(plan("2027-W10"), [long, short], AS_OF) != []
    assert past_limit(plan("2027-W10"), [short, long], AS_OF) != []


def test_a_job_without_a_place_needs_its_deferral_until_the_end_of_the_year() -> None:
    assert past_limit(plan(None), [], AS_OF)[0].startswith("U1 has no place in 2027: contact service")
    both = [("U1", task, DECIDED, date(2028, 1, 3)) for task in ("contact service", "oil change")]
    assert past_limit(plan(None), both, AS_OF) == []


def test_work_done_or_begun_needs_no_deferral() -> None:
    assert past_limit(plan("2027-W30", progress="done"), [], AS_OF) == []
    assert past_limit(plan("2027-W30", progress="started"), [], AS_OF) == []


def test_a_plan_of_an_earlier_version_is_judged_by_its_job_s_middle_date() -> None:
    assert past_limit(plan("2027-W09", task_middles=()), [], AS_OF) == []
    assert past_limit(plan("2027-W10", task_middles=()), [], AS_OF) != []


def test_a_deferral_that_ends_too_soon_is_told() -> None:
    short = ("U1", "contact service", DECIDED, date(2027, 3, 7))
    (words,) = past_limit(plan("2027-W10"), [short], AS_OF)
    assert "contact service due on 2027-03-01 and deferred to 2027-03-07 only" in words
