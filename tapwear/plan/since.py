"""A plan as it stands now: what is stopped, which jobs are done, begun or broken off, what became of their requests."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from types import MappingProxyType
from typing import Any

from tapwear.outlook.stops import Stop, bank_alarms
from tapwear.plan.terms import last_service, progress_of, with_request
from tapwear.plan.types import AtEngineer, Job, LeftOut, PlanResult, Slot
from tapwear.weeks import monday

Row = Mapping[str, Any]
Done = Mapping[str, Sequence[tuple[date, Sequence[str]]]]  # by unit: day, tasks whose clock started again
NOWHERE: Mapping[str, tuple[str, str]] = MappingProxyType({})


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


def under_stops(
    result: PlanResult, stops: Mapping[str, Stop | None], places: Mapping[str, tuple[str, str]] = NOWHERE
) -> PlanResult:
    """The plan as it may be shown today: what is stopped is taken out of its week and stands above the plan.

    stops : of every unit that was ever stopped, what is open today; None: all of it cleared
    places : station and bank of the units that were ever stopped
    Work that is done stays. What an engineer has released for work since keeps its week if that is not too soon, and
    says so; what he has cleared is a job as any other. The other units of a stopped one's bank keep their weeks, and
    say so.
    """
    slots = tuple(_under_stop(slot, stops) for slot in result.slots)
    at = {one.unit: one for one in result.at_engineer if one.unit not in stops}
    known = {one.unit: one.station for one in result.at_engineer}
    known = {**{unit: place[0] for unit, place in places.items()}, **known}
    known |= {slot.job.unit: slot.job.station for slot in slots}
    was_in = {slot.job.unit: slot.was_in for slot in slots}
    for slot in slots:
        if slot.job.severe and not slot.job.release and slot.job.unit not in stops and slot.job.progress != "done":
            at[slot.job.unit] = AtEngineer(slot.job.unit, slot.job.station, "STOP", slot.job.why, slot.was_in)
    for unit, stop in stops.items():
        if stop is not None and stop.stands:
            words = " ".join(stop.evidence)
            at[unit] = AtEngineer(unit, known.get(unit, ""), stop.short, words, was_in.get(unit, ""))
    freed = [
        LeftOut(
            one.unit,
            f"since this plan was made {stop.release.rstrip('.')}; build it again"
            if stop
            else "cleared since this plan was made: build it again",
        )
        for one in result.at_engineer
        if one.unit not in at
        for stop in [stops[one.unit]]
    ]
    left_out = tuple(sorted((*result.left_out, *freed), key=lambda one: one.unit))
    assumptions = (*(f"{one.unit} has no slot: {one.words}." for one in freed), *result.limits.assumptions)
    return replace(
        result,
        slots=_beside_stops(slots, {unit: stop for unit, stop in stops.items() if stop is not None}, places),
        limits=replace(result.limits, assumptions=assumptions),
        left_out=left_out,
        at_engineer=tuple(at[unit] for unit in sorted(at)),
    )


def _beside_stops(
    slots: tuple[Slot, ...], stops: Mapping[str, Stop], places: Mapping[str, tuple[str, str]]
) -> tuple[Slot, ...]:
    """The slots, those in the bank of another unit that is stopped with what is said of that."""
    banks = {**places, **{slot.job.unit: (slot.job.station, slot.job.bank) for slot in slots}}
    said = bank_alarms({unit: place for unit, place in banks.items() if place[1]}, stops)

    def told(slot: Slot) -> Slot:
        job = slot.job
        if job.unit not in said or job.severe or job.progress == "done":
            return slot
        words = said[job.unit].sentence
        why = f"{words.rstrip('.')}; {job.why}"
        job = replace(job, why=why, suspected=(words, *job.suspected), alarms=(words, *job.alarms))
        return replace(slot, job=job)

    return tuple(map(told, slots))


def _under_stop(slot: Slot, stops: Mapping[str, Stop | None]) -> Slot:
    job = slot.job
    if job.progress == "done":
        return slot
    if job.unit not in stops:  # a plan of an earlier version has stopped units among its jobs
        return _taken_out(slot, "stopped") if job.severe and not job.release else slot
    stop = stops[job.unit]
    if stop is None:
        return replace(slot, job=replace(job, severe=False, release="", suspected=(), work_from=None))
    job = replace(job, severe=True, release=stop.release, suspected=stop.evidence, work_from=stop.work_from)
    slot = replace(slot, job=job)
    if stop.stands:
        return _taken_out(slot, "stopped")
    too_soon = slot.start_week and stop.work_from and monday(slot.start_week) < stop.work_from
    if too_soon and job.progress != "started":
        return _taken_out(slot, f"taken out of {slot.start_week}: {stop.release}; build the plan again")
    return slot


def _taken_out(slot: Slot, words: str) -> Slot:
    return replace(slot, start_week=None, stopped_by=words, chance_late=None, was_in=slot.start_week or "")
