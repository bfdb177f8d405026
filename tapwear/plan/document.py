"""A plan as plain data (text, numbers, lists, mappings; dates in ISO form) and back: to be kept or handed on."""

from __future__ import annotations

from dataclasses import fields
from datetime import date
from typing import Any

from tapwear.plan.types import Job, Limits, PlanResult, Slot

_JOB_FIELDS = tuple(field.name for field in fields(Job) if field.name != "job_id")
_JOB_DATES = ("early", "middle", "late", "kit_ready_on")
_SLOT_FIELDS = ("start_week", "stopped_by", "chance_late")


def to_document(result: PlanResult) -> dict[str, Any]:
    """`year`, `as_of`, `assumptions`, `limits` and `jobs`: for each job what it needs and where it stands."""
    hours: dict[str, dict[str, float]] = {}
    for (region, week), offered in result.limits.crew_hours.items():
        hours.setdefault(region, {})[week] = offered
    return {
        "year": result.year,
        "as_of": result.as_of.isoformat(),
        "assumptions": list(result.limits.assumptions),
        "limits": {
            "weeks": list(result.limits.weeks),
            "closed": {station: dict(weeks) for station, weeks in result.limits.closed.items()},
            "groups": {group: sorted(ids) for group, ids in result.limits.groups.items()},
            "crew_hours": hours,
            "neighbourhoods": dict(result.limits.neighbourhoods),
        },
        "jobs": [_from_slot(slot) for slot in result.slots],
    }


def _from_slot(slot: Slot) -> dict[str, Any]:
    row: dict[str, Any] = {name: _plain(getattr(slot.job, name)) for name in _JOB_FIELDS}
    row.update({name: getattr(slot, name) for name in _SLOT_FIELDS})
    return row


def _plain(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    return list(value) if isinstance(value, tuple) else value


def from_document(document: dict[str, Any]) -> PlanResult:
    """The plan that `to_document` wrote. Raises KeyError or ValueError for something else."""
    given = document["limits"]
    limits = Limits(
        weeks=tuple(given["weeks"]),
        closed=given["closed"],
        groups={group: frozenset(ids) for group, ids in given["groups"].items()},
        crew_hours={
            (region, week): hours for region, weeks in given["crew_hours"].items() for week, hours in weeks.items()
        },
        assumptions=tuple(document["assumptions"]),
        neighbourhoods=given["neighbourhoods"],
    )
    slots = tuple(_to_slot(row) for row in document["jobs"])
    return PlanResult(int(document["year"]), date.fromisoformat(document["as_of"]), slots, limits)


def _to_slot(row: dict[str, Any]) -> Slot:
    values = {name: row[name] for name in _JOB_FIELDS}
    for name in _JOB_DATES:
        values[name] = date.fromisoformat(values[name]) if values[name] else None
    values["assumed"] = tuple(values["assumed"])
    job = Job(job_id=f"{row['unit']} / {row['task']}", **values)
    return Slot(job, *(row[name] for name in _SLOT_FIELDS))
