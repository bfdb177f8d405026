"""Holds the rows of an import against what the store and the other rows say of like units and groups."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.doubts import Doubt, Item, anothers, other_century, other_length, soon_again, tenfold
from tapwear.store.doubts_samples import QUANTITIES, exchanged
from tapwear.store.lean import is_current, lean
from tapwear.visits.types import Below, Row

INTERVALS = ("interval_operations", "interval_years")
FEWEST_SAMPLES = 3
LONGEST_LIST = 500  # of tags in one query: our choice; for more of them all are read


def find_doubts(
    connection: Connection, rows: Sequence[Row], today: date, *, corrects: bool = False
) -> dict[int, Doubt]:
    """The rows that are to be held, by id(), each with why. Reads the store, changes nothing.

    corrects : what the rows say of a unit takes the place of what the store says of it
    """
    by_table: dict[str, list[Row]] = {}
    for row in rows:
        by_table.setdefault(row.table, []).append(row)
    found: dict[int, Doubt] = {}
    for row in rows:
        doubt = other_century(row.table, row.values, today)
        if doubt is not None:
            named = (row.values["unit"],) if "unit" in row.values else ()
            found[id(row)] = Doubt(doubt.field, doubt.found, named)
    units, rules = by_table.get("units", []), by_table.get("service_rules", [])
    if rules or any(name in row.values for row in units for name in INTERVALS):
        found |= _intervals(connection, rules, units, corrects)
    if by_table.get("limits"):
        found |= _limits(connection, by_table["limits"])
    if any("counter_digits" in row.values for row in units):
        found |= _lengths(connection, units, corrects)
    ahead = {row.values["unit"]: row for row in units if row.values.get("commissioned_on", today) > today}
    if ahead:
        found |= _read_before(connection, ahead, by_table)
    if by_table.get("services"):
        found |= _services(connection, by_table["services"], by_table)
    if by_table.get("samples"):
        found |= _samples(connection, by_table["samples"])
    return found


def stored_doubts(connection: Connection) -> list[tuple[Item, str]]:
    """Intervals and limits in the store that are about ten times, or a tenth of, what like ones have."""
    return tenfold(_stored_intervals(connection)) + tenfold(_stored_limits(connection))


# --- intervals and limits ---------------------------------------------------------------------------------------


def _stored_intervals(connection: Connection) -> list[Item]:
    rule, scheme = lean("service_rule", "scheme_id", "tap_changer_id", "task", *INTERVALS), lean("scheme", "id", "name")
    changer = lean("tap_changer", "id", "tag")
    query = (
        sa.select(scheme.c.name, changer.c.tag, rule.c.task, *(rule.c[name] for name in INTERVALS))
        .select_from(
            rule.outerjoin(scheme, scheme.c.id == rule.c.scheme_id).outerjoin(
                changer, changer.c.id == rule.c.tap_changer_id
            )
        )
        .order_by(rule.c.task, scheme.c.name, changer.c.tag)
    )
    followers = _followers(connection, ())
    items = []
    for name, tag, task, *values in connection.execute(query):
        units = (tag,) if tag else tuple(followers.get(name, ()))
        whose = f"unit {tag}" if tag else f"scheme {name}"
        for what, value in zip(INTERVALS, values, strict=True):
            if value is not None:
                items.append(Item(f"{task}, {what}", whose, float(value), units))
    return items


def _followers(connection: Connection, rows: Iterable[Row]) -> dict[str, list[str]]:
    """The units of each scheme, in the store and in the rows of this import."""
    changer, scheme = lean("tap_changer", "tag", "scheme_id"), lean("scheme", "id", "name")
    found: dict[str, dict[str, None]] = {}
    query = sa.select(scheme.c.name, changer.c.tag).join_from(changer, scheme, changer.c.scheme_id == scheme.c.id)
    for name, tag in connection.execute(query.order_by(changer.c.tag)):
        found.setdefault(name, {})[tag] = None
    for row in rows:
        if row.values.get("scheme"):
            found.setdefault(row.values["scheme"], {})[row.values["unit"]] = None
    return {name: list(tags) for name, tags in found.items()}


def _intervals(connection: Connection, rules: Sequence[Row], units: Sequence[Row], corrects: bool) -> dict[int, Doubt]:
    stored = _stored_intervals(connection)
    if corrects:
        said = {f"unit {row.values['unit']}" for row in units}
        stored = [item for item in stored if item.whose not in said]
    known = {(item.what, item.whose) for item in stored}
    followers = _followers(connection, units)
    every = [*rules, *units]
    items = list(stored)
    for number, row in enumerate(every):
        given = row.values
        tag = given.get("unit", "")
        whose = f"unit {tag}" if tag else f"scheme {given.get('scheme', '')}"
        for name in INTERVALS:
            what = f"{given.get('task', 'contact service')}, {name}"
            if name in given and (what, whose) not in known:
                matters = (tag,) if tag else tuple(followers.get(given.get("scheme", ""), ()))
                items.append(Item(what, whose, float(given[name]), matters, number))
    return _held(every, items, lambda item: item.what.rpartition(", ")[2])


def _stored_limits(connection: Connection) -> list[Item]:
    names = ("group_name", "technology", "quantity", "breakdown_method", "value")
    limit = lean("oil_limit", "id", "supersedes_id", "withdrawn", *names)
    rows = connection.execute(sa.select(*(limit.c[name] for name in names)).where(is_current(limit)))
    groups = _in_groups(connection)
    return [
        Item(f"{quantity} {method}".strip(), f"{group}, {technology}", float(value), groups.get(group, ()))
        for group, technology, quantity, method, value in rows
    ]


def _in_groups(connection: Connection) -> dict[str, tuple[str, ...]]:
    changer = lean("tap_changer", "tag", "oil_group")
    found: dict[str, list[str]] = {}
    for group, tag in connection.execute(sa.select(changer.c.oil_group, changer.c.tag).order_by(changer.c.tag)):
        found.setdefault(group, []).append(tag)
    return {group: tuple(tags) for group, tags in found.items()}


def _limits(connection: Connection, rows: Sequence[Row]) -> dict[int, Doubt]:
    stored = _stored_limits(connection)
    known = {(item.what, item.whose) for item in stored}
    groups = _in_groups(connection)
    items = list(stored)
    for number, row in enumerate(rows):
        given = row.values
        group = given.get("group", "")
        what = f"{given['quantity']} {given.get('breakdown_method', '')}".strip()
        whose = f"{group}, {given.get('technology', '')}"
        if (what, whose) not in known:
            items.append(Item(what, whose, float(given["value"]), groups.get(group, ()) if group else (), number))
    return _held(rows, items, lambda item: "value")


def _held(rows: Sequence[Row], items: Iterable[Item], field: Any) -> dict[int, Doubt]:
    return {
        id(rows[item.number]): Doubt(field(item), found, item.units)
        for item, found in tenfold(items)
        if item.number is not None
    }


# --- counters ---------------------------------------------------------------------------------------------------


def _lengths(connection: Connection, rows: Sequence[Row], corrects: bool) -> dict[int, Doubt]:
    changer, scheme = lean("tap_changer", "id", "tag", "scheme_id", "technology"), lean("scheme", "id", "name")
    fitting, counter = lean("fitting", "tap_changer_id", "drive_id"), lean("counter", "drive_id", "source", "digits")
    query = (
        sa.select(changer.c.tag, scheme.c.name, changer.c.technology, sa.func.max(counter.c.digits))
        .select_from(
            changer.join(fitting, fitting.c.tap_changer_id == changer.c.id)
            .join(counter, counter.c.drive_id == fitting.c.drive_id)
            .outerjoin(scheme, scheme.c.id == changer.c.scheme_id)
        )
        .where(counter.c.source == "mechanical")
        .group_by(changer.c.id, changer.c.tag, scheme.c.name, changer.c.technology)
    )
    digits: dict[str, int] = {}
    alike: dict[str, str] = {}
    known: set[str] = set()
    for tag, name, technology, length in connection.execute(query):
        known.add(tag.casefold())
        digits[tag], alike[tag] = length, name or technology
    new: dict[str, Row] = {}
    for row in rows:
        tag = row.values["unit"]
        if "counter_digits" in row.values and (corrects or tag.casefold() not in known):
            new[tag] = row
            digits[tag] = row.values["counter_digits"]
            alike[tag] = row.values.get("scheme") or alike.get(tag) or row.values.get("technology", "")
    odd = other_length(digits, alike, new)
    return {id(new[tag]): Doubt("counter_digits", found, (tag,)) for tag, found in odd.items()}


def _read_before(
    connection: Connection, ahead: Mapping[str, Row], by_table: Mapping[str, list[Row]]
) -> dict[int, Doubt]:
    """Units that are to go into service on a day to come, and have readings: they would be left out of every list."""
    changer, fitting = lean("tap_changer", "id", "tag"), lean("fitting", "tap_changer_id", "drive_id")
    counter = lean("counter", "id", "drive_id")
    reading = lean("reading", "id", "supersedes_id", "withdrawn", "counter_id")
    query = (
        sa.select(changer.c.tag)
        .distinct()
        .join_from(changer, fitting, fitting.c.tap_changer_id == changer.c.id)
        .join(counter, counter.c.drive_id == fitting.c.drive_id)
        .join(reading, reading.c.counter_id == counter.c.id)
        .where(is_current(reading))
    )
    if len(ahead) <= LONGEST_LIST:
        query = query.where(changer.c.tag.in_(sorted(ahead)))
    read = {str(tag).casefold() for tag in connection.execute(query).scalars()}
    read |= {row.values["unit"].casefold() for row in by_table.get("readings", [])}
    return {
        id(row): Doubt("commissioned_on", f"{row.values['commissioned_on']} lies ahead, and it was read before", (tag,))
        for tag, row in ahead.items()
        if tag.casefold() in read
    }


# --- services ---------------------------------------------------------------------------------------------------


def _services(connection: Connection, rows: Sequence[Row], by_table: Mapping[str, list[Row]]) -> dict[int, Doubt]:
    stations = _stations(connection, by_table.get("units", []))
    spelled = {tag.casefold(): tag for tag in stations}
    overhauls, known = _overhauls(connection)
    brought: dict[str, list[date]] = {}  # by this import: of two, the later one is held
    for row in rows:
        tag = spelled.get(row.values["unit"].casefold())
        if tag and row.values["work"] == "overhaul":
            brought.setdefault(tag, []).append(row.values["done_on"])
    new = [
        (row, tag)
        for row in rows
        if (tag := spelled.get(row.values["unit"].casefold()))
        and (tag, row.values["done_on"], row.values["work"]) not in known
    ]
    counted = {stations[tag] for row, tag in new if "as_found_counter" in row.values}
    mates: dict[str, list[str]] = {}
    for tag, station in stations.items():
        mates.setdefault(station, []).append(tag)
    readings = (
        _readings(connection, {tag for tag, at in stations.items() if at in counted}, by_table) if counted else {}
    )
    found: dict[int, Doubt] = {}
    for row, tag in new:
        day, shown = row.values["done_on"], row.values.get("as_found_counter")
        others = anothers(tag, day, shown, mates[stations[tag]], readings) if shown is not None else ()
        near = None
        if row.values["work"] == "overhaul":
            earlier = (one for one in brought.get(tag, ()) if one < day)
            near = soon_again((*overhauls.get(tag, ()), *earlier), day, brought.get(tag, ()))
        if others:
            told = f"{shown:,} cannot have been on the counter of {tag} on {day}, but on that of {' or '.join(others)}"
            found[id(row)] = Doubt("as_found_counter", f"{told}: is it the right unit?", (tag, *others))
        elif near is not None:
            told = f"{tag} was overhauled on {near}, too: is it the right unit and day?"
            found[id(row)] = Doubt("done_on", told, (tag,))
    return found


def overhauled_soon(connection: Connection, tag: str, day: date) -> date | None:
    """The day of another overhaul of the unit shortly before or after this one, by the book."""
    return soon_again(_overhauls(connection)[0].get(tag, ()), day)


def _stations(connection: Connection, rows: Iterable[Row]) -> dict[str, str]:
    """Where each unit last stood, by the store and the rows of this import."""
    changer, stay = lean("tap_changer", "id", "tag"), lean("stay", "tap_changer_id", "place_id", "id")
    place, station = lean("place", "id", "station_id"), lean("station", "id", "code")
    query = (
        sa.select(changer.c.tag, station.c.code)
        .join_from(changer, stay, stay.c.tap_changer_id == changer.c.id)
        .join(place, place.c.id == stay.c.place_id)
        .join(station, station.c.id == place.c.station_id)
        .order_by(stay.c.id)
    )
    found = {row.values["unit"]: row.values["station"] for row in rows if "station" in row.values}
    return found | {tag: code for tag, code in connection.execute(query)}


def _overhauls(connection: Connection) -> tuple[dict[str, list[date]], set[tuple[str, date, str]]]:
    """Days of each unit's overhauls, and all services that are known."""
    changer = lean("tap_changer", "id", "tag")
    service = lean("service", "id", "supersedes_id", "withdrawn", "tap_changer_id", "done_on", "work")
    query = sa.select(changer.c.tag, service.c.done_on, service.c.work).join_from(
        service, changer, service.c.tap_changer_id == changer.c.id
    )
    days: dict[str, list[date]] = {}
    known = set()
    for tag, day, work in connection.execute(query.where(is_current(service))):
        known.add((tag, day, work))
        if work == "overhaul":
            days.setdefault(tag, []).append(day)
    return days, known


def _readings(
    connection: Connection, tags: set[str], by_table: Mapping[str, list[Row]]
) -> dict[str, list[tuple[date, int]]]:
    """Readings of the units with one drive and one counter that was never replaced, in order of their days."""
    changer, fitting = lean("tap_changer", "id", "tag"), lean("fitting", "tap_changer_id", "drive_id")
    counter = lean("counter", "id", "drive_id", "source")
    reading = lean("reading", "id", "supersedes_id", "withdrawn", "counter_id", "read_on", "value")
    query = (
        sa.select(changer.c.tag, counter.c.id, reading.c.read_on, reading.c.value)
        .join_from(changer, fitting, fitting.c.tap_changer_id == changer.c.id)
        .join(counter, counter.c.drive_id == fitting.c.drive_id)
        .join(reading, reading.c.counter_id == counter.c.id)
        .where(counter.c.source == "mechanical", is_current(reading))
    )
    if len(tags) <= LONGEST_LIST:
        query = query.where(changer.c.tag.in_(sorted(tags)))
    found: dict[str, list[tuple[date, int]]] = {}
    counters: dict[str, set[int]] = {}
    for tag, number, day, value in connection.execute(query):
        counters.setdefault(tag, set()).add(number)
        found.setdefault(tag, []).append((day, value))
    spelled = {tag.casefold(): tag for tag in tags}
    for row in by_table.get("readings", []):
        tag = spelled.get(row.values["unit"].casefold(), "")
        if tag and row.values.get("source", "mechanical") == "mechanical" and not row.values.get("drive"):
            found.setdefault(tag, []).append((row.values["read_on"], row.values["value"]))
    replaced = {row.values["unit"] for row in by_table.get("events", []) if row.values["kind"] == "counter_replaced"}
    return {
        tag: sorted(set(own)) for tag, own in found.items() if tag not in replaced and len(counters.get(tag, ())) <= 1
    }


# --- samples ----------------------------------------------------------------------------------------------------


def _samples(connection: Connection, rows: Sequence[Row]) -> dict[int, Doubt]:
    by_file: dict[str, list[Row]] = {}
    for row in rows:
        by_file.setdefault(row.file, []).append(row)
    past: dict[str, list[dict[str, float]]] | None = None
    found: dict[int, Doubt] = {}
    for own in by_file.values():
        if len(own) < FEWEST_SAMPLES:
            continue
        past = _past_samples(connection) if past is None else past
        seen = [(row.values["unit"].casefold(), _measured(row.values)) for row in own]
        told = exchanged(seen, past)
        if told is None:
            continue
        one, other, number = told
        units = tuple(dict.fromkeys(row.values["unit"] for row in own))
        said = f"in {number} of the {len(own)} rows of this file {one} and {other} seem to be exchanged"
        found |= {id(row): Doubt(one, said, units) for row in own if one in row.values or other in row.values}
    return found


def _measured(values: Mapping[str, Any]) -> dict[str, float]:
    measured = {name: values[name] for name in QUANTITIES if values.get(name) is not None}
    return {name: float(value) for name, value in measured.items() if not isinstance(value, Below) and value > 0}


def _past_samples(connection: Connection) -> dict[str, list[dict[str, float]]]:
    changer = lean("tap_changer", "id", "tag")
    marks = tuple(name.replace("_ul_per_l", "_below") for name in QUANTITIES if name.endswith("_ul_per_l"))
    sample = lean("sample", "id", "supersedes_id", "withdrawn", "tap_changer_id", "taken_from", *QUANTITIES, *marks)
    query = (
        sa.select(changer.c.tag, *(sample.c[name] for name in (*QUANTITIES, *marks)))
        .join_from(sample, changer, sample.c.tap_changer_id == changer.c.id)
        .where(is_current(sample), sample.c.taken_from == "compartment")
    )
    found: dict[str, list[dict[str, float]]] = {}
    for row in connection.execute(query).mappings():
        below = {mark.replace("_below", "_ul_per_l") for mark in marks if row[mark]}
        values = {name: row[name] for name in QUANTITIES if name not in below}
        found.setdefault(row["tag"].casefold(), []).append(_measured(values))
    return found
