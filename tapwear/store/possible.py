"""What the columns of a store can hold, as SQL: held against every row by `check`, and by whatever loads rows of those.

The tables themselves refuse most of what cannot be; a file that another program wrote, or a bad sector, may hold it all
the same, and rows with it would be left out or counted wrongly without a word.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from itertools import permutations
from typing import NamedTuple

import sqlalchemy as sa

from tapwear.store.backup import quoted
from tapwear.store.lean import lean
from tapwear.visits.fields import (
    CONDITIONS,
    EVENTS,
    LIMITS,
    PLACES,
    READINGS,
    SAMPLES,
    SERVICE_RULES,
    SERVICES,
    TASKS,
    UNITS,
    VISIT_RULES,
)
from tapwear.visits.observations import QUANTITIES
from tapwear.visits.planning import CREWS, OUTAGE_TERMS, RESOURCES, TEAMS
from tapwear.visits.resets import NO_RESETS
from tapwear.visits.specs import FieldSpec, TableSpec

# Tables -> the fields that their columns hold, and columns of other names.
SPECS: Mapping[str, tuple[TableSpec, Mapping[str, str]]] = {
    "station": (PLACES, {"code": "station"}),
    "place": (PLACES, {}),
    "tap_changer": (UNITS, {"tag": "unit"}),
    "transformer": (UNITS, {}),
    "compartment": (UNITS, {}),
    "service_rule": (SERVICE_RULES, {}),
    "visit_rule": (VISIT_RULES, {}),
    "reading": (READINGS, {}),
    "event": (EVENTS, {}),
    "sample": (SAMPLES, {}),
    "service": (SERVICES, {}),
    "condition": (CONDITIONS, {}),
    "oil_limit": (LIMITS, {}),
    "crew_week": (CREWS, {}),
    "team": (TEAMS, {}),
    "resource": (RESOURCES, {}),
    "outage_terms": (OUTAGE_TERMS, {}),
}
# What no field says: table, column -> SQL that is true of what cannot be, and words; most are names of other rows.
OTHERWISE = {
    ("sample", "compartment"): (
        "taken_from = 'compartment' AND NOT EXISTS (SELECT 1 FROM compartment "
        "WHERE compartment.tap_changer_id = sample.tap_changer_id AND compartment.name = sample.compartment)",
        "is no compartment of its unit",
    ),
    ("event", "slot"): (
        "slot <> '' AND NOT EXISTS (SELECT 1 FROM fitting "
        "WHERE fitting.tap_changer_id = event.tap_changer_id AND fitting.slot = event.slot)",
        "is no drive of its unit",
    ),
    ("plan_job", "weeks"): ("weeks < 1", "is no number of weeks"),
    ("plan_job", "crew_hours"): ("crew_hours < 0", "is no number of hours"),
}
REFERS = {  # columns -> the table whose rows they name; with `supersedes_id`, that of the table itself
    "counter_id": "counter",
    "drive_id": "drive",
    "place_id": "place",
    "scheme_id": "scheme",
    "station_id": "station",
    "tap_changer_id": "tap_changer",
    "transformer_id": "transformer",
}
_RESETS = ("", NO_RESETS, *(";".join(some) for most in range(1, len(TASKS) + 1) for some in permutations(TASKS, most)))


class Impossible(NamedTuple):
    """A column, the SQL that is true of what it cannot hold, and the words for it."""

    column: str
    condition: str
    words: str


@cache
def impossible(table: str, columns: Sequence[str], on_server: bool) -> tuple[Impossible, ...]:
    """What the columns of a table cannot hold."""
    spec, names = SPECS.get(table, (None, {}))
    fields = {field.name: field for field in spec.fields} if spec else {}
    found: list[Impossible] = []
    for column in lean(table, *columns).c:
        name = quoted(column.name)
        if isinstance(column.type, sa.Boolean) and not on_server:
            found.append(Impossible(column.name, f"{name} NOT IN (0, 1)", "is neither yes nor no"))
        field = fields.get(names.get(column.name, column.name))
        if field is not None:
            found += (Impossible(column.name, *one) for one in _of_field(name, field, on_server))
        if (table, column.name) in OTHERWISE:
            found.append(Impossible(column.name, *OTHERWISE[table, column.name]))
    if table == "observation":
        found += (Impossible("quantity", *one) for one in _observed_numbers())
    return tuple(found)


def _of_field(name: str, field: FieldSpec, on_server: bool) -> Iterator[tuple[str, str]]:
    if field.kind in ("count", "number", "gas"):
        limits = [f"{name} {sign} {at!r}" for sign, at in (("<", field.low), (">", field.high)) if at is not None]
        if limits:
            yield " OR ".join(limits), f"lies outside what {field.name} can be, {field.low} to {field.high}"
    elif field.required and field.kind in ("text", "choice", "week"):
        yield f"{name} = ''", "is blank"
    if field.kind == "choice":
        yield f"{name} NOT IN ({_listed(('', *field.choices))})", "is none of the known words"
    elif field.kind == "time":
        like = "!~ '^([01][0-9]|2[0-3]):[0-5][0-9]$'" if on_server else "NOT GLOB '[0-2][0-9]:[0-5][0-9]'"
        yield f"{name} <> '' AND {name} {like}", "is no time of day"
    elif field.name == "resets":
        yield f"{name} NOT IN ({_listed(_RESETS)})", "names no tasks"


def _observed_numbers() -> Iterator[tuple[str, str]]:
    """Of each quantity the numbers that it cannot be."""
    for field in QUANTITIES:
        if field.kind == "number":
            beyond = f"value IS NULL OR value < {field.low!r} OR value > {field.high!r}"
            yield f"quantity = '{field.name}' AND ({beyond})", "has no such value"


def observed_words() -> Iterator[Impossible]:
    """Of each quantity the words that it cannot be. They change no date, so only `check` looks for them."""
    for field in QUANTITIES:
        if field.kind in ("choice", "yes or no"):
            known = f"words NOT IN ({_listed(field.choices or ('yes', 'no'))})"
            yield Impossible("words", f"quantity = '{field.name}' AND {known}", f"is no word for {field.name}")


def _listed(words: Sequence[str]) -> str:
    return ", ".join("'" + word.replace("'", "''") + "'" for word in words)
