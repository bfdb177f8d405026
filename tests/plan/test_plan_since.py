"""A kept plan under the stops of today."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from plan_dues import AS_OF, job

from tapwear.outlook.stops import Stop
from tapwear.plan.since import under_stops
from tapwear.plan.types import AtEngineer, Job, Limits, PlanResult, Slot
from tapwear.weeks import weeks_of_year

STANDS = Stop("U1", date(2026, 7, 1), ("Ethylene rose.",))
RELEASED = replace(STANDS, work_from=date(2027, 3, 1), work_by="K. Arden", work_words="open it")


def plan(*slots: tuple[Job, str | None], at: tuple[AtEngineer, ...] = ()) -> PlanResult:
    limits = Limits(tuple(weeks_of_year(2027)), {}, {}, {})
    made = tuple(Slot(one, week, "" if week else "no crew", 0.5 if week else None) for one, week in slots)
    return PlanResult(2027, AS_OF, made, limits, at_engineer=at)


def test_a_stop_takes_its_unit_out_and_the_other_keeps_its_number() -> None:
    found = under_stops(plan((job("U1"), "2027-W09"), (job("U2"), "2027-W10")), {"U1": STANDS})
    assert found.at_engineer == (AtEngineer("U1", "ALDER", "STOP since 2026-07-01", "Ethylene rose.", "2027-W09"),)
    assert [slot.job.unit for slot in found.placed] == ["U2"]
    assert found.unplaced == ()
    assert found.numbers["U2 / contact service"] == 2


def test_a_stopped_unit_that_the_plan_does_not_know_stands_above_it_too() -> None:
    found = under_stops(plan((job("U2"), "2027-W10")), {"U1": STANDS}, {"U1": ("BIRCH", "")})
    assert [(one.unit, one.station, one.was_in) for one in found.at_engineer] == [("U1", "BIRCH", "")]


def test_work_that_is_done_stays_and_work_under_way_does_not() -> None:
    done = job("U1", progress="done", done_on=date(2027, 3, 3))
    assert under_stops(plan((done, "2027-W09")), {"U1": STANDS}).placed[0].job == done
    begun = under_stops(plan((job("U1", progress="started"), "2027-W09")), {"U1": STANDS})
    assert (begun.placed, begun.at_engineer[0].was_in) == ((), "2027-W09")


def test_a_release_keeps_a_week_that_is_not_too_soon_and_says_so() -> None:
    kept = under_stops(plan((job("U1"), "2027-W09")), {"U1": RELEASED})
    (slot,) = kept.placed
    assert slot.start_week == "2027-W09"  # its Monday is 2027-03-01
    assert (slot.job.severe, slot.job.suspected, slot.job.work_from) == (True, ("Ethylene rose.",), date(2027, 3, 1))
    assert kept.at_engineer == ()
    (slot,) = under_stops(plan((job("U1"), "2027-W08")), {"U1": RELEASED}).unplaced
    assert slot.was_in == "2027-W08"
    assert slot.stopped_by.startswith("taken out of 2027-W08: released for work de-energised from 2027-03-01")


def test_what_was_cleared_is_as_any_other() -> None:
    before = plan(
        (job("U1", severe=True, release="released for work", suspected=("Hot.",), work_from=AS_OF), "2027-W09"),
        at=(AtEngineer("U2", "ALDER", "STOP since 2026-06-01", "Hot."),),
    )
    found = under_stops(before, {"U1": None, "U2": None})
    assert found.placed[0].job == job("U1")
    assert found.at_engineer == ()
    assert [one.unit for one in found.left_out] == ["U2"]
    assert "cleared since this plan was made" in found.left_out[0].words


def test_a_stop_of_the_plan_that_the_book_does_not_know_stands_on() -> None:
    mine = (AtEngineer("U2", "ALDER", "STOP since 2026-06-01", "Hot."),)
    assert under_stops(plan((job("U1"), "2027-W09"), at=mine), {}).at_engineer == mine


def test_a_plan_of_an_earlier_version_does_not_offer_its_stopped_unit() -> None:
    found = under_stops(plan((job("U1", severe=True), "2027-W09")), {})
    assert (found.placed, found.at_engineer[0].unit, found.at_engineer[0].stop) == ((), "U1", "STOP")


def test_what_was_released_since_and_has_no_slot_is_said_before_all_that_the_plan_rests_on() -> None:
    was = AtEngineer("U1", "ALDER", "STOP", "Hot.")
    found = under_stops(plan((job("U2"), "2027-W10"), at=(was,)), {"U1": RELEASED})
    assert found.limits.assumptions[0] == (
        "U1 has no slot: since this plan was made released for work de-energised from 2027-03-01 by K. Arden: open it; "
        "build it again."
    )


def test_the_other_units_of_a_stopped_ones_bank_keep_their_weeks_and_say_so() -> None:
    beside, apart = replace(job("U2"), bank="5", why="the calendar drives the date"), replace(job("U3"), bank="6")
    found = under_stops(plan((beside, "2027-W10"), (apart, "2027-W11")), {"U1": STANDS}, {"U1": ("ALDER", "5")})
    first, second = found.placed
    assert first.job.why.startswith("Stopped in the same bank: U1. Do not go near the bank. ")
    assert first.job.why.endswith("; the calendar drives the date")
    assert first.job.suspected[0].startswith("Stopped in the same bank: U1.")
    assert first.job.alarms == first.job.suspected[:1]
    assert second.job == apart
    cleared = under_stops(plan((beside, "2027-W10")), {"U1": None}, {"U1": ("ALDER", "5")})
    assert cleared.placed[0].job == beside
