"""A service that would clear an overdue unit needs proof: the serial number, the counter as found, a second name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from tapwear.errors import UsageError
from tapwear.visits.resets import resets_of

if TYPE_CHECKING:
    from datetime import date

    from tapwear.store.engine import Store
    from tapwear.store.find import UnitKey

# Field of a service -> how it is given, and what it is.
_PROOF = {
    "serial_seen": "the serial number on the nameplate (--serial)",
    "as_found_counter": "the counter as found (--as-found)",
    "witness": "the name of a second person, not of who did the work (--witness)",
}


def refuse_without_proof(unit: UnitKey, given: Mapping[str, Any], cleared: Sequence[str]) -> None:
    """Raises UsageError naming what is missing for a service that clears overdue tasks (see `cleared_overdue`)."""
    missing = missing_proof(given) if cleared else []
    if missing:
        raise UsageError(
            f"{unit.tag}: {' and '.join(cleared)} {'was' if len(cleared) == 1 else 'were'} overdue on "
            f"{given['done_on']}, and this work would end that. It is recorded only with proof; missing: "
            f"{', '.join(_PROOF[name] for name in missing)}. Nothing was recorded."
        )


def missing_proof(given: Mapping[str, Any]) -> list[str]:
    """Which fields of the proof are not given; a second name that is the first one again counts as none."""
    missing = [name for name in _PROOF if given.get(name) in (None, "")]
    same = str(given.get("witness", "")).casefold() == str(given.get("done_by", "")).casefold()
    return [*missing, "witness"] if same and "witness" not in missing else missing


def cleared_overdue(store: Store, unit: UnitKey, given: Mapping[str, Any]) -> list[str]:
    """The tasks that the service starts again and that were overdue on its day, by what the book says without it.

    Only a task with an interval can be overdue; where the service starts none of these again, nothing is computed.
    """
    from tapwear.store.overview import unit_rules

    with store.rows() as connection:
        rules = unit_rules(connection, unit)
    again = [task for task in resets_of(given["work"], given.get("resets")) if task in rules]
    return [task for task in overdue_tasks(store, unit, given["done_on"]) if task in again] if again else []


def overdue_tasks(store: Store, unit: UnitKey, day: date) -> list[str]:
    """The unit's tasks whose limit was passed by that day; services of that day are left out, so that one is not its
    own excuse. From the unit's own readings, whatever the size of the fleet."""
    from dataclasses import replace

    import numpy as np

    from tapwear.fleet import assess_book
    from tapwear.store.loading import load_book

    book = load_book(store, unit.tag, as_of=day)
    before = book.services[book.services["done_on"] < np.datetime64(day, "us")]
    assessment = assess_book(replace(book, services=before), day)
    return [due.task for due in assessment.outlook.of_unit(unit.tag) if due.overdue]
