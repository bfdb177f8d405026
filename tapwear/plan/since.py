"""A plan as it stands now: which of its jobs are done, begun or stopped, and what became of their requests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from tapwear.plan.terms import last_service, progress_of, with_request
from tapwear.plan.types import Job, PlanResult

Row = Mapping[str, Any]
Done = Mapping[str, Sequence[tuple[date, Sequence[str]]]]  # by unit: day, tasks whose clock started again


def told_since(result: PlanResult, notes: Sequence[Row], services: Done, as_of: date) -> PlanResult:
    """The plan with what was recorded since it was made; no job moves.

    notes : as in tapwear.plan.inputs
    services : recorded after the plan's own day; one that resets a job's task closes the job
    """
    slots = tuple(
        replace(slot, job=_told(slot.job, result, notes, services.get(slot.job.unit, ()), as_of))
        for slot in result.slots
    )
    return replace(result, slots=slots)


def _told(
    job: Job, result: PlanResult, notes: Sequence[Row], services: Sequence[tuple[date, Sequence[str]]], as_of: date
) -> Job:
    mine = [row for row in notes if row["unit"] == job.unit]
    job = with_request(job, [row for row in mine if row["kind"] == "request" and row["weeks"] in result.limits.weeks])
    done = [day for day, tasks in services if result.as_of < day <= as_of and job.task in tasks]
    if done:
        return replace(job, progress="done", done_on=max(done))
    told = progress_of(mine, as_of, last_service(job))
    if told is None:
        return job
    return replace(job, progress=told["status"], done_on=told["happened_on"] if told["status"] == "done" else None)
