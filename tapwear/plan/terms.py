"""Jobs with what their outage takes and what is decided about them: terms, pins, requests, progress, other work."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from types import MappingProxyType
from typing import Any

from tapwear.plan.inputs import Inputs, Row, weeks_touched
from tapwear.plan.jobs import LONGEST_LEAD_WEEKS, kit_parts
from tapwear.plan.types import Job
from tapwear.weeks import iso_week, monday, week_runs, weeks_between, weeks_of_year

NOTHING: Mapping[str, str] = MappingProxyType({})
ORDERED = "a kit ordered by its day for the published plan"  # in Job.assumed
DONE_FOR_DAYS = 365  # how long "done" holds without a recorded service. Our choice


@dataclass(frozen=True)
class UnitFacts:
    """What the register knows of a unit: its scheme, serial number and oil volume [L]."""

    scheme: str = ""
    serial: str = ""
    oil_volume_l: float | None = None


def unit_facts(rows: Iterable[Any]) -> dict[str, UnitFacts]:
    """Facts by unit, from rows with the attributes unit, scheme, serial, oil_volume_l (any may be absent)."""
    found = {}
    for row in rows:
        volume = getattr(row, "oil_volume_l", None)
        known = volume is not None and math.isfinite(volume)
        found[str(getattr(row, "unit", ""))] = UnitFacts(
            str(getattr(row, "scheme", "") or ""), str(getattr(row, "serial", "") or ""),
            float(volume) if known and volume is not None else None,
        )  # fmt: skip
    return found


def with_terms(
    jobs: tuple[Job, ...],
    year: int,
    as_of: date,
    inputs: Inputs,
    facts: Mapping[str, UnitFacts],
    kept: Mapping[str, str],
    ordered: Mapping[str, str] = NOTHING,
) -> tuple[Job, ...]:
    """The jobs with all that is given about their outages.

    kept : by unit, its week in the plan to keep close to; what is released for work under a stop keeps to none
    ordered : by unit, the kit that this plan asked for, where it was handed out
    """
    given = (_job(job, year, as_of, inputs, facts.get(job.unit, UnitFacts()), kept) for job in jobs)
    return tuple(_with_kit_ordered(job, kept.get(job.unit), ordered.get(job.unit, "")) for job in given)


def _with_kit_ordered(job: Job, week: str | None, kit: str) -> Job:
    """A job whose kit was to be ordered for its week in a published plan is taken to have it there by then."""
    asked_for = set(kit_parts(job.kit)) <= set(kit_parts(kit))
    if week is None or job.kit_ready_on is None or not kit or not asked_for or job.kit_ready_on <= monday(week):
        return job
    return replace(job, kit_ready_on=monday(week), assumed=(*job.assumed, ORDERED))


def _job(job: Job, year: int, as_of: date, inputs: Inputs, facts: UnitFacts, kept: Mapping[str, str]) -> Job:
    terms = terms_of(job, facts.scheme, inputs.terms)
    permit = terms.get("permit_weeks")
    exchanged = bool(terms.get("exchanged"))
    ready = None if permit is None else as_of + timedelta(weeks=min(permit, LONGEST_LEAD_WEEKS))
    fitted = replace(
        job,
        serial=facts.serial,
        oil_volume_l=facts.oil_volume_l,
        permit_weeks=None if exchanged else permit,
        permit_from=None if exchanged else ready,
        recall_hours=terms.get("recall_hours"),
        resources=tuple(terms.get("resources") or ()),
        skill=terms.get("skill") or "",
        weight=float(terms.get("consequence") or 1.0),
        needs_outage=not exchanged,
        approver=terms.get("approver") or "",
        conditions=terms.get("conditions") or "",
        pcb=terms.get("pcb") or "",
        kept_week=None if job.severe else kept.get(job.unit),
    )
    return with_notes(fitted, year, as_of, [row for row in inputs.notes if row["unit"] == job.unit])


def terms_of(job: Job, scheme: str, terms: Sequence[Row]) -> dict[str, Any]:
    """The terms that hold for a job: its unit's before its scheme's before its station's, column by column."""
    owners = (("station", job.station), ("scheme", scheme), ("unit", job.unit))
    found: dict[str, Any] = {}
    for owner, name in owners:
        for row in terms:
            if name and row.get(owner) == name:
                found.update({key: value for key, value in row.items() if value not in (None, "", ())})
    return found


def with_notes(job: Job, year: int, as_of: date, notes: Sequence[Row]) -> Job:
    """The job with its pin, forbidden weeks, request, progress and other work, from its unit's notes, oldest first."""
    weeks = weeks_of_year(year)
    pins = [row["weeks"] for row in notes if row["kind"] == "pin" and row["weeks"] in weeks]
    forbidden = {
        week: row["words"]
        for row in notes
        if row["kind"] == "forbid"
        for first, last in week_runs(row["weeks"])
        for week in weeks_between(first, last)
        if week in weeks
    }
    requests = [row for row in notes if row["kind"] == "request" and row["weeks"] in weeks]
    for row in requests:
        if row["status"] in ("refused", "cancelled"):
            words = f"outage {row['status']}" + (f" by {row['person']}" if row["person"] else "")
            forbidden.setdefault(row["weeks"], words)
    job = replace(
        job,
        pinned_week=pins[-1] if pins else None,
        forbidden_weeks=tuple(sorted(forbidden)),
        forbidden_why=tuple(forbidden[week] for week in sorted(forbidden)),
        other_work=tuple(_work_words(row) for row in notes if row["kind"] == "other work"),
    )
    return _with_progress(with_request(job, requests), weeks, as_of, notes)


def _work_words(row: Row) -> str:
    return f"{row['words']} ({row['person']})" if row["person"] else str(row["words"])


def with_request(job: Job, requests: Sequence[Row]) -> Job:
    """The newest request; an approved one keeps its week as a published plan does, so that moving it costs.

    The week that is approved, or was asked for in time, waits for no permit; every other week needs a new one.
    """
    if not requests:
        return job
    last = requests[-1]
    parts = [f"{last['status']} for {last['weeks']}"]
    parts += [f"on {last['happened_on']}"] if last["happened_on"] else []
    parts += [f"by {last['person']}"] if last["person"] else []
    parts += [f"({last['words']})"] if last["words"] else []
    approved = last["status"] == "approved"
    lead = timedelta(weeks=min(job.permit_weeks or 0.0, LONGEST_LEAD_WEEKS))
    asked = last["status"] == "asked" and last["happened_on"] and last["happened_on"] + lead <= monday(last["weeks"])
    return replace(
        job,
        request_status=last["status"],
        request_words=" ".join(parts),
        request_week=last["weeks"],
        kept_week=last["weeks"] if approved and not job.severe else job.kept_week,
        permit_week=last["weeks"] if approved or asked else None,
    )


def _with_progress(job: Job, weeks: list[str], as_of: date, notes: Sequence[Row]) -> Job:
    """A job begun stays where it is, for as long as it lasts and no shorter than until now; what is over waits for
    neither kit nor permit."""
    told = progress_of(notes, as_of, last_service(job))
    if told is None:
        return job
    status, on = told["status"], told["happened_on"]
    if status == "stopped":
        return replace(job, progress=status)
    if status == "done":
        return replace(job, progress=status, done_on=on)
    begun = monday(iso_week(on))
    end = max(begun + timedelta(weeks=job.weeks), monday(iso_week(as_of)) + timedelta(weeks=1))
    first = max(begun, monday(weeks[0]))
    left = (end - first).days // 7
    if begun > monday(weeks[-1]):
        return replace(job, progress=status)
    if left < 1:  # over before the year begins: no week of it is for this job
        return replace(job, progress=status, weeks=0)
    share = left / ((end - begun).days // 7)
    return replace(
        job, progress=status, weeks=left, crew_hours=job.crew_hours * share, pinned_week=iso_week(first),
        kept_week=None, kit_ready_on=None, permit_from=None, forbidden_weeks=(), forbidden_why=(),
    )  # fmt: skip


def last_service(job: Job) -> date | None:
    """The day of the last service of the job's task, as its dates rest on it; None where it is not known."""
    head = "last service: "
    return next((date.fromisoformat(line.removeprefix(head)) for line in job.rests_on if line.startswith(head)), None)


def progress_of(notes: Sequence[Row], as_of: date, settled: date | None) -> Row | None:
    """The newest word on progress within a year before `as_of`, by its day, of one day the one stored last.

    settled : day of the last service; what was said up to then is over, since the job is another one
    """
    told = [
        row
        for row in notes
        if row["kind"] == "progress"
        and timedelta(0) <= as_of - row["happened_on"] <= timedelta(days=DONE_FOR_DAYS)
        and (settled is None or row["happened_on"] > settled)
    ]
    return max(enumerate(told), key=lambda pair: (pair[1]["happened_on"], pair[0]))[1] if told else None


def with_other_outages(
    jobs: tuple[Job, ...],
    others: Sequence[Row],
    groups_of: Mapping[str, frozenset[str]],
    stations: Mapping[str, frozenset[str]],
    weeks: Sequence[str],
) -> tuple[Job, ...]:
    """The jobs kept clear of others' outages in their transfer groups; a unit that is out anyway is free to join.

    groups_of, stations : the transfer groups of each unit, and of each station
    """  # fmt: skip
    fitted = []
    for job in jobs:
        why = dict(zip(job.forbidden_weeks, job.forbidden_why, strict=True))
        for row in others if job.needs_outage and job.progress != "started" else ():
            theirs = (
                groups_of.get(row["unit"], frozenset()) if row["unit"] else stations.get(row["station"], frozenset())
            )
            if row["unit"] != job.unit and theirs & groups_of.get(job.unit, frozenset()):
                words = f"{row['what']}" + (f", {row['who']}" if row["who"] else "")
                for week in weeks_touched(row["from_on"], row["to_on"], weeks):
                    why.setdefault(week, words)
        fitted.append(
            replace(job, forbidden_weeks=tuple(sorted(why)), forbidden_why=tuple(why[week] for week in sorted(why)))
        )
    return tuple(fitted)
