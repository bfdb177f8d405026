"""Two plans of one fleet held against one another: what moved, came in or went out, and why as far as they tell."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from tapwear.plan.limits import group_words
from tapwear.plan.types import AtEngineer, Job, PlanResult, Slot
from tapwear.weeks import iso_week, monday, weeks_between

What = Literal["moved", "added", "dropped"]
MADE_ROOM = "no reason of its own: it made room for other jobs, or shares a trip"
AFRESH = "no reason of its own: the plan was made afresh, without keeping close to the one before"
# Heads of Job.rests_on, in the order in which they explain a change, with how a new one is said.
HEADS = {
    "condition": "condition noted",
    "last service": "new service",
    "oil": "the oil",
    "oil sample": "new oil sample",
    "interval": "interval changed",
    "reading": "new reading",
    "rate": "rate of operations",
}


@dataclass(frozen=True)
class Change:
    """One unit whose place differs. Weeks are None where it has no place or no job; reasons are sentences."""

    unit: str
    task: str
    what: What
    before: str | None
    after: str | None
    weeks_later: int | None  # negative: sooner; None where it has no place in one of the two
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Compared:
    """moved, added, dropped: by unit. same : jobs in the same week of both. without : jobs that neither finds a place
    for. inputs : what changed for all jobs. at_engineer : units whose stop stands in one of the two, above all else."""

    moved: tuple[Change, ...]
    added: tuple[Change, ...]
    dropped: tuple[Change, ...]
    same: int
    inputs: tuple[str, ...]
    without: int = 0
    at_engineer: tuple[AtEngineer, ...] = ()


def compare_plans(first: PlanResult, second: PlanResult) -> Compared:
    """What differs between an earlier and a later plan, by unit."""
    before = {slot.job.unit: slot for slot in (*first.placed, *first.unplaced)}
    after = {slot.job.unit: slot for slot in (*second.placed, *second.unplaced)}
    stopped = {one.unit: one for plan in (first, second) for one in plan.at_engineer}
    stopped |= {one.unit: one for one in first.at_engineer if one.was_in}  # the week that it had says more
    both = sorted(before.keys() & after.keys())
    differs = [unit for unit in both if before[unit].start_week != after[unit].start_week]
    without = sum(before[unit].start_week is None and after[unit].start_week is None for unit in both)
    return Compared(
        moved=tuple(_moved(before[unit], after[unit], first, second) for unit in differs),
        added=tuple(_came(after[unit], first, second) for unit in sorted(after.keys() - before.keys())),
        dropped=tuple(_went(before[unit], first, second) for unit in sorted(before.keys() - after.keys())),
        same=len(both) - len(differs) - without,
        inputs=tuple(_common(first, second)),
        without=without,
        at_engineer=tuple(stopped[unit] for unit in sorted(stopped)),
    )


def _moved(old: Slot, new: Slot, first: PlanResult, second: PlanResult) -> Change:
    later = None
    if old.start_week and new.start_week:
        later = (monday(new.start_week) - monday(old.start_week)).days // 7
    a, b = old.job, new.job
    dates = (a.early, a.middle, a.late, a.task) != (b.early, b.middle, b.late, b.task)  # else no evidence bears on it
    reasons = [*(_evidence(a.rests_on, b.rests_on) if dates else ()), *_job_reasons(old, new, second)]
    reasons += _limit_reasons(old, new.job, first, second)
    if new.stopped_by and not new.start_week:
        reasons.append(f"no place: {new.stopped_by}")
    if not reasons:
        reasons = _bank_reasons(old, new, first, second)
    if not reasons:
        reasons.append(MADE_ROOM if second.follows or first.year != second.year else AFRESH)
    return Change(new.job.unit, new.job.task, "moved", old.start_week, new.start_week, later, tuple(reasons))


def _bank_reasons(old: Slot, new: Slot, first: PlanResult, second: PlanResult) -> list[str]:
    """Why other units of its bank moved, which goes out as one."""
    before = {slot.job.unit: slot for slot in first.slots if slot.job.block == old.job.block}
    words = []
    for slot in second.slots:
        mate = slot.job.unit
        if slot.job.block == new.job.block and mate != new.job.unit and mate in before:
            mine = [*_job_reasons(before[mate], slot, second), *_limit_reasons(before[mate], slot.job, first, second)]
            words += [f"goes out with its bank: {mate} {why}" for why in mine]
    return words


def _came(new: Slot, first: PlanResult, second: PlanResult) -> Change:
    was = next((one for one in first.left_out if one.unit == new.job.unit), None)
    reasons = [] if was is None else [*_evidence(was.rests_on, new.job.rests_on), f"before: {was.words}"]
    reasons += [f"before: {one.reason}" for one in first.at_engineer if one.unit == new.job.unit]
    told = any(new.job.release in words for words in reasons)
    reasons += [new.job.release] if new.job.release and not told else []
    if second.year != first.year:
        reasons.append(f"another year: {first.year} before, {second.year} now")
    return Change(
        new.job.unit, new.job.task, "added", None, new.start_week, None, tuple(reasons or ("not in the plan before",))
    )


def _went(old: Slot, first: PlanResult, second: PlanResult) -> Change:
    now = next((one for one in second.left_out if one.unit == old.job.unit), None)
    reasons = [one.reason for one in second.at_engineer if one.unit == old.job.unit]
    reasons += [] if now is None else [now.words]
    if now is not None and "due from" in now.words:  # else it is done, or planned elsewhere, whatever was read since
        reasons += _evidence(old.job.rests_on, now.rests_on)
    if second.year != first.year:
        reasons.append(f"another year: {first.year} before, {second.year} now")
    return Change(
        old.job.unit, old.job.task, "dropped", old.start_week, None, None, tuple(reasons or ("not in the plan now",))
    )


def _evidence(before: Iterable[str], after: Iterable[str]) -> list[str]:
    """What the dates rest on now and did not before, the most telling first."""
    old, new = _by_head(before), _by_head(after)
    if not old or not new:  # a plan kept before these lines were
        return []
    found: list[str] = []
    for head, words in HEADS.items():
        if old.get(head) == new.get(head):
            continue
        if head == "rate" and found:
            continue  # it follows from what was said already
        was = f", before: {old[head]}" if head in ("interval", "oil", "rate") and head in old else ""
        found.append(f"{words}: {new.get(head, 'no longer')}{was}")
    return found


def _by_head(lines: Iterable[str]) -> dict[str, str]:
    return {head: words for head, _, words in (line.partition(": ") for line in lines)}


def _job_reasons(old: Slot, new: Slot, second: PlanResult) -> list[str]:
    """What was decided or is given about this job itself."""
    a, b = old.job, new.job
    words = []
    if a.severe != b.severe:
        words.append(b.release or "stopped" if b.severe else "the stop is cleared")
    if a.pinned_week != b.pinned_week and "started" not in (a.progress, b.progress):
        words.append(f"pinned to {b.pinned_week}" if b.pinned_week else f"no longer pinned to {a.pinned_week}")
    answered = b.request_words != a.request_words and _bears(b, old, new)
    lost = (set(b.forbidden_weeks) - set(a.forbidden_weeks)) & set(_weeks_of(old))
    lost -= {b.request_week} if answered else set()
    if lost:
        why = dict(zip(b.forbidden_weeks, b.forbidden_why, strict=False))
        told = sorted({why.get(week, "") for week in lost} - {""})
        words.append("its week is forbidden now" + (f": {'; '.join(told)}" if told else ""))
    if answered:
        words.append(f"outage request {b.request_words or b.request_status}")
    if a.progress != b.progress and b.progress:
        words.append(f"work {b.progress}")
    for name, says in (("weeks", "lasts {} weeks"), ("crew_hours", "takes {:g} crew hours"), ("task", "is now the {}")):
        if getattr(a, name) != getattr(b, name):
            words.append(says.format(getattr(b, name)))
    starts: date | None = monday(old.start_week) if old.start_week else None
    if starts and starts < second.as_of and b.progress != "started":
        over = starts + timedelta(weeks=a.weeks) <= second.as_of
        words.append(
            f"{old.start_week} {'was over' if over else 'had begun'} when the later plan was made, on {second.as_of}"
        )
    elif old.start_week:
        words += _waits(b, old.start_week)
    return words


def _bears(job: Job, old: Slot, new: Slot) -> bool:
    """Whether what became of an outage request can explain a move: a no to the old week, a yes to the new one."""
    if job.request_status in ("refused", "cancelled"):
        return job.request_week in (None, *_weeks_of(old))
    return job.request_status == "approved" and job.request_week == new.start_week


def _waits(job: Job, week: str) -> list[str]:
    starts = monday(week)
    permit = None if job.permit_week == week else job.permit_from
    words = [f"kit not there before {job.kit_ready_on}"] if job.kit_ready_on and job.kit_ready_on > starts else []
    if permit and permit > starts:
        asked = "" if job.request_status else ": no request for the outage is recorded"
        words.append(f"switching permit not there before {permit}{asked}")
    return words


def _weeks_of(slot: Slot) -> list[str]:
    if not slot.start_week:
        return []
    last = monday(slot.start_week) + timedelta(weeks=slot.job.weeks - 1)
    return weeks_between(slot.start_week, iso_week(last))


def _limit_reasons(old: Slot, job: Job, first: PlanResult, second: PlanResult) -> list[str]:
    """What stations, crews and resources allow now, in the weeks that the job had."""
    words = []
    weeks = _weeks_of(old)
    shut = {week: why for week, why in second.limits.closed.get(job.station, {}).items() if week in weeks}
    new = {week: why for week, why in shut.items() if week not in first.limits.closed.get(job.station, {})}
    if new and job.needs_outage:
        words.append(f"station {job.station} closed in {', '.join(new)} ({next(iter(new.values()))})")
    for week in weeks:
        words += _fewer_hours(job, week, first, second)
        for name in job.resources:
            had, has = (plan.limits.resources.get((name, week)) for plan in (first, second))
            if has is not None and (had is None or has < had):
                words.append(f"{has} of {name} in {week}" + (f", {had} before" if had is not None else ""))
    mine = [{group for group, ids in plan.limits.groups.items() if job.job_id in ids} for plan in (first, second)]
    if mine[1] - mine[0]:
        words.append(f"{', '.join(map(group_words, sorted(mine[1] - mine[0])))} now")
    return words


def _fewer_hours(job: Job, week: str, first: PlanResult, second: PlanResult) -> list[str]:
    """Crew hours that are fewer now than the earlier plan needs in a week, in all or with the job's skill."""
    words = []
    for skill in dict.fromkeys(("", job.skill)):
        was, now = (
            plan.limits.skill_hours.get((job.region, skill, week)) if skill
            else plan.limits.crew_hours.get((job.region, week))
            for plan in (first, second)
        )  # fmt: skip
        needed = sum(
            slot.job.hours_a_week
            for slot in first.placed
            if slot.job.region == job.region and skill in ("", slot.job.skill) and week in _weeks_of(slot)
        )
        if now is not None and (was is None or now < was) and needed > now:
            named = f"crew hours with skill {skill}" if skill else "crew hours"
            words.append(f"region {job.region} has {now:g} {named} in {week}" + (f", {was:g} before" if was else ""))
    return words


def _common(first: PlanResult, second: PlanResult) -> Iterable[str]:
    """What holds for all jobs and differs."""
    if first.year != second.year:
        yield f"year: {first.year} before, {second.year} now"
    if first.as_of != second.as_of:
        yield f"as of {first.as_of} before, {second.as_of} now"
    for name in ("late", "early", "trip", "unplaced", "move"):
        was, now = getattr(first.costs, name), getattr(second.costs, name)
        if was != now:
            yield f"cost of {name}: {was:g} before, {now:g} now"
    if second.follows:
        yield f"kept close to plan {second.follows}"
