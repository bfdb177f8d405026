"""Plans in the store: kept with all that they rest on, never overwritten.

A plan comes and goes as the plain mapping that `tapwear.plan.document` makes (`year`, `as_of`, `jobs`, and all that
it rests on). What is worth asking the store for stands in columns of `plan_job`; the rest, as JSON, in
`plan.assumptions`, with each unit's tag as it was when the plan was made. Which plan is published is told by the
publications: of one year the newest counts, those before it are superseded.
"""

from __future__ import annotations

import hashlib
import json
import string
import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from tapwear.errors import StoreError, UsageError
from tapwear.store.engine import Store
from tapwear.store.models import TapChanger
from tapwear.store.models_planning import Plan, PlanJob, PlanPublication
from tapwear.store.recording import Stamp, record

NAME_LENGTH = 60
_COLUMNS = ("task", "start_week", "weeks", "crew_hours", "early", "middle", "late", "why", "stopped_by")
_DATES = ("early", "middle", "late")


@dataclass(frozen=True)
class PlanHead:
    """What a list of plans shows. `sequence` counts the plans of the same year made or published before its own
    making, or before its publishing once that was done: the greater one is what people were told last.

    status : draft, published, or superseded (published once, and another since); the day and who belong to it
    """

    name: str
    year: int
    as_of: date
    status: str
    recorded_at: datetime
    recorded_by: str
    placed: int
    not_placed: int
    sequence: int
    published_on: date | None = None
    published_by: str = ""


def check_name(store: Store, name: str) -> None:
    """Raises UsageError for a name that cannot be used or is taken."""
    with store.reading() as session:
        _free(session, name)


def save_plan(store: Store, document: dict[str, Any], *, name: str | None, by: str, at: datetime) -> str:
    """Keeps a plan and returns its name: the given one, else `2027-a`, `2027-b` and so on.

    The same plan by the same person, under the same name or any, is kept once.

    Raises UsageError when there is a plan of that name, StoreError when it names a unit that the store lacks.
    """
    proof = {name: value for name, value in (document.get("proof") or {}).items() if name != "seconds"}
    said = json.dumps([by, {**document, "proof": proof}], sort_keys=True, default=str)
    uid = hashlib.sha256(said.encode()).hexdigest()[:32]
    with store.unit_of_work() as session:
        known = session.exec(select(Plan.name).where(Plan.uid == uid)).first()
        if known is not None and name in (None, known):
            return known
        if known is not None:
            uid = uuid.uuid4().hex  # a second name for it
        if name is None:
            name = _next_name(session, int(document["year"]))
        _free(session, name)
        tags = {row["unit"] for row in document["jobs"]}
        found = session.exec(select(TapChanger.tag, TapChanger.id)).all()
        ids: dict[str, int] = {tag: number for tag, number in found if number is not None and tag in tags}
        if missing := sorted(tags - ids.keys()):
            more = f" and {len(missing) - 5} more" if len(missing) > 5 else ""
            raise StoreError(f"The plan names units that the store does not know: {', '.join(missing[:5])}{more}.")
        rest = {key: value for key, value in document.items() if key not in ("year", "as_of", "jobs")}
        rest["jobs"] = [
            {
                "tap_changer_id": ids[row["unit"]],
                **{key: row[key] for key in row if key not in _COLUMNS or key == "task"},
            }
            for row in document["jobs"]
        ]
        plan = Plan(
            uid=uid,
            name=name,
            year=int(document["year"]),
            as_of=date.fromisoformat(document["as_of"]),
            recorded_at=at,
            recorded_by=by,
            assumptions=json.dumps(rest, sort_keys=True),
        )
        session.add(plan)
        session.flush()
        plan_id = plan.id or 0  # set by the flush
        session.add_all(_job_row(row, plan_id, ids[row["unit"]]) for row in document["jobs"])
    return name


def _job_row(row: dict[str, Any], plan_id: int, tap_changer_id: int) -> PlanJob:
    values = {key: row[key] for key in _COLUMNS}
    for key in _DATES:
        values[key] = date.fromisoformat(values[key]) if values[key] else None
    values["start_week"] = values["start_week"] or ""
    return PlanJob(plan_id=plan_id, tap_changer_id=tap_changer_id, **values)


def load_plan(store: Store, name: str | None = None) -> tuple[PlanHead, dict[str, Any]]:
    """A plan by its name, or the newest one. Raises UsageError when there is none, with what there is."""
    with store.reading() as session:
        heads = _heads(session)
        head = _named(heads, name)
        plan = session.exec(select(Plan).where(Plan.name == head.name)).one()
        rows = session.exec(select(PlanJob).where(PlanJob.plan_id == plan.id)).all()
    kept = json.loads(plan.assumptions)
    by_job = {(row.tap_changer_id, row.task): row for row in rows}
    jobs = []
    for job in kept["jobs"]:
        row = by_job[job.pop("tap_changer_id"), job["task"]]
        jobs.append({**job, **_columns(row)})
    document = {"year": plan.year, "as_of": plan.as_of.isoformat(), **kept, "jobs": jobs}
    return head, document


def _columns(row: PlanJob) -> dict[str, Any]:
    values = {key: getattr(row, key) for key in _COLUMNS}
    for key in _DATES:
        values[key] = values[key].isoformat() if values[key] else None
    values["start_week"] = values["start_week"] or None
    return values


def list_plans(store: Store) -> list[PlanHead]:
    """All plans, the oldest first."""
    with store.reading() as session:
        return _heads(session)


def _heads(session: Session) -> list[PlanHead]:
    counts: dict[tuple[int, bool], int] = {}
    by_week = select(PlanJob.plan_id, PlanJob.start_week, func.count()).group_by(
        col(PlanJob.plan_id), col(PlanJob.start_week)
    )
    for plan_id, week, jobs in session.exec(by_week).all():
        counts[plan_id, bool(week)] = counts.get((plan_id, bool(week)), 0) + jobs
    published = session.exec(
        select(PlanPublication).where(col(PlanPublication.withdrawn).is_(False)).order_by(col(PlanPublication.id))
    ).all()
    given_out = {one.plan_id: one for one in published}
    heads: list[PlanHead] = []
    newest: dict[int, int] = {}
    plans = session.exec(select(Plan).order_by(col(Plan.id))).all()
    year_of = {plan.id: plan.year for plan in plans}
    for one in published:
        newest[year_of[one.plan_id]] = one.plan_id
    sequences = _sequences(plans, published)
    for plan in plans:
        number = plan.id or 0
        heads.append(
            PlanHead(
                name=plan.name,
                year=plan.year,
                as_of=plan.as_of,
                status=_status(number, given_out, newest.get(plan.year)),
                recorded_at=plan.recorded_at,
                recorded_by=plan.recorded_by,
                placed=counts.get((number, True), 0),
                not_placed=counts.get((number, False), 0),
                sequence=sequences[number],
                published_on=given_out[number].recorded_at.astimezone().date() if number in given_out else None,
                published_by=given_out[number].recorded_by if number in given_out else "",
            )
        )
    return heads


def _sequences(plans: Sequence[Plan], published: Sequence[PlanPublication]) -> dict[int, int]:
    """By plan: how many plans of its year had been made or published before it was made, or last published."""
    year_of = {plan.id: plan.year for plan in plans}
    made = [(plan.recorded_at, 0, plan.id or 0) for plan in plans]
    given_out = [(one.recorded_at, 1, one.plan_id) for one in published]
    so_far: Counter[int] = Counter()
    found: dict[int, int] = {}
    for _, _, number in sorted([*made, *given_out]):
        found[number] = so_far[year_of[number]]
        so_far[year_of[number]] += 1
    return found


def _status(number: int, given_out: dict[int, PlanPublication], newest: int | None) -> str:
    if number not in given_out:
        return "draft"
    return "published" if number == newest else "superseded"


def publish_plan(store: Store, name: str, *, by: str, at: datetime, reason: str) -> PlanHead | None:
    """From now on this is the plan of its year; returns the one that it takes over from. Nothing is forgotten.

    Raises UsageError when there is no such plan, or it is the published one already.
    """
    with store.unit_of_work() as session:
        heads = _heads(session)
        head = _named(heads, name)
        if head.status == "published":
            raise UsageError(f"{name} is the published plan of {head.year} already.")
        before = next((one for one in heads if one.year == head.year and one.status == "published"), None)
        number = session.exec(select(Plan.id).where(Plan.name == name)).one() or 0
        record(session.connection(), "plan_publication", Stamp(by, at, reason), plan_id=number)
    return before


def plan_of_year(store: Store, year: int, *, published_only: bool = False) -> str | None:
    """The name of the published plan of a year, else of its newest draft, else None."""
    heads = [head for head in list_plans(store) if head.year == year]
    published = [head.name for head in heads if head.status == "published"]
    names = published if published or published_only else [head.name for head in heads]
    return names[-1] if names else None


def _named(heads: list[PlanHead], name: str | None) -> PlanHead:
    if not heads:
        raise UsageError("There is no plan yet. Make one with: tapwear plan build YEAR")
    head = heads[-1] if name is None else next((head for head in heads if head.name == name), None)
    if head is None:
        names = ", ".join(head.name for head in heads[-8:])
        raise UsageError(f"There is no plan named {name!r}. The newest ones: {names}. All: tapwear plan list")
    return head


def _free(session: Session, name: str) -> None:
    if not name.strip() or len(name) > NAME_LENGTH or not name.isprintable() or name != name.strip():
        raise UsageError(f"A plan's name has 1 to {NAME_LENGTH} printable characters, found {name!r}.")
    if session.exec(select(Plan.id).where(Plan.name == name)).first() is not None:
        raise UsageError(
            f"There is a plan named {name!r} already, and plans are never overwritten. Give another --name, or leave "
            "it out and a free one is chosen; see tapwear plan list."
        )


def _next_name(session: Session, year: int) -> str:
    taken = set(session.exec(select(Plan.name)).all())
    letters = ["", *string.ascii_lowercase]
    names = (f"{year}-{first}{last}" for first in letters for last in string.ascii_lowercase)
    free = next((name for name in names if name not in taken), None)
    if free is None:
        raise UsageError(f"All names from {year}-a to {year}-zz are taken; give one with --name.")
    return free
