"""Two different numbers for one counter and day: listed, and settled by a person. Light, without the models."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import combinations

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.entries import withdraw
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.places import unit_with
from tapwear.store.recording import Stamp
from tapwear.store.same_day import exchanges_on, told_apart
from tapwear.words import as_typed


@dataclass(frozen=True)
class Claim:
    """One of the numbers: its row, who read and who recorded it, the doubt written beside it, the time of day or ""."""

    id: int
    value: int
    reader: str
    recorded_by: str
    doubt: str
    read_time: str = ""


@dataclass(frozen=True)
class Conflict:
    """What the book says of one counter on one day, two numbers or more, by value."""

    unit: str
    drive: str
    source: str
    read_on: date
    digits: int
    claims: tuple[Claim, ...]


def open_conflicts(connection: Connection, unit: UnitKey | None = None) -> list[Conflict]:
    """All counters and days of which the book holds two numbers or more, by unit, drive, source and day."""
    reading = lean(
        "reading",
        *("id", "counter_id", "read_on", "read_time", "value", "reader", "recorded_by", "doubt"),
        *("supersedes_id", "withdrawn"),
    )
    current = sa.select(reading).where(is_current(reading)).subquery()
    twice = (
        sa.select(current.c.counter_id, current.c.read_on)
        .group_by(current.c.counter_id, current.c.read_on)
        .having(sa.func.count(sa.distinct(current.c.value)) > 1)
        .subquery()
    )
    counter = lean("counter", "id", "drive_id", "source", "digits")
    rows = connection.execute(
        sa.select(
            counter.c.drive_id, counter.c.source, counter.c.digits, current.c.read_on,
            current.c.id, current.c.value, current.c.reader, current.c.recorded_by, current.c.doubt,
            current.c.read_time,
        )
        .join_from(current, twice, sa.and_(
            twice.c.counter_id == current.c.counter_id, twice.c.read_on == current.c.read_on
        ))
        .join(counter, counter.c.id == current.c.counter_id)
        .order_by(current.c.value, current.c.id)
    ).all()  # fmt: skip
    found: dict[tuple[UnitKey, str, str, date, int], list[Claim]] = {}
    for drive, source, digits, day, *claim in rows:
        whose, slot = unit_with(connection, drive, day)
        if unit is None or whose == unit:
            found.setdefault((whose, slot, source, day, digits), []).append(Claim(*claim))
    conflicts = [
        Conflict(whose.tag, slot, source, day, digits, tuple(claims))
        for (whose, slot, source, day, digits), claims in found.items()
        if not _all_apart(connection, whose, slot, day, claims)
    ]
    return sorted(conflicts, key=lambda one: (one.unit, one.drive, one.source, one.read_on, one.digits))


def _all_apart(connection: Connection, unit: UnitKey, slot: str, day: date, claims: list[Claim]) -> bool:
    """Whether time of day, or an exchange of the counter on that day, tells all the numbers apart."""
    swaps = exchanges_on(connection, unit, slot, day)
    numbers = [(claim.read_time, claim.value) for claim in claims]
    return all(told_apart(one, other, swaps) for one, other in combinations(numbers, 2) if one[1] != other[1])


def settle_conflict(connection: Connection, conflict: Conflict, keep: int, stamp: Stamp) -> list[Claim]:
    """Keeps one number of a conflict and takes the other rows back; they stay in the book. Returns those.

    keep : the number that is right. Raises UsageError when it is none of them, or no reason is given.
    """
    if not stamp.reason.strip():
        raise UsageError("A decision needs its reason: add --because REASON. Nothing was changed.")
    numbers = sorted({claim.value for claim in conflict.claims})
    if keep not in numbers:
        listed = " and ".join(map(str, numbers))
        raise UsageError(
            f"{conflict.unit} on {conflict.read_on}: {keep} is none of the numbers there, which are {listed}. "
            f"For a third number: tapwear log {as_typed(conflict.unit)} {keep} --on {conflict.read_on} --replace"
        )
    others = [claim for claim in conflict.claims if claim.value != keep]
    for claim in others:
        withdraw(connection, "reading", claim.id, stamp)
    return others


def pick_conflict(
    conflicts: list[Conflict], unit: str, on: date | None, drive: str | None, source: str | None
) -> Conflict:
    """The one conflict that is meant. Raises UsageError when there is none, or several fit."""
    fit = [
        one
        for one in conflicts
        if on in (None, one.read_on) and drive in (None, one.drive) and source in (None, one.source)
    ]
    if not fit:
        said = "that fits" if conflicts else "of numbers"
        raise UsageError(f"{unit} has no open conflict {said}; all of them: tapwear resolve")
    if len(fit) > 1:
        listed = "; ".join(f"--on {one.read_on} --drive {one.drive} --source {one.source}" for one in fit)
        raise UsageError(f"{unit} has {len(fit)} open conflicts: say which one: {listed}")
    return fit[0]
