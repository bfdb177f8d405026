"""What was noted on visits besides the counter: as rows of the book, and listed. Light."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.find import UnitKey
from tapwear.store.lean import is_current, lean
from tapwear.visits.observations import BY_NAME, noted
from tapwear.visits.positions import Positions, positions_of
from tapwear.visits.specs import Unfit


@dataclass(frozen=True)
class Seen:
    """One observation as the book has it now; value None: words."""

    id: int
    unit: str
    observed_on: date
    compartment: str
    quantity: str
    value: float | None
    words: str
    by: str


def observation_rows(
    connection: Connection,
    unit: UnitKey,
    day: date,
    values: Mapping[str, Any],
    compartment: str = "",
    visit_id: str = "",
) -> list[dict[str, Any]]:
    """The columns of a row per quantity among the checked `values`; other fields are passed over.

    Raises UsageError for a position that the unit has not.
    """
    known = None
    if any(name.startswith("position") for name in values):
        known = positions_known(connection, unit)
    try:
        found = noted(values, known)
    except Unfit as unfit:
        raise UsageError(f"{unit.tag}: {unfit.found}; {unfit.remedy}.") from None
    whose = {"tap_changer_id": unit.id, "observed_on": day, "compartment": compartment, "visit_id": visit_id}
    return [{**whose, "quantity": name, "value": value, "words": words} for name, (value, words) in found.items()]


def last_pressure(connection: Connection, unit: UnitKey, before: date) -> float | None:
    """The newest gauge pressure noted before that day [kPa]; None where there is none."""
    seen = lean("observation", "id", "supersedes_id", "withdrawn", "tap_changer_id", "observed_on", "quantity", "value")
    value = connection.execute(
        sa.select(seen.c.value)
        .where(
            seen.c.tap_changer_id == unit.id,
            seen.c.quantity == "pressure_kpa",
            seen.c.observed_on < before,
            is_current(seen),
        )
        .order_by(seen.c.observed_on.desc(), seen.c.id.desc())
        .limit(1)
    ).scalar()
    return None if value is None else float(value)


def positions_known(connection: Connection, unit: UnitKey) -> Positions | None:
    """The unit's positions as the register has them; None where it does not say."""
    changer = lean("tap_changer", "id", "positions")
    style = connection.execute(sa.select(changer.c.positions).where(changer.c.id == unit.id)).scalar()
    return _positions(str(style or ""))


@lru_cache(maxsize=64)
def _positions(style: str) -> Positions | None:
    return positions_of(style)


def list_observations(connection: Connection, unit: UnitKey | None = None) -> list[Seen]:
    """The current observations of a unit or of all, by unit, quantity and day."""
    names = ("observed_on", "compartment", "quantity", "value", "words", "recorded_by")
    observation = lean("observation", "id", "visit_id", "supersedes_id", "withdrawn", "tap_changer_id", *names)
    changer = lean("tap_changer", "id", "tag")
    query = (
        sa.select(observation.c.id, changer.c.tag, *(observation.c[name] for name in names))
        .join_from(observation, changer, observation.c.tap_changer_id == changer.c.id)
        .where(is_current(observation))
        .order_by(changer.c.tag, observation.c.observed_on, observation.c.visit_id, observation.c.id)
    )
    if unit is not None:
        query = query.where(observation.c.tap_changer_id == unit.id)
    rows = [Seen(*row) for row in connection.execute(query)]
    order = {name: number for number, name in enumerate(BY_NAME)}
    return sorted(rows, key=lambda row: (row.unit, order[row.quantity], row.compartment, row.observed_on))
