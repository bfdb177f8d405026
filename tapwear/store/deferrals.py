"""Tasks put off past their limit by a recorded decision: recorded, listed, taken back. Light, without the models."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.entries import withdraw
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp, record
from tapwear.visits.fields import TASKS

_COLUMNS = ("task", "decided_on", "expires_on", "engineer", "reason_given", "extra_checks")


@dataclass(frozen=True)
class DeferralRow:
    """One deferral as the book has it."""

    id: int
    unit: str
    task: str
    decided_on: date
    expires_on: date
    engineer: str
    reason: str
    extra_checks: str


def add_deferral(
    connection: Connection,
    unit: UnitKey,
    *,
    task: str,
    decided_on: date,
    expires_on: date,
    engineer: str,
    reason: str,
    extra_checks: str,
    stamp: Stamp,
) -> int:
    """Records a deferral and returns its number; of several for one task the newest decision counts. The same decision
    given once more is the one that is there.

    Raises UsageError where engineer, reason or checks are blank, the task is unknown, or it would end before it began.
    """
    for name, text in (("engineer", engineer), ("reason", reason), ("checks", extra_checks)):
        if not text.strip():
            raise UsageError(f"A deferral needs its {name}; nothing was recorded.")
    if task not in TASKS:
        raise UsageError(f"There is no task {task!r}; a deferral is for one of: {', '.join(TASKS)}.")
    if expires_on <= decided_on:
        raise UsageError(f"A deferral decided on {decided_on} cannot end on {expires_on}; give a later day.")
    said: dict[str, Any] = {
        "tap_changer_id": unit.id,
        "task": task,
        "decided_on": decided_on,
        "expires_on": expires_on,
        "engineer": engineer.strip(),
        "reason_given": reason.strip(),
        "extra_checks": extra_checks.strip(),
    }
    rows = lean("deferral", "id", "supersedes_id", "withdrawn", *said)
    same = sa.select(rows.c.id).where(is_current(rows), *(rows.c[name] == value for name, value in said.items()))
    known = connection.execute(same).scalar()
    return int(known) if known is not None else record(connection, "deferral", stamp, **said)


def list_deferrals(connection: Connection, unit: UnitKey | None = None) -> list[DeferralRow]:
    """The current deferrals of a unit or of all, by unit and day of decision; expired ones too."""
    deferral = lean("deferral", "id", "supersedes_id", "withdrawn", "tap_changer_id", *_COLUMNS)
    changer = lean("tap_changer", "id", "tag")
    query = (
        sa.select(deferral.c.id, changer.c.tag, *(deferral.c[name] for name in _COLUMNS))
        .join_from(deferral, changer, deferral.c.tap_changer_id == changer.c.id)
        .where(is_current(deferral))
        .order_by(changer.c.tag, deferral.c.decided_on, deferral.c.id)
    )
    if unit is not None:
        query = query.where(deferral.c.tap_changer_id == unit.id)
    return [DeferralRow(*row) for row in connection.execute(query)]


def take_back(connection: Connection, unit: UnitKey, task: str, stamp: Stamp) -> DeferralRow:
    """Takes the newest deferral of a task back; the row stays in the book. Raises UsageError when there is none."""
    mine = [row for row in list_deferrals(connection, unit) if row.task == task]
    if not mine:
        raise UsageError(f"{unit.tag} has no deferral of its {task}; see tapwear defer list.")
    withdraw(connection, "deferral", mine[-1].id, stamp)
    return mine[-1]
