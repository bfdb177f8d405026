"""Which overhauls belong in a year's plan."""

from __future__ import annotations

from datetime import date
from typing import Any

from tapwear.outlook.types import Clock, Due, Outlook
from tapwear.plan.jobs import at_engineer, jobs_from, last_day, left_out, rests_on

AS_OF = date(2026, 6, 30)


def due(unit: str, early: str | None = "2027-03-01", **given: Any) -> Due:
    day = date.fromisoformat(early) if early else None
    values: dict[str, Any] = {
        "unit": unit, "station": "ALDER", "region": "North", "bank": unit, "phase": "", "state": "in service",
        "task": "contact service", "as_of": AS_OF, "last_service_on": None, "last_service_counter": None,
        "interval_operations": 50_000, "interval_years": None, "operations_since": None, "operations_since_low": None,
        "operations_since_high": None, "operations_per_year": None, "early": day, "middle": day, "late": day,
        "known": day is not None, "overdue": False, "driver": "operations" if day else "unknown",
    }  # fmt: skip
    return Due(**{**values, **given})


def plan_of(*dues: Due) -> dict[str, Any]:
    return {job.unit: job for job in jobs_from(Outlook(AS_OF, dues), 2027)}


def test_a_job_belongs_when_its_early_date_lies_before_the_end_of_the_last_week() -> None:
    assert last_day(2027) == date(2028, 1, 2)
    jobs = plan_of(due("IN", "2028-01-02"), due("OUT", "2028-01-03"))
    assert set(jobs) == {"IN"}


RELEASED: dict[str, Any] = {
    "severe": True, "release": "released for work de-energised from 2026-07-02 by K. Arden: open it",
    "stop_words": ("Ethylene rose.",), "work_from": date(2026, 7, 2),
}  # fmt: skip


def test_a_unit_whose_stop_stands_has_no_job_and_is_at_the_engineer() -> None:
    stopped = due("U1", "2027-03-01", severe=True, stop_since=date(2026, 6, 1), stop_words=("Ethylene rose.",))
    outlook = Outlook(AS_OF, (stopped, due("SPARE", state="spare", severe=True), due("FREE", "2027-03-01", **RELEASED)))
    jobs = jobs_from(outlook, 2027)
    assert [job.unit for job in jobs] == ["FREE"]
    assert left_out(outlook, jobs) == ()
    assert [one.unit for one in at_engineer(outlook)] == ["SPARE", "U1"]
    told = at_engineer(outlook)[1]
    assert (told.station, told.stop, told.words) == ("ALDER", "STOP since 2026-06-01", "Ethylene rose.")
    assert told.reason == "taken out: stopped, the engineer decides now"


def test_overdue_released_and_unknown_ones_always_belong() -> None:
    jobs = plan_of(
        due("OVERDUE", "2025-01-01", overdue=True),
        due("RELEASED", "2035-01-01", **RELEASED),
        due("UNKNOWN", None, bounds=(None, date(2031, 1, 1)), bounds_words="if serviced today: next due 2031-01-01"),
        due("LATER", "2035-01-01"),
        due("BEYOND", None, known=True, driver="calendar"),
    )
    assert set(jobs) == {"OVERDUE", "RELEASED", "UNKNOWN"}
    assert not jobs["UNKNOWN"].dated
    assert jobs["UNKNOWN"].why == "due date unknown (if serviced today: next due 2031-01-01)"
    job = jobs["RELEASED"]
    assert (job.severe, job.work_from, job.suspected) == (True, date(2026, 7, 2), ("Ethylene rose.",))
    assert job.release == RELEASED["release"]
    assert job.stop == "STOP: only work de-energised"
    assert jobs["OVERDUE"].stop == ""
    assert jobs["OVERDUE"].why == (
        "overdue: contact service since 2025-01-01; a recorded deferral is needed until the work is done; "
        "operations drive the date"
    )


def test_units_that_are_not_in_service_need_no_outage() -> None:
    assert plan_of(*(due(state, state=state) for state in ("spare", "workshop", "retired"))) == {}


def test_the_most_demanding_task_leads_and_the_others_ride_along() -> None:
    job = plan_of(
        due("U1", "2027-02-01", task="oil change", duration_days=2, crew_hours=10, kit="oil", driver="calendar"),
        due("U1", "2027-09-01", task="contact service", duration_days=8, crew_hours=60, kit="K1"),
        due("U1", "2029-01-01", task="contact replacement"),
    )["U1"]
    assert (job.task, job.weeks, job.crew_hours, job.kit) == ("contact service", 2, 60, "K1; oil")
    assert job.early == date(2027, 2, 1)  # the earliest governs
    assert job.why == (
        "oil change governs (the calendar drives the date); with it: oil change (due from 2027-02-01); "
        "the contact service alone would be due from 2027-09-01"
    )


def test_an_inspection_rides_along_and_makes_no_outage_of_its_own() -> None:
    jobs = plan_of(
        due("U1", "2026-07-01", task="inspection", overdue=True, crew_hours=2),
        due("U1", "2027-09-01"),
        due("U2", "2026-07-01", task="inspection", overdue=True),
        due("U3", None, task="inspection"),
    )
    assert set(jobs) == {"U1"}
    assert jobs["U1"].early == date(2027, 9, 1)
    assert not jobs["U1"].overdue
    assert jobs["U1"].why == "operations drive the date; with it: inspection (due from 2026-07-01)"


def test_a_task_with_unknown_date_rides_along_only_where_the_lead_includes_it() -> None:
    others = (due("U1", None, task="contact replacement", crew_hours=500.0), due("U1", None, task="oil change"))
    job = plan_of(due("U1"), *others)["U1"]
    assert (job.task, job.crew_hours) == ("contact service", 80)
    assert job.why == (
        "operations drive the date; not counted in: contact replacement (date unknown); "
        "with it: oil change (date unknown)"
    )


def test_a_task_of_unknown_date_that_cannot_be_due_yet_makes_no_job_and_leads_none() -> None:
    far = {"bounds_words": "if never serviced: due after 2041; if serviced today: next due after 2041"}
    rate = {"operations_per_year": 5_000.0}
    jobs = plan_of(
        due("A", None, task="contact replacement", crew_hours=500.0, **far, **rate),
        due("A", None, bounds_words="if never serviced: overdue since 2019-03-02; if serviced today: due 2033-01-05"),
        due("B", None, task="contact replacement", **far, **rate),
        due("C", None, task="contact replacement", **far),  # nobody counted its operations
    )
    assert {unit: job.task for unit, job in jobs.items()} == {"A": "contact service", "C": "contact replacement"}
    assert "contact replacement" not in jobs["A"].why


def test_a_release_for_work_brings_in_one_task_and_not_every_rule_of_the_unit() -> None:
    jobs = plan_of(
        due("U1", "2034-01-01", task="contact replacement", **RELEASED),
        due("U1", "2030-01-01", **RELEASED),
        due("U1", "2027-01-01", task="inspection", **RELEASED),
    )
    assert jobs["U1"].task == "contact service"
    assert jobs["U1"].severe
    assert jobs["U1"].why.count("with it") == 1


def test_a_release_of_a_unit_with_nothing_but_an_inspection_is_not_lost() -> None:
    assert plan_of(due("U1", "2031-01-01", task="inspection", **RELEASED))["U1"].severe


def test_what_a_rule_leaves_open_is_assumed_and_said() -> None:
    job = plan_of(due("U1"))["U1"]
    assert (job.weeks, job.crew_hours, job.kit_ready_on) == (1, 80, None)
    assert job.assumed == ("1 week of outage", "80 crew hours", "kit in stock")


def test_kit_ordered_today_is_ready_after_its_lead_time() -> None:
    job = plan_of(due("U1", lead_time_weeks=30.0, duration_days=5.5, crew_hours=0.0, kit="K1"))["U1"]
    assert job.kit_ready_on == date(2027, 1, 26)
    assert (job.weeks, job.crew_hours, job.assumed) == (2, 0.0, ())


def test_a_mistyped_lead_time_does_not_run_past_the_calendar() -> None:
    job = plan_of(due("U1", lead_time_weeks=1e9))["U1"]
    assert job.kit_ready_on is not None
    assert job.kit_ready_on.year > 2040


def test_the_driver_is_said_in_words() -> None:
    jobs = plan_of(
        due("A", driver="oil"), due("B", driver="calendar"), due("C", driver="operations", oil_moved_days=40)
    )
    assert [jobs[unit].why for unit in "ABC"] == [
        "the oil drives the date",
        "the calendar drives the date",
        "operations drive the date, 40 days earlier for the oil",
    ]


def test_what_the_oil_asks_for_now_reads_the_same_from_plan_to_plan() -> None:
    told = []
    for as_of, early in ((date(2026, 6, 30), date(2026, 6, 30)), (date(2026, 8, 31), date(2026, 8, 31))):
        clock = Clock("oil", early, early, early, "pull forward")
        told.append(rests_on(due("U1", as_of=as_of, clocks=(clock,)))[-1])
    assert told == ["oil: opening now", "oil: opening now"]
    later = Clock("oil", date(2026, 10, 1), None, None, "pull forward")
    assert rests_on(due("U1", clocks=(later,)))[-1] == "oil: opening from 2026-10-01"


def test_the_crew_is_told_what_oil_visits_and_people_found_each_once() -> None:
    hot = "compartment hotter than the main tank: 18 K"
    jobs = plan_of(
        due("U", oil_findings=("Ethylene rose.",), conditions=(hot,)),
        due("U", task="oil change", conditions=(hot,), observed=("noise unusual on 2026-05-04",)),
        due("QUIET"),
    )
    assert set(jobs["U"].suspected) == {"Ethylene rose.", hot, "noise unusual on 2026-05-04"}
    assert len(jobs["U"].suspected) == 3
    assert jobs["QUIET"].suspected == ()


def test_an_alarm_is_the_first_thing_said_of_a_job_and_one_of_its_bank_is_left_to_the_day() -> None:
    low, beside = "Oil level low. Call today.", "Stopped in the same bank: U2."
    (found,) = jobs_from(Outlook(AS_OF, (due("U1", alarms=(beside, low), bank_stop=beside),)), 2027)
    assert found.why.startswith("Oil level low. Call today; ")
    assert (found.alarms, found.suspected) == ((low,), (low,))
