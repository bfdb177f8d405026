"""Is a plan allowed? Every rule looked at again, in plain code that shares nothing with the placing."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

from tapwear.plan.types import PlanResult, Slot
from tapwear.weeks import iso_week, monday


def check(result: PlanResult) -> list[str]:
    """The rules that a plan breaks, one sentence each; an empty list for a plan that may stand.

    Rules: each job once and one outage for a unit; whole weeks within the year, from `as_of` on; station open and
    kit there; one outage at a time in a transfer group, the phases of a bank counting as one; a bank starts
    together; crew hours within what is on offer; what is not placed says why, and what has no date is not placed.
    """
    return [
        *_once(result),
        *(words for slot in result.placed for words in _alone(slot, result)),
        *_groups(result),
        *_banks(result),
        *_crews(result),
        *_unplaced(result),
    ]


def _weeks_out(slot: Slot) -> list[str]:
    assert slot.start_week is not None  # noqa: S101 - only placed slots get here
    first = monday(slot.start_week)
    return [iso_week(first + timedelta(weeks=ahead)) for ahead in range(slot.job.weeks)]


def _once(result: PlanResult) -> list[str]:
    units = Counter(slot.job.unit for slot in result.slots)
    return [f"{unit} has {times} outages in one plan" for unit, times in sorted(units.items()) if times > 1]


def _alone(slot: Slot, result: PlanResult) -> list[str]:
    job, weeks = slot.job, _weeks_out(slot)
    words = [
        f"{job.job_id} is out in {week}, outside {result.year}" for week in weeks if week not in result.limits.weeks
    ]
    first = monday(weeks[0])
    if first < result.as_of:
        words.append(f"{job.job_id} starts on {first}, before {result.as_of}")
    if job.kit_ready_on is not None and first < job.kit_ready_on:
        words.append(f"{job.job_id} starts on {first}, its kit is ready on {job.kit_ready_on}")
    closed = result.limits.closed.get(job.station, {})
    words += [f"{job.job_id} is out in {week}, when {job.station} is closed" for week in weeks if week in closed]
    if job.early is None and not job.severe and not job.overdue:
        words.append(f"{job.job_id} is placed without a date")
    return words


def _groups(result: PlanResult) -> list[str]:
    words = []
    for group, ids in sorted(result.limits.groups.items()):
        out: dict[str, set[str]] = {}
        for slot in result.placed:
            if slot.job.job_id in ids:
                bank = f"bank {slot.job.bank} at {slot.job.station}" if slot.job.bank else slot.job.job_id
                for week in _weeks_out(slot):
                    out.setdefault(week, set()).add(bank)
        words += [
            f"transfer group {group} has {' and '.join(sorted(banks))} out in {week}"
            for week, banks in sorted(out.items())
            if len(banks) > 1
        ]
    return words


def _banks(result: PlanResult) -> list[str]:
    starts: dict[tuple[str, str], set[str]] = {}
    for slot in result.slots:
        if slot.job.bank and (slot.start_week or slot not in result.undated):
            starts.setdefault((slot.job.station, slot.job.bank), set()).add(slot.start_week or "not placed")
    return [
        f"bank {bank} at {station} does not start together: {', '.join(sorted(weeks))}"
        for (station, bank), weeks in sorted(starts.items())
        if len(weeks) > 1
    ]


def _crews(result: PlanResult) -> list[str]:
    used: dict[tuple[str, str], float] = {}
    for slot in result.placed:
        for week in _weeks_out(slot):
            key = (slot.job.region, week)
            used[key] = used.get(key, 0.0) + slot.job.crew_hours / slot.job.weeks
    return [
        f"region {region} needs {hours:g} crew hours in {week}, {result.limits.crew_hours[region, week]:g} on offer"
        for (region, week), hours in sorted(used.items())
        if (region, week) in result.limits.crew_hours and hours > result.limits.crew_hours[region, week] + 1e-6
    ]


def _unplaced(result: PlanResult) -> list[str]:
    return [f"{slot.job.job_id} is not placed, and nothing says why" for slot in result.unplaced if not slot.stopped_by]
