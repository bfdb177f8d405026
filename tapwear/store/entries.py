"""Entries by hand into the book: readings, samples, services, events; corrections supersede, nothing is deleted.

An entry that says what the book says already adds nothing; one that says otherwise about the same thing (the same
counter on the same day, say) is a conflict, shown and not stored, unless it is meant to replace what is there.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Literal

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store import planning_tables
from tapwear.store.clocks import resets_text
from tapwear.store.counters import counter_for, digits_ever, drive_in
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp, insert, record
from tapwear.store.same_day import other_moments
from tapwear.store.validate import checked
from tapwear.visits.fields import EVENTS, GASES, READINGS, SAMPLES, SERVICES
from tapwear.visits.resets import resets_of
from tapwear.visits.types import Below
from tapwear.words import as_typed

OutcomeKind = Literal["stored", "already there", "conflict", "replaced"]


@dataclass(frozen=True)
class Outcome:
    """What became of an entry.

    row_id : the row that is current now, also where nothing was stored
    differs : by column, (what the book says, what the entry says), of what was given; for "already there" these are
        remarks and the like, which were not taken
    """

    kind: OutcomeKind
    row_id: int
    differs: Mapping[str, tuple[Any, Any]]


SAME_WORK_DAYS = 14  # work of one kind this close together may be the same work: our choice
FIGURES = ("moisture_mg_per_kg", "breakdown_kv", "breakdown_gap_mm", "oil_temp_c")

# Table of the book -> the columns that say what a row is about, and those in which two such rows may differ.
SAME: dict[str, tuple[str, ...]] = {
    "reading": ("counter_id", "read_on"),
    "event": ("tap_changer_id", "happened_on", "kind", "slot"),
    "sample": ("tap_changer_id", "compartment", "taken_from", "sampled_on", "reference"),
    "service": ("tap_changer_id", "done_on", "work"),
    "condition": ("tap_changer_id", "noted_on", "kind"),
    "observation": ("tap_changer_id", "observed_on", "compartment", "quantity"),
    "oil_limit": ("group_name", "technology", "quantity", "breakdown_method"),
    "rate_setting": ("name",),
    **planning_tables.SAME,
}
COMPARED: dict[str, tuple[str, ...]] = {
    "reading": ("value", "current_a"),
    "event": ("old_reading", "new_reading"),
    "sample": (
        *(f"{gas}_ul_per_l" for gas in GASES),
        *(f"{gas}_below" for gas in GASES),
        *FIGURES,
    ),
    "service": ("resets", "as_found_counter", "as_left_counter", "contact_left_mm", "condemning_limit_mm"),
    "condition": ("words", "act_by_on", "severe", "closed_on"),
    "observation": ("value", "words"),
    "oil_limit": ("value", "breakdown_gap_mm"),
    "rate_setting": ("value",),
    **planning_tables.COMPARED,
}


def event_columns(tap_changer_id: int, given: Mapping[str, Any], slot: str) -> dict[str, Any]:
    """The columns of an event row, from checked fields of EVENTS."""
    return {
        "tap_changer_id": tap_changer_id,
        "happened_on": given["happened_on"],
        "kind": given["kind"],
        "slot": slot,
        "old_reading": given.get("old_reading"),
        "new_reading": given.get("new_reading"),
        "remark": given.get("remark", ""),
    }


def sample_columns(tap_changer_id: int, given: Mapping[str, Any]) -> dict[str, Any]:
    """The columns of a sample row, from checked fields of SAMPLES. Raises UsageError for a sample without a
    result, or with its dates out of order."""
    columns: dict[str, Any] = {
        name: given.get(name, "")
        for name in ("compartment", "compartment_serial", "laboratory", "reference", "breakdown_method", "remark")
    }
    columns |= {name: given.get(name) for name in ("sampled_on", "received_on", "reported_on")}
    columns |= {name: given.get(name) for name in FIGURES}
    columns |= {"tap_changer_id": tap_changer_id, "taken_from": given.get("taken_from") or "compartment"}
    for gas in GASES:
        value = given.get(f"{gas}_ul_per_l")
        columns[f"{gas}_ul_per_l"] = value.limit if isinstance(value, Below) else value
        columns[f"{gas}_below"] = isinstance(value, Below)
    measured = [*(f"{gas}_ul_per_l" for gas in GASES), "moisture_mg_per_kg", "breakdown_kv"]
    if all(columns[name] is None for name in measured):
        raise UsageError("A sample needs at least one result: a gas, the moisture or the breakdown voltage.")
    for earlier, later in (
        ("sampled_on", "received_on"),
        ("received_on", "reported_on"),
        ("sampled_on", "reported_on"),
    ):
        if columns[earlier] and columns[later] and columns[later] < columns[earlier]:
            words = [f"{name.removesuffix('_on')} on {columns[name]}" for name in (later, earlier)]
            raise UsageError(f"{words[0]} lies before {words[1]}: correct one of the two.")
    return columns


def service_columns(tap_changer_id: int, given: Mapping[str, Any]) -> dict[str, Any]:
    """The columns of a service row, from checked fields of SERVICES."""
    return {
        "tap_changer_id": tap_changer_id,
        "done_on": given["done_on"],
        "work": given["work"],
        "resets": resets_text(resets_of(given["work"], given.get("resets"))),
        **{name: given.get(name, "") for name in ("serial_seen", "done_by", "witness", "remark")},
        **{
            name: given.get(name)
            for name in ("as_found_counter", "as_left_counter", "contact_left_mm", "condemning_limit_mm")
        },
    }


def add_reading(
    connection: Connection,
    unit: UnitKey,
    values: Mapping[str, Any],
    stamp: Stamp,
    *,
    doubt: str = "",
    replace: bool = False,
) -> Outcome:
    """A counter reading; `values`: fields of READINGS without `unit`. `doubt`: why it was questioned when typed.

    Same counter and day: the same number is already there, another one is a conflict, or with `replace` a
    correction. Raises UsageError for a number longer than the counter, or a drive that the unit has not.
    """
    given = checked(READINGS, {"unit": unit.tag, **values})
    source = given.get("source") or "mechanical"
    slot = drive_in(connection, unit, given.get("drive", ""), given["read_on"])
    counter = counter_for(connection, unit, slot, source, given["read_on"])
    if given["value"] >= 10**counter.digits:
        raise UsageError(
            f"{unit.tag}: {given['value']} has more digits than the counter, which has {counter.digits}. Read it "
            f"again; if it has more digits: tapwear unit change {as_typed(unit.tag)} --digits N"
        )
    columns = {
        "counter_id": counter.id,
        "read_on": given["read_on"],
        "read_time": given.get("read_time", ""),
        "value": given["value"],
        "current_a": given.get("current_a"),
        "reader": given.get("reader", ""),
        "remark": given.get("remark", ""),
        "doubt": doubt,
    }
    apart = other_moments(connection, unit, slot, columns, replace)
    return enter(connection, "reading", columns, given, stamp, replace, apart)


def add_event(
    connection: Connection,
    unit: UnitKey,
    values: Mapping[str, Any],
    stamp: Stamp,
    *,
    digits: int | None = None,
    replace: bool = False,
) -> Outcome:
    """Something that happened; `values`: fields of EVENTS without `unit` and without those of moves and swaps.

    `digits` : of the new counter, where a counter was replaced by one of another length.
    Raises UsageError for moves and swaps, which are recorded with the register.
    """
    given = checked(EVENTS, {"unit": unit.tag, **values})
    if given["kind"] in ("moved", "swapped"):
        verb = "move" if given["kind"] == "moved" else "swap"
        raise UsageError(f"A unit is {given['kind']} with: tapwear unit {verb} {unit.tag}")
    slot = drive_in(connection, unit, given["drive"], given["happened_on"]) if given.get("drive") else ""
    if digits is not None:
        if given["kind"] != "counter_replaced":
            raise UsageError("Digits are given only for a counter that was replaced.")
        if not 3 <= digits <= 9:
            raise UsageError(f"A counter has 3 to 9 digits, not {digits}.")
        present = counter_for(connection, unit, slot or drive_in(connection, unit, "", None), "mechanical", None)
        if present.digits != digits:
            if digits in digits_ever(connection, present.drive_id, present.source):
                raise UsageError(
                    f"{unit.tag} had a counter of {digits} digits before the present one of {present.digits}, and "
                    "readings of the two could not be told apart. Record the exchange without --digits and read the "
                    f"new counter as one of {present.digits} digits."
                )
            insert(connection, "counter", drive_id=present.drive_id, source="mechanical", digits=digits)
    return enter(connection, "event", event_columns(unit.id, given, slot), given, stamp, replace)


def add_sample(
    connection: Connection, unit: UnitKey, values: Mapping[str, Any], stamp: Stamp, *, replace: bool = False
) -> Outcome:
    """An oil sample; `values`: fields of SAMPLES without `unit` and `counter_reading`, gases as numbers or Below."""
    given = checked(SAMPLES, {"unit": unit.tag, **values})
    columns = sample_columns(unit.id, given)
    _known_compartment(connection, unit, columns["compartment"], columns["taken_from"])
    return enter(connection, "sample", columns, given, stamp, replace)


def add_service(
    connection: Connection, unit: UnitKey, values: Mapping[str, Any], stamp: Stamp, *, replace: bool = False
) -> Outcome:
    """Work that was done; `values`: fields of SERVICES without `unit`. `resets` absent: as usual for the work.

    Raises UsageError when the serial number seen is not the register's: a wrong unit.
    """
    given = checked(SERVICES, {"unit": unit.tag, **values})
    check_serial(connection, unit, given.get("serial_seen", ""))
    return enter(connection, "service", service_columns(unit.id, given), given, stamp, replace)


def services_near(connection: Connection, unit: UnitKey, work: str, day: date) -> list[tuple[date, str]]:
    """Day and author of each recorded service of that kind within SAME_WORK_DAYS of the day, itself left out."""
    service = lean("service", "id", "supersedes_id", "withdrawn", "tap_changer_id", "work", "done_on", "done_by")
    reach = timedelta(days=SAME_WORK_DAYS)
    rows = connection.execute(
        sa.select(service.c.done_on, service.c.done_by)
        .where(
            service.c.tap_changer_id == unit.id,
            service.c.work == work,
            service.c.done_on != day,
            service.c.done_on.between(day - reach, day + reach),
            is_current(service),
        )
        .order_by(service.c.done_on)
    )
    return [(done_on, str(by or "")) for done_on, by in rows]


def withdraw(connection: Connection, table: str, row_id: int, stamp: Stamp) -> int:
    """Takes a current row of the book back: a copy of it, withdrawn, supersedes it. Returns the copy's number.

    table : of the book (reading, condition, stay, ...). Raises UsageError when there is no such current row.
    """
    present = columns_of(connection, table, row_id)
    return record(connection, table, stamp, row_id, withdrawn=True, **present)


def check_serial(connection: Connection, unit: UnitKey, seen: str) -> None:
    """Raises UsageError when the serial number on the nameplate is not the one in the register: a wrong unit."""
    changer = lean("tap_changer", "id", "serial")
    known = connection.execute(sa.select(changer.c.serial).where(changer.c.id == unit.id)).scalar()
    if seen and known and squeezed(seen) != squeezed(known):
        raise UsageError(
            f"{unit.tag} has serial number {known}, you entered {seen}: are you at the right unit? Nothing was "
            f"recorded. If the register is wrong: tapwear unit change {as_typed(unit.tag)} --serial {seen}"
        )


def squeezed(serial: str) -> str:
    """A serial number without regard to capitals, blanks and marks."""
    return "".join(char for char in serial.casefold() if char.isalnum())


def _known_compartment(connection: Connection, unit: UnitKey, name: str, taken_from: str) -> None:
    compartment = lean("compartment", "tap_changer_id", "name")
    names = sorted(
        connection.execute(sa.select(compartment.c.name).where(compartment.c.tap_changer_id == unit.id)).scalars()
    )
    if taken_from == "main_tank" or name in names:
        return
    if not name:
        raise UsageError(f"{unit.tag} has compartments {', '.join(names)}: say which one was sampled.")
    listed = ", ".join(known for known in names if known) or "only one, without a name"
    raise UsageError(f"{unit.tag} has no compartment {name}; it has {listed}.")


def enter(
    connection: Connection,
    table: str,
    columns: Mapping[str, Any],
    given: Mapping[str, Any],
    stamp: Stamp,
    replace: bool,
    apart: Collection[int] = (),
) -> Outcome:
    """Stores a row, or holds it against the one that is about the same thing: only what was given counts.

    apart : numbers of rows that are not about the same thing although they look so (other moments of one day)
    A correction takes over from the former row whatever it does not state itself.
    """
    same, compared = SAME[table], COMPARED[table]
    rows = lean(table, *dict.fromkeys(("id", "supersedes_id", "withdrawn", *same)))
    numbers = connection.execute(
        sa.select(rows.c.id)
        .where(is_current(rows), *(rows.c[name] == columns[name] for name in same))
        .order_by(rows.c.id)
    ).scalars()
    held = {int(number): columns_of(connection, table, number) for number in numbers if number not in apart}
    if not held:
        return Outcome("stored", record(connection, table, stamp, **columns), {})
    stated = {
        name: value
        for name, value in columns.items()
        if name in given or f"{name.removesuffix('_below')}_ul_per_l" in given
    }
    # Visits may have left several; then it is the one that says the same, if one does.
    unlike = {number: _unlike(row, stated) for number, row in held.items()}
    number = min(held, key=lambda one: (any(name in compared for name in unlike[one]), one))
    present, differs = held.pop(number), unlike[number]
    if replace:
        for other in held:
            withdraw(connection, table, other, stamp)
    important = any(name in compared for name in differs)
    if not differs or not (important or replace):
        others = next((unlike[other] for other in held), {}) if replace else {}
        return Outcome("replaced" if others else "already there", number, others or differs)
    if not replace:
        return Outcome("conflict", number, differs)
    merged = {**present, **stated, **({"doubt": columns["doubt"]} if "doubt" in columns else {})}
    return Outcome("replaced", record(connection, table, stamp, number, **merged), differs)


def _unlike(present: Mapping[str, Any], stated: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
    """In which columns a row of the book says otherwise than an entry, and both."""
    return {name: (present[name], value) for name, value in stated.items() if present[name] != value}


STOP_COLUMNS = (
    *("tap_changer_id", "opened_on", "cause", "words", "work_released_on", "work_from_on", "work_engineer"),
    *("work_words", "cleared_on", "cleared_engineer", "cleared_words"),
)
_BOOK_COLUMNS = {
    "reading": ("counter_id", "read_on", "read_time", "value", "current_a", "reader", "doubt", "remark"),
    "event": ("tap_changer_id", "slot", "happened_on", "kind", "old_reading", "new_reading", "remark"),
    "service": (
        *("tap_changer_id", "done_on", "work", "resets", "serial_seen", "as_found_counter", "as_left_counter"),
        *("contact_left_mm", "condemning_limit_mm", "done_by", "witness", "remark"),
    ),
    "sample": (
        *("tap_changer_id", "compartment", "compartment_serial", "taken_from", "sampled_on", "received_on"),
        *("reported_on", "laboratory", "reference", "moisture_mg_per_kg", "breakdown_kv", "breakdown_method"),
        *("breakdown_gap_mm", "oil_temp_c", "remark"),
        *(f"{gas}_ul_per_l" for gas in GASES),
        *(f"{gas}_below" for gas in GASES),
    ),
    "condition": (
        *("tap_changer_id", "noted_on", "kind", "words", "act_by_on", "severe", "author", "closed_on"),
        "closed_words",
    ),
    "stop": STOP_COLUMNS,
    "followup": (
        *("tap_changer_id", "kind", "compartment", "place", "noted_on", "words", "origin", "closed_on"),
        "closed_words",
    ),
    "observation": ("tap_changer_id", "observed_on", "visit_id", "compartment", "quantity", "value", "words"),
    "oil_limit": (
        *("group_name", "technology", "quantity", "value", "breakdown_method", "breakdown_gap_mm", "provenance"),
    ),
    "rate_setting": ("name", "value", "log_se", "tuned_on", "intervals", "gain_percent"),
    "deferral": (
        *("tap_changer_id", "task", "decided_on", "expires_on", "engineer", "reason_given", "extra_checks"),
    ),
    "stay": ("tap_changer_id", "place_id", "transformer_id", "state", "from_on"),
    "fitting": ("drive_id", "tap_changer_id", "slot", "from_on", "counter_then"),
    **planning_tables.COLUMNS,
}


def columns_of(connection: Connection, table: str, row_id: int) -> dict[str, Any]:
    """What a current row of the book says. Raises UsageError where it is superseded, withdrawn or not there."""
    names = _BOOK_COLUMNS[table]
    rows = lean(table, "id", "supersedes_id", "withdrawn", *names)
    found = connection.execute(
        sa.select(*(rows.c[name] for name in names)).where(rows.c.id == row_id, is_current(rows))
    ).first()
    if found is None:
        raise UsageError(f"There is no current {table} number {row_id}.")
    return dict(zip(names, found, strict=True))
