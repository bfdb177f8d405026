"""May a plan be handed out? Not with a slot past a job's limit that no recorded deferral covers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from tapwear.plan.types import Job, PlanResult
from tapwear.weeks import monday
from tapwear.words import percent_words

Deferred = tuple[str, str, date, date]  # unit, task, decided on, last day


def past_limit(result: PlanResult, deferrals: Sequence[Deferred], as_of: date) -> list[str]:
    """One sentence for each job whose slot lies past its limit, or that has no place and will be past it.

    Past means: a task has become due before the Monday of the start week with more than 50 % (its middle date lies
    before it), as the word overdue means everywhere. A deferral decided by `as_of` covers its task when it lasts until
    that Monday; for a job without a place until the end of the year. Jobs done or begun are left alone, and so is the
    slot of what an engineer has released for work: that is the decision. That it finds no place is none.
    """
    found = []
    end = monday(result.limits.weeks[-1]) + timedelta(days=7)
    for slot in result.slots:
        decided = slot.job.progress in ("done", "started") or (slot.job.release and slot.start_week)
        if decided or slot.was_in or not slot.job.dated:
            continue
        starts = monday(slot.start_week) if slot.start_week else end
        past = [(task, middle) for task, middle in _middles(slot.job, result) if middle < starts]
        lasts = {task: _deferred_until(slot.job.unit, task, deferrals, as_of) for task, _ in past}
        open_ = [(task, middle) for task, middle in past if (lasts[task] or date.min) < starts]
        if open_:
            where = f"starts in {slot.start_week}" if slot.start_week else f"has no place in {result.year}"
            tasks = ", ".join(
                f"{task} due on {middle}" + (f" and deferred to {lasts[task]} only" if lasts[task] else "")
                for task, middle in open_
            )
            chance = f", {percent_words(slot.chance_late)} past due by then" if slot.chance_late is not None else ""
            found.append(f"{slot.job.unit} {where}: {tasks}{chance}")
    return found


def _middles(job: Job, result: PlanResult) -> list[tuple[str, date]]:
    """The middle date of each task of the outage; of an older plan, which has them not, that of the job."""
    if not job.task_middles:
        day = job.middle or (result.as_of if job.severe or job.overdue else None)
        return [(job.task, day)] if day else []
    days = [(task, date.fromisoformat(middle)) for task, middle in job.task_middles if middle]
    return days or ([(job.task, result.as_of)] if job.severe else [])


def _deferred_until(unit: str, task: str, deferrals: Sequence[Deferred], as_of: date) -> date | None:
    """The last day of the newest decision about a task; None where there is none."""
    mine = [row for row in deferrals if row[:2] == (unit, task) and row[2] <= as_of]
    return max(enumerate(mine), key=lambda pair: (pair[1][2], pair[0]))[1][3] if mine else None
