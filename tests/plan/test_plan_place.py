"""Placing by hand-worked cases, and random instances against the independent check."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from plan_instances import AS_OF, WEEKS, group, instances, job, limits

from tapwear.plan.check import check
from tapwear.plan.place import place
from tapwear.plan.types import Job, Limits, PlanResult, Slot
from tapwear.weeks import monday, weeks_of_year


def starts(result: PlanResult) -> dict[str, str | None]:
    assert check(result) == []
    return {slot.job.unit: slot.start_week for slot in result.slots}


def reason(result: PlanResult, unit: str) -> str:
    return next(slot.stopped_by for slot in result.slots if slot.job.unit == unit)


def test_a_sure_date_takes_the_last_week_that_is_not_late() -> None:
    # 2027-03-01 is the Monday of week 9: later would cost 10 a week, sooner 1 a week.
    assert starts(place((job("U1"),), limits(), AS_OF)) == {"U1": "2027-W09"}


def test_an_unsure_date_is_met_early() -> None:
    # Late costs ten times early: the best week is where the chance of being late is about 1 in 11.
    result = place((job("U1", "2027-07-05", spread=70),), limits(), AS_OF)
    (slot,) = result.slots
    assert slot.chance_late == pytest.approx(1 / 11, abs=0.05)


def test_an_overdue_job_goes_first_and_at_once() -> None:
    jobs = (job("U1", "2026-01-01", overdue=True), job("U2", "2025-01-01"))
    assert starts(place(jobs, limits(groups=group("U1", "U2")), AS_OF)) == {"U1": "2027-W01", "U2": "2027-W02"}


def test_a_severe_job_goes_before_everything_and_takes_the_first_week() -> None:
    jobs = (job("U1", "2026-01-01", overdue=True), job("U2", "2031-01-01", severe=True))
    assert starts(place(jobs, limits(groups=group("U1", "U2")), AS_OF)) == {"U2": "2027-W01", "U1": "2027-W02"}


def test_what_is_released_for_work_goes_before_a_pin_but_not_before_work_under_way() -> None:
    urgent = job("U2", "2031-01-01", severe=True)
    pinned = job("U1", pinned_week="2027-W01")
    found = place((pinned, urgent), limits(groups=group("U1", "U2")), AS_OF)
    assert starts(found) == {"U2": "2027-W01", "U1": None}
    assert "U2" in found.unplaced[0].stopped_by
    begun = job("U1", pinned_week="2027-W01", progress="started")
    found = place((begun, urgent), limits(groups=group("U1", "U2")), AS_OF)
    assert starts(found) == {"U1": "2027-W01", "U2": "2027-W02"}


def test_what_is_released_for_work_starts_no_sooner_than_the_release_says() -> None:
    urgent = job("U1", "2026-01-01", severe=True, work_from=date(2027, 1, 12))
    assert starts(place((urgent,), limits(), AS_OF)) == {"U1": "2027-W03"}
    closed = {"ALDER": dict.fromkeys(WEEKS[2:], "rebuilding")}
    (slot,) = place((urgent,), limits(closed=closed), AS_OF).unplaced
    assert "released for work from 2027-01-12" in slot.stopped_by
    early = replace(place((urgent,), limits(), AS_OF), slots=(Slot(urgent, "2027-W02"),))
    assert check(early) == ["U1 / contact service starts on 2027-01-11, it is released for work from 2027-01-12"]


def test_of_two_equally_pressing_the_one_of_more_consequence_goes_first() -> None:
    jobs = (job("A", "2027-01-04"), job("B", "2027-01-04", weight=3.0))
    assert starts(place(jobs, limits(groups=group("A", "B")), AS_OF)) == {"B": "2027-W01", "A": "2027-W02"}


def test_one_transfer_group_has_one_outage_at_a_time() -> None:
    found = starts(place((job("A", weeks=2), job("B", weeks=2)), limits(groups=group("A", "B")), AS_OF))
    assert found["A"] == "2027-W09"
    # B gives up 2 weeks of its interval rather than be late, and its trips cost the same.
    assert found["B"] == "2027-W07"


def test_the_phases_of_a_bank_go_out_together_even_in_a_transfer_group() -> None:
    jobs = tuple(job(unit, bank="T1", due=due) for unit, due in
                 (("A", "2027-03-01"), ("B", "2027-05-03"), ("C", "2027-08-02")))  # fmt: skip
    found = starts(place(jobs, limits(groups=group("A", "B", "C")), AS_OF))
    assert len(set(found.values())) == 1


def test_an_outage_does_not_span_a_closed_week() -> None:
    closed = {"ALDER": {"2027-W09": "winter peak"}}
    assert starts(place((job("U1", weeks=2),), limits(closed=closed), AS_OF)) == {"U1": "2027-W07"}


def test_a_job_waits_for_its_kit() -> None:
    ready = job("U1", kit_ready_on=date(2027, 3, 9))  # a Tuesday
    assert starts(place((ready,), limits(), AS_OF)) == {"U1": "2027-W11"}


def test_a_plan_made_within_its_year_begins_with_the_first_whole_week() -> None:
    assert starts(place((job("U1"),), limits(), date(2027, 6, 30))) == {"U1": "2027-W27"}
    assert starts(place((job("U1"),), limits(), date(2027, 6, 28))) == {"U1": "2027-W26"}


def test_crew_hours_of_a_region_are_shared() -> None:
    hours = {("North", week): 100.0 for week in WEEKS}
    jobs = (job("A"), job("B", station="BIRCH"), job("C", station="CEDAR", region="South"))
    found = starts(place(jobs, limits(crew_hours=hours), AS_OF))
    assert found == {"A": "2027-W09", "B": "2027-W08", "C": "2027-W09"}


def test_neighbours_share_a_trip() -> None:
    # Alone, B would go in week 12. Going three weeks early costs 3 and saves a trip of 40.
    jobs = (job("A"), job("B", "2027-03-22", station="BIRCH"))
    assert starts(place(jobs, limits(), AS_OF))["B"] == "2027-W12"
    together = limits(neighbourhoods={"ALDER": "hills", "BIRCH": "hills"})
    assert starts(place(jobs, together, AS_OF))["B"] == "2027-W09"


def test_a_job_without_a_date_is_listed_and_not_placed() -> None:
    result = place((job("U1", None),), limits(), AS_OF)
    assert starts(result) == {"U1": None}
    assert reason(result, "U1").startswith("date unknown")
    assert result.undated
    assert not result.stopped


def test_closed_weeks_and_a_late_kit_are_named_as_what_stops_a_job() -> None:
    closed = {"ALDER": dict.fromkeys(WEEKS[37:], "autumn work")}
    result = place((job("U1", kit_ready_on=date(2027, 9, 20)),), limits(closed=closed), AS_OF)
    assert starts(result) == {"U1": None}
    assert reason(result, "U1") == "kit is ready on 2027-09-20; station ALDER closed (autumn work) in weeks 38-52"
    assert result.stopped


def test_too_few_hours_and_taken_hours_are_told_apart() -> None:
    hours = {("North", week): 0.0 for week in WEEKS} | {("North", "2027-W20"): 100.0}
    jobs = (job("A", "2027-02-01"), job("B", "2027-02-02", station="BIRCH"))
    result = place(jobs, limits(crew_hours=hours), AS_OF)
    assert starts(result) == {"A": "2027-W20", "B": None}
    assert reason(result, "B") == (
        "region North has fewer than the 80 crew hours in weeks 1-19, 21-52; "
        "crew hours of region North taken by other jobs in week 20"
    )


def test_a_group_that_is_full_is_named() -> None:
    closed = {"ALDER": dict.fromkeys(WEEKS[1:], "rebuilding")}
    result = place((job("A"), job("B")), limits(closed=closed, groups=group("A", "B")), AS_OF)
    assert reason(result, "B") == (
        "station ALDER closed (rebuilding) in weeks 2-52; another outage in transfer group G in week 1"
    )


def test_what_stops_a_job_in_every_week_by_itself_is_all_that_is_named() -> None:
    closed = {"ALDER": dict.fromkeys(WEEKS, "all year")}
    result = place((job("U1", kit_ready_on=date(2027, 9, 20)),), limits(closed=closed), date(2027, 3, 1))
    assert reason(result, "U1") == "station ALDER closed (all year) in weeks 1-52"


def test_a_window_that_is_too_short_is_told_by_the_weeks_that_are_needed() -> None:
    closed = {"ALDER": dict.fromkeys((*WEEKS[:19], *WEEKS[21:]), "line works")}
    result = place((job("U1", weeks=3),), limits(closed=closed), AS_OF)
    assert reason(result, "U1") == "station ALDER closed (line works) in weeks 1-19, 22-52; it needs 3 weeks on end"


def test_hours_that_are_too_few_say_whose_they_are() -> None:
    hours = {("North", week): 50.0 for week in WEEKS}
    bank = tuple(job(unit, bank="T1", phase=unit, weeks=2) for unit in "AB")
    result = place(bank, limits(crew_hours=hours), AS_OF)
    assert reason(result, "A") == "region North has fewer than the 80 crew hours a week of bank T1 in weeks 1-52"


def test_a_region_of_any_name_is_said_as_it_is() -> None:
    hours = {("{0} {x", week): 0.0 for week in WEEKS}
    result = place((job("U1", region="{0} {x"),), limits(crew_hours=hours), AS_OF)
    assert reason(result, "U1") == "region {0} {x has fewer than the 80 crew hours in weeks 1-52"


def test_of_the_days_to_wait_for_the_last_is_named() -> None:
    closed = {"ALDER": dict.fromkeys(WEEKS[37:], "autumn work")}
    for kit, permit, says in ((9, 6, "kit is ready on"), (6, 9, "the switching permit is there on")):
        one = job("U1", kit_ready_on=date(2027, kit, 20), permit_from=date(2027, permit, 20))
        result = place((one,), limits(closed=closed), date(2027, 3, 1))
        assert reason(result, "U1") == f"{says} 2027-09-20; station ALDER closed (autumn work) in weeks 38-52"


def test_an_outage_longer_than_what_is_left_of_the_year_says_so() -> None:
    result = place((job("U1", weeks=60),), limits(), AS_OF)
    assert reason(result, "U1") == "it lasts 60 weeks and must end within the year"


def test_a_year_with_53_weeks_is_used_to_its_end() -> None:
    weeks = tuple(weeks_of_year(2026))
    closed = {"ALDER": dict.fromkeys(weeks[:-1], "closed")}
    result = place((job("U1"),), limits(weeks=weeks, closed=closed), date(2026, 1, 1))
    assert starts(result) == {"U1": "2026-W53"}


# --- random instances -----------------------------------------------------------------------------------------


@settings(max_examples=120, deadline=None, derandomize=True)
@given(instances())
def test_no_plan_of_a_random_instance_breaks_a_rule(instance: tuple[tuple[Job, ...], Limits, date]) -> None:
    jobs, allowed, as_of = instance
    result = place(jobs, allowed, as_of)
    assert check(result) == []
    assert sorted(slot.job.job_id for slot in result.slots) == sorted(job.job_id for job in jobs)
    assert place(tuple(reversed(jobs)), allowed, as_of).placed == result.placed


@settings(max_examples=40, deadline=None, derandomize=True)
@given(instances())
def test_a_job_without_a_place_fits_nowhere_beside_the_others(instance: tuple[tuple[Job, ...], Limits, date]) -> None:
    jobs, allowed, as_of = instance
    result = place(jobs, allowed, as_of)
    for stuck in {slot.job.block for slot in result.stopped}:
        for week in allowed.weeks:
            moved = tuple(
                replace(slot, start_week=week) if slot.job.block == stuck and slot.job.dated else slot
                for slot in result.slots
            )
            assert check(replace(result, slots=moved)), f"{stuck} would fit in {week}"


def test_the_monday_of_a_week_is_the_day_it_starts() -> None:
    (slot,) = place((job("U1"),), limits(), AS_OF).slots
    assert monday(slot.start_week or "") == date(2027, 3, 1)
    assert slot.chance_late == 0


def test_a_job_with_an_alarm_goes_before_one_that_is_overdue() -> None:
    jobs = (job("U1", "2025-01-01", overdue=True), replace(job("U2", "2026-01-01"), alarms=("Low oil.",)))
    assert starts(place(jobs, limits(groups=group("U1", "U2")), AS_OF)) == {"U2": "2027-W01", "U1": "2027-W02"}
