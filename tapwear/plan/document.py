"""A plan as plain data (text, numbers, lists, mappings; dates in ISO form) and back: to be kept or handed on.

What an older document lacks is taken as the default of its field, so that a plan kept once can always be read.
"""

from __future__ import annotations

from dataclasses import asdict, fields
from datetime import date
from typing import Any

from tapwear.plan.types import AtEngineer, Costs, Job, LeftOut, Limits, PlanResult, Proof, Slot

_JOB_FIELDS = tuple(field.name for field in fields(Job) if field.name != "job_id")
_JOB_DATES = tuple(field.name for field in fields(Job) if "date" in str(field.type))
_JOB_TUPLES = tuple(field.name for field in fields(Job) if str(field.type).startswith("tuple"))
_SLOT_FIELDS = ("start_week", "stopped_by", "chance_late")


def to_document(result: PlanResult) -> dict[str, Any]:
    """`year`, `as_of`, `assumptions`, `limits`, `costs`, `proof`, `follows`, `at_engineer`, `left_out`, `jobs`
    (what each needs, where it stands)."""
    given = result.limits
    return {
        "year": result.year,
        "as_of": result.as_of.isoformat(),
        "assumptions": list(given.assumptions),
        "limits": {
            "weeks": list(given.weeks),
            "closed": {station: dict(weeks) for station, weeks in given.closed.items()},
            "groups": {group: sorted(ids) for group, ids in given.groups.items()},
            "crew_hours": _nested(given.crew_hours),
            "neighbourhoods": dict(given.neighbourhoods),
            "skill_hours": _nested(given.skill_hours),
            "resources": _nested(given.resources),
        },
        "costs": asdict(result.costs),
        "proof": asdict(result.proof) if result.proof else None,
        "follows": result.follows,
        "at_engineer": [asdict(one) for one in result.at_engineer],
        "left_out": [_plain(asdict(one)) for one in result.left_out],
        "jobs": [_from_slot(slot) for slot in result.slots],
    }


def _nested(values: dict[Any, Any]) -> dict[str, Any]:
    """Values by (region, week) or (region, skill, week) as mappings in one another."""
    found: dict[str, Any] = {}
    for keys, value in values.items():
        at = found
        for key in keys[:-1]:
            at = at.setdefault(key, {})
        at[keys[-1]] = value
    return found


def _flat(nested: dict[str, Any], depth: int) -> dict[Any, Any]:
    if depth == 1:
        return {(key,): value for key, value in nested.items()}
    return {(key, *rest): value for key, inner in nested.items() for rest, value in _flat(inner, depth - 1).items()}


def _from_slot(slot: Slot) -> dict[str, Any]:
    row: dict[str, Any] = {name: _plain(getattr(slot.job, name)) for name in _JOB_FIELDS}
    row.update({name: getattr(slot, name) for name in _SLOT_FIELDS})
    return row


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, date):
        return value.isoformat()
    return [_plain(inner) for inner in value] if isinstance(value, tuple | list) else value


def from_document(document: dict[str, Any]) -> PlanResult:
    """The plan that `to_document` wrote, now or in an earlier version. Raises KeyError or ValueError for others."""
    given = document["limits"]
    limits = Limits(
        weeks=tuple(given["weeks"]),
        closed=given["closed"],
        groups={group: frozenset(ids) for group, ids in given["groups"].items()},
        crew_hours=_flat(given["crew_hours"], 2),
        assumptions=tuple(document["assumptions"]),
        neighbourhoods=given["neighbourhoods"],
        skill_hours=_flat(given.get("skill_hours", {}), 3),
        resources=_flat(given.get("resources", {}), 2),
    )
    proof = document.get("proof")
    return PlanResult(
        year=int(document["year"]),
        as_of=date.fromisoformat(document["as_of"]),
        slots=tuple(_to_slot(row) for row in document["jobs"]),
        limits=limits,
        costs=Costs(**_known(Costs, document.get("costs", {}))),
        proof=Proof(**_known(Proof, proof)) if proof else None,
        left_out=tuple(
            LeftOut(one["unit"], one["words"], tuple(one["rests_on"])) for one in document.get("left_out", ())
        ),
        follows=document.get("follows", ""),
        at_engineer=tuple(AtEngineer(**_known(AtEngineer, one)) for one in document.get("at_engineer", ())),
    )


def _known(kind: type[Any], values: dict[str, Any]) -> dict[str, Any]:
    """What this version knows of a kept object."""
    names = {field.name for field in fields(kind)}
    return {name: value for name, value in values.items() if name in names}


def _to_slot(row: dict[str, Any]) -> Slot:
    values = {name: row[name] for name in _JOB_FIELDS if name in row}
    for name in _JOB_DATES:
        values[name] = date.fromisoformat(values[name]) if values.get(name) else None
    for name in _JOB_TUPLES:
        values[name] = tuple(tuple(one) if isinstance(one, list) else one for one in values.get(name, ()))
    job = Job(job_id=f"{row['unit']} / {row['task']}", **values)
    return Slot(job, *(row[name] for name in _SLOT_FIELDS))
