"""Small outage plans for the tests of what is made of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

from tapwear.outlook.stops import Stop
from tapwear.plan.place import place
from tapwear.plan.since import under_stops
from tapwear.plan.types import Job, Limits
from tapwear.report.plan_data import PlanView
from tapwear.weeks import weeks_of_year

AS_OF = date(2026, 6, 30)
WEEKS = tuple(weeks_of_year(2027))
HOSTILE = (
    "<script>alert(1)</script>",
    "=cmd|' /C calc'!A0",
    "[/]",
    "[red]x",
    "@SUM(A1)",
    "-2+3",
    "\x1b[31mred\x07",
    "{{ 7*7 }}",
)


RELEASED: dict[str, Any] = {
    "severe": True, "release": "released for work de-energised from 2027-02-01 by K. Arden: open it",
    "suspected": ("Ethylene rose.",), "work_from": date(2027, 2, 1),
}  # fmt: skip


def job(unit: str, due: str = "2027-03-01", station: str = "ALDER", weeks: int = 1, **given: object) -> Job:
    day = date.fromisoformat(due)
    values: dict[str, object] = {
        "region": "North", "bank": "T1" if unit == "U1" else unit, "early": day, "middle": day, "late": day,
        "why": "operations drive the date", "kit": "kit 7", "kit_ready_on": date(2026, 12, 1),
    }  # fmt: skip
    values.update(given)
    return Job(f"{unit} / contact service", unit, "contact service", station, weeks=weeks, crew_hours=80.0, **values)  # type: ignore[arg-type]


def view(*jobs: Job, sequence: int = 0, **given: object) -> PlanView:
    values: dict[str, object] = {
        "closed": {"ALDER": {"2027-W30": "summer peak"}, "SHUT": dict.fromkeys(WEEKS, "rebuilding")},
        "groups": {}, "crew_hours": {}, "assumptions": ("No crew hours given for region North: not limited.",),
    }  # fmt: skip
    values.update(given)
    result = place(jobs, Limits(WEEKS, **values), AS_OF)  # type: ignore[arg-type]
    return PlanView("2027-a", "draft", datetime(2026, 6, 30, 9, 15, tzinfo=UTC), "A. Planner", sequence, result)


def released(unit: str, **given: object) -> Job:
    """A stopped unit that an engineer has released for work."""
    return job(unit, **{**RELEASED, **given})


def stopped(unit: str, *jobs: Job, sequence: int = 0, **given: object) -> PlanView:
    """A plan of jobs, and a unit that was stopped since."""
    plan = view(*jobs, sequence=sequence, **given)
    stop = Stop(unit, date(2026, 6, 1), ("Ethylene rose.",))
    return replace(plan, result=under_stops(plan.result, {unit: stop}))


def usual() -> PlanView:
    unknown = job("U4", early=None, middle=None, late=None, why="date unknown")
    return view(job("U1"), job("U2", "2027-05-03", "BIRCH", weeks=2), job("U3", station="SHUT"), unknown)
