"""What is given about outages, in the jobs and limits of a plan."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pandas as pd
import pytest
from plan_dues import AS_OF, due, job

from tapwear.outlook.types import Due, Outlook
from tapwear.plan.build import build_plan
from tapwear.plan.check import check
from tapwear.plan.document import from_document, to_document
from tapwear.plan.inputs import Inputs, hours_of_teams, resources_free, share_away, weeks_touched, yearly_weeks
from tapwear.plan.since import told_since
from tapwear.plan.terms import UnitFacts, progress_of, terms_of, with_notes, with_terms
from tapwear.plan.types import Job, PlanResult
from tapwear.weeks import weeks_of_year

WEEKS = weeks_of_year(2027)


def terms(**given: Any) -> dict[str, Any]:
    nothing = dict.fromkeys(("permit_weeks", "recall_hours", "consequence", "exchanged"))
    words = dict.fromkeys(("station", "scheme", "unit", "skill", "approver", "conditions", "pcb"), "")
    return {**nothing, **words, "resources": (), **given}


def note(unit: str, kind: str, **given: Any) -> dict[str, Any]:
    blank = {"weeks": "", "status": "", "happened_on": None, "person": "", "words": ""}
    return {"unit": unit, "kind": kind, **blank, **given}


def plan(
    *dues: Due,
    inputs: Inputs | None = None,
    groups: list[tuple[str, str, str]] | None = None,
    units: list[tuple[str, str, str]] | None = None,
    **given: Any,
) -> PlanResult:
    rows = [(unit, station, unit, state, "") for unit, station, state in units or []]
    result = build_plan(
        Outlook(given.pop("as_of", AS_OF), dues),
        given.pop("year", 2027),
        closures=pd.DataFrame(given.pop("closures", []), columns=["station", "from_on", "to_on", "why"]),
        transfer_groups=pd.DataFrame(groups or [], columns=["group", "station", "unit"]),
        crews=pd.DataFrame(given.pop("crews", []), columns=["region", "week", "hours"]),
        units=pd.DataFrame(rows, columns=["unit", "station", "bank", "state", "neighbourhood"]),
        inputs=inputs or Inputs(),
        seconds=20.0,  # small years are proven long before
        **given,
    )
    assert check(result) == []
    return result


def week_of(result: PlanResult, unit: str) -> str | None:
    return next(slot.start_week for slot in result.slots if slot.job.unit == unit)


def job_of(result: PlanResult, unit: str) -> Job:
    return next(slot.job for slot in result.slots if slot.job.unit == unit)


# --- weeks ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "last", "year", "expected"),
    [
        (24, 26, 2027, ["2027-W24", "2027-W25", "2027-W26"]),
        (51, 2, 2027, ["2027-W01", "2027-W02", "2027-W51", "2027-W52"]),
        (52, 1, 2026, ["2026-W01", "2026-W52", "2026-W53"]),
        (50, 52, 2032, ["2032-W50", "2032-W51", "2032-W52", "2032-W53"]),
    ],
)
def test_weeks_of_every_year_run_over_its_turn_and_take_week_53_with_week_52(
    first: int, last: int, year: int, expected: list[str]
) -> None:
    assert yearly_weeks(first, last, weeks_of_year(year)) == expected


def test_days_are_cut_to_the_weeks_of_the_plan() -> None:
    assert weeks_touched(date(2026, 12, 1), date(2027, 1, 4), WEEKS) == ["2027-W01"]
    assert weeks_touched(date(2028, 5, 1), date(2028, 6, 1), WEEKS) == []


# --- crews and resources --------------------------------------------------------------------------------------


def test_hours_of_teams_are_summed_less_their_holidays_and_told_by_skill() -> None:
    inputs = Inputs(
        teams=(
            {"team": "A", "region": "North", "hours_per_week": 100.0, "skills": ("vacuum",)},
            {"team": "B", "region": "North", "hours_per_week": 60.0, "skills": ()},
        ),
        holidays=({"team": "A", "from_on": date(2027, 7, 7), "to_on": date(2027, 7, 16)},),
    )
    assert share_away("A", inputs.holidays, "2027-W27") == pytest.approx(0.6)  # Wednesday to Friday
    hours, skills = hours_of_teams(inputs, WEEKS)
    assert hours["North"]["2027-W26"] == 160
    assert hours["North"]["2027-W27"] == pytest.approx(100)
    assert (hours["North"]["2027-W28"], skills["North", "vacuum", "2027-W28"]) == (60, 0)
    assert skills["North", "vacuum", "2027-W26"] == 100


def test_a_skill_that_no_team_of_the_region_has_stops_the_job_and_says_so() -> None:
    inputs = Inputs(
        teams=({"team": "A", "region": "North", "hours_per_week": 200.0, "skills": ("vacuum",)},),
        terms=(terms(unit="U1", skill="reactor type"),),
    )
    result = plan(due("U1"), inputs=inputs)
    assert week_of(result, "U1") is None
    assert "skill reactor type" in result.slots[0].stopped_by


def test_a_team_without_hours_stops_all_work_and_says_so() -> None:
    inputs = Inputs(teams=({"team": "A", "region": "North", "hours_per_week": 0.0, "skills": ()},))
    result = plan(due("U1"), inputs=inputs)
    assert "region North has fewer than the 80 crew hours in weeks 1-52" in result.slots[0].stopped_by


def test_a_resource_counts_in_whole_weeks_and_keeps_two_jobs_apart() -> None:
    row = {"resource": "mobile", "number": 1, "from_on": date(2027, 3, 2), "to_on": date(2027, 3, 21)}
    free = resources_free(Inputs(resources=(row,)), WEEKS)
    assert [week for week in WEEKS if free["mobile", week]] == ["2027-W10", "2027-W11"]
    inputs = Inputs(resources=(row,), terms=(terms(scheme="", station="ALDER", resources=("mobile",)),))
    groups = [("one", "", "U1"), ("two", "", "U2")]
    result = plan(due("U1"), due("U2"), inputs=inputs, groups=groups)
    assert {week_of(result, "U1"), week_of(result, "U2")} == {"2027-W10", "2027-W11"}


# --- terms ----------------------------------------------------------------------------------------------------


def test_the_terms_of_a_unit_go_before_those_of_its_scheme_and_station_column_by_column() -> None:
    rows = (
        terms(unit="U1", consequence=3.0),
        terms(scheme="S", skill="vacuum", consequence=2.0, permit_weeks=1.0),
        terms(station="ALDER", approver="control room", permit_weeks=4.0),
        terms(station="BIRCH", approver="nobody"),
    )
    found = terms_of(job("U1"), "S", rows)
    assert (found["consequence"], found["skill"], found["permit_weeks"]) == (3.0, "vacuum", 1.0)
    assert found["approver"] == "control room"


def test_the_permit_keeps_a_job_back_and_an_approved_request_ends_that() -> None:
    rows = (terms(station="ALDER", permit_weeks=40.0, recall_hours=12.0),)  # from 2027-04-06 on
    assert week_of(plan(due("U1"), inputs=Inputs(terms=rows)), "U1") == "2027-W15"
    asked = note("U1", "request", weeks="2027-W09", status="approved", happened_on=AS_OF, person="control room")
    result = plan(due("U1"), inputs=Inputs(terms=rows, notes=(asked,)))
    assert week_of(result, "U1") == "2027-W09"
    assert job_of(result, "U1").request_words == "approved for 2027-W09 on 2026-06-30 by control room"
    assert job_of(result, "U1").recall_hours == 12


def test_an_approved_week_waits_for_no_permit_and_every_other_week_for_a_new_one() -> None:
    rows = (terms(station="ALDER", permit_weeks=40.0),)  # from 2027-04-06 on
    asked = note("U1", "request", weeks="2027-W09", status="approved", happened_on=AS_OF)
    inputs = Inputs(terms=rows, notes=(asked, note("U1", "forbid", weeks="2027-W09")))
    assert week_of(plan(due("U1"), inputs=inputs), "U1") == "2027-W15"


def test_a_permit_asked_for_in_time_is_not_asked_for_again() -> None:
    early = note("U1", "request", weeks="2027-W09", status="asked", happened_on=date(2026, 2, 1))
    late = {**early, "happened_on": AS_OF}
    inputs = Inputs(terms=(terms(station="ALDER", permit_weeks=40.0),))
    for told, week in ((early, "2027-W09"), (late, "2027-W15")):
        assert week_of(plan(due("U1"), inputs=replace(inputs, notes=(told,))), "U1") == week


def test_a_kit_that_a_published_plan_had_ordered_is_there_for_its_week() -> None:
    needs = {"kit": "set R; oil", "lead_time_weeks": 20.0}
    first = plan(due("U1", **needs))
    later = date(2027, 1, 4)
    for handed_out, week in ((True, "2027-W09"), (False, "2027-W21")):
        again = plan(due("U1", **needs), as_of=later, follow=first, follows="2027-a", handed_out=handed_out)
        assert week_of(again, "U1") == week
    again = plan(due("U1", **needs), as_of=later, follow=first, follows="2027-a", handed_out=True)
    assert "Not given, so a kit ordered by its day for the published plan is taken for U1." in again.limits.assumptions
    more = due("U1", kit="set R; contact set", lead_time_weeks=20.0)  # nobody was asked to order the contact set
    assert week_of(plan(more, as_of=later, follow=first, follows="2027-a", handed_out=True), "U1") == "2027-W21"


def test_what_is_exchanged_skips_station_and_group_and_needs_no_permit() -> None:
    inputs = Inputs(
        yearly=({"station": "ALDER", "from_week": 1, "to_week": 53, "why": "always"},),
        terms=(terms(scheme="regulator", exchanged=True, permit_weeks=500.0),),
    )
    facts = {"U1": UnitFacts(scheme="regulator", serial="S1", oil_volume_l=300.0)}
    (fitted,) = with_terms((job("U1"),), 2027, AS_OF, inputs, facts, {})
    assert (fitted.needs_outage, fitted.permit_from, fitted.serial, fitted.oil_volume_l) == (False, None, "S1", 300.0)
    outside = Inputs(yearly=inputs.yearly, terms=(terms(unit="U1", exchanged=True),))
    result = plan(due("U1"), due("U2"), inputs=outside)
    assert (week_of(result, "U1"), week_of(result, "U2")) == ("2027-W09", None)
    assert "Bypassed and exchanged, so no outage is counted: U1." in result.limits.assumptions


def test_a_station_with_one_transformer_needs_a_resource_or_says_what_is_assumed() -> None:
    units = [("U1", "ALDER", "in service"), ("U2", "BIRCH", "in service"), ("U3", "BIRCH", "in service")]
    dues = (due("U1"), due("U2", station="BIRCH"))
    alone = next(words for words in plan(*dues, units=units).limits.assumptions if "One transformer only" in words)
    assert "at ALDER, and no resource" in alone
    named = Inputs(terms=(terms(station="ALDER", resources=("mobile transformer",)),))
    words = plan(*dues, units=units, inputs=named).limits.assumptions
    assert not [one for one in words if "One transformer only" in one]
    assert "How many there are is not given for mobile transformer: not limited." in words


# --- notes ----------------------------------------------------------------------------------------------------


def test_a_pin_holds_and_one_that_cannot_be_kept_says_what_stops_it() -> None:
    pinned = note("U1", "pin", weeks="2027-W20")
    assert week_of(plan(due("U1"), inputs=Inputs(notes=(pinned,))), "U1") == "2027-W20"
    against = note("U1", "forbid", weeks="2027-W18..2027-W22", words="line works")
    result = plan(due("U1"), inputs=Inputs(notes=(pinned, against)))
    assert week_of(result, "U1") is None
    assert result.slots[0].stopped_by == "pinned to 2027-W20: not to be out (line works) in week 20"


def test_phases_of_a_bank_pinned_apart_have_no_place_and_say_why() -> None:
    dues = [due(unit, bank="B", phase=unit) for unit in ("A", "B")]
    notes = (note("A", "pin", weeks="2027-W20"), note("B", "pin", weeks="2027-W21"))
    result = plan(*dues, inputs=Inputs(notes=notes))
    assert ["different weeks (2027-W20, 2027-W21)" in slot.stopped_by for slot in result.slots] == [True, True]


def test_all_pinned_is_a_plan() -> None:
    notes = tuple(note(f"U{n}", "pin", weeks=f"2027-W{10 + n}") for n in range(4))
    result = plan(*(due(f"U{n}") for n in range(4)), inputs=Inputs(notes=notes))
    assert [week_of(result, f"U{n}") for n in range(4)] == [f"2027-W{10 + n}" for n in range(4)]


def test_a_refused_week_is_not_planned_again() -> None:
    first = plan(due("U1"))
    week = week_of(first, "U1")
    asked = note("U1", "request", weeks=week, status="refused", person="control room")
    again = plan(due("U1"), inputs=Inputs(notes=(asked,)), follow=first, follows="2027-a")
    assert week_of(again, "U1") not in (None, week)
    assert job_of(again, "U1").forbidden_why == ("outage refused by control room",)


def test_notes_of_another_year_are_left_alone() -> None:
    notes = (note("U1", "pin", weeks="2026-W50"), note("U1", "forbid", weeks="2026-W01..2026-W53"))
    assert with_notes(job("U1"), 2027, AS_OF, notes) == job("U1")


def test_others_outages_keep_the_rest_of_the_transfer_group_in_service() -> None:
    groups = [("ring", "ALDER", ""), ("ring", "BIRCH", "")]
    units = [("U1", "ALDER", "in service"), ("X1", "BIRCH", "in service"), ("U3", "CEDAR", "in service")]
    line = {"station": "", "unit": "X1", "from_on": date(2027, 2, 22), "to_on": date(2027, 3, 12), "what": "bushings"}
    inputs = Inputs(others=({**line, "who": "grid"},))
    dues = (due("U1"), due("U3", station="CEDAR"), due("X1", station="BIRCH"))
    result = plan(*dues, inputs=inputs, groups=groups, units=units)
    assert job_of(result, "U1").forbidden_weeks == ("2027-W08", "2027-W09", "2027-W10")
    assert set(job_of(result, "U1").forbidden_why) == {"bushings, grid"}
    assert job_of(result, "X1").forbidden_weeks == ()  # it is out anyway
    assert job_of(result, "U3").forbidden_weeks == ()


def test_other_work_goes_with_the_job() -> None:
    first = note("U1", "other work", words="bushing tests", person="line team")
    rows = (first, note("U1", "other work", words="paint"))
    assert with_notes(job("U1"), 2027, AS_OF, rows).other_work == ("bushing tests (line team)", "paint")


# --- progress -------------------------------------------------------------------------------------------------


def test_work_begun_stays_where_it_is_and_lasts_until_now_at_least() -> None:
    begun = note("U1", "progress", status="started", happened_on=date(2027, 3, 3))
    found = with_notes(job("U1", kit_ready_on=date(2028, 1, 1)), 2027, date(2027, 3, 18), (begun,))
    assert (found.pinned_week, found.weeks, found.kit_ready_on) == ("2027-W09", 3, None)
    over = with_notes(job("U1", weeks=3, crew_hours=90.0), 2027, date(2026, 12, 30), (
        note("U1", "progress", status="started", happened_on=date(2026, 12, 29)),
    ))  # fmt: skip
    assert (over.pinned_week, over.weeks, over.crew_hours) == ("2027-W01", 2, 60.0)


def test_work_begun_that_no_longer_fits_is_not_called_pinned() -> None:
    begun = note("U1", "progress", status="started", happened_on=date(2027, 3, 3))
    shut = [("ALDER", date(2027, 3, 8), date(2027, 3, 12), "storm")]
    result = plan(due("U1"), inputs=Inputs(notes=(begun,)), closures=shut, as_of=date(2027, 3, 10))
    assert result.slots[0].stopped_by == "under way since 2027-W09: station ALDER closed (storm) in week 10"


def test_work_that_is_over_before_the_year_has_no_week_in_it() -> None:
    begun = note("U1", "progress", status="started", happened_on=date(2026, 6, 29))
    result = plan(due("U1"), due("U2"), inputs=Inputs(notes=(begun,)))
    assert [slot.job.unit for slot in result.slots] == ["U2"]
    assert [(one.unit, one.words) for one in result.left_out] == [("U1", "under way, and over before 2027")]
    assert "U1 is left out: under way, and over before 2027." in result.limits.assumptions


def test_the_newest_word_on_progress_counts_for_a_year() -> None:
    rows = (
        note("U1", "progress", status="done", happened_on=date(2026, 6, 10)),
        note("U1", "progress", status="started", happened_on=date(2026, 6, 1)),
    )
    assert progress_of(rows, AS_OF, None) == rows[0]
    assert progress_of(rows, date(2026, 6, 5), None) == rows[1]
    assert progress_of(rows, date(2027, 7, 1), None) is None


def test_a_service_settles_what_was_said_of_progress_before() -> None:
    done = note("U1", "progress", status="done", happened_on=date(2026, 6, 10))
    serviced = due("U1", "2027-03-01", last_service_on=date(2026, 6, 10))  # a short interval: due again
    assert week_of(plan(serviced, inputs=Inputs(notes=(done,))), "U1") == "2027-W09"
    before = due("U1", "2027-03-01", last_service_on=date(2026, 6, 9))
    assert plan(before, inputs=Inputs(notes=(done,))).slots == ()


def test_what_is_said_to_be_done_is_left_out_and_the_missing_service_is_named() -> None:
    done = note("U1", "progress", status="done", happened_on=date(2026, 6, 20))
    result = plan(due("U1"), due("U2"), inputs=Inputs(notes=(done,)))
    assert [slot.job.unit for slot in result.slots] == ["U2"]
    assert [(one.unit, one.words) for one in result.left_out] == [("U1", "done on 2026-06-20")]
    assert [words for words in result.limits.assumptions if "no service is recorded" in words]


def test_a_service_since_closes_the_job_in_the_plan() -> None:
    result = plan(due("U1"), due("U2"))
    services = {"U1": [(date(2027, 3, 4), ("contact service",))], "U2": [(date(2027, 3, 4), ("oil change",))]}
    now = told_since(result, [], services, date(2027, 3, 10))
    assert (job_of(now, "U1").progress, job_of(now, "U1").done_on) == ("done", date(2027, 3, 4))
    assert job_of(now, "U2").progress == ""
    assert job_of(told_since(result, [], services, date(2027, 3, 1)), "U1").progress == ""


# --- the whole ------------------------------------------------------------------------------------------------


def test_a_plan_with_everything_comes_back_from_its_document() -> None:
    inputs = Inputs(
        yearly=({"station": "ALDER", "from_week": 24, "to_week": 35, "why": "summer peak"},),
        teams=({"team": "A", "region": "North", "hours_per_week": 200.0, "skills": ("vacuum",)},),
        resources=({"resource": "mobile", "number": 1, "from_on": None, "to_on": None},),
        terms=(terms(station="ALDER", permit_weeks=2.0, skill="vacuum", resources=("mobile",), pcb="none found"),),
        notes=(note("U1", "other work", words="paint"), note("U1", "forbid", weeks="2027-W09", words="fair")),
    )
    result = plan(due("U1"), due("U2", "2029-01-01"), inputs=inputs, follows="")
    assert from_document(to_document(result)) == result
    assert result.left_out[0].words.startswith("contact service due from 2029-01-01")


def test_a_document_of_the_first_version_still_loads() -> None:
    document = to_document(plan(due("U1")))
    new = {"costs", "proof", "follows", "left_out", "at_engineer"}
    old = {key: value for key, value in document.items() if key not in new}
    first = ("unit", "task", "station", "region", "bank", "early", "middle", "late", "weeks", "crew_hours", "kit",
             "kit_ready_on", "severe", "overdue", "why", "phase", "weight", "assumed", "start_week", "stopped_by",
             "chance_late")  # fmt: skip
    old["jobs"] = [{name: row[name] for name in first} for row in document["jobs"]]
    old["limits"] = {k: v for k, v in document["limits"].items() if k not in ("skill_hours", "resources")}
    found = from_document(old)
    assert (found.slots[0].job.unit, found.slots[0].job.resources, found.proof) == ("U1", (), None)
    assert (found.at_engineer, found.slots[0].job.release, found.slots[0].job.work_from) == ((), "", None)


def test_stops_and_releases_are_kept_in_the_document() -> None:
    released = due("U1", severe=True, release="released for work", work_from=date(2027, 1, 5), stop_words=("Hot.",))
    result = plan(released, due("U2", severe=True, stop_words=("Ethylene rose.",)))
    found = from_document(to_document(result))
    assert found == result
    assert (found.slots[0].job.work_from, found.slots[0].job.suspected) == (date(2027, 1, 5), ("Hot.",))
    assert [(one.unit, one.words) for one in found.at_engineer] == [("U2", "Ethylene rose.")]


def test_what_is_released_for_work_keeps_close_to_no_plan() -> None:
    first = plan(due("U1", "2027-06-01"), due("U2", "2027-06-01"))
    again = plan(
        due("U1", "2027-06-01", severe=True, release="released for work", work_from=date(2027, 1, 12)),
        due("U2", "2027-06-01"),
        follow=first, follows="2027-a",
        inputs=Inputs(notes=(note("U1", "request", weeks="2027-W22", status="approved", happened_on=AS_OF),)),
    )  # fmt: skip
    assert week_of(again, "U1") == "2027-W03"
    assert week_of(again, "U2") == week_of(first, "U2")
    kept = {slot.job.unit: slot.job.kept_week for slot in again.slots}
    assert kept == {"U1": None, "U2": week_of(first, "U2")}


@pytest.mark.parametrize("year", [2026, 2032])
def test_a_year_of_53_weeks_is_planned_to_its_end(year: int) -> None:
    inputs = Inputs(notes=(note("U1", "pin", weeks=f"{year}-W53"),))
    assert week_of(plan(due("U1", f"{year}-12-20"), inputs=inputs, year=year), "U1") == f"{year}-W53"


def test_no_inputs_but_jobs_give_a_plan_and_an_empty_outlook_an_empty_one() -> None:
    assert week_of(plan(due("U1")), "U1") == "2027-W09"
    assert plan().slots == ()


def test_keeping_close_moves_nothing_that_need_not() -> None:
    first = plan(*(due(f"U{n}", f"2027-0{n}-15") for n in range(1, 7)))
    sooner = [due(f"U{n}", f"2027-0{n}-15") for n in range(1, 6)] + [due("U6", "2027-01-20")]
    again = plan(*sooner, follow=first, follows="2027-a")
    assert {f"U{n}" for n in range(1, 7) if week_of(first, f"U{n}") != week_of(again, f"U{n}")} == {"U6"}
