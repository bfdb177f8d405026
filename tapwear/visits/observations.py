"""What can be noted on a visit besides the counter, quantity by quantity: numbers, words of a short list, free words.

The list follows what a technician looks at beside the unit: position indicator and drag hands, levels and
temperatures, pressures, breather, seepage, heater, noise, coating, the drive mechanism, regulator, relay and filter. A
level is only worth something with the oil temperature at which it was read.
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
COUNTER_STATES = ("running", "unreadable", "standing still")
COLOURS = ("blue", "orange", "green", "pink", "white", "clear", "brown", "other")  # of the desiccant
DRIVE_OILS = ("good", "low", "leaking")
GEARS = ("sound", "worn", "broken")
WORKING = ("working", "faulty")
REGULATOR_MODES = ("automatic", "manual", "remote", "off")
RELAY_WINDOWS = ("full of oil", "gas seen", "cannot be seen")
# Compartment oil is filled to its mark for about 20 °C and rises as it warms. Low on oil as warm as this means that oil
# is missing, high on oil as cold as this that there is too much [°C]. Our choice.
LOW_IS_ODD_FROM_C, HIGH_IS_ODD_UP_TO_C = 50.0, 10.0
POSITIONS = ("position", "position_low", "position_high")

_TEMPERATURE: dict[str, Any] = {"measure": "temperature", "low": -60, "high": 150}
# In the order in which they are noted beside the unit.
QUANTITIES: tuple[FieldSpec, ...] = (
    F("counter_state", "choice", "counter, where no number can be given or it does not count", choices=COUNTER_STATES),
    F("position", "position", "position that the indicator shows, e.g. 5L, N, 17 or 9b"),
    F("position_low", "position", "lowest position that the drag hands show"),
    F("position_high", "position", "highest position that the drag hands show"),
    F("drag_hands_reset", "yes or no", "the drag hands were reset after reading"),
    F("oil_level", "choice", "oil level of the compartment", choices=OIL_LEVELS),
    F("oil_temp_c", "number", "oil temperature when the level was read", **_TEMPERATURE),
    F("compartment_temp_c", "number", "temperature of the compartment wall", **_TEMPERATURE),
    F("main_tank_temp_c", "number", "temperature of the main tank wall, beside it", **_TEMPERATURE),
    F("ambient_temp_c", "number", "temperature of the air, in the shade", **_TEMPERATURE),
    # From a full vacuum (standard atmosphere, 101.325 kPa) to far above what a compartment is built for.
    F("pressure_kpa", "number", "gauge pressure; below 0 = vacuum", measure="pressure", low=-101.4, high=1_000),
    F("gas_bottle_kpa", "number", "pressure in the gas cylinder of a blanket", measure="pressure", low=0, high=30_000),
    F("breather", "choice", "breather", choices=BREATHER_STATES),
    F("breather_colour", "choice", "colour of the desiccant", choices=COLOURS),
    F("breather_share_percent", "number", "share of the desiccant that has changed colour [%]", low=0, high=100),
    F("seepage", "text", "where oil seeps, in words; none = looked, and found none"),
    F("heater", "choice", "cabinet heater", choices=HEATER_STATES),
    F("noise", "choice", "noise", choices=NOISES),
    F("coating", "choice", "coating", choices=COATINGS),
    F("drive_oil", "choice", "oil of the drive mechanism", choices=DRIVE_OILS),
    F("drive_gear", "choice", "belt or gear of the drive mechanism", choices=GEARS),
    F("end_stops", "choice", "end stops of the drive", choices=WORKING),
    F("crank_interlock", "choice", "interlock that stops the motor while the hand crank is in", choices=WORKING),
    F("moves_by_hand", "yes or no", "the drive moves by hand; tried on a de-energised unit only"),
    F("regulator_mode", "choice", "mode of the voltage regulator", choices=REGULATOR_MODES),
    F("relay_window", "choice", "window of the compartment's relay", choices=RELAY_WINDOWS),
    F("filter_pressure_kpa", "number", "pressure of the on-line filter", measure="pressure", low=0, high=2_000),
    F("filter_hours", "number", "hours that the on-line filter has run [h]", low=0, high=1_000_000),
    F("bottle_number", "text", "number on the sample bottle; of several compartments in their order, like 17; 18"),
    F("photo_numbers", "text", "names or numbers of pictures taken, with semicolons between them"),
    F("remark", "text", "what else was seen"),
)
BY_NAME: Mapping[str, FieldSpec] = {spec.name: spec for spec in QUANTITIES}

# What is asked for on a visit only when the person wants to note it: what a group is called, and its quantities.
MORE: Mapping[str, tuple[str, ...]] = {
    "drive": ("drive_oil", "drive_gear", "end_stops", "crank_interlock", "moves_by_hand"),
    "regulator": ("regulator_mode",),
    "relay": ("relay_window",),
    "filter": ("filter_pressure_kpa", "filter_hours"),
    "desiccant": ("breather_colour", "breather_share_percent"),
    "air": ("ambient_temp_c",),
    "photos": ("photo_numbers",),
}

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


def level_doubt(level: str, oil_temp_c: float, said: str) -> str:
    """Why an oil level does not go with the temperature at which it was read, "" where it does.

    said : the temperature as the person gave it
    """
    if level == "low" and oil_temp_c >= LOW_IS_ODD_FROM_C:
        return f"oil level low at {said}: warm oil stands higher, so at the mark's temperature oil would be missing"
    if level == "high" and oil_temp_c <= HIGH_IS_ODD_UP_TO_C:
        return f"oil level high at {said}: cold oil stands lower, so at the mark's temperature there would be too much"
    return ""
