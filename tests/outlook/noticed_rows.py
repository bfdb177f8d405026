"""Observations made by hand, for tests: `seen("T1", "2026-01-05", oil_level="low", oil_temp_c=12)`."""

from __future__ import annotations

from datetime import date

from tapwear.outlook.noticed import Noticed
from tapwear.visits.observations import noted
from tapwear.visits.positions import position_number, positions_of

SIDES = "16L-N-16R"


def seen(
    unit: str, on: str, style: str = SIDES, compartment: str = "", **values: object
) -> list[Noticed]:
    """The rows of one visit; positions as numbers in the order of the style."""
    known = positions_of(style)
    middle = known.change_over if known else None
    rows = []
    for name, (value, words) in noted(values, known).items():
        is_position = name in ("position", "position_low", "position_high")
        number = position_number(words, known) if is_position else value
        day = date.fromisoformat(on)
        rows.append(Noticed(unit, day, compartment, name, number, words, middle if is_position else None))
    return rows


def hands(unit: str, on: str, low: str, high: str, at: str = "", style: str = SIDES) -> list[Noticed]:
    """A visit on which the drag hands were noted, and the position where one is given."""
    return seen(unit, on, style, position=at or None, position_low=low, position_high=high)
