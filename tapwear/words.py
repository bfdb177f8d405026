"""Words used all over: the cautions that stand wherever work is suggested, and the kinds of conditions people note."""

from __future__ import annotations

import re
import shlex
from collections.abc import Sequence
from datetime import date

# `://NAME:PASSWORD@` of a URL, also where the password itself holds / or @, and `password=` of libpq's other forms.
_PASSWORDS = re.compile(r"(?i)([a-z][a-z0-9+.-]*:/{1,2}[^\s/@:'\"]*:)[^\s'\"]*(?=@)|(password=)[^\s&'\"]+")

CAUTION_SHORT = (
    "Planning advice only, neither a switching permit nor a diagnosis. Before any work: de-energise, isolate, "
    "test, lock or tag, and earth. Acetylene and hydrogen burn and explode: ventilate, no ignition source. "
    "Local codes, the owner's switching rules, the maker's manual and licensed practice come first."
)
NEGATIVE_PRESSURE = (
    "Never sample energised equipment that is under negative pressure: a bubble drawn in can flash over."
)
# How the doubt of a number begins that a counter shows which cannot be read or does not count: no count of operations.
COUNTER_AT_FAULT = "counter noted as "
CAUTIONS = (
    "Treat as energised until isolated, tested, locked or tagged, and earthed. Local codes, the owner's "
    "switching rules and the maker's manual come first; qualified, authorised people only.",
    "Acetylene (about 2.5-100 % in air) and hydrogen (4-75 %) burn or explode: ventilate, no ignition source; "
    "drain through earthed conductive hoses; enter only after testing the atmosphere, with an attendant.",
    NEGATIVE_PRESSURE,
    "Results are planning advice: neither a switching permit nor a diagnosis.",
)
STOP_ORDERS = (
    "Do not operate. Do not go near. Do not sample while energised. Keep others away. "
    "Call the responsible engineer now."
)
# Why a stop was opened: as stored -> as said.
STOP_CAUSES = {
    "oil": "oil results",
    "condition": "noted condition",
    "visit": "seen on a visit",
    "engineer": "engineer's order",
}
# For visits, on which the units are live.
NEAR_LIVE_PLANT = (
    "The units are live. Stay outside the clearances to live parts that the owner's rules give, tools and ladder too.",
    "Do not open a compartment, valve cover or terminal box. Do not crank the drive by hand.",
    "The drive cabinet holds moving parts and a live supply, and the drive may start by itself at any moment: look, "
    "and touch nothing but what the visit asks for.",
    "Unusual noise, smell or smoke, or an oil level that falls: leave the cabinet, keep others away, do not operate, "
    "call the responsible engineer at once.",
)
# As stored -> as said.
CONDITION_KINDS = {
    "hotter_than_main_tank": "compartment hotter than the main tank",
    "infrared": "infrared",
    "motor_current": "motor current",
    "dynamic_resistance": "dynamic resistance",
    "relay_trip": "relay trip",
    "maker_bulletin": "maker's bulletin",
    "other": "other",
}
# What is to be followed up after a visit: as stored -> as said.
FOLLOWUP_KINDS = {
    "seepage": "seepage",
    "oil_level": "oil level",
    "breather": "breather",
    "heater": "cabinet heater",
    "gas_blanket": "gas blanket",
    "noise": "noise",
    "coating": "coating",
    "counter_state": "counter",
    "drive_oil": "drive oil",
    "drive_gear": "drive belt or gear",
    "end_stops": "end stops",
    "crank_interlock": "hand-crank interlock",
    "relay_window": "relay window",
    "other": "other",
}
# What is noted on visits, in the order in which it is looked at beside the unit.
OBSERVED = (
    *("counter_state", "position", "position_low", "position_high", "drag_hands_reset", "oil_level", "oil_temp_c"),
    *("compartment_temp_c", "main_tank_temp_c", "ambient_temp_c", "pressure_kpa", "gas_bottle_kpa", "breather"),
    *("breather_colour", "breather_share_percent", "seepage", "heater", "noise", "coating", "drive_oil", "drive_gear"),
    *("end_stops", "crank_interlock", "moves_by_hand", "regulator_mode", "relay_window", "filter_pressure_kpa"),
    *("filter_hours", "bottle_number", "photo_numbers", "remark"),
)
_LABELS = {
    "position_low": "drag hands from",
    "position_high": "drag hands to",
    "drag_hands_reset": "drag hands reset",
    "oil_temp_c": "oil temperature",
    "compartment_temp_c": "compartment wall temperature",
    "main_tank_temp_c": "main tank wall temperature",
    "pressure_kpa": "pressure",
    "gas_bottle_kpa": "gas cylinder",
    "heater": "cabinet heater",
    "counter_state": "counter",
    "ambient_temp_c": "ambient temperature",
    "breather_share_percent": "share of the desiccant that has changed colour",
    "drive_gear": "drive belt or gear",
    "crank_interlock": "hand-crank interlock",
    "moves_by_hand": "drive moves by hand",
    "filter_pressure_kpa": "filter pressure",
    "filter_hours": "hours of the filter",
    "photo_numbers": "photos",
}
_MEASURED_IN = {"_c": "°C", "_kpa": "kPa", "_percent": "%", "_hours": "h"}


def stop_notice(*units: str) -> str:
    """What is said first of units whose stop stands, in the one wording that there is; no unit: of one that is named
    beside it."""
    where = f" in {', '.join(units)}" if units else ""
    return f"STOP: possible arcing or overheating{where}. {STOP_ORDERS}"


def stop_short(since: date, for_work: bool) -> str:
    """What stands first in the row of a stopped unit: `STOP since 2026-05-26`, or what it is released for."""
    return "STOP: only work de-energised" if for_work else f"STOP since {since}"


def condition_evidence(kind: str, noted_on: date, author: str, words: str) -> str:
    """A severe condition as the evidence of a stop: `Relay trip, noted 2026-06-03 by K. Lund: surge relay.`"""
    by = f" by {author}" if author else ""
    return f"{CONDITION_KINDS[kind].capitalize()}, noted {noted_on}{by}: {words.rstrip('.')}."


def observed_label(quantity: str) -> str:
    """A quantity noted on a visit as people call it."""
    return _LABELS.get(quantity, quantity.replace("_", " "))


def observed_words(quantity: str, value: float | None, words: str) -> str:
    """One observation as it is said: `62 °C`, `9b`, `to be renewed`. value : None or NaN for words."""
    if words or value is None:
        return words
    unit = next(said for ending, said in _MEASURED_IN.items() if quantity.endswith(ending))
    return f"{value:,.6g} {unit}"


def years_words(years: float) -> str:
    """`7 years`, `1 year`, `1.5 years`."""
    return f"{years:g} year{'s' if years != 1 else ''}"


def limits_words(operations: float | None, years: float | None) -> str:
    """`68,500 operations or 7 years`: both limits of an interval, or the one there is; "" for none."""
    limits = [f"{operations:,.0f} operations" if operations else "", years_words(years) if years else ""]
    return " or ".join(limit for limit in limits if limit)


def percent_words(chance: float) -> str:
    """`12 %`, `under 1 %`, `over 99 %`: a chance from 0 to 1, never told as certain."""
    percent = round(100 * chance)
    if percent < 1:
        return "under 1 %"
    return "over 99 %" if percent > 99 else f"{percent} %"


def as_typed(tag: str) -> str:
    """A tag as it is typed in a command: in quotes where it holds a blank or a sign that means something to a shell."""
    return tag if re.fullmatch(r"[\w.:/+%@,-]+", tag) else shlex.quote(tag)


def first_few(sentences: Sequence[str], most: int = 3) -> str:
    """The first of what was found, and how much more there is."""
    more = f"; and {len(sentences) - most:,} more" if len(sentences) > most else ""
    return "; ".join(sentences[:most]) + more


def masked(text: object) -> str:
    """The text with the password of every URL in it masked: whatever names a store is shown through here."""
    return _PASSWORDS.sub(lambda found: f"{found[1] or found[2]}***", str(text))

# What the oil's call is in a sentence about one unit.
OIL_CALLS = {
    "pull forward": "internal inspection",
    "resample": "another sample",
    "nothing unusual": "nothing unusual",
    "no oil evidence": "no recent sample",
    "": "no sample",
}
