"""What can be noted on a visit besides the counter, quantity by quantity: numbers, words of a short list, free words.

The list follows what a technician looks at beside the unit: position indicator and drag hands, levels and
temperatures, pressures, breather, seepage, heater, noise, coating. A level is only worth something with the oil
temperature at which it was read.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tapwear.visits.positions import Positions, position_number, position_words
from tapwear.visits.specs import FieldSpec, TableSpec, Unfit
from tapwear.words import observed_label

F = FieldSpec
label = observed_label
OIL_LEVELS = ("low", "normal", "high")
BREATHER_STATES = ("good", "to be renewed", "blocked")
HEATER_STATES = ("working", "faulty", "off")
NOISES = ("usual", "unusual")
COATINGS = ("sound", "damaged")
NO_SEEPAGE = "none"
POSITIONS = ("position", "position_low", "position_high")

_TEMPERATURE: dict[str, Any] = {"measure": "temperature", "low": -60, "high": 150}
# In the order in which they are noted beside the unit.
QUANTITIES: tuple[FieldSpec, ...] = (
    F("position", "position", "position that the indicator shows, e.g. 5L, N, 17 or 9b"),
    F("position_low", "position", "lowest position that the drag hands show"),
    F("position_high", "position", "highest position that the drag hands show"),
    F("drag_hands_reset", "yes or no", "the drag hands were reset after reading"),
    F("oil_level", "choice", "oil level of the compartment", choices=OIL_LEVELS),
    F("oil_temp_c", "number", "oil temperature when the level was read", **_TEMPERATURE),
    F("compartment_temp_c", "number", "temperature of the compartment's wall", **_TEMPERATURE),
    F("main_tank_temp_c", "number", "temperature of the main tank's wall, beside it", **_TEMPERATURE),
    # From a full vacuum (standard atmosphere, 101.325 kPa) to far above what a compartment is built for.
    F("pressure_kpa", "number", "gauge pressure; below 0 = vacuum", measure="pressure", low=-101.4, high=1_000),
    F("gas_bottle_kpa", "number", "pressure in the gas bottle of a blanket", measure="pressure", low=0, high=30_000),
    F("breather", "choice", "breather", choices=BREATHER_STATES),
    F("seepage", "text", "where oil seeps, in words; none = looked, and found none"),
    F("heater", "choice", "cabinet heater", choices=HEATER_STATES),
    F("noise", "choice", "noise", choices=NOISES),
    F("coating", "choice", "coating", choices=COATINGS),
    F("remark", "text", "what else was seen"),
)
BY_NAME: Mapping[str, FieldSpec] = {spec.name: spec for spec in QUANTITIES}

OBSERVATIONS = TableSpec(
    "observations",
    "what was noted on visits besides the counter: positions, level, temperatures, breather, seepage",
    (
        F("unit", "text", "the owner's asset tag of the tap changer", required=True),
        F("observed_on", "date", "day of the visit", required=True),
        F("compartment", "text", "which compartment, where there are several; blank: the unit"),
        *QUANTITIES,
    ),
    ("unit", "observed_on", "compartment"),
)

# Oil expands with heat, so that a level stands highest when the oil is hot: a low one then, or a high one in cold oil,
# is either misread or far off. Hot and cold oil [°C]: our choice.
HOT_OIL_C, COLD_OIL_C = 55.0, 5.0


def level_doubt(level: str, oil_temp_c: float | None) -> str:
    """Why an oil level is odd at that oil temperature, or what it lacks to be judged; "" for nothing.

    A level that is not normal says little without the temperature at which it was read.
    """
    if level not in ("low", "high"):
        return ""
    if oil_temp_c is None:
        return f"oil level {level}: note the oil temperature, without which it cannot be judged"
    if level == "low" and oil_temp_c >= HOT_OIL_C:
        return f"oil level low although the oil is hot, {oil_temp_c:g} °C, when it stands highest"
    if level == "high" and oil_temp_c <= COLD_OIL_C:
        return f"oil level high although the oil is cold, {oil_temp_c:g} °C, when it stands lowest"
    return ""


def noted(values: Mapping[str, Any], positions: Positions | None = None) -> dict[str, tuple[float | None, str]]:
    """What is to be stored of each quantity, (number, words): one of them, from values checked against QUANTITIES.

    Positions, yes-or-no and words of a list are kept as words, positions in one spelling. Raises Unfit for a position
    that the unit has not (positions: None where the register does not say), or drag hands the wrong way round.
    """
    found: dict[str, tuple[float | None, str]] = {}
    for name, value in values.items():
        if name not in BY_NAME or value is None or value == "":
            continue
        if name in POSITIONS:
            found[name] = None, position_words(str(value), positions)
        elif isinstance(value, bool):
            found[name] = None, "yes" if value else "no"
        elif BY_NAME[name].kind == "number":
            found[name] = float(value), ""
        else:
            dry = name == "seepage" and str(value).casefold().rstrip(".") in (NO_SEEPAGE, "no", "nil", "nothing")
            found[name] = None, NO_SEEPAGE if dry else str(value)
    low, high = (found.get(name, (None, ""))[1] for name in ("position_low", "position_high"))
    if low and high and position_number(low, positions) > position_number(high, positions):
        raise Unfit(f"drag hands from {low} up to {high}", "give the lower position as position_low")
    return found
