"""Which counter each row of an import was read on, from one look at all drives and counters."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.counters import CounterKey, counter_for, drive_in
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean


@dataclass
class Drives:
    """Answers for units whose drives and counters have always been the same from memory, for others from the store."""

    connection: Connection
    _slots: dict[int, dict[str, int]] = field(default_factory=dict)  # unit -> slot -> drive, for steady units
    _counters: dict[tuple[int, str], CounterKey] = field(default_factory=dict)  # of one drive and source
    _digits: dict[int, int] = field(default_factory=dict)  # unit -> digits of its longest mechanical counter

    def __post_init__(self) -> None:
        fitting = lean("fitting", "id", "tap_changer_id", "drive_id", "slot", "from_on", "supersedes_id", "withdrawn")
        fittings = self.connection.execute(
            sa.select(fitting.c.tap_changer_id, fitting.c.slot, fitting.c.drive_id, fitting.c.from_on).where(
                is_current(fitting)
            )
        ).all()
        counter = lean("counter", "id", "drive_id", "source", "digits")
        counters = [
            CounterKey(*tuple(row))
            for row in self.connection.execute(
                sa.select(counter.c.id, counter.c.drive_id, counter.c.source, counter.c.digits).order_by(counter.c.id)
            )
        ]
        several = Counter((one.drive_id, one.source) for one in counters)
        moving = {row.drive_id for row in fittings if row.from_on is not None}
        moving |= {drive for (drive, _), number in several.items() if number > 1}
        unsteady = {row.tap_changer_id for row in fittings if row.drive_id in moving}
        for row in fittings:
            held = self._slots.setdefault(row.tap_changer_id, {})
            if row.slot in held:
                unsteady.add(row.tap_changer_id)
            held[row.slot] = row.drive_id
        self._counters = {(one.drive_id, one.source): one for one in counters}
        longest: dict[int, int] = {}
        for one in counters:
            if one.source == "mechanical":
                longest[one.drive_id] = max(one.digits, longest.get(one.drive_id, 0))
        for row in fittings:
            self._digits[row.tap_changer_id] = max(
                longest.get(row.drive_id, 0), self._digits.get(row.tap_changer_id, 0)
            )
        for number in unsteady:
            self._slots.pop(number, None)

    def slot(self, unit: UnitKey, name: str, on: date) -> str:
        """The drive that is meant; raises UsageError when the unit has no such drive, or several and none is named."""
        held = self._slots.get(unit.id)
        if held is None:
            return drive_in(self.connection, unit, name, on)
        if name in held:
            return name
        if not name and len(held) == 1:
            return next(iter(held))
        return drive_in(self.connection, unit, name, on)  # says what is wrong

    def counter(self, unit: UnitKey, name: str, source: str, on: date) -> CounterKey:
        """The counter of that source on that drive on that day; made where the drive has none of it yet."""
        slot = self.slot(unit, name, on)
        held = self._slots.get(unit.id)
        if held is None:
            return counter_for(self.connection, unit, slot, source, on)
        key = (held[slot], source)
        if key not in self._counters:
            self._counters[key] = counter_for(self.connection, unit, slot, source, on)
        return self._counters[key]

    def digits(self, unit: UnitKey) -> int:
        """Digits of the unit's longest mechanical counter; 0 when it has none."""
        return self._digits.get(unit.id, 0)
