"""Visits into the book: all that one visit found in one piece, the same whatever the order and however often.

Every row that comes of a visit has a `uid` that follows from the visit's id, the field and the value. So a visit
handed in twice adds nothing, and any order of visits gives the same rows. Of several savings of one visit the one
with the highest revision counts. Visits that differ about the same counter on the same day are all kept: a person
decides (tapwear.store.resolving). What a person corrected by hand since is left as it is.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.findings import Severity
from tapwear.store.conditions import condition_columns
from tapwear.store.counters import counter_for, drive_in
from tapwear.store.entries import columns_of, squeezed
from tapwear.store.find import UnitKey, find_unit
from tapwear.store.lean import is_current, lean
from tapwear.store.observations import positions_known
from tapwear.store.recording import Stamp, record
from tapwear.store.validate import checked
from tapwear.visits.observations import OBSERVATIONS, noted
from tapwear.visits.specs import Unfit
from tapwear.visits.visit import CounterSeen, Visit, content_text, visit_from
from tapwear.words import as_typed

BIT = 12  # hexadecimal digits of a hash that stand for a field or a value in a uid: our choice
REPLACED = "a later saving of the same visit"


@dataclass(frozen=True)
class Remark:
    """What is to be said about one field of a visit."""

    field: str
    found: str
    remedy: str
    severity: Severity


@dataclass(frozen=True)
class VisitOutcome:
    """What became of a visit.

    kind : "stored" (new), "known" (nothing added), "replaced" (a later saving took over), or "older" (the book holds
        a later saving). rows : readings, observations and conditions written
    """

    kind: Literal["stored", "known", "replaced", "older"]
    rows: int
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True)
class _Row:
    """One row of the book that follows from a visit: `name` is the field that a person would look at."""

    table: str
    key: str
    name: str
    columns: Mapping[str, Any]


@dataclass
class _Found:
    rows: list[_Row] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)

    def refuse(self, name: str, found: str, remedy: str) -> None:
        self.remarks.append(Remark(name, found, remedy, "rejected"))


def record_visit(connection: Connection, visit: Visit, stamp: Stamp) -> VisitOutcome:
    """Stores a visit whole: its readings, observations and what else it says; call it in one unit of work.

    What cannot be taken (a number longer than the counter, a position that the unit has not) becomes a remark, and
    the rest is kept. Raises UsageError when nothing can be taken: no such unit, another serial number than the
    register's without `another_unit`, or nothing noted at all.
    """
    if visit.empty:
        raise UsageError(f"The visit to {visit.unit} on {visit.visited_on} holds nothing: give what was read or seen.")
    unit = find_unit(connection, visit.unit)
    _check_serial(connection, unit, visit)
    kind, before, remarks = _keep_whole(connection, unit, visit, stamp)
    if kind == "older":
        return VisitOutcome(kind, 0, tuple(remarks))
    now = _rows_of(connection, unit, visit)
    old = None if before is None else _rows_of(connection, find_unit(connection, before.unit), before).rows
    if kind == "stored":  # nothing of it can be in the book yet
        written = _write(connection, visit, now.rows, stamp)
    else:
        written = _bring_in_line(connection, visit, old, now.rows, stamp)
    remarks += now.remarks
    if kind != "known" or written:
        remarks += [told for row in now.rows if row.table == "reading" for told in _others(connection, unit, row)]
    return VisitOutcome("replaced" if kind == "known" and written else kind, written, tuple(remarks))


def visits_by_id(connection: Connection, visit_id: str) -> list[Visit]:
    """All savings of a visit that the book holds, in the order in which they came."""
    rows = lean("visit", "id", "visit_id", "content")
    found = connection.execute(sa.select(rows.c.content).where(rows.c.visit_id == visit_id).order_by(rows.c.id))
    return [visit_from(json.loads(text)) for text in found.scalars()]


def _keep_whole(
    connection: Connection, unit: UnitKey, visit: Visit, stamp: Stamp
) -> tuple[Literal["stored", "known", "replaced", "older"], Visit | None, list[Remark]]:
    """Keeps this saving of the visit where it is new; says what it is, and which saving counted before it."""
    saved = visits_by_id(connection, visit.id)
    if not saved:
        _write_whole(connection, unit, visit, stamp, None)
        return "stored", None, []
    highest = max(saved, key=_rank)
    if _rank(visit) < _rank(highest):
        if visit.revision < highest.revision or visit in saved:
            return "older", highest, []
        return "older", highest, [_clash(visit, "the other one counts")]
    if _rank(visit) == _rank(highest):
        return "known", None, []
    rows = lean("visit", "id", "supersedes_id", "withdrawn", "visit_id")
    current = connection.execute(sa.select(rows.c.id).where(rows.c.visit_id == visit.id, is_current(rows))).scalar()
    if current is None:  # a person took the visit back: it stays so
        return "older", highest, []
    _write_whole(connection, unit, visit, stamp, int(current))
    clash = [_clash(visit, "this one counts")] if visit.revision == highest.revision else []
    return "replaced", highest, clash


def _rank(visit: Visit) -> tuple[int, str]:
    return visit.revision, content_text(visit)


def _clash(visit: Visit, which: str) -> Remark:
    found = f"{visit.unit}: two savings of one visit, both with revision {visit.revision}, differ; {which}"
    return Remark("revision", found, "look at the visit; where a file was changed by hand, raise its revision", "note")


def _write_whole(connection: Connection, unit: UnitKey, visit: Visit, stamp: Stamp, supersedes_id: int | None) -> None:
    text = content_text(visit)
    record(
        connection, "visit", stamp, supersedes_id,
        uid=f"{visit.id}-{_bit(text)}",
        visit_id=visit.id, revision=visit.revision, tap_changer_id=unit.id, visited_on=visit.visited_on,
        reader=visit.by, serial_seen=visit.serial_seen, another_unit=visit.another_unit,
        sample_taken=visit.sample_taken, content=text,
    )  # fmt: skip


def _check_serial(connection: Connection, unit: UnitKey, visit: Visit) -> None:
    changer = lean("tap_changer", "id", "tag", "serial")
    known = connection.execute(sa.select(changer.c.serial).where(changer.c.id == unit.id)).scalar()
    if visit.another_unit:
        if not visit.serial_seen:
            raise UsageError(f"{unit.tag}: another unit stands there: its serial number is needed. Nothing was taken.")
        return
    if not (known and visit.serial_seen) or squeezed(known) == squeezed(visit.serial_seen):
        return
    rows = connection.execute(sa.select(changer.c.tag, changer.c.serial).where(changer.c.serial.is_not(None)))
    likely = [tag for tag, serial in rows if squeezed(serial) == squeezed(visit.serial_seen)]
    which = f"that is the serial number of {likely[0]}: was it there? " if likely else ""
    raise UsageError(
        f"{unit.tag} has serial number {known}, the visit says {visit.serial_seen}: {which}Nothing of this visit was "
        f"taken. If the register is wrong: tapwear unit change {as_typed(unit.tag)} --serial {visit.serial_seen}"
    )


# --- rows that follow from a visit ----------------------------------------------------------------------------


def _rows_of(connection: Connection, unit: UnitKey, visit: Visit) -> _Found:
    found = _Found()
    if visit.another_unit:
        words = f"Another unit stands here: the nameplate says serial number {visit.serial_seen}."
        given = {"noted_on": visit.visited_on, "kind": "other", "words": words, "author": visit.by, "severe": False}
        found.rows.append(_Row("condition", "another unit", "serial_seen", condition_columns(unit.id, given)))
        return found
    for seen in visit.counters:
        _counter_row(connection, unit, visit, seen, found)
    values = dict(visit.observations)
    if visit.remark:
        values.setdefault("remark", visit.remark)
    checked(OBSERVATIONS, {"unit": unit.tag, "observed_on": visit.visited_on, **values})
    positions = positions_known(connection, unit)
    try:
        pairs = noted(values, positions)
    except Unfit:
        pairs = _one_by_one(values, positions, found)
    for name, (value, words) in pairs.items():
        columns = {
            "tap_changer_id": unit.id, "observed_on": visit.visited_on, "visit_id": visit.id, "compartment": "",
            "quantity": name, "value": value, "words": words,
        }  # fmt: skip
        found.rows.append(_Row("observation", name, name, columns))
    return found


def _one_by_one(values: Mapping[str, Any], positions: Any, found: _Found) -> dict[str, tuple[float | None, str]]:
    """The observations that can be taken, where they cannot all be."""
    good: dict[str, Any] = {}
    pairs: dict[str, tuple[float | None, str]] = {}
    for name, value in values.items():
        try:
            pairs = noted({**good, name: value}, positions)
        except Unfit as unfit:
            found.refuse(name, unfit.found, unfit.remedy)
        else:
            good[name] = value
    return pairs if len(pairs) == len(good) else noted(good, positions)


def _counter_row(connection: Connection, unit: UnitKey, visit: Visit, seen: CounterSeen, found: _Found) -> None:
    name = "counters"
    try:
        slot = drive_in(connection, unit, seen.drive, visit.visited_on)
        counter = counter_for(connection, unit, slot, seen.source, visit.visited_on)
    except UsageError as error:
        found.refuse(name, str(error), "correct the drive, then hand the visit in again")
        return
    if seen.value >= 10**counter.digits:
        found.refuse(
            name,
            f"{seen.value} is too long for the counter of {unit.tag}, which has {counter.digits} digits",
            f"correct the number; if the counter is longer: tapwear unit change {as_typed(unit.tag)} --digits N",
        )
        return
    if any(row.key == f"{slot}/{seen.source}" for row in found.rows):
        found.refuse(name, f"two numbers of one counter of {unit.tag} in one visit, {seen.value} too", "keep one")
        return
    columns = {
        "counter_id": counter.id, "read_on": visit.visited_on, "value": seen.value, "current_a": None,
        "reader": visit.by, "doubt": seen.doubt, "remark": "",
    }  # fmt: skip
    found.rows.append(_Row("reading", f"{slot}/{seen.source}", name, columns))


# --- bringing the book in line --------------------------------------------------------------------------------


def _write(connection: Connection, visit: Visit, rows: list[_Row], stamp: Stamp) -> int:
    """Writes the rows of a visit of which the book has none; returns their number."""
    for row in rows:
        record(connection, row.table, stamp, uid=next(_names_for(visit, row)), **row.columns)
    return len(rows)


def _bring_in_line(connection: Connection, visit: Visit, old: list[_Row] | None, now: list[_Row], stamp: Stamp) -> int:
    """Writes what the book lacks of this visit and takes back what only the saving before it said, whose rows are
    `old` (None: there was none). Returns how many rows were written."""
    before = {(row.table, row.key): row for row in old or ()}
    again = replace(stamp, reason=stamp.reason or REPLACED)
    written = 0
    for row in now:
        former = before.pop((row.table, row.key), None)
        present, known = _present(connection, visit.id, row)
        same = old is None or (former is not None and former.columns == row.columns)
        if same and known:  # as it was, or as a person left it since
            continue
        uid = next(uid for uid in _names_for(visit, row) if uid not in known)
        record(connection, row.table, stamp if present is None else again, present, uid=uid, **row.columns)
        written += 1
    for row in before.values():
        present, _ = _present(connection, visit.id, row)
        if present is not None:
            record(connection, row.table, again, present, withdrawn=True, **columns_of(connection, row.table, present))
            written += 1
    return written


def _present(connection: Connection, visit_id: str, row: _Row) -> tuple[int | None, set[str]]:
    """The row of this visit and field that is current, and the uids of all that ever were."""
    rows = lean(row.table, "id", "uid", "supersedes_id", "withdrawn")
    begin = f"{visit_id}-{_bit(row.table + '/' + row.key)}-"
    found = connection.execute(
        sa.select(rows.c.id, rows.c.uid, is_current(rows)).where(_begins(connection, rows.c.uid, begin))
    ).all()
    current = [int(number) for number, _, now in found if now]
    return (current[0] if current else None), {str(uid) for _, uid, _ in found}


def _begins(connection: Connection, uid: Any, text: str) -> sa.ColumnElement[bool]:
    """True for a uid that begins so; in SQLite as a range, which uses the index."""
    if connection.dialect.name == "sqlite":
        return sa.and_(uid >= text, uid < text + "~")
    return sa.ColumnElement.startswith(uid, text)


def _names_for(visit: Visit, row: _Row) -> Iterator[str]:
    # How a store numbers its units and counters must not show in the name.
    said = {name: value for name, value in row.columns.items() if name not in ("counter_id", "tap_changer_id")}
    told = json.dumps(said, sort_keys=True, default=str)
    uid = f"{visit.id}-{_bit(row.table + '/' + row.key)}-{_bit(told)}"
    yield uid
    number = visit.revision
    while True:  # the same value again, after another one between
        yield f"{uid}-{number}"
        number += 1


def _bit(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:BIT]


def _others(connection: Connection, unit: UnitKey, row: _Row) -> list[Remark]:
    """What else the book says about that counter on that day."""
    reading = lean("reading", "id", "counter_id", "read_on", "value", "reader", "supersedes_id", "withdrawn")
    others = connection.execute(
        sa.select(reading.c.value, reading.c.reader)
        .where(
            reading.c.counter_id == row.columns["counter_id"],
            reading.c.read_on == row.columns["read_on"],
            reading.c.value != row.columns["value"],
            is_current(reading),
        )
        .order_by(reading.c.value)
    ).all()
    return [
        Remark(
            row.name,
            f"{unit.tag} on {row.columns['read_on']}: {row.columns['value']}"
            + (f" by {row.columns['reader']}" if row.columns["reader"] else "")
            + f", in the book {value}"
            + (f" by {reader}" if reader else "")
            + "; both are kept",
            "decide which is right: tapwear resolve",
            "conflict",
        )
        for value, reader in others
    ]
