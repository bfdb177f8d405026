"""Is a plan allowed? Every rule looked at again, in plain code that shares nothing with the placing."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

from tapwear.plan.types import Job, PlanResult, Slot
from tapwear.weeks import iso_week, monday


def check(result: PlanResult) -> list[str]:
    """The rules that a plan breaks, one sentence each; an empty list for a plan that may stand.

    Rules: nothing of a unit whose stop stands, and nothing before its release for work;
    each job once and one outage for a unit; whole weeks within the year, from `as_of` on; kit and permit
    there; station open; no forbidden week; a pinned job in its week; one outage at a time in a transfer group, the
    phases of a bank counting as one; a bank starts together; crew hours, hours with a skill and bookable resources
    within what is on offer; what is not placed says why, and what has no date is placed only where it is pinned. A
    pinned job that is under way on `as_of` may have started before it. Jobs without an outage are free of station,
    group and resource.
    """
    return [
        *_once(result),
        *(words for slot in result.placed for words in _alone(slot, result)),
        *_groups(result),
        *_banks(result),
        *_crews(result),
        *_resources(result),
        *_unplaced(result),
    ]


def _weeks_out(slot: Slot) -> list[str]:
    assert slot.start_week is not None  # noqa: S101 - only placed slots get here
    first = monday(slot.start_week)
    return [iso_week(first + timedelta(weeks=ahead)) for ahead in range(slot.job.weeks)]


def _outage(job: Job) -> str:
    return f"bank {job.bank} at {job.station}" if job.bank else job.job_id


def _once(result: PlanResult) -> list[str]:
    units = Counter(slot.job.unit for slot in result.slots)
    words = [f"{unit} has {times} outages in one plan" for unit, times in sorted(units.items()) if times > 1]
    return words + [f"{one.unit} is stopped and has a job" for one in result.at_engineer if one.unit in units]


def _alone(slot: Slot, result: PlanResult) -> list[str]:
    job, weeks = slot.job, _weeks_out(slot)
    words = [
        f"{job.job_id} is out in {week}, outside {result.year}" for week in weeks if week not in result.limits.weeks
    ]
    first = monday(weeks[0])
    under_way = job.pinned_week == slot.start_week and first < result.as_of < first + timedelta(weeks=job.weeks)
    if not under_way:
        if first < result.as_of:
            words.append(f"{job.job_id} starts on {first}, before {result.as_of}")
        if job.work_from is not None and first < job.work_from:
            words.append(f"{job.job_id} starts on {first}, it is released for work from {job.work_from}")
        if job.kit_ready_on is not None and first < job.kit_ready_on:
            words.append(f"{job.job_id} starts on {first}, its kit is ready on {job.kit_ready_on}")
        if job.permit_from is not None and first < job.permit_from and job.permit_week != slot.start_week:
            words.append(f"{job.job_id} starts on {first}, its permit is there on {job.permit_from}")
    closed = result.limits.closed.get(job.station, {}) if job.needs_outage else {}
    words += [f"{job.job_id} is out in {week}, when {job.station} is closed" for week in weeks if week in closed]
    words += [f"{job.job_id} is out in {week}, which is forbidden" for week in weeks if week in job.forbidden_weeks]
    if job.pinned_week and job.pinned_week != slot.start_week:
        words.append(f"{job.job_id} starts in {slot.start_week}, it is pinned to {job.pinned_week}")
    if job.early is None and not job.severe and not job.overdue and not job.pinned_week:
        words.append(f"{job.job_id} is placed without a date")
    return words


def _groups(result: PlanResult) -> list[str]:
    groups: dict[str, list[str]] = {}
    for group, ids in result.limits.groups.items():
        for job_id in ids:
            groups.setdefault(job_id, []).append(group)
    out: dict[tuple[str, str], set[str]] = {}
    for slot in result.placed:
        for group in groups.get(slot.job.job_id, ()) if slot.job.needs_outage else ():
            for week in _weeks_out(slot):
                out.setdefault((group, week), set()).add(_outage(slot.job))
    return [
        f"transfer group {group} has {' and '.join(sorted(banks))} out in {week}"
        for (group, week), banks in sorted(out.items())
        if len(banks) > 1
    ]


def _banks(result: PlanResult) -> list[str]:
    starts: dict[tuple[str, str], set[str]] = {}
    undated = {slot.job.job_id for slot in result.undated}
    for slot in result.slots:
        if slot.job.bank and (slot.start_week or slot.job.job_id not in undated):
            starts.setdefault((slot.job.station, slot.job.bank), set()).add(slot.start_week or "not placed")
    return [
        f"bank {bank} at {station} does not start together: {', '.join(sorted(weeks))}"
        for (station, bank), weeks in sorted(starts.items())
        if len(weeks) > 1
    ]


def _crews(result: PlanResult) -> list[str]:
    used: dict[tuple[str, str, str], float] = {}
    for slot in result.placed:
        for week in _weeks_out(slot):
            for skill in {"", slot.job.skill}:
                key = (slot.job.region, skill, week)
                used[key] = used.get(key, 0.0) + slot.job.crew_hours / slot.job.weeks
    words = []
    skilled = {(region, skill) for region, skill, _ in result.limits.skill_hours}
    for (region, skill, week), hours in sorted(used.items()):
        offered = result.limits.crew_hours.get((region, week))
        if skill:
            offered = result.limits.skill_hours.get((region, skill, week), 0.0)
            if (region, skill) not in skilled:
                continue
        if offered is not None and hours > offered + 1e-6:
            named = f"{skill} crew hours" if skill else "crew hours"
            words.append(f"region {region} needs {hours:g} {named} in {week}, {offered:g} on offer")
    return words


def _resources(result: PlanResult) -> list[str]:
    """A bank is one outage and takes one of a resource, for as long as one of the jobs that need it is out."""
    used: dict[tuple[str, str], set[str]] = {}
    for slot in result.placed:
        for name in slot.job.resources if slot.job.needs_outage else ():
            for week in _weeks_out(slot):
                used.setdefault((name, week), set()).add(_outage(slot.job))
    listed = {name for name, _ in result.limits.resources}
    return [
        f"{' and '.join(sorted(banks))} need {name} in {week}, {result.limits.resources.get((name, week), 0)} free"
        for (name, week), banks in sorted(used.items())
        if name in listed and len(banks) > result.limits.resources.get((name, week), 0)
    ]


def _unplaced(result: PlanResult) -> list[str]:
    return [f"{slot.job.job_id} is not placed, and nothing says why" for slot in result.unplaced if not slot.stopped_by]
