"""Two plans held against one another: each difference with the reason that the plans themselves tell."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from plan_dues import AS_OF, job

from tapwear.plan.compare import AFRESH, MADE_ROOM, compare_plans
from tapwear.plan.types import AtEngineer, Costs, Job, LeftOut, Limits, PlanResult, Slot
from tapwear.report.plan_compare import compare_lines
from tapwear.weeks import weeks_of_year

WEEKS = tuple(weeks_of_year(2027))
RESTS = ("reading: 41,000 on 2026-05-01", "rate: 8,000 operations per year", "oil sample: 2026-01-05")


def plan(*pairs: tuple[Job, str | None], **given: Any) -> PlanResult:
    limits = given.pop("limits", Limits(WEEKS, {}, {}, {}))
    slots = tuple(Slot(one, week, "" if week else "crew hours taken") for one, week in pairs)
    return PlanResult(2027, given.pop("as_of", AS_OF), slots, limits, **given)


def why(old: Job, new: Job, first: dict[str, Any] | None = None, second: dict[str, Any] | None = None) -> str:
    found = compare_plans(plan((old, "2027-W10"), **(first or {})), plan((new, "2027-W14"), **(second or {})))
    (change,) = found.moved
    return "; ".join(change.reasons)


def test_jobs_in_the_same_week_are_only_counted() -> None:
    found = compare_plans(plan((job("U1"), "2027-W10")), plan((job("U1"), "2027-W10")))
    assert (found.moved, found.added, found.dropped, found.same, found.inputs) == ((), (), (), 1, ())


def test_a_new_reading_and_a_new_sample_are_told_and_the_rate_goes_without_saying() -> None:
    new = ("reading: 47,000 on 2026-11-02", "rate: 11,000 operations per year", "oil sample: 2026-10-01")
    told = why(job("U1", rests_on=RESTS), job("U1", "2027-02-01", rests_on=new))
    assert told == "new oil sample: 2026-10-01; new reading: 47,000 on 2026-11-02"


def test_a_changed_interval_is_told_with_what_it_was() -> None:
    old, new = ("interval: 70,000 operations",), ("interval: 50,000 operations",)
    told = why(job("U1", rests_on=old), job("U1", "2027-02-01", rests_on=new))
    assert told == "interval changed: 50,000 operations, before: 70,000 operations"


def test_decisions_about_the_job_are_told() -> None:
    bare = job("U1")
    assert why(bare, replace(bare, pinned_week="2027-W14")) == "pinned to 2027-W14"
    shut = replace(bare, forbidden_weeks=("2027-W10",), forbidden_why=("line works, grid",))
    assert why(bare, shut) == "its week is forbidden now: line works, grid"
    asked = replace(bare, request_status="refused", request_words="refused for 2027-W10 by control room")
    assert why(bare, asked) == "outage request refused for 2027-W10 by control room"
    assert why(bare, replace(bare, weeks=2)) == "lasts 2 weeks"


def test_what_cannot_have_moved_a_job_is_no_reason() -> None:
    bare = job("U1", rests_on=RESTS)
    read = replace(bare, rests_on=("reading: 47,000 on 2026-11-02", *RESTS[1:]))  # and its dates are as they were
    put_off = replace(bare, rests_on=(*RESTS, "deferral: deferred to 2027-03-05 by E. Ngo"))
    granted = replace(bare, request_status="approved", request_words="approved for 2027-W10", request_week="2027-W10")
    limits = Limits(WEEKS, {}, {}, {})
    hours = [{"limits": replace(limits, crew_hours={("North", "2027-W10"): value})} for value in (160.0, 90.0)]
    assert why(bare, read) == why(bare, put_off) == why(bare, granted) == why(bare, bare, *hours) == AFRESH
    assert why(bare, replace(granted, request_week="2027-W14")) == "outage request approved for 2027-W10"


def test_a_refused_week_is_told_once() -> None:
    bare = job("U1")
    no = "refused for 2027-W10 by control room"
    refused = replace(bare, request_status="refused", request_words=no, request_week="2027-W10",
                      forbidden_weeks=("2027-W10",), forbidden_why=("outage refused by control room",))  # fmt: skip
    assert why(bare, refused) == f"outage request {no}"


def test_hours_with_a_skill_that_are_gone_are_told() -> None:
    one = job("U1", skill="vacuum")
    gone = Limits(WEEKS, {}, {}, {}, skill_hours={("North", "vacuum", "2027-W10"): 20.0})
    assert why(one, one, second={"limits": gone}) == "region North has 20 crew hours with skill vacuum in 2027-W10"


def test_jobs_that_neither_plan_finds_a_place_for_are_not_called_in_the_same_week() -> None:
    both = plan((job("U1"), "2027-W10"), (job("U2"), None))
    found = compare_plans(both, both)
    assert (found.same, found.without) == (1, 1)
    assert compare_lines(found, "a", "b")[0] == (
        "From plan a to b: 0 moved, 0 added, 0 dropped, 1 in the same week, 1 without a place in either."
    )


def test_what_stations_crews_and_resources_allow_is_told() -> None:
    bare = job("U1", resources=("mobile transformer",))
    limits = Limits(WEEKS, {}, {}, {})
    shut = replace(limits, closed={"ALDER": {"2027-W10": "busbar works"}})
    assert why(bare, bare, second={"limits": shut}) == "station ALDER closed in 2027-W10 (busbar works)"
    hours = [replace(limits, crew_hours={("North", "2027-W10"): value}) for value in (160.0, 40.0)]
    assert why(bare, bare, {"limits": hours[0]}, {"limits": hours[1]}) == (
        "region North has 40 crew hours in 2027-W10, 160 before"
    )
    gone = replace(limits, resources={("mobile transformer", "2027-W10"): 0})
    assert why(bare, bare, second={"limits": gone}) == "0 of mobile transformer in 2027-W10"
    group = replace(limits, groups={"ring": frozenset({bare.job_id})})
    assert why(bare, bare, second={"limits": group}) == "in transfer group ring now"


def test_a_move_without_a_reason_of_its_own_says_so() -> None:
    assert why(job("U1"), job("U1"), second={"follows": "2027-a"}) == MADE_ROOM
    assert why(job("U1"), job("U1")) == AFRESH


def test_added_and_dropped_jobs_say_what_the_other_plan_knew_of_them() -> None:
    later = LeftOut("U1", "contact service due from 2028-05-01", RESTS)
    new = (*RESTS[:2], "oil sample: 2026-10-01")
    first, second = plan(left_out=(later,)), plan((job("U1", rests_on=new), "2027-W10"))
    (came,) = compare_plans(first, second).added
    assert came.reasons == ("new oil sample: 2026-10-01", "before: contact service due from 2028-05-01")
    (went,) = compare_plans(second, first).dropped
    assert went.reasons[0] == "contact service due from 2028-05-01"
    assert (went.before, went.after) == ("2027-W10", None)


def test_what_is_not_there_in_time_is_told_and_a_request_that_nobody_recorded() -> None:
    late = job("U1", kit_ready_on=date(2027, 4, 1), permit_from=date(2027, 3, 29))
    kit, permit = "kit not there before 2027-04-01", "switching permit not there before 2027-03-29"
    assert why(job("U1"), late) == f"{kit}; {permit}: no request for the outage is recorded"
    assert why(job("U1"), replace(late, request_status="asked")) == f"{kit}; {permit}"
    assert why(job("U1"), replace(late, permit_week="2027-W10")) == kit


def test_what_is_planned_elsewhere_is_dropped_for_that_alone() -> None:
    there = LeftOut("U1", "in plan 2026-a, 2026-W43", ("reading: 47,000 on 2026-11-02",))
    (went,) = compare_plans(plan((job("U1", rests_on=RESTS), "2027-W10")), plan(left_out=(there,))).dropped
    assert went.reasons == ("in plan 2026-a, 2026-W43",)


def test_a_week_that_has_gone_by_is_told_from_one_that_has_begun() -> None:
    two, three = job("U1", weeks=2), job("U1", weeks=3)  # from 2027-03-08 on
    for one, says in ((two, "was over"), (three, "had begun")):
        told = why(one, one, second={"as_of": date(2027, 3, 22)})
        assert told == f"2027-W10 {says} when the later plan was made, on 2027-03-22"


def test_a_job_that_lost_its_place_says_what_stops_it() -> None:
    found = compare_plans(plan((job("U1"), "2027-W10")), plan((job("U1"), None)))
    assert found.moved[0].reasons == ("no place: crew hours taken",)
    assert found.moved[0].weeks_later is None


def test_what_changed_for_all_jobs_is_told_once() -> None:
    second = plan((job("U1"), "2027-W14"), costs=Costs(late=20.0), follows="2027-a")
    found = compare_plans(plan((job("U1"), "2027-W10")), second)
    assert found.inputs == ("cost of late: 10 before, 20 now", "kept close to plan 2027-a")
    assert found.moved[0].weeks_later == 4


def test_a_unit_that_moved_with_its_bank_says_which_other_one_and_why() -> None:
    one, other = replace(job("U1"), bank="5"), replace(job("U2"), bank="5")
    found = compare_plans(
        plan((one, "2027-W10"), (other, "2027-W10")),
        plan((one, "2027-W14"), (replace(other, pinned_week="2027-W14"), "2027-W14")),
    )
    assert [change.reasons for change in found.moved] == [
        ("goes out with its bank: U2 pinned to 2027-W14",),
        ("pinned to 2027-W14",),
    ]


def test_a_unit_stopped_since_says_from_which_week_it_was_taken() -> None:
    had = AtEngineer("U1", "ALDER", "STOP since 2026-07-01", "Hot.", "2027-W10")
    found = compare_plans(plan(at_engineer=(had,)), plan(at_engineer=(replace(had, was_in=""),)))
    assert found.at_engineer == (had,)


def test_a_release_is_told_once() -> None:
    release = "released for work de-energised from 2027-03-01 by K. Arden: open it"
    before = plan(left_out=(LeftOut("U1", f"since this plan was made {release}; build it again"),))
    (change,) = compare_plans(before, plan((job("U1", severe=True, release=release), "2027-W10"))).added
    assert "; ".join(change.reasons).count(release) == 1
