"""Visits into the book: all that one visit found in one piece, the same whatever the order and however often.

Every row that comes of a visit has a `uid` that follows from the visit's id, the field and the value. So a visit
handed in twice adds nothing, and any order of visits gives the same rows. Of several savings of one visit the one
with the highest revision counts. Visits that differ about the same counter on the same day are all kept: a person
decides (tapwear.store.resolving). What a person corrected by hand since is left as it is. Only whether an oil sample is
taken in depends on what the book knows by then: the last pressure before the visit.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.entries import columns_of, squeezed
from tapwear.store.find import UnitKey, find_unit
from tapwear.store.lean import is_current, lean
from tapwear.store.observations import last_pressure
from tapwear.store.recording import Stamp, record
from tapwear.store.same_day import exchanges_on, told_apart
from tapwear.store.visit_ground import whose_serial
from tapwear.store.visit_rows import Remark, VisitRow, rows_of
from tapwear.visits.visit import Visit, content_text, only_de_energised, visit_from
from tapwear.words import as_typed

BIT = 12  # hexadecimal digits of a hash that stand for a field or a value in a uid: our choice
REPLACED = "a later saving of the same visit"


@dataclass(frozen=True)
class VisitOutcome:
    """What became of a visit.

    kind : "stored" (new), "known" (nothing added), "replaced" (a later saving took over), or "older" (the book holds
        a later saving). rows : readings, observations and conditions written
    """

    kind: Literal["stored", "known", "replaced", "older"]
    rows: int
    remarks: tuple[Remark, ...] = ()


def record_visit(connection: Connection, visit: Visit, stamp: Stamp) -> VisitOutcome:
    """Stores a visit whole: its readings, observations and what else it says; call it in one unit of work.

    What cannot be taken (a number longer than the counter, a position that the unit has not) becomes a remark, and
    the rest is kept. Raises UsageError when nothing can be taken: no such unit, another serial number than the
    register's without `another_unit`, or nothing noted at all.
    """
    if visit.empty:
        raise UsageError(f"The visit to {visit.unit} on {visit.visited_on} holds nothing: give what was read or seen.")
    if not visit.unit:
        visit = replace(visit, unit=_tag_by_serial(connection, visit))
    unit = find_unit(connection, visit.unit)
    _check_serial(connection, unit, visit)
    visit, refused = _sample_allowed(connection, unit, visit)
    if visit.empty:
        raise UsageError(f"{refused[0].found}. {refused[0].remedy}. The visit holds nothing else.")
    kind, before, remarks = _keep_whole(connection, unit, visit, stamp)
    remarks += refused
    if kind == "older":
        return VisitOutcome(kind, 0, tuple(remarks))
    now = rows_of(connection, unit, visit)
    old = None if before is None else rows_of(connection, find_unit(connection, before.unit), before).rows
    if kind == "stored":  # nothing of it can be in the book yet
        written = sum(_put(connection, row, stamp, None, next(_names_for(visit, row)), remarks) for row in now.rows)
    else:
        written = _bring_in_line(connection, visit, old, now.rows, stamp, remarks)
    remarks += now.remarks
    if kind != "known" or written:
        read = [row for row in now.rows if row.table == "reading"]
        remarks += [told for row in read for told in _others(connection, unit, now.slots, row)]
    return VisitOutcome("replaced" if kind == "known" and written else kind, written, tuple(remarks))


def _sample_allowed(connection: Connection, unit: UnitKey, visit: Visit) -> tuple[Visit, list[Remark]]:
    """The visit without its sample, and why, where the sample may have been drawn only from a de-energised unit and
    nobody says that it was one."""
    if not visit.sample_taken or visit.de_energised or visit.another_unit:
        return visit, []
    read = visit.observations.get("pressure_kpa")
    pressure = last_pressure(connection, unit, visit.visited_on) if read is None else float(read)
    changer = lean("tap_changer", "id", "sampling_needs_outage")
    outage = connection.execute(sa.select(changer.c.sampling_needs_outage).where(changer.c.id == unit.id)).scalar()
    why = only_de_energised(pressure, bool(outage))
    if not why:
        return visit, []
    said = f" Pressure: {pressure:g} kPa." if pressure is not None and pressure < 0 else ""
    found = f"{unit.tag}: oil sample not taken in.{said} {' '.join(why)}".rstrip(".")
    remedy = 'if the unit was isolated and earthed, say so on the sheet, or as "de_energised": true with a new revision'
    return replace(visit, sample_taken=False), [Remark("sample_taken", found, remedy, "rejected")]


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


def _tag_by_serial(connection: Connection, visit: Visit) -> str:
    """The tag of the unit whose serial number a visit names instead. Raises UsageError where that is not one unit."""
    exact, near = whose_serial(connection, visit.serial_seen)
    if len(exact) == 1:
        return exact[0]
    where = f" at {visit.station}" if visit.station else ""
    if exact:
        units = ", ".join(exact)
        raise UsageError(f"Serial number {visit.serial_seen}{where} is that of {units}: say which unit it is.")
    close = f" It comes near that of {' or '.join(near)}." if near else ""
    raise UsageError(
        f"No unit in the register has serial number {visit.serial_seen}, seen{where}.{close} Nothing of this visit was "
        "taken. Add it to the register (tapwear unit add TAG --serial S), then import the file again"
    )


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


# --- bringing the book in line --------------------------------------------------------------------------------


def _put(
    connection: Connection, row: VisitRow, stamp: Stamp, present: int | None, uid: str, remarks: list[Remark]
) -> int:
    """Writes one row, over `present` where the visit has one already; returns how many rows were written.

    A row that closes something takes the place of what is open. Where nobody may close it, or nothing is open any
    more, that is a remark and nothing is written.
    """
    if not row.closes:
        record(connection, row.table, stamp, present, uid=uid, **row.columns)
        return 1
    ended = {name: row.columns[name] for name in ("closed_on", "closed_words")}
    if present is not None:
        record(connection, row.table, stamp, present, uid=uid, **(columns_of(connection, row.table, present) | ended))
        return 1
    about = {name: value for name, value in row.columns.items() if name not in ended}
    rows = lean(row.table, "id", "supersedes_id", "withdrawn", "closed_on", *about)
    same = (rows.c[name] == value for name, value in about.items())
    found = connection.execute(sa.select(rows.c.id).where(is_current(rows), rows.c.closed_on.is_(None), *same))
    number = found.scalars().first()
    said = f"{row.columns['words']} of {row.columns['noted_on']}"
    if number is None:
        remarks.append(Remark(row.name, f"{said} is not open any more", "nothing is left to do", "note"))
        return 0
    whole = columns_of(connection, row.table, number)
    if whole.get("severe"):
        found_severe = f"{said}: a severe condition is not closed from a visit"
        remarks.append(Remark(row.name, found_severe, "the responsible engineer closes it", "rejected"))
        return 0
    if ended["closed_on"] < whole["noted_on"]:
        early = f"{said} cannot be closed on {ended['closed_on']}, before it was noted"
        remarks.append(Remark(row.name, early, "correct the day of the visit", "rejected"))
        return 0
    record(connection, row.table, stamp, number, uid=uid, **(whole | ended))
    return 1


def _bring_in_line(
    connection: Connection,
    visit: Visit,
    old: list[VisitRow] | None,
    now: list[VisitRow],
    stamp: Stamp,
    remarks: list[Remark],
) -> int:
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
        written += _put(connection, row, stamp if present is None else again, present, uid, remarks)
    for row in before.values():
        present, _ = _present(connection, visit.id, row)
        if present is None:
            continue
        columns = columns_of(connection, row.table, present)
        if row.closes:  # open again, as it was before
            record(connection, row.table, again, present, **(columns | {"closed_on": None, "closed_words": ""}))
        else:
            record(connection, row.table, again, present, withdrawn=True, **columns)
        written += 1
    return written


def _present(connection: Connection, visit_id: str, row: VisitRow) -> tuple[int | None, set[str]]:
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


def _names_for(visit: Visit, row: VisitRow) -> Iterator[str]:
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


def _others(connection: Connection, unit: UnitKey, slots: Mapping[int, str], row: VisitRow) -> list[Remark]:
    """What else the book says about that counter on that day, where time or order do not tell them apart."""
    reading = lean(
        *("reading", "id", "counter_id", "read_on", "read_time", "value", "reader"), *("supersedes_id", "withdrawn")
    )
    others = connection.execute(
        sa.select(reading.c.value, reading.c.reader, reading.c.read_time)
        .where(
            reading.c.counter_id == row.columns["counter_id"],
            reading.c.read_on == row.columns["read_on"],
            reading.c.value != row.columns["value"],
            is_current(reading),
        )
        .order_by(reading.c.value)
    ).all()
    mine = (row.columns["read_time"], row.columns["value"])
    swaps = exchanges_on(connection, unit, slots[row.columns["counter_id"]], row.columns["read_on"]) if others else ()
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
        for value, reader, at in others
        if not told_apart(mine, (at, value), swaps)
    ]
