"""The optimiser: never dearer than the greedy, the best on small plans, and every answer in words."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from tapwear.plan.check import check
from tapwear.plan.optimise import optimise
from tapwear.plan.types import Job, Limits, PlanResult
from tapwear.weeks import weeks_of_year

WEEKS = tuple(weeks_of_year(2027))
AS_OF = date(2026, 6, 30)


def job(unit: str, due: str | None = "2027-03-01", spread: int = 0, **given: Any) -> Job:
    middle = date.fromisoformat(due) if due else None
    early = middle - timedelta(days=spread) if middle else None
    late = middle + timedelta(days=spread) if middle else None
    values: dict[str, Any] = {
        "job_id": unit, "unit": unit, "task": "contact service", "station": "ALDER", "region": "North", "bank": "",
        "early": early, "middle": middle, "late": late, "weeks": 1, "crew_hours": 80.0,
    }  # fmt: skip
    return Job(**{**values, **given})


def limits(**given: Any) -> Limits:
    return Limits(**{"weeks": WEEKS, "closed": {}, "groups": {}, "crew_hours": {}, **given})


def solved(*jobs: Job, **given: Any) -> PlanResult:
    result = optimise(jobs, limits(**given), AS_OF, seconds=20)
    assert check(result) == []
    return result


def starts(result: PlanResult) -> dict[str, str | None]:
    return {slot.job.unit: slot.start_week for slot in result.slots}


def test_one_job_goes_to_its_best_week_and_that_is_proven() -> None:
    result = solved(job("U1"))
    assert starts(result) == {"U1": "2027-W09"}
    assert result.proof
    assert not result.proof.time_limited
    assert result.proof.gap == 0
    assert result.proof.cost == 40  # its trip


def test_a_plan_without_jobs_is_empty_and_costs_nothing() -> None:
    result = solved()
    assert result.slots == ()
    assert result.proof
    assert (result.proof.cost, result.proof.bound, result.proof.time_limited) == (0, 0, False)
