"""What observations of visits mean for the engineer: contacts that stand still, a compartment hotter than its tank.

They are said beside the clocks and move no date. Of a unit with a severe finding there is only one thing to say.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from tapwear.outlook.conditions import Noted
from tapwear.outlook.noticed import Noticed
from tapwear.outlook.rules import MAIN_TASK
from tapwear.outlook.standing_still import hands_of, still_words
from tapwear.outlook.types import Due, Outlook
from tapwear.words import as_typed

if TYPE_CHECKING:
    import pandas as pd

# Our choices.
STILL_AFTER_DAYS = 365.0  # a selector not seen to move for so long is told; a visit rule may say otherwise
HOTTER_K = 3.0  # less than this may be the error of two readings of a thermometer on a wall
RENEWS_CONTACTS = ("overhaul", "contact replacement")  # work after which a selector has been moved and cleaned
HOTTER = "hotter_than_main_tank"


def advice(
    noticed: Sequence[Noticed],
    still_after: Mapping[str, float],
    cleaned_on: Mapping[str, date],
    conditions: Mapping[str, Sequence[Noted]],
    closed_hot: Mapping[str, date],
    suspected: Sequence[str] = (),
) -> dict[str, tuple[str, ...]]:
    """Sentences for the engineer by unit, from observations in order.

    still_after : days after which a selector that stands still is told, by unit; else STILL_AFTER_DAYS
    cleaned_on : last overhaul by unit, from which on a selector has to be seen standing still
    conditions, closed_hot : open ones by unit, and the day on which one of a hot compartment was closed last
    suspected : units whose oil suggests arcing or heating; for them it is said that nobody operates them
    """
    by_unit: dict[str, list[Noticed]] = {}
    for row in noticed:
        by_unit.setdefault(row.unit, []).append(row)
    found: dict[str, tuple[str, ...]] = {}
    for unit, rows in by_unit.items():
        since = cleaned_on.get(unit, date.min)
        still = []
        for name in sorted({row.compartment for row in rows}):
            days = [day for day in hands_of([row for row in rows if row.compartment == name]) if day.on >= since]
            words = still_words(days, still_after.get(unit, STILL_AFTER_DAYS), unit in suspected)
            still += [f"compartment {name}: {words}" if name else words] if words else []
        known = any(one.kind == HOTTER for one in conditions.get(unit, ()))
        hot = "" if known else _hotter(unit, rows, closed_hot.get(unit))
        said = tuple(words for words in (*still, hot) if words)
        if said:
            found[unit] = said
    return found


def with_observed(outlook: Outlook, said: Mapping[str, Sequence[str]]) -> Outlook:
    """The outlook with what was observed said at each unit's contact service, or at all its tasks where it has none.

    A unit with a severe finding gets nothing: there is only one thing to say of it. No date moves.
    """
    if not said:
        return outlook
    severe = {due.unit for due in outlook.dues if due.severe}
    main = {due.unit for due in outlook.dues if due.task == MAIN_TASK}

    def told(due: Due) -> Due:
        words = tuple(said.get(due.unit, ()))
        if not words or due.unit in severe or (due.unit in main and due.task != MAIN_TASK):
            return due
        return replace(due, observed=words, doubts=(*due.doubts, *words))

    return replace(outlook, dues=tuple(told(due) for due in outlook.dues))


def last_cleaned(services: pd.DataFrame) -> dict[str, date]:
    """The last overhaul or contact replacement of each unit. services : as in tapwear.store.book."""
    done = services[services["work"].isin(RENEWS_CONTACTS)]
    return {str(unit): on.date() for unit, on in done.groupby("unit")["done_on"].max().items()}


def last_closed(conditions: pd.DataFrame, kind: str, as_of: date) -> dict[str, date]:
    """The day on which each unit's condition of that kind was closed last, up to as_of."""
    mine = conditions[(conditions["kind"] == kind) & conditions["closed_on"].notna()]
    days = {str(unit): on.date() for unit, on in mine.groupby("unit")["closed_on"].max().items()}
    return {unit: on for unit, on in days.items() if on <= as_of}


def _hotter(unit: str, rows: Sequence[Noticed], closed: date | None) -> str:
    """`compartment 6 K hotter than the main tank on 2026-06-25`, from the newest pair of temperatures."""
    walls: dict[tuple[date, str], dict[str, float]] = {}
    for row in rows:
        if row.quantity in ("compartment_temp_c", "main_tank_temp_c") and row.value is not None:
            walls.setdefault((row.observed_on, row.compartment), {})[row.quantity] = row.value
    pairs = [
        (on, compartment, seen["compartment_temp_c"] - seen["main_tank_temp_c"])
        for (on, compartment), seen in sorted(walls.items())
        if len(seen) == 2
    ]
    newest = {compartment: (on, more) for on, compartment, more in pairs}
    hot = [(more, on, name) for name, (on, more) in newest.items() if more >= HOTTER_K and (not closed or on > closed)]
    if not hot:
        return ""
    more, on, name = max(hot)
    before = [str(day) for day, which, by in pairs if which == name and by >= HOTTER_K and day < on]
    again = f", as on {before[-1]}" if before else ""
    which = f"compartment {name}" if name else "compartment"
    return (
        f"{which} {more:.3g} K hotter than the main tank on {on}{again}: refer to the engineer today; note it with "
        f"tapwear condition add {as_typed(unit)} {HOTTER} --words TEXT"
    )
