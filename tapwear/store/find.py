"""Finds a unit by its tag, and says which tags come near where there is none of that name."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.lean import lean

_AT_ONCE = 10_000  # tags asked for in one statement: SQLite takes 32,766 parameters, PostgreSQL 65,535


@dataclass(frozen=True)
class UnitKey:
    """A unit's row number in the store and its tag as it is spelled there."""

    id: int
    tag: str


def number_of(connection: Connection, table: str, column: str, value: str) -> int | None:
    """The number of the row that has that value in a column in which no two rows have the same, or None."""
    rows = lean(table, "id", column)
    number = connection.execute(sa.select(rows.c.id).where(rows.c[column] == value)).scalar()
    return None if number is None else int(number)


def find_unit(connection: Connection, tag: str) -> UnitKey:
    """The unit with that tag; capital and small letters are taken as the same where only one unit fits.

    Raises UsageError naming the nearest tags.
    """
    changer = lean("tap_changer", "id", "tag")
    wanted = tag.strip()
    row = connection.execute(sa.select(changer.c.id, changer.c.tag).where(changer.c.tag.in_((tag, wanted)))).first()
    if row is not None:
        return UnitKey(row[0], row[1])
    tags = {str(row[1]): int(row[0]) for row in connection.execute(sa.select(changer.c.id, changer.c.tag))}
    alike = [known for known in tags if known.casefold() == wanted.casefold()]
    if len(alike) == 1:
        return UnitKey(tags[alike[0]], alike[0])
    near = near_names(wanted, sorted(tags))
    otherwise = f"Did you mean {' or '.join(near)}?" if near else "All units: tapwear unit list"
    raise UsageError(f"There is no unit {wanted}. {otherwise}")


def find_units(connection: Connection, tags: Iterable[str]) -> dict[str, int]:
    """The row numbers of the units with these tags, by tag as it is spelled in the store. Raises as find_unit."""
    changer = lean("tap_changer", "id", "tag")
    wanted = list(dict.fromkeys(tags))
    query = sa.select(changer.c.tag, changer.c.id).where(changer.c.tag.in_(sa.bindparam("tags", expanding=True)))
    found: dict[str, int] = {}
    for start in range(0, len(wanted), _AT_ONCE):
        asked = {"tags": wanted[start : start + _AT_ONCE]}
        found |= {tag: number for tag, number in connection.execute(query, asked).all()}
    others = [find_unit(connection, tag) for tag in wanted if tag not in found]
    return found | {unit.tag: unit.id for unit in others}


def near_names(wanted: str, known: list[str], cutoff: float = 0.5) -> list[str]:
    """Up to three of the known names that come near the wanted one, nearest first, equally near ones in their order.

    cutoff : how near, 0 to 1, as in difflib
    """
    by_fold = {name.casefold(): name for name in known}
    near = difflib.get_close_matches(wanted.casefold(), list(by_fold), n=12, cutoff=cutoff)
    match = difflib.SequenceMatcher(b=wanted.casefold())
    ratio: dict[str, float] = {}
    for name in near:
        match.set_seq1(name)
        ratio[name] = match.ratio()
    return [by_fold[name] for name in sorted(near, key=lambda name: (-ratio[name], name))[:3]]
