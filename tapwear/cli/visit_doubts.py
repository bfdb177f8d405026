"""What is odd about an observation beside the others of the visit and the last one: asked once, never refused."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from tapwear.measures import shown_in
from tapwear.visits.observations import BY_NAME, label, level_doubt
from tapwear.visits.positions import position_number
from tapwear.words import as_typed

if TYPE_CHECKING:
    from tapwear.store.visit_ground import Ground

# Beyond these a temperature is questioned [°C]: top oil may be 60 K above the air, and that 40 °C (IEC 60076-2); colder
# than -40 °C is rare. A number in °F typed as °C mostly lies above.
USUAL_TEMPERATURES = (-40.0, 100.0)
APART_K = 30.0  # compartment and main tank further apart than this are questioned [K]; our choice
HIGH_PRESSURE_KPA = 200.0  # a gauge of a compartment shows less than this [kPa]; our choice


def doubt_of(name: str, value: Any, others: Mapping[str, Any], ground: Ground, system: str) -> str:
    """Why the value is questioned, "" for nothing. `others` : what was noted on this visit so far."""
    measure = BY_NAME[name].measure
    said = shown_in(value, measure, system) if measure else str(value)
    if name in ("position_low", "position_high"):
        return _outside_drag_hands(name, value, others, ground)
    level = others.get("oil_level")
    if name == "oil_temp_c" and level is not None and level_doubt(str(level), value, said):
        return level_doubt(str(level), value, said)
    if measure == "temperature":
        low, high = USUAL_TEMPERATURES
        if not low <= value <= high:
            return f"{label(name)} {said} is unusual; is the unit of measure right?"
        beside = others.get("compartment_temp_c")
        if name == "main_tank_temp_c" and beside is not None and abs(beside - value) > APART_K:
            return f"{label(name)} {said} is far from the compartment's {shown_in(beside, measure, system)}"
    if name == "pressure_kpa":
        return _pressure(value, said, ground, system)
    return ""


def _outside_drag_hands(name: str, value: str, others: Mapping[str, Any], ground: Ground) -> str:
    here = others.get("position")
    if here is None:
        return ""
    at, end = position_number(str(here), ground.positions), position_number(value, ground.positions)
    if (at < end) if name == "position_low" else (at > end):
        side = "below" if name == "position_low" else "above"
        return f"position {here} lies {side} the {'lowest' if name == 'position_low' else 'highest'} drag hand, {value}"
    return ""


def _pressure(value: float, said: str, ground: Ground, system: str) -> str:
    last = ground.last.get("pressure_kpa")
    if value > HIGH_PRESSURE_KPA:
        return f"pressure {said} is high for a compartment; is the unit of measure right?"
    if last is not None and last.value is not None and min(last.value, value) < 0 < max(last.value, value):
        before = shown_in(last.value, "pressure", system)
        return f"pressure {said}, where it was {before} on {last.observed_on}; is the sign right?"
    return ""


def bottle_words(value: float, ground: Ground, system: str) -> str:
    """How much blanket gas was used since the last visit; "" where it was not read before."""
    last = ground.last.get("gas_bottle_kpa")
    if last is None or last.value is None:
        return ""
    before = f"{shown_in(last.value, 'pressure', system)} on {last.observed_on}"
    if value > last.value:
        return f"Gas cylinder: was {before}; it holds more now, so it was changed or filled since."
    days = (ground.on - last.observed_on).days
    used = shown_in(last.value - value, "pressure", system)
    return f"Gas cylinder: {used} used in {days} day{'s' if days != 1 else ''}, since {before}."


def follow_up_words(others: Mapping[str, Any], unit: str) -> list[str]:
    """What should come of the observations, as advice; nothing is recorded by it."""
    words = []
    compartment, tank = others.get("compartment_temp_c"), others.get("main_tank_temp_c")
    if compartment is not None and tank is not None and compartment > tank:
        words.append(
            "The compartment is hotter than the main tank: tell the engineer. To let it act on the date: "
            f"tapwear condition add {as_typed(unit)} hotter_than_main_tank"
        )
    if str(others.get("seepage", "none")) != "none":
        words.append("Seepage is followed up until it is closed: tapwear followups")
    return words
