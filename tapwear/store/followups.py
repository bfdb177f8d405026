"""What is to be followed up, as the book keeps it: put down by hand, closed, opened again. Light, without the models.

What observations show is worked out from them (tapwear.outlook.followups); the book keeps only how it was closed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.entries import columns_of
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp, record
from tapwear.words import FOLLOWUP_KINDS

_COLUMNS = ("kind", "compartment", "place", "noted_on", "words", "origin", "closed_on", "closed_words")


@dataclass(frozen=True)
class FollowupRow:
    """One row of the book as it is now. origin "observation": the closing of what observations show."""

    id: int
    unit: str
    kind: str
    compartment: str
    place: str
    noted_on: date
    words: str
    origin: str
    closed_on: date | None
    closed_words: str
    by: str


def add_followup(connection: Connection, unit: UnitKey, kind: str, words: str, on: date, stamp: Stamp) -> int | None:
    """Puts something down to be followed up; None where the same stands there already.

    Raises UsageError for an unknown kind, or for no words.
    """
    if kind not in FOLLOWUP_KINDS:
        raise UsageError(f"{kind} is none of the kinds; they are {', '.join(FOLLOWUP_KINDS)}.")
    said = " ".join(words.split())
    if not said:
        raise UsageError("What is to be followed up? Say it in a sentence; nothing was recorded.")
    present = (row for row in list_followups(connection, unit) if row.origin == "hand")
    if any((row.kind, row.noted_on, row.words) == (kind, on, said) for row in present):
        return None
    return record(
        connection, "followup", stamp, tap_changer_id=unit.id, kind=kind, noted_on=on, words=said, closed_on=None
    )


def close_followup(
    connection: Connection,
    unit: UnitKey,
    *,
    kind: str,
    compartment: str,
    place: str,
    first_on: date,
    words: str,
    origin: str,
    on: date,
    how: str,
    stamp: Stamp,
) -> None:
    """Closes one follow-up on a day, with how it was settled: one put down by hand, or what observations show.

    Raises UsageError without `how`, or when one put down by hand is not there any more.
    """
    settled = " ".join(how.split())
    if not settled:
        raise UsageError("How was it settled? Say it with --words; nothing was closed.")
    ended: dict[str, Any] = {"closed_on": on, "closed_words": settled}
    if origin == "hand":
        for row in list_followups(connection, unit):
            if row.closed_on is None and row.origin == "hand" and (row.kind, row.noted_on, row.words) == (
                kind, first_on, words
            ):  # fmt: skip
                record(connection, "followup", stamp, row.id, **(columns_of(connection, "followup", row.id) | ended))
                return
        raise UsageError(f"{unit.tag}: {words} is not open any more.")
    about: dict[str, Any] = {"kind": kind, "compartment": compartment, "place": place, "noted_on": first_on}
    record(
        connection, "followup", stamp, tap_changer_id=unit.id, origin="observation", words=words, **about, **ended
    )


def reopen_followup(connection: Connection, unit: UnitKey, kind: str, which: str, stamp: Stamp) -> FollowupRow:
    """Takes the newest closing of that kind (with `which` among its words) back. Returns the row as it was.

    Raises UsageError when none is closed.
    """
    closed = [
        row
        for row in list_followups(connection, unit)
        if row.kind == kind and row.closed_on is not None and which.casefold() in row.words.casefold()
    ]
    if not closed:
        said = f" that says {which}" if which else ""
        raise UsageError(f"{unit.tag} has no closed follow-up {FOLLOWUP_KINDS.get(kind, kind)}{said}.")
    last = max(closed, key=lambda row: (row.closed_on or date.min, row.id))
    columns = columns_of(connection, "followup", last.id) | {"closed_on": None, "closed_words": ""}
    record(connection, "followup", stamp, last.id, **columns)
    return last


def list_followups(connection: Connection, unit: UnitKey | None = None) -> list[FollowupRow]:
    """The current rows of a unit or of all, by unit and day."""
    followup = lean("followup", "id", "supersedes_id", "withdrawn", "tap_changer_id", "recorded_by", *_COLUMNS)
    changer = lean("tap_changer", "id", "tag")
    query = (
        sa.select(followup.c.id, changer.c.tag, *(followup.c[name] for name in _COLUMNS), followup.c.recorded_by)
        .join_from(followup, changer, followup.c.tap_changer_id == changer.c.id)
        .where(is_current(followup))
        .order_by(changer.c.tag, followup.c.noted_on, followup.c.id)
    )
    if unit is not None:
        query = query.where(followup.c.tap_changer_id == unit.id)
    return [FollowupRow(*row) for row in connection.execute(query)]
