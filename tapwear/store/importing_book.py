"""Rows of events, readings, samples, services, conditions and limits: held against the book, written in bulk."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.findings import Finding
from tapwear.store.compartments import known_serials
from tapwear.store.conditions import condition_columns
from tapwear.store.entries import check_serial, enter, event_columns, sample_columns, service_columns
from tapwear.store.find import UnitKey, near_names
from tapwear.store.importing_drives import Drives
from tapwear.store.importing_known import Known
from tapwear.store.importing_moves import take_move
from tapwear.store.importing_types import Refused, Result, remark
from tapwear.store.lean import lean
from tapwear.store.limits import limit_columns
from tapwear.store.observations import observation_rows
from tapwear.store.recording import Stamp
from tapwear.store.same_day import exchanges_on, told_apart
from tapwear.visits.fields import GASES, TASKS
from tapwear.visits.observations import label
from tapwear.visits.resets import NO_RESETS
from tapwear.visits.types import WHOLE_ROW, Row
from tapwear.words import CONDITION_KINDS, as_typed

ROWS_A_BATCH = 5_000  # written at once: our choice, a compromise of memory and speed
BY_HAND = "keep the book's, or correct it by hand"


@dataclass
class BookIntake:
    """Takes rows of the book one by one and writes them in batches; `write()` writes the rest. One transaction."""

    connection: Connection
    stamp: Stamp
    sample_counters: int = 0
    _units: dict[str, UnitKey] = field(default_factory=dict)
    _strangers: dict[str, str] = field(default_factory=dict)  # unknown tag -> what may have been meant
    _compartments: dict[int, set[str]] = field(default_factory=dict)
    _new: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    _taking: str = ""

    def __post_init__(self) -> None:
        changer = lean("tap_changer", "id", "tag")
        for number, tag in self.connection.execute(sa.select(changer.c.id, changer.c.tag)):
            self._units[tag.casefold()] = UnitKey(number, tag)
        compartment = lean("compartment", "tap_changer_id", "name")
        for number, name in self.connection.execute(sa.select(compartment.c.tap_changer_id, compartment.c.name)):
            self._compartments.setdefault(number, set()).add(name)
        self._serials = known_serials(self.connection)
        self._drives = Drives(self.connection)
        self._known = Known(self.connection)

    def take(self, row: Row) -> Result:
        """Raises Refused for a row that cannot be taken."""
        if row.table != self._taking:
            self.write()  # which counter was in use on a day may follow from the events before
            self._taking = row.table
        if row.table == "limits":
            return self._limit(row)
        unit = self._unit(row.values["unit"])
        try:
            if row.table == "readings":
                source = row.values.get("source") or "mechanical"
                return self._reading(unit, row, row.values.get("drive", ""), source, "value")
            if row.table == "events":
                return self._event(unit, row)
            if row.table == "conditions":
                return self._condition(unit, row)
            if row.table == "observations":
                return self._observations(unit, row)
            return self._sample(unit, row) if row.table == "samples" else self._service(unit, row)
        except UsageError as error:
            raise Refused(WHOLE_ROW, str(error), "correct the row, then import it again") from error

    def write(self) -> None:
        """Writes everything that was taken and is not written yet."""
        for table in list(self._new):
            self._write(table)

    def _write(self, table: str) -> None:
        rows = self._new.pop(table, [])
        if rows:
            self.connection.execute(sa.insert(lean(table, *rows[0])), rows)

    def _unit(self, tag: str) -> UnitKey:
        unit = self._units.get(tag.casefold())
        if unit is not None:
            return unit
        if tag not in self._strangers:
            near = near_names(tag, sorted(key.tag for key in self._units.values()))
            added = "add it first (units.csv, or tapwear unit add)"
            self._strangers[tag] = f"did you mean {' or '.join(near)}?" if near else added
        raise Refused("unit", f"there is no unit {tag}", self._strangers[tag])

    def _keep(
        self,
        table: str,
        row: Row,
        columns: dict[str, Any],
        whose: str,
        how: str,
        *,
        leaves_open: tuple[str, ...] = (),
        apart: Callable[[Any, Any], bool] = lambda old, new: False,
    ) -> Result:
        """Keeps a row for writing, unless the book has it already or says otherwise.

        `leaves_open` names columns that hold a usual value of ours, of which the row itself says nothing.
        """
        says = columns if not leaves_open else {**columns, **dict.fromkeys(leaves_open)}
        said = self._known.judge(table, row, says, whose, how, apart)
        if said is not None:
            return said
        batch = self._new.setdefault(table, [])
        batch.append(
            {
                "uid": uuid.uuid4().hex,
                "recorded_at": self.stamp.at,
                "recorded_by": self.stamp.by,
                "import_id": self.stamp.import_id,
                "reason": "",
                "withdrawn": False,
                "supersedes_id": None,
                **columns,
            }
        )
        if len(batch) >= ROWS_A_BATCH:
            self._write(table)
        return Result(stored=True)

    def _reading(self, unit: UnitKey, row: Row, drive: str, source: str, name: str) -> Result:
        given = row.values
        on = given["read_on"] if name == "value" else given["sampled_on"]
        try:
            counter = self._drives.counter(unit, drive, source, on)
        except UsageError as error:
            raise Refused("drive", str(error), "correct the drive, then import the row again") from error
        value = given[name]
        self._short_enough(unit, name, value, counter.digits)
        current = given.get("current_a") if name == "value" else None
        columns = {
            "counter_id": counter.id,
            "read_on": on,
            "read_time": given.get("read_time", "") if name == "value" else "",
            "value": value,
            "current_a": current,
            "reader": given.get("reader", ""),
            "remark": given.get("remark", "") if name == "value" else "",
            "doubt": "",
        }
        typed = f"{value} --on {on}" + ("" if current is None else f" --current {current:g}")
        how = f"keep the book's, or correct it: tapwear log {as_typed(unit.tag)} {typed} --replace --because REASON"

        def apart(old: int, new: int) -> bool:
            self._write("event")
            at = columns["read_time"]
            swaps = exchanges_on(self.connection, unit, self._drives.slot(unit, drive, on), on)
            return told_apart((at, old), (at, new), swaps)

        return self._keep("reading", row, columns, f"{unit.tag} on {on}", how, apart=apart)

    def _short_enough(self, unit: UnitKey, name: str, value: int | None, digits: int) -> None:
        if value is not None and digits and value >= 10**digits:
            raise Refused(
                name,
                f"{value} is too long for the counter of {unit.tag}, which has {digits} digits",
                f"correct the number; if the counter is longer: tapwear unit change {as_typed(unit.tag)} --digits N",
            )

    def _event(self, unit: UnitKey, row: Row) -> Result:
        given = row.values
        if given["kind"] in ("moved", "swapped"):
            other = self._unit(given["other_unit"]) if given.get("other_unit") else None
            return take_move(self.connection, unit, other, given, self.stamp)
        on = given["happened_on"]
        slot = ""
        if given.get("drive") or given["kind"] == "counter_replaced":  # of several drives it has to be said which
            try:
                slot = self._drives.slot(unit, given.get("drive", ""), on)
            except UsageError as error:
                raise Refused("drive", str(error), "correct the drive, then import the row again") from error
        for name in ("old_reading", "new_reading"):
            self._short_enough(unit, name, given.get(name), self._drives.digits(unit))
        columns = event_columns(unit.id, given, slot if given.get("drive") else "")  # "" = all its drives
        return self._keep("event", row, columns, f"{unit.tag}, {given['kind']} on {on}", BY_HAND)

    def _sample(self, unit: UnitKey, row: Row) -> Result:
        given = row.values
        columns = sample_columns(unit.id, given)
        names = self._compartments.get(unit.id, set())
        if columns["taken_from"] == "compartment" and columns["compartment"] not in names:
            listed = ", ".join(sorted(name or "one without a name" for name in names)) or "none"
            raise Refused("compartment", f"{unit.tag} has no such compartment; it has {listed}", "correct the name")
        unread = tuple(f"{gas}_below" for gas in GASES if columns[f"{gas}_ul_per_l"] is None)
        whose = f"{unit.tag}, sample of {given['sampled_on']}"
        added = self._known.completes("sample", {**columns, **dict.fromkeys(unread)})
        if added:
            result = self._complete(row, columns, whose, added)
        else:
            result = self._keep("sample", row, columns, whose, BY_HAND, leaves_open=unread)
        if columns["taken_from"] == "compartment" and result.stored:
            doubt = self._serials.doubt(unit.tag, columns["compartment"], columns["compartment_serial"])
            if doubt:
                remedy = (
                    "find out which unit was sampled; then correct the sample, or the register (tapwear unit change)"
                )
                told = remark("compartment_serial", f"{whose}: {doubt}", remedy, "note")
                result = Result((*result.findings, told), result.stored)
        if "counter_reading" not in given or any(finding.severity == "conflict" for finding in result.findings):
            return result
        note = self._sheet_counter(unit, row)
        return result if note is None else Result((*result.findings, note), result.stored)

    def _complete(self, row: Row, columns: dict[str, Any], whose: str, added: list[str]) -> Result:
        """A later part of a report: the sample with both parts supersedes the one with the first."""
        self.write()
        enter(self.connection, "sample", columns, row.values, self.stamp, replace=True)
        names = ", ".join(name for name in added if not name.endswith("_below"))
        found = f"{whose}: completed by {names}"
        return Result((remark(added[0], found, "nothing to do; the rest agrees", "note"),), stored=True)

    def _sheet_counter(self, unit: UnitKey, row: Row) -> Finding | None:
        """Makes the counter on a sample sheet a reading; what is wrong with it never stops the sample."""
        drive = row.values.get("compartment", "") if len(self._compartments.get(unit.id, ())) > 1 else ""
        try:
            read = self._reading(unit, row, drive, "sample", "counter_reading")
        except (Refused, UsageError) as error:
            found = error.found if isinstance(error, Refused) else str(error)
            return remark("counter_reading", f"left out: {found}", "the sample itself is kept", "note")
        self.sample_counters += read.stored
        for finding in read.findings:
            if finding.severity == "conflict":
                found = f"left out: another sheet of that day differs: {finding.found}"
                return remark("counter_reading", found, "the sample itself is kept", "note")
        return None

    def _service(self, unit: UnitKey, row: Row) -> Result:
        given = row.values
        try:
            check_serial(self.connection, unit, given.get("serial_seen", ""))
        except UsageError as error:
            raise Refused("serial_seen", str(error), "find out which unit it was, then correct the row") from error
        for name in ("as_found_counter", "as_left_counter"):
            self._short_enough(unit, name, given.get(name), self._drives.digits(unit))
        for task in given.get("resets", ()):
            if task not in (*TASKS, NO_RESETS):
                raise Refused("resets", f"there is no task {task}", f"write {', '.join(TASKS)}, or {NO_RESETS}")
        whose = f"{unit.tag}, {given['work']} on {given['done_on']}"
        unsaid = () if "resets" in given else ("resets",)
        return self._keep("service", row, service_columns(unit.id, given), whose, BY_HAND, leaves_open=unsaid)

    def _condition(self, unit: UnitKey, row: Row) -> Result:
        given = row.values
        columns = condition_columns(unit.id, given)
        whose = f"{unit.tag}, {CONDITION_KINDS[given['kind']]} noted on {given['noted_on']}"
        unsaid = () if "severe" in given else ("severe",)
        return self._keep("condition", row, columns, whose, BY_HAND, leaves_open=unsaid)

    def _observations(self, unit: UnitKey, row: Row) -> Result:
        """A row per quantity; those that the book has are known, those that say otherwise are conflicts, one by one."""
        day, compartment = row.values["observed_on"], row.values.get("compartment", "")
        if compartment and compartment not in self._compartments.get(unit.id, set()):
            raise Refused("compartment", f"{unit.tag} has no compartment {compartment}", "correct the name")
        results = []
        for columns in observation_rows(self.connection, unit, day, row.values, compartment):
            name = columns["quantity"]
            whose = f"{unit.tag}, {label(name)} of {day}"
            result = self._keep("observation", row, columns, whose, BY_HAND)
            results.append(Result(tuple(replace(one, field=name) for one in result.findings), result.stored))
        if not results:
            raise Refused(WHOLE_ROW, "nothing is noted in it", "write what was seen, or delete the row")
        findings = tuple(one for result in results for one in result.findings)
        return Result(_once(findings), any(result.stored for result in results))

    def _limit(self, row: Row) -> Result:
        try:
            columns = limit_columns(row.values)
        except UsageError as error:
            raise Refused(WHOLE_ROW, str(error), "correct the row, then import it again") from error
        whose = f"limit of {columns['quantity']} for {columns['group_name'] or columns['technology']}"
        return self._keep("oil_limit", row, columns, whose, "keep the book's, or change it: tapwear limits set --help")


def _once(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """The findings without those that say the same of the row as a whole again, once for each of its quantities."""
    return tuple({(one.found, one.severity): one for one in findings}.values())
