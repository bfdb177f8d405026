"""Words used all over: the cautions that stand wherever work is suggested, and the kinds of conditions people note."""

from __future__ import annotations

import re
import shlex

# `://NAME:PASSWORD@` of a URL, also where the password itself holds / or @, and `password=` of libpq's other forms.
_PASSWORDS = re.compile(r"(?i)([a-z][a-z0-9+.-]*:/{1,2}[^\s/@:'\"]*:)[^\s'\"]*(?=@)|(password=)[^\s&'\"]+")

CAUTION_SHORT = (
    "Planning advice only, neither a switching permit nor a diagnosis. Before any work: de-energise, isolate, "
    "test, lock or tag, and earth. Acetylene and hydrogen burn and explode: ventilate, no ignition source. "
    "Local codes, the owner's switching rules, the maker's manual and licensed practice come first."
)
CAUTIONS = (
    "Treat as energised until isolated, tested, locked or tagged, and earthed. Local codes, the owner's "
    "switching rules and the maker's manual come first; qualified, authorised people only.",
    "Acetylene (about 2.5-100 % in air) and hydrogen (4-75 %) burn or explode: ventilate, no ignition source; "
    "drain through earthed conductive hoses; enter only after testing the atmosphere, with an attendant.",
    "Never sample energised equipment that is under negative pressure: a bubble drawn in can flash over.",
    "Results are planning advice: neither a switching permit nor a diagnosis.",
)
SEVERE = "Do not operate, approach or sample energised. Call the responsible engineer."
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
    "other": "other",
}
# What is noted on visits, in the order in which it is looked at beside the unit.
OBSERVED = (
    *("position", "position_low", "position_high", "drag_hands_reset", "oil_level", "oil_temp_c"),
    *("compartment_temp_c", "main_tank_temp_c", "pressure_kpa", "gas_bottle_kpa", "breather", "seepage", "heater"),
    *("noise", "coating", "remark"),
)
_LABELS = {
    "position_low": "drag hands from",
    "position_high": "drag hands to",
    "drag_hands_reset": "drag hands reset",
    "oil_temp_c": "oil temperature",
    "compartment_temp_c": "compartment's wall",
    "main_tank_temp_c": "main tank's wall",
    "pressure_kpa": "pressure",
    "gas_bottle_kpa": "gas bottle",
    "heater": "cabinet heater",
}


def observed_label(quantity: str) -> str:
    """A quantity noted on a visit as people call it."""
    return _LABELS.get(quantity, quantity.replace("_", " "))


def observed_words(quantity: str, value: float | None, words: str) -> str:
    """One observation as it is said: `62 °C`, `9b`, `to be renewed`. value : None or NaN for words."""
    if words or value is None:
        return words
    return f"{value:,.6g} {'°C' if quantity.endswith('_c') else 'kPa'}"


def years_words(years: float) -> str:
    """`7 years`, `1 year`, `1.5 years`."""
    return f"{years:g} year{'s' if years != 1 else ''}"


def limits_words(operations: float | None, years: float | None) -> str:
    """`70,000 operations or 7 years`: both limits of an interval, or the one there is; "" for none."""
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


def masked(text: object) -> str:
    """The text with the password of every URL in it masked: whatever names a store is shown through here."""
    return _PASSWORDS.sub(lambda found: f"{found[1] or found[2]}***", str(text))
