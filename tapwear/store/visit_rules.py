"""How often units are to be read and sampled, by scheme or by unit: set, listed. Light, without the models."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.find import find_unit, number_of
from tapwear.store.lean import lean
from tapwear.store.recording import Change, Stamp, amend, insert, note_change
from tapwear.store.validate import checked
from tapwear.visits.fields import VISIT_RULES

VISIT_RULE_FIELDS = ("read_every_days", "sample_every_days", "still_after_days", "provenance")
Owner = Mapping[str, int | None]  # scheme_id or tap_changer_id; the other is None


@dataclass(frozen=True)
class VisitRule:
    """One rule as the register has it; scheme or unit is "". None: the rule does not say."""

    scheme: str
    unit: str
    read_every_days: float | None
    sample_every_days: float | None
    still_after_days: float | None
    provenance: str


def set_visit_rule(connection: Connection, values: Mapping[str, Any], stamp: Stamp) -> list[Change]:
    """Makes the rule of a scheme or a unit, or changes what is given of it (None: not said any more).

    values : fields of VISIT_RULES, with scheme or unit. Returns what changed, each kept in the register's history.
    Raises UsageError for neither or both of them, an unknown unit or scheme, or days outside their range.
    """
    checked(VISIT_RULES, values)
    scheme, tag = values.get("scheme") or "", values.get("unit") or ""
    if bool(scheme) == bool(tag):
        raise UsageError("A visit rule belongs to a scheme or to a unit: give one of the two.")
    owner: dict[str, int | None] = {"scheme_id": None, "tap_changer_id": None}
    if tag:
        owner["tap_changer_id"] = find_unit(connection, tag).id
    else:
        owner["scheme_id"] = _known_scheme(connection, scheme)
    said = {name: values[name] for name in VISIT_RULE_FIELDS if name in values}
    number = visit_rule_of(connection, owner)
    if number is not None:
        return amend(connection, "visit_rule", number, said, stamp)
    given = {name: value for name, value in said.items() if value is not None}
    made = make_visit_rule(connection, owner, given, f"visit rule of {scheme or tag}", stamp)
    return [Change("visit_rule", made, name, None, value) for name, value in given.items()]


def make_visit_rule(connection: Connection, owner: Owner, said: Mapping[str, Any], whose: str, stamp: Stamp) -> int:
    """Adds a rule, and the fact to the register's history. Returns its number."""
    made = insert(connection, "visit_rule", **owner, **said)
    note_change(connection, Change("visit_rule", made, "made", None, whose), stamp)
    return made


def visit_rule_of(connection: Connection, owner: Owner) -> int | None:
    """The number of the rule of that scheme or unit, None where there is none."""
    rule = lean("visit_rule", "id", "scheme_id", "tap_changer_id")
    mine = [rule.c[name] == number for name, number in owner.items() if number is not None]
    number = connection.execute(sa.select(rule.c.id).where(*mine)).scalar()
    return None if number is None else int(number)


def list_visit_rules(connection: Connection) -> list[VisitRule]:
    """All rules, those of schemes first."""
    rule = lean("visit_rule", "id", "scheme_id", "tap_changer_id", *VISIT_RULE_FIELDS)
    scheme, changer = lean("scheme", "id", "name"), lean("tap_changer", "id", "tag")
    query = (
        sa.select(
            sa.func.coalesce(scheme.c.name, ""),
            sa.func.coalesce(changer.c.tag, ""),
            *(rule.c[name] for name in VISIT_RULE_FIELDS),
        )
        .join_from(rule, scheme, rule.c.scheme_id == scheme.c.id, isouter=True)
        .join(changer, rule.c.tap_changer_id == changer.c.id, isouter=True)
        .order_by(rule.c.scheme_id.is_(None), scheme.c.name, changer.c.tag)
    )
    return [VisitRule(*row) for row in connection.execute(query)]


def _known_scheme(connection: Connection, name: str) -> int:
    number = number_of(connection, "scheme", "name", name)
    if number is None:
        scheme = lean("scheme", "name")
        names = ", ".join(connection.execute(sa.select(scheme.c.name).order_by(scheme.c.name)).scalars())
        raise UsageError(f"There is no scheme {name}; there are: {names or 'none yet'}.")
    return number
