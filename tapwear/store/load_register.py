"""Loads who is who: units where they stand, their stays, the drives on them, and the rules that hold for them."""

from __future__ import annotations

from typing import Any, NamedTuple

import pandas as pd
import sqlalchemy as sa

from tapwear.store.clocks import RULE_FIELDS, effective_rules
from tapwear.store.frames import Scope, among, text_array, typed
from tapwear.store.lean import is_current
from tapwear.store.visit_rules import VISIT_RULE_FIELDS
from tapwear.store.whereabouts import IN_SERVICE, CounterRow, FittingRow, Spell, StayRow, spells


class PlaceRow(NamedTuple):
    """A place with its station, as the units frame shows it."""

    station: str
    station_name: str
    region: str
    neighbourhood: str
    bank: str
    phase: str

    @property
    def key(self) -> str:
        return f"{self.station}/{self.bank}/{self.phase}"


def places_of(scope: Scope) -> dict[int, PlaceRow]:
    """Places by row number: all, or those where the units asked for ever stood."""
    place, station, stay = scope.table("place"), scope.table("station"), scope.table("stay")
    query = sa.select(
        place.c.id,
        station.c.code,
        station.c.name,
        station.c.region,
        station.c.neighbourhood,
        place.c.bank,
        place.c.phase,
    ).join_from(place, station, place.c.station_id == station.c.id)
    if scope.ids is not None:
        mine = sa.select(stay.c.place_id).where(*scope.of_units(stay.c.tap_changer_id))
        query = query.where(place.c.id.in_(mine))
    return {row[0]: PlaceRow(*row[1:]) for row in scope.rows(query)}


def spells_of(scope: Scope, places: dict[int, PlaceRow]) -> dict[str, list[Spell]]:
    """The spells of every unit asked for, in order."""
    stay = scope.table("stay")
    changer = scope.table("tap_changer")
    query = (
        sa.select(stay.c.id, changer.c.tag, stay.c.place_id, stay.c.transformer_id, stay.c.state, stay.c.from_on)
        .join_from(stay, changer, stay.c.tap_changer_id == changer.c.id)
        .where(is_current(stay))
    )
    if scope.ids is not None:  # whoever stood at the same places decides the positions there
        neighbours = scope.rows(sa.select(stay.c.tap_changer_id).where(among(stay.c.place_id, places)).distinct())
        query = query.where(among(stay.c.tap_changer_id, {*scope.ids, *(row[0] for row in neighbours)}))
    names = {number: place.key for number, place in places.items()}
    found = spells([StayRow(*row) for row in scope.rows(query)], names, scope.as_of)
    tags = set(scope.units.tolist())
    return {tag: own for tag, own in found.items() if tag in tags}


def fittings_of(scope: Scope) -> list[FittingRow]:
    """Fittings of the drives asked for, those elsewhere included, in no order."""
    fitting, conditions = scope.current("fitting", "from_on")
    changer = scope.table("tap_changer")
    query = (
        sa.select(
            fitting.c.id, fitting.c.drive_id, changer.c.tag, fitting.c.slot, fitting.c.from_on, fitting.c.counter_then
        )
        .join_from(fitting, changer, fitting.c.tap_changer_id == changer.c.id, isouter=True)
        .where(*conditions)
    )
    if scope.ids is not None:
        mine = sa.select(fitting.c.drive_id).where(*scope.of_units(fitting.c.tap_changer_id))
        query = query.where(fitting.c.drive_id.in_(mine))
    return [FittingRow(row[0], row[1], row[2] or "", *row[3:]) for row in scope.rows(query)]


def counters_of(scope: Scope, drives: dict[int, list[FittingRow]]) -> list[CounterRow]:
    """The counters of these drives, in no order."""
    counter = scope.table("counter")
    query = sa.select(counter.c.id, counter.c.drive_id, counter.c.source, counter.c.digits)
    if scope.ids is not None:
        query = query.where(among(counter.c.drive_id, drives))
    return [CounterRow(*row) for row in scope.rows(query) if row[1] in drives]


def units_frame(
    scope: Scope,
    places: dict[int, PlaceRow],
    where: dict[str, list[Spell]],
    drives: dict[int, list[FittingRow]],
    counters: list[CounterRow],
) -> pd.DataFrame:
    """The units, each where it stands at the end of the load's days."""
    changer, scheme, compartment = scope.table("tap_changer"), scope.table("scheme"), scope.table("compartment")
    volume = (  # of one compartment: the mean where there are several
        sa.select(sa.func.avg(compartment.c.oil_volume_l))
        .where(compartment.c.tap_changer_id == changer.c.id)
        .scalar_subquery()
    )
    own = (
        *("serial", "technology", "breathing", "peer_group", "oil_group", "rated_current_a", "step_voltage_v"),
        *("commissioned_on", "visit_cadence", "positions", "sampling_needs_outage"),
    )
    query = (
        sa.select(
            changer.c.tag.label("unit"),
            *(changer.c[name] for name in own),
            scheme.c.name.label("scheme"),
            volume.label("oil_volume_l"),
        )
        .join_from(changer, scheme, changer.c.scheme_id == scheme.c.id, isouter=True)
        .where(*scope.of_units(changer.c.id))
        .order_by(changer.c.tag)
    )
    frame = scope.frame(query)
    transformers = _transformers(scope, {where[unit][-1].stay.transformer_id for unit in where})
    digits, alone = _digits(drives, counters), _only_drives(drives)
    nowhere = PlaceRow("", "", "", "", "", "")
    standing = []
    for unit in frame["unit"].tolist():
        last = where[unit][-1] if where.get(unit) else None
        place = places[last.stay.place_id] if last and last.stay.place_id is not None else nowhere
        serial, conservator, tank = transformers.get(last.stay.transformer_id if last else None, ("", "", None))
        now = (last.place, last.stay.state) if last else ("", IN_SERVICE)
        standing.append((*place, *now, serial or "", conservator, tank, digits.get(unit, 0)))
    names = [*PlaceRow._fields, "place", "state", "transformer_serial", "conservator", "main_tank_volume_l", "digits"]
    frame = pd.concat([frame, pd.DataFrame(standing, columns=names, index=frame.index)], axis=1)
    frame["sampling_needs_outage"] = frame["sampling_needs_outage"].astype(bool)
    frame["only_drive"] = [alone.get(unit, "") for unit in frame["unit"].tolist()]
    texts = [*names[:10], "unit", "serial", "technology", "breathing", "peer_group", "oil_group", "scheme"]
    return typed(
        frame,
        dates=["commissioned_on"],
        floats=["oil_volume_l", "main_tank_volume_l", "rated_current_a", "step_voltage_v"],
        texts=[*texts, "visit_cadence", "positions", "only_drive"],
        whole=["digits"],
    )


def _transformers(scope: Scope, wanted: set[int | None]) -> dict[int | None, tuple[str | None, str, float | None]]:
    transformer = scope.table("transformer")
    query = sa.select(
        transformer.c.id, transformer.c.serial, transformer.c.conservator, transformer.c.main_tank_volume_l
    )
    if scope.ids is not None:
        query = query.where(among(transformer.c.id, (number for number in wanted if number is not None)))
    return {row[0]: (row[1], row[2], row[3]) for row in scope.rows(query)}


def _digits(drives: dict[int, list[FittingRow]], counters: list[CounterRow]) -> dict[str, int]:
    """Digits of the counter that governs each unit: the newest mechanical one on the drive of its first slot."""
    best: dict[int, tuple[bool, int, int]] = {}
    for one in counters:
        known = best.get(one.drive_id, (False, 0, 0))
        best[one.drive_id] = max(known, (one.source == "mechanical", one.id, one.digits))
    now: dict[str, tuple[str, int]] = {}
    for drive, own in drives.items():
        last = own[-1]
        if last.unit and drive in best:
            now[last.unit] = min(now.get(last.unit, (last.slot, best[drive][2])), (last.slot, best[drive][2]))
    return {unit: digits for unit, (_, digits) in now.items()}


def _only_drives(drives: dict[int, list[FittingRow]]) -> dict[str, str]:
    """The slot of the drive of each unit that has one only."""
    slots: dict[str, list[str]] = {}
    for own in drives.values():
        if own[-1].unit:
            slots.setdefault(own[-1].unit, []).append(own[-1].slot)
    return {unit: found[0] for unit, found in slots.items() if len(found) == 1}


def stays_frame(where: dict[str, list[Spell]]) -> pd.DataFrame:
    """The spells of the units as a frame."""
    rows = [
        (unit, spell.place, spell.stay.from_on, spell.to_on, spell.stay.state)
        for unit in sorted(where)
        for spell in where[unit]
    ]
    frame = pd.DataFrame(rows, columns=["unit", "place", "from_on", "to_on", "state"])
    return typed(frame, dates=["from_on", "to_on"], texts=["unit", "place", "state"])


def visit_rules_frame(scope: Scope) -> pd.DataFrame:
    """The visit rule that holds for each unit of which there is one, field by field its own before its scheme's."""
    changer, rule = scope.table("tap_changer"), scope.table("visit_rule")
    own, shared = rule.alias(), rule.alias()
    fields = [name for name in VISIT_RULE_FIELDS if name != "provenance"]
    query = (
        sa.select(
            changer.c.tag.label("unit"),
            *(sa.func.coalesce(own.c[name], shared.c[name]).label(name) for name in fields),
        )
        .join_from(changer, own, own.c.tap_changer_id == changer.c.id, isouter=True)
        .join(shared, shared.c.scheme_id == changer.c.scheme_id, isouter=True)
        .where(sa.or_(own.c.id.is_not(None), shared.c.id.is_not(None)), *scope.of_units(changer.c.id))
        .order_by(changer.c.tag)
    )
    return typed(scope.frame(query), floats=fields, texts=["unit"])


def rules_frame(scope: Scope) -> pd.DataFrame:
    """The rules that hold for each unit, one row a unit and task."""
    changer, rule = scope.table("tap_changer"), scope.table("service_rule")
    units = scope.rows(
        sa.select(changer.c.id, changer.c.tag, changer.c.scheme_id)
        .where(*scope.of_units(changer.c.id))
        .order_by(changer.c.tag)
    )
    query = sa.select(rule.c.scheme_id, rule.c.tap_changer_id, rule.c.task, *(rule.c[name] for name in RULE_FIELDS))
    if scope.ids is not None:
        schemes = {row[2] for row in units if row[2] is not None}
        query = query.where(sa.or_(*scope.of_units(rule.c.tap_changer_id), among(rule.c.scheme_id, schemes)))
    of_scheme: dict[int, list[Any]] = {}
    of_unit: dict[int, list[Any]] = {}
    for scheme_id, unit_id, task, *fields in scope.rows(query):
        rule_row = {"task": task, **dict(zip(RULE_FIELDS, fields, strict=True))}
        (of_unit.setdefault(unit_id, []) if scheme_id is None else of_scheme.setdefault(scheme_id, [])).append(rule_row)
    different: list[tuple[Any, ...]] = []  # most units have the rules of their scheme and no others
    held: dict[tuple[int | None, int | None], range] = {}
    which: list[int] = []
    tags: list[str] = []
    for number, tag, scheme_id in units:
        key = (scheme_id, number if number in of_unit else None)
        if key not in held:
            rules = effective_rules(of_scheme.get(scheme_id, []), of_unit.get(number, []))
            held[key] = range(len(different), len(different) + len(rules))
            different += [(task, *(fields[name] for name in RULE_FIELDS)) for task, fields in rules.items()]
        which += held[key]
        tags += [tag] * len(held[key])
    frame = pd.DataFrame(different, columns=["task", *RULE_FIELDS])
    texts = ["task", "kit", "provenance"]
    frame = typed(frame, floats=[name for name in RULE_FIELDS if name not in texts], texts=texts)
    frame["current_exponent"] = frame["current_exponent"].fillna(0.0)
    frame = frame.take(which).reset_index(drop=True)
    frame.insert(0, "unit", text_array(tags))
    return frame
