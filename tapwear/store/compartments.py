"""Serial numbers of compartments: kept in the order of the compartments, and held against what a sampler saw."""

from __future__ import annotations

from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.entries import squeezed
from tapwear.store.find import UnitKey
from tapwear.store.lean import lean
from tapwear.store.recording import Change, Stamp, amend


@dataclass(frozen=True)
class KnownSerials:
    """Serial numbers of compartments in the register: (unit, compartment) -> serial, and back, squeezed."""

    of: dict[tuple[str, str], str]
    whose: dict[str, tuple[str, str]]

    def doubt(self, tag: str, compartment: str, seen: str) -> str:
        """What is odd about a serial number seen at sampling, naming the unit that it belongs to; "" for nothing."""
        have = self.of.get((tag, compartment), "")
        if not seen or not have or squeezed(seen) == squeezed(have):
            return ""
        where = f"{tag}, compartment {compartment}" if compartment else tag
        owner = self.whose.get(squeezed(seen))
        words = f"serial number {seen} was seen, the register has {have} for {where}"
        if owner is None:
            return f"{words}; {seen} is nowhere in the register"
        likely = owner[0] + (f", compartment {owner[1]}" if owner[1] else "")
        return f"{words}; {seen} belongs to {likely}: likely the oil of that one"


def known_serials(connection: Connection) -> KnownSerials:
    """All serial numbers of compartments in the register."""
    compartment, changer = lean("compartment", "tap_changer_id", "name", "serial"), lean("tap_changer", "id", "tag")
    rows = connection.execute(
        sa.select(changer.c.tag, compartment.c.name, compartment.c.serial)
        .join_from(compartment, changer, compartment.c.tap_changer_id == changer.c.id)
        .where(compartment.c.serial.is_not(None))
        .order_by(changer.c.tag)
    ).all()
    of = {(str(tag), str(name)): str(serial) for tag, name, serial in rows}
    return KnownSerials(of, {squeezed(serial): where for where, serial in of.items()})


def set_serials(connection: Connection, unit: UnitKey, serials: tuple[str, ...], stamp: Stamp) -> list[Change]:
    """Gives the unit's compartments their serial numbers, in the order in which they were added.

    Raises UsageError unless there is one for each.
    """
    compartment = lean("compartment", "id", "tap_changer_id", "name")
    rows = connection.execute(
        sa.select(compartment.c.id, compartment.c.name)
        .where(compartment.c.tap_changer_id == unit.id)
        .order_by(compartment.c.id)
    ).all()
    if len(rows) != len(serials):
        names = ", ".join(name or "one without a name" for _, name in rows)
        raise UsageError(
            f"{unit.tag} has compartments {names}: give as many serial numbers, in that order; found {len(serials)}."
        )
    return [
        change
        for (number, _), serial in zip(rows, serials, strict=True)
        for change in amend(connection, "compartment", number, {"serial": serial}, stamp)
    ]
