"""What `unit show` and `unit list` tell, as plain values, without frames."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.clocks import RULE_FIELDS, effective_rules
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.places import drives_of
from tapwear.store.stays import StandingRow, standing

_OWN = (
    *("serial", "technology", "breathing", "peer_group", "oil_group", "rated_current_a", "step_voltage_v"),
    *("commissioned_on", "sampling_needs_outage", "visit_cadence", "positions", "note"),
)


@dataclass(frozen=True)
class UnitSheet:
    """One unit with all that the register says of it, and how much the book holds."""

    tag: str
    fields: dict[str, Any]
    scheme: str
    stays: tuple[StandingRow, ...]
    compartments: tuple[tuple[str, float | None, str | None], ...]  # name, oil volume [L], serial number
    drives: dict[str, tuple[tuple[str, int], ...]]  # slot -> (source, digits)
    rules: dict[str, dict[str, Any]]
    last_readings: dict[str, tuple[date, int, str]]  # slot -> day, number, reader
    last_doubts: dict[str, str]  # slot -> why the last reading is doubtful or disputed
    rows: dict[str, int]  # table of the book -> current rows
    last_service: tuple[date, str] | None
    last_sample_on: date | None
    changes: tuple[tuple[Any, ...], ...]  # recorded_at, recorded_by, field, before, after, reason


def unit_sheet(connection: Connection, unit: UnitKey) -> UnitSheet:
    """All about one unit."""
    changer = lean("tap_changer", "id", "tag", "scheme_id", *_OWN)
    row = connection.execute(
        sa.select(changer.c.tag, changer.c.scheme_id, *(changer.c[name] for name in _OWN)).where(
            changer.c.id == unit.id
        )
    ).one()
    scheme = lean("scheme", "id", "name")
    name = connection.execute(sa.select(scheme.c.name).where(scheme.c.id == row.scheme_id)).scalar()
    compartment = lean("compartment", "id", "tap_changer_id", "name", "oil_volume_l", "serial")
    parts = connection.execute(
        sa.select(compartment.c.name, compartment.c.oil_volume_l, compartment.c.serial)
        .where(compartment.c.tap_changer_id == unit.id)
        .order_by(compartment.c.id)
    )
    held = drives_of(connection, unit.id)
    counter = lean("counter", "id", "drive_id", "source", "digits")
    counters: dict[int, list[tuple[str, int]]] = {}
    for drive, source, digits in connection.execute(
        sa.select(counter.c.drive_id, counter.c.source, counter.c.digits)
        .where(counter.c.drive_id.in_(list(held.values())))
        .order_by(counter.c.id)
    ):
        counters.setdefault(drive, []).append((source, digits))
    return UnitSheet(
        tag=row.tag,
        fields={field: row._mapping[field] for field in _OWN},
        scheme=name or "",
        stays=tuple(standing(connection, unit.id)),
        compartments=tuple((str(part[0]), part[1], part[2]) for part in parts),
        drives={slot: tuple(counters.get(drive, [])) for slot, drive in sorted(held.items())},
        rules=_rules(connection, unit, row.scheme_id),
        last_readings=_last_readings(connection, held),
        last_doubts=_last_doubts(connection, unit, held),
        rows=_numbers(connection, unit, held),
        last_service=_newest(connection, unit, "service", "done_on", "work"),
        last_sample_on=(_newest(connection, unit, "sample", "sampled_on", "laboratory") or (None,))[0],
        changes=_changes(connection, unit),
    )


def _rules(connection: Connection, unit: UnitKey, scheme_id: int | None) -> dict[str, dict[str, Any]]:
    rule = lean("service_rule", "scheme_id", "tap_changer_id", "task", *RULE_FIELDS)
    holds = rule.c.tap_changer_id == unit.id
    if scheme_id is not None:  # without a scheme only its own: a comparison with nothing would take every unit's own
        holds = sa.or_(holds, rule.c.scheme_id == scheme_id)
    rows = connection.execute(sa.select(rule).where(holds)).mappings()
    found = [dict(row) for row in rows]
    return effective_rules(
        [row for row in found if row["tap_changer_id"] is None], [row for row in found if row["tap_changer_id"]]
    )


def unit_rules(connection: Connection, unit: UnitKey) -> dict[str, dict[str, Any]]:
    """The rules that hold for a unit, by task."""
    changer = lean("tap_changer", "id", "scheme_id")
    scheme = connection.execute(sa.select(changer.c.scheme_id).where(changer.c.id == unit.id)).scalar()
    return _rules(connection, unit, scheme)


def _last_readings(connection: Connection, held: dict[str, int]) -> dict[str, tuple[date, int, str]]:
    found = {slot: _last_reading(connection, drive) for slot, drive in held.items()}
    return {slot: (row.read_on, row.value, row.reader) for slot, row in found.items() if row is not None}


def _last_reading(connection: Connection, drive: int) -> Any:
    """The last reading of a drive's own counter: of several a day the latest by time, or as they were recorded."""
    reading = lean(
        *("reading", "id", "counter_id", "read_on", "read_time", "value", "reader", "doubt"),
        *("supersedes_id", "withdrawn"),
    )
    counter = lean("counter", "id", "drive_id", "source")
    mine = (counter.c.drive_id == drive, counter.c.source == "mechanical", is_current(reading))
    together = reading.join(counter, reading.c.counter_id == counter.c.id)
    last = sa.select(sa.func.max(reading.c.read_on)).select_from(together).where(*mine).scalar_subquery()
    columns = (reading.c[name] for name in ("id", "read_on", "read_time", "value", "reader", "doubt"))
    rows = connection.execute(sa.select(*columns).select_from(together).where(*mine, reading.c.read_on == last)).all()
    timed = all(row.read_time for row in rows)
    return max(rows, key=lambda row: (row.read_time if timed else "", row.id), default=None)


def _last_doubts(connection: Connection, unit: UnitKey, held: dict[str, int]) -> dict[str, str]:
    """What is to be said against the last reading of each drive, where something is: a doubt, another number."""
    from tapwear.store.resolving import open_conflicts

    disputed = {(one.drive, one.read_on): one for one in open_conflicts(connection, unit) if one.source == "mechanical"}
    found: dict[str, str] = {}
    for slot, drive in held.items():
        row = _last_reading(connection, drive)
        if row is None:
            continue
        words = [f"doubtful: {row.doubt}"] if row.doubt else []
        if (slot, row.read_on) in disputed:
            others = sorted({one.value for one in disputed[slot, row.read_on].claims} - {row.value})
            listed = " and ".join(map(str, others))
            words.append(f"disputed: the book has {listed} of that day too; decide with tapwear resolve {unit.tag}")
        if words:
            found[slot] = "; ".join(words)
    return found


def _numbers(connection: Connection, unit: UnitKey, held: dict[str, int]) -> dict[str, int]:
    numbers = {}
    for name in ("event", "sample", "service"):
        rows = lean(name, "id", "tap_changer_id", "supersedes_id", "withdrawn")
        query = sa.select(sa.func.count()).where(rows.c.tap_changer_id == unit.id, is_current(rows))
        numbers[name] = int(connection.execute(query).scalar_one())
    reading = lean("reading", "id", "counter_id", "supersedes_id", "withdrawn")
    counter = lean("counter", "id", "drive_id")
    query = sa.select(sa.func.count()).where(
        reading.c.counter_id == counter.c.id, counter.c.drive_id.in_(list(held.values())), is_current(reading)
    )
    return {"reading": int(connection.execute(query).scalar_one()), **numbers}


def _newest(connection: Connection, unit: UnitKey, table: str, day: str, word: str) -> tuple[date, str] | None:
    rows = lean(table, "id", "tap_changer_id", day, word, "supersedes_id", "withdrawn")
    row = connection.execute(
        sa.select(rows.c[day], rows.c[word])
        .where(rows.c.tap_changer_id == unit.id, is_current(rows))
        .order_by(rows.c[day].desc(), rows.c.id.desc())
        .limit(1)
    ).first()
    return None if row is None else (row[0], row[1])


def _changes(connection: Connection, unit: UnitKey) -> tuple[tuple[Any, ...], ...]:
    change = lean(
        "register_change", "id", "table_name", "row_id", "field", "before", "after", "recorded_at", "recorded_by",
        "reason",
    )  # fmt: skip
    rows = connection.execute(
        sa.select(
            change.c.recorded_at,
            change.c.recorded_by,
            change.c.field,
            change.c.before,
            change.c.after,
            change.c.reason,
        )
        .where(change.c.table_name == "tap_changer", change.c.row_id == unit.id)
        .order_by(change.c.id)
    )
    return tuple(tuple(row) for row in rows)


@dataclass(frozen=True)
class UnitLine:
    """One line of the list of units."""

    tag: str
    station: str
    bank: str
    phase: str
    state: str
    serial: str
    technology: str
    last_reading_on: date | None


def list_units(connection: Connection) -> list[UnitLine]:
    """All units by tag, each where it stands now."""
    changer = lean("tap_changer", "id", "tag", "serial", "technology")
    stay = lean("stay", "id", "tap_changer_id", "place_id", "state", "from_on", "supersedes_id", "withdrawn")
    place = lean("place", "id", "station_id", "bank", "phase")
    station = lean("station", "id", "code")
    stays = connection.execute(
        sa.select(
            stay.c.tap_changer_id, station.c.code, place.c.bank, place.c.phase, stay.c.state, stay.c.from_on, stay.c.id
        )
        .select_from(
            stay.outerjoin(place, stay.c.place_id == place.c.id).outerjoin(station, place.c.station_id == station.c.id)
        )
        .where(is_current(stay))
    ).all()
    where = {row[0]: row for row in sorted(stays, key=lambda row: (row[5] or date.min, row[6]))}
    fitting = lean("fitting", "id", "drive_id", "tap_changer_id", "supersedes_id", "withdrawn")
    counter = lean("counter", "id", "drive_id", "source")
    reading = lean("reading", "id", "counter_id", "read_on", "supersedes_id", "withdrawn")
    readings = connection.execute(
        sa.select(fitting.c.tap_changer_id, sa.func.max(reading.c.read_on))
        .select_from(
            fitting.join(counter, counter.c.drive_id == fitting.c.drive_id).join(
                reading, reading.c.counter_id == counter.c.id
            )
        )
        .where(is_current(fitting), is_current(reading), counter.c.source == "mechanical")
        .group_by(fitting.c.tap_changer_id)
    )
    newest = {row[0]: row[1] for row in readings}
    lines = []
    rows = connection.execute(sa.select(changer.c.id, changer.c.tag, changer.c.serial, changer.c.technology))
    for number, tag, serial, technology in rows:
        stands = where.get(number)
        code, bank, phase, state = stands[1:5] if stands else ("", "", "", "")
        lines.append(
            UnitLine(tag, code or "", bank or "", phase or "", state, serial or "", technology, newest.get(number))
        )
    return sorted(lines, key=lambda line: line.tag)
