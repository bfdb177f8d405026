"""Rows of events, readings, samples and services: compared with the book in memory, written in bulk."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.counters import CounterKey, counter_for, drive_in
from tapwear.store.entries import COMPARED, SAME, check_serial, event_columns, sample_columns, service_columns
from tapwear.store.find import UnitKey, near_names
from tapwear.store.importing_types import Refused, Result, remark
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp
from tapwear.store.register import move_unit, swap_units
from tapwear.store.stays import standing
from tapwear.visits.types import Row

_TABLE = {"readings": "reading", "events": "event", "samples": "sample", "services": "service"}
Key = tuple[Any, ...]


@dataclass
class BookIntake:
    """Takes rows of the book one by one and writes them together with `write()`, inside one transaction."""

    connection: Connection
    stamp: Stamp
    sample_counters: int = 0
    _units: dict[str, UnitKey] = field(default_factory=dict)
    _counters: dict[tuple[int, str, str], CounterKey] = field(default_factory=dict)
    _steady: set[int] = field(default_factory=set)  # units whose drives and counters have always been the same
    _compartments: dict[int, set[str]] = field(default_factory=dict)
    _present: dict[str, dict[Key, Key]] = field(default_factory=dict)
    _new: dict[str, list[dict[str, Any]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        changer = lean("tap_changer", "id", "tag")
        for number, tag in self.connection.execute(sa.select(changer.c.id, changer.c.tag)):
            self._units[tag.casefold()] = UnitKey(number, tag)
        compartment = lean("compartment", "tap_changer_id", "name")
        for number, name in self.connection.execute(sa.select(compartment.c.tap_changer_id, compartment.c.name)):
            self._compartments.setdefault(number, set()).add(name)
        self._steady = self._always_the_same()

    def _always_the_same(self) -> set[int]:
        fitting = lean("fitting", "tap_changer_id", "drive_id", "from_on")
        changed = {
            number
            for number, from_on in self.connection.execute(sa.select(fitting.c.tap_changer_id, fitting.c.from_on))
            if from_on is not None
        }
        counter = lean("counter", "drive_id", "source", "digits")
        several = (
            sa.select(fitting.c.tap_changer_id)
            .join_from(fitting, counter, fitting.c.drive_id == counter.c.drive_id)
            .group_by(fitting.c.tap_changer_id, fitting.c.drive_id, counter.c.source)
            .having(sa.func.count() > 1)
        )
        changed |= set(self.connection.execute(several).scalars())
        return {unit.id for unit in self._units.values()} - changed

    def take(self, row: Row) -> Result:
        """Raises Refused for a row that cannot be taken."""
        unit = self._unit(row.values["unit"])
        try:
            if row.table == "readings":
                return self._reading(unit, row.values, row.values.get("source") or "mechanical", "value")
            if row.table == "events":
                return self._event(unit, row.values)
            return self._sample(unit, row.values) if row.table == "samples" else self._service(unit, row.values)
        except UsageError as error:
            raise Refused("", str(error), "correct the row, then import it again") from error

    def write(self) -> None:
        """Writes everything that was taken."""
        for table, rows in self._new.items():
            if rows:
                self.connection.execute(sa.insert(lean(table, *rows[0])), rows)
        self._new = {}

    def _unit(self, tag: str) -> UnitKey:
        unit = self._units.get(tag.casefold())
        if unit is not None:
            return unit
        near = near_names(tag, sorted(key.tag for key in self._units.values()))
        meant = f"did you mean {' or '.join(near)}?" if near else "add it first (units.csv, or tapwear unit add)"
        raise Refused("unit", f"there is no unit {tag}", meant)

    def _keep(self, table: str, columns: Mapping[str, Any], whose: str, how: str) -> Result:
        """Keeps a row for writing, unless the book has it already or says otherwise."""
        if table not in self._present:
            self._present[table] = self._load(table)
        key = tuple(columns[name] for name in SAME[table])
        says = tuple(columns[name] for name in COMPARED[table])
        have = self._present[table].get(key)
        if have is None:
            self._present[table][key] = says
            book = {
                "uid": uuid.uuid4().hex, "recorded_at": self.stamp.at, "recorded_by": self.stamp.by,
                "import_id": self.stamp.import_id, "reason": "", "withdrawn": False, "supersedes_id": None,
            }  # fmt: skip
            extra = {"doubt": ""} if table == "reading" else {}
            self._new.setdefault(table, []).append({**book, **extra, **columns})
            return Result(stored=True)
        names = COMPARED[table]
        if have == says:
            return Result()
        differs = [
            f"{name} {_word(old)} in the book, {_word(new)} here"
            for name, old, new in zip(names, have, says, strict=True)
            if old != new
        ]
        first = next(name for name, old, new in zip(names, have, says, strict=True) if old != new)
        return Result((remark(first, f"{whose}: {'; '.join(differs)}", how, "conflict"),))

    def _load(self, table: str) -> dict[Key, Key]:
        same, compared = SAME[table], COMPARED[table]
        rows = lean(table, *dict.fromkeys(("id", "supersedes_id", "withdrawn", *same, *compared)))
        query = sa.select(*(rows.c[name] for name in (*same, *compared))).where(is_current(rows))
        width = len(same)
        return {tuple(row[:width]): tuple(row[width:]) for row in self.connection.execute(query)}

    def _counter(self, unit: UnitKey, drive: str, source: str, on: Any) -> CounterKey:
        if unit.id not in self._steady:
            return counter_for(self.connection, unit, drive_in(self.connection, unit, drive, on), source, on)
        at = (unit.id, drive, source)
        if at not in self._counters:
            slot = drive_in(self.connection, unit, drive, None)
            self._counters[at] = counter_for(self.connection, unit, slot, source, None)
        return self._counters[at]

    def _reading(self, unit: UnitKey, given: Mapping[str, Any], source: str, name: str) -> Result:
        on = given["read_on"]
        counter = self._counter(unit, given.get("drive", ""), source, on)
        value = given[name]
        if value >= 10**counter.digits:
            raise Refused(
                name,
                f"{value} is too long for the counter of {unit.tag}, which has {counter.digits} digits",
                f"correct the number; if the counter is longer: tapwear unit change {unit.tag} --digits N",
            )
        columns = {
            "counter_id": counter.id, "read_on": on, "value": value,
            "reader": given.get("reader", ""), "remark": given.get("remark", ""),
        }  # fmt: skip
        how = f"keep the book's, or correct it: tapwear log {unit.tag} {value} --on {on} --replace --because REASON"
        return self._keep("reading", columns, f"{unit.tag} on {on}", how)

    def _event(self, unit: UnitKey, given: Mapping[str, Any]) -> Result:
        if given["kind"] in ("moved", "swapped"):
            return self._move(unit, given)
        on = given["happened_on"]
        slot = drive_in(self.connection, unit, given["drive"], on) if given.get("drive") else ""
        how = "keep the book's, or correct it by hand"
        return self._keep("event", event_columns(unit.id, given, slot), f"{unit.tag}, {given['kind']} on {on}", how)

    def _move(self, unit: UnitKey, given: Mapping[str, Any]) -> Result:
        on, state = given["happened_on"], given.get("to_state")
        if any(stay.from_on == on for stay in standing(self.connection, unit.id)):
            return Result()  # what happened to this unit on that day is in the book
        if given["kind"] == "swapped":
            if not given.get("other_unit"):
                raise Refused("other_unit", "nothing", "name the unit that takes its place")
            other = self._unit(given["other_unit"])
            swap_units(self.connection, unit.tag, other.tag, on, self.stamp, state=state or "workshop")
            return Result(stored=True)
        move_unit(
            self.connection, unit.tag, on, self.stamp, station=given.get("to_station"), bank=given.get("to_bank", ""),
            phase=given.get("to_phase", ""), state=state, sure=True,
        )  # fmt: skip
        return Result(stored=True)

    def _sample(self, unit: UnitKey, given: Mapping[str, Any]) -> Result:
        columns = sample_columns(unit.id, given)
        names = self._compartments.get(unit.id, set())
        if columns["taken_from"] == "compartment" and columns["compartment"] not in names:
            listed = ", ".join(sorted(name or "one without a name" for name in names)) or "none"
            raise Refused("compartment", f"{unit.tag} has no such compartment; it has {listed}", "correct the name")
        on = given["sampled_on"]
        result = self._keep("sample", columns, f"{unit.tag}, sample of {on}", "keep the book's, or correct it by hand")
        if "counter_reading" not in given:
            return result
        try:
            read = self._reading(unit, {**given, "read_on": on, "remark": ""}, "sample", "counter_reading")
        except (Refused, UsageError) as error:
            found = error.found if isinstance(error, Refused) else str(error)
            note = remark("counter_reading", f"left out: {found}", "the sample itself is kept", "note")
            return Result((*result.findings, note), result.stored)
        self.sample_counters += read.stored
        return Result((*result.findings, *read.findings), result.stored)

    def _service(self, unit: UnitKey, given: Mapping[str, Any]) -> Result:
        check_serial(self.connection, unit, given.get("serial_seen", ""))
        columns = service_columns(unit.id, given)
        whose = f"{unit.tag}, {given['work']} on {given['done_on']}"
        return self._keep("service", columns, whose, "keep the book's, or correct it by hand")


def _word(value: Any) -> str:
    return "nothing" if value is None or value == "" else str(value)
