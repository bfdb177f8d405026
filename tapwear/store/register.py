"""The register: units are added, corrected, moved, swapped and retired; every change leaves its trace.

A unit is a tap changer under the owner's tag. Correcting a field is a change, kept with its former value. Moving,
swapping and retiring are things that happened on a day: they append stays and change none.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.compartments import set_serials
from tapwear.store.find import UnitKey, find_unit
from tapwear.store.lean import lean
from tapwear.store.places import OF_TRANSFORMER, add_drive, add_station, drives_of, place_at, scheme_of, transformer_of
from tapwear.store.recording import Change, Stamp, amend, insert, note_change, record
from tapwear.store.stays import StandingRow, standing, standing_now
from tapwear.store.validate import checked
from tapwear.visits.fields import UNITS
from tapwear.words import as_typed

_OWN = (
    *("serial", "technology", "breathing", "peer_group", "oil_group", "rated_current_a", "step_voltage_v"),
    *("commissioned_on", "sampling_needs_outage", "visit_cadence", "positions", "note"),
)
_INTERVALS = ("interval_operations", "interval_years")
_OWN_RULE = "contact service"  # the task that a unit's own interval is meant for


def add_unit(connection: Connection, values: Mapping[str, Any], stamp: Stamp, *, sure: bool = False) -> UnitKey:
    """A new unit with its place, drives, compartments and first stay.

    Parameters
    ----------
    connection : with the write lock, as given by `Store.rows(writing=True)`
    values : fields of tapwear.visits.fields.UNITS by name; `unit`, `station` and `counter_digits` are needed
    stamp : who records, when
    sure : a station whose code comes near another one's is new, not misspelled

    Raises UsageError for a tag or serial number that is taken, a missing field, a value outside its range.
    """
    given = checked(UNITS, values)
    for name in ("station", "counter_digits"):
        if name not in given:
            raise UsageError(f"{name} is needed for a new unit: {UNITS.field(name).help}.")
    tag = given["unit"]
    _free_tag(connection, tag)
    _free_serial(connection, given.get("serial"), None)
    station = add_station(connection, given["station"], stamp, sure=sure, region=given.get("region", ""))
    place = place_at(connection, station, given.get("bank", ""), given.get("phase", ""))
    own = {name: given[name] for name in _OWN if name in given}
    if not own.get("serial"):
        own["serial"] = None  # unknown serial numbers are all alike, known ones never
    scheme = scheme_of(connection, given["scheme"]) if given.get("scheme") else None
    number = insert(connection, "tap_changer", tag=tag, scheme_id=scheme, **own)
    note_change(connection, Change("tap_changer", number, "made", None, tag), stamp)
    unit = UnitKey(number, tag)
    transformer = _transformer(connection, given, None, stamp)
    record(
        connection,
        "stay",
        stamp,
        tap_changer_id=number,
        place_id=place,
        transformer_id=transformer,
        state=given.get("state") or "in service",
    )
    for slot in given.get("drives") or ("1",):
        add_drive(connection, number, slot, given["counter_digits"], stamp)
    for name in given.get("compartments") or ("",):
        insert(connection, "compartment", tap_changer_id=number, name=name, oil_volume_l=given.get("oil_volume_l"))
    if given.get("compartment_serials"):
        set_serials(connection, unit, given["compartment_serials"], stamp)
    _own_rule(connection, unit, given, stamp)
    return unit


def change_unit(
    connection: Connection, tag: str, values: Mapping[str, Any], stamp: Stamp, *, sure: bool = False
) -> list[Change]:
    """Corrects what the register says of a unit; `values` as for `add_unit`, `unit` being a new tag.

    A new station, bank or phase corrects the place of the unit's present stay from its beginning; for a move on a
    day use `move_unit`. Returns the fields that changed.
    """
    given = checked(UNITS, values, all_required=False)
    unit = find_unit(connection, tag)
    own = {name: given[name] for name in _OWN if name in given}
    if "serial" in own:
        own["serial"] = own["serial"] or None
        _free_serial(connection, own["serial"], unit.id)
    if given.get("unit") not in (None, unit.tag):
        _free_tag(connection, given["unit"], unit.id)
        own["tag"] = given["unit"]
    if "scheme" in given:
        own["scheme_id"] = scheme_of(connection, given["scheme"]) if given["scheme"] else None
    changes = amend(connection, "tap_changer", unit.id, own, stamp)
    changes += _correct_stay(connection, unit, given, stamp, sure)
    if "region" in given:
        now = standing_now(connection, unit.id)
        if now.station_id is not None:
            changes += amend(connection, "station", now.station_id, {"region": given["region"]}, stamp)
    if "oil_volume_l" in given:
        for number in _compartments(connection, unit.id).values():
            changes += amend(connection, "compartment", number, {"oil_volume_l": given["oil_volume_l"]}, stamp)
    changes += _own_rule(connection, unit, given, stamp)
    changes += _parts(connection, unit, given, stamp)
    return changes


def move_unit(
    connection: Connection,
    tag: str,
    on: date,
    stamp: Stamp,
    *,
    station: str | None = None,
    bank: str = "",
    phase: str = "",
    state: str | None = None,
    transformer_serial: str | None = None,
    sure: bool = False,
) -> UnitKey:
    """The unit stands somewhere else, or is in another state, from that day on.

    `station` None keeps the place for a change of state only. Raises UsageError when a later stay is recorded
    already, or when nothing changes.
    """
    unit = find_unit(connection, tag)
    before = _last_stay(connection, unit, on)
    place, transformer = before.place_id, before.transformer_id
    if station is not None:
        place = place_at(connection, add_station(connection, station, stamp, sure=sure), bank, phase)
        transformer = None if place != before.place_id else transformer
    if transformer_serial:
        transformer = transformer_of(connection, transformer_serial)
    new = state or before.state
    if new == "in service" and place is None:
        raise UsageError(f"{unit.tag} is at no place of ours: name the station where it goes into service.")
    if (place, transformer, new) == (before.place_id, before.transformer_id, before.state):
        raise UsageError(f"{unit.tag} is there already, {before.state}; nothing was changed.")
    _stay(connection, unit, place, transformer, new, on, stamp)
    return unit


def swap_units(
    connection: Connection, out: str, into: str, on: date, stamp: Stamp, *, state: str | None = None
) -> tuple[UnitKey, UnitKey]:
    """The unit `into` takes the place of the unit `out`, which goes to the workshop or becomes a spare.

    The rate of operations stays with the place, the wear goes with the tap changer. Where `into` is in service
    elsewhere, the two exchange places. Raises UsageError when `out` stands nowhere, both stand together, or the two
    would exchange places and `state` says otherwise.
    """
    leaves, comes = find_unit(connection, out), find_unit(connection, into)
    if leaves.id == comes.id:
        raise UsageError(f"{leaves.tag} cannot be swapped with itself.")
    old, new = _last_stay(connection, leaves, on), _last_stay(connection, comes, on)
    if old.state != "in service":
        raise UsageError(f"{leaves.tag} is not in service ({old.state}), so nothing can take its place.")
    if new.state == "retired":
        raise UsageError(f"{comes.tag} is retired; move it out of that state first.")
    if new.state == "in service":
        if new.place_id == old.place_id:
            raise UsageError(
                f"{leaves.tag} and {comes.tag} stand at the same station, bank and phase; give them banks first "
                "(tapwear unit change TAG --bank B)."
            )
        if state not in (None, "in service"):
            raise UsageError(
                f"{comes.tag} is in service at {new.where} on {on}, so the two would exchange places and {leaves.tag} "
                f"not be {state}. Record first what became of {comes.tag} before that day, or leave its state out."
            )
        _stay(connection, leaves, new.place_id, new.transformer_id, "in service", on, stamp)
    else:
        _stay(connection, leaves, None, None, state or "workshop", on, stamp)
    _stay(connection, comes, old.place_id, old.transformer_id, "in service", on, stamp)
    return leaves, comes


def retire_unit(connection: Connection, tag: str, on: date, stamp: Stamp) -> UnitKey:
    """The unit is out of use for good from that day on; its history stays."""
    unit = find_unit(connection, tag)
    before = _last_stay(connection, unit, on)
    if before.state == "retired":
        raise UsageError(f"{unit.tag} is retired already.")
    _stay(connection, unit, None, None, "retired", on, stamp)
    return unit


# --- parts ----------------------------------------------------------------------------------------------------


def _free_tag(connection: Connection, tag: str, but: int | None = None) -> None:
    changer = lean("tap_changer", "id", "tag")
    for number, known in connection.execute(sa.select(changer.c.id, changer.c.tag)):
        if known.casefold() == tag.casefold() and number != but:
            raise UsageError(f"There is a unit {known} already; tags that differ only in capital letters are one.")


def _free_serial(connection: Connection, serial: str | None, but: int | None) -> None:
    if not serial:
        return
    changer = lean("tap_changer", "id", "tag", "serial")
    row = connection.execute(sa.select(changer.c.id, changer.c.tag).where(changer.c.serial == serial)).first()
    if row is not None and row.id != but:
        raise UsageError(f"Serial number {serial} belongs to unit {row.tag}; no two tap changers have the same.")


def _transformer(connection: Connection, given: Mapping[str, Any], present: int | None, stamp: Stamp) -> int | None:
    """The transformer that the fields speak of: by serial number, else the present one, else a new nameless one."""
    fields = {name: given[name] for name in OF_TRANSFORMER if name in given}
    number = present
    if given.get("transformer_serial"):
        number = transformer_of(connection, given["transformer_serial"])
    elif number is None and fields:
        number = insert(connection, "transformer", serial=None)
    if number is not None:
        amend(connection, "transformer", number, fields, stamp)
    return number


def _own_rule(connection: Connection, unit: UnitKey, given: Mapping[str, Any], stamp: Stamp) -> list[Change]:
    fields = {name: given[name] for name in _INTERVALS if name in given}
    if not fields:
        return []
    rule = lean("service_rule", "id", "tap_changer_id", "task")
    number = connection.execute(
        sa.select(rule.c.id).where(rule.c.tap_changer_id == unit.id, rule.c.task == _OWN_RULE)
    ).scalar()
    if number is not None:
        return amend(connection, "service_rule", int(number), fields, stamp)
    made = insert(connection, "service_rule", tap_changer_id=unit.id, scheme_id=None, task=_OWN_RULE, **fields)
    changes = [Change("service_rule", made, name, None, value) for name, value in fields.items()]
    for change in changes:
        note_change(connection, change, stamp)
    return changes


def _compartments(connection: Connection, tap_changer_id: int) -> dict[str, int]:
    compartment = lean("compartment", "id", "tap_changer_id", "name")
    rows = connection.execute(
        sa.select(compartment.c.name, compartment.c.id).where(compartment.c.tap_changer_id == tap_changer_id)
    )
    return {str(row[0]): int(row[1]) for row in rows}


def _parts(connection: Connection, unit: UnitKey, given: Mapping[str, Any], stamp: Stamp) -> list[Change]:
    """Drives and compartments that the unit lacks are added; the digits of its mechanical counters corrected."""
    changes: list[Change] = []
    drives = drives_of(connection, unit.id)
    counter = lean("counter", "id", "drive_id", "source", "digits")
    counters = connection.execute(
        sa.select(counter.c.id, counter.c.digits)
        .where(counter.c.drive_id.in_(list(drives.values())), counter.c.source == "mechanical")
        .order_by(counter.c.id)
    ).all()
    digits = given.get("counter_digits") or (counters[-1].digits if counters else None)
    if "counter_digits" in given:
        if len(counters) > len(drives):
            raise UsageError(
                f"{unit.tag} has had counters of different length; a new one is recorded with: tapwear event "
                f"{unit.tag} counter_replaced --digits {digits}"
            )
        for row in counters:
            changes += amend(connection, "counter", row.id, {"digits": digits}, stamp)
    for slot in given.get("drives", ()):
        if slot not in drives:
            if digits is None:
                raise UsageError(f"{unit.tag} has no counter yet; say how many digits it shows (counter_digits).")
            change = Change("drive", add_drive(connection, unit.id, slot, digits, stamp), "made", None, slot)
            note_change(connection, change, stamp)
            changes.append(change)
    known = _compartments(connection, unit.id)
    for name in given.get("compartments", ()):
        if name not in known:
            made = insert(
                connection, "compartment", tap_changer_id=unit.id, name=name, oil_volume_l=given.get("oil_volume_l")
            )
            change = Change("compartment", made, "made", None, name)
            note_change(connection, change, stamp)
            changes.append(change)
    if given.get("compartment_serials"):
        changes += set_serials(connection, unit, given["compartment_serials"], stamp)
    return changes


def _correct_stay(
    connection: Connection, unit: UnitKey, given: Mapping[str, Any], stamp: Stamp, sure: bool
) -> list[Change]:
    """A corrected place, transformer or state supersedes the unit's present stay, from the same day."""
    concerned = {"station", "bank", "phase", "state", "transformer_serial", *OF_TRANSFORMER} & given.keys()
    if not concerned:
        return []
    now = standing_now(connection, unit.id)
    place = now.place_id
    if {"station", "bank", "phase"} & concerned:
        code = given.get("station", now.station)
        if not code:
            raise UsageError(f"{unit.tag} is at no place of ours; move it with: tapwear unit move {as_typed(unit.tag)}")
        station = add_station(connection, code, stamp, sure=sure)
        place = place_at(connection, station, given.get("bank", now.bank), given.get("phase", now.phase))
    transformer = _transformer(connection, given, now.transformer_id, stamp)
    state = given.get("state") or now.state
    if state == "in service" and place is None:
        move = f"tapwear unit move {as_typed(unit.tag)}"
        raise UsageError(f"{unit.tag} is at no place of ours; put it into service with: {move}")
    pairs = (
        ("place_id", now.place_id, place),
        ("transformer_id", now.transformer_id, transformer),
        ("state", now.state, state),
    )
    changes = [Change("stay", now.id, name, old, new) for name, old, new in pairs if old != new]
    if changes:
        record(
            connection,
            "stay",
            stamp,
            now.id,
            tap_changer_id=unit.id,
            place_id=place,
            transformer_id=transformer,
            state=state,
            from_on=now.from_on,
        )
    return changes


def _last_stay(connection: Connection, unit: UnitKey, on: date) -> StandingRow:
    """The unit's latest stay; raises UsageError when it begins on or after that day, for history is append-only."""
    last = standing(connection, unit.id)[-1]
    if last.from_on == on:
        raise UsageError(
            f"{unit.tag} is {last.state} at {last.where} since that day, {on}. What is wrong there is corrected with: "
            f"tapwear unit change {as_typed(unit.tag)}, or taken back with: tapwear undo"
        )
    if last.from_on is not None and last.from_on > on:
        raise UsageError(
            f"{unit.tag} is {last.state} at {last.where} since {last.from_on}; a change on {on} would lie before that."
        )
    return last


def _stay(
    connection: Connection,
    unit: UnitKey,
    place: int | None,
    transformer: int | None,
    state: str,
    on: date,
    stamp: Stamp,
) -> None:
    record(
        connection,
        "stay",
        stamp,
        tap_changer_id=unit.id,
        place_id=place,
        transformer_id=transformer,
        state=state,
        from_on=on,
    )
