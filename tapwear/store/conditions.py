"""What people note about a unit's condition: noted, listed, and closed by a later row. Light, without the models."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.entries import Outcome, columns_of, enter
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp, record
from tapwear.store.stops import Severe, open_stop
from tapwear.store.validate import checked
from tapwear.visits.fields import CONDITIONS
from tapwear.words import CONDITION_KINDS, condition_evidence


@dataclass(frozen=True)
class ConditionRow:
    """One condition as the book has it now; `closed_on` None: open."""

    id: int
    unit: str
    noted_on: date
    kind: str
    words: str
    act_by_on: date | None
    severe: bool
    author: str
    closed_on: date | None
    closed_words: str


def condition_columns(tap_changer_id: int, given: Mapping[str, Any]) -> dict[str, Any]:
    """The columns of a condition row, from checked fields of CONDITIONS. A relay trip is severe unless it is said not
    to be. Raises UsageError for days out of order."""
    noted, closed = given["noted_on"], given.get("closed_on")
    for words, day in (("it was closed", closed), ("to act by", given.get("act_by_on"))):
        if day is not None and day < noted:
            raise UsageError(f"The day {words}, {day}, lies before that on which it was noted, {noted}.")
    return {
        "tap_changer_id": tap_changer_id,
        "noted_on": noted,
        "kind": given["kind"],
        "words": given["words"],
        "act_by_on": given.get("act_by_on"),
        "severe": is_severe(given),
        "author": given.get("author", ""),
        "closed_on": closed,
        "closed_words": given.get("closed_words", ""),
    }


def add_condition(
    connection: Connection, unit: UnitKey, values: Mapping[str, Any], stamp: Stamp, *, replace: bool = False
) -> Outcome:
    """A condition that somebody noted; `values`: fields of CONDITIONS without `unit`. One of a kind on a day.

    A severe one stops the unit.
    """
    given = checked(CONDITIONS, {"unit": unit.tag, **values})
    outcome = enter(connection, "condition", condition_columns(unit.id, given), given, stamp, replace)
    if is_severe(given) and outcome.kind != "conflict":
        open_stop(connection, unit, severe_condition(unit, given), stamp)
    return outcome


def close_condition(
    connection: Connection, unit: UnitKey, kind: str, on: date, words: str, stamp: Stamp, noted_on: date | None = None
) -> ConditionRow:
    """Closes the unit's open condition of that kind on that day. Returns it as it was.

    noted_on : which one, where several of the kind are open. Raises UsageError when there is none, or several.
    """
    still = [row for row in list_conditions(connection, unit) if row.closed_on is None]
    fit = [row for row in still if row.kind == kind and noted_on in (None, row.noted_on)]
    name = CONDITION_KINDS.get(kind, kind)
    if not fit:
        others = ", ".join(f"{CONDITION_KINDS[row.kind]} of {row.noted_on}" for row in still) or "none"
        raise UsageError(
            f"{unit.tag} has no open condition {name}{f' of {noted_on}' if noted_on else ''}; open: {others}."
        )
    if len(fit) > 1:
        days = ", ".join(str(row.noted_on) for row in fit)
        raise UsageError(
            f"{unit.tag} has {len(fit)} open conditions {name}, noted on {days}: say which with --noted DATE."
        )
    (row,) = fit
    if on < row.noted_on:
        raise UsageError(f"{unit.tag}: {name} was noted on {row.noted_on}; it cannot be closed on {on}, before that.")
    present = columns_of(connection, "condition", row.id) | {"closed_on": on, "closed_words": words}
    record(connection, "condition", stamp, row.id, **present)
    return row


def list_conditions(connection: Connection, unit: UnitKey | None = None) -> list[ConditionRow]:
    """The current conditions of a unit or of all, by unit and day."""
    names = ("noted_on", "kind", "words", "act_by_on", "severe", "author", "closed_on", "closed_words")
    condition = lean("condition", "id", "supersedes_id", "withdrawn", "tap_changer_id", *names)
    changer = lean("tap_changer", "id", "tag")
    query = (
        sa.select(condition.c.id, changer.c.tag, *(condition.c[name] for name in names))
        .join_from(condition, changer, condition.c.tap_changer_id == changer.c.id)
        .where(is_current(condition))
        .order_by(changer.c.tag, condition.c.noted_on, condition.c.id)
    )
    if unit is not None:
        query = query.where(condition.c.tap_changer_id == unit.id)
    return [ConditionRow(*row) for row in connection.execute(query)]


def is_severe(given: Mapping[str, Any]) -> bool:
    """Whether checked fields of CONDITIONS stop the unit: a relay trip does unless it is said not to."""
    said = given.get("severe")
    return given["kind"] == "relay_trip" if said is None else bool(said)


def severe_condition(unit: UnitKey, given: Mapping[str, Any]) -> Severe:
    """What checked fields of a severe condition raise a stop with."""
    words = condition_evidence(given["kind"], given["noted_on"], given.get("author", ""), given["words"])
    return Severe(unit.tag, given["noted_on"], "condition", words)
