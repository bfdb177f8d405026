"""Units of measure: the one place where a number given in one unit becomes the unit that we keep.

We keep litres [L], degrees Celsius [°C], kilopascal [kPa], gas in oil as [µL/L] (the trade writes ppm),
water in oil as [mg/kg] (the trade writes ppm here too), kilovolt [kV], ampere [A], volt [V], millimetre [mm].
"""

from __future__ import annotations

from collections.abc import Callable

# Exact by definition: US gallon 231 in³, imperial gallon 4.54609 L (UK Units of Measurement Regulations 1995),
# 1 psi = 6.894757293168 kPa (pound-force per square inch, NIST SP 811 appendix B.8).
LITRES_PER_US_GALLON = 3.785411784
LITRES_PER_IMPERIAL_GALLON = 4.54609
KPA_PER_PSI = 6.894757293168
MM_PER_INCH = 25.4

# A service's numbers as found and as left differ by at most this when the counter was kept [operations]. Our choice.
TESTING_OPERATIONS = 300

_Convert = Callable[[float], float]


def _same(value: float) -> float:
    return value


def _times(factor: float) -> _Convert:
    return lambda value: value * factor


# kind of quantity -> spelling (lower case) -> conversion into the kept unit
MEASURES: dict[str, dict[str, _Convert]] = {
    "volume": {
        "l": _same,
        "litre": _same,
        "litres": _same,
        "liter": _same,
        "liters": _same,
        "gal_us": _times(LITRES_PER_US_GALLON),
        "us_gallon": _times(LITRES_PER_US_GALLON),
        "gal_imp": _times(LITRES_PER_IMPERIAL_GALLON),
        "imperial_gallon": _times(LITRES_PER_IMPERIAL_GALLON),
    },
    "temperature": {
        "c": _same,
        "°c": _same,
        "f": lambda value: (value - 32.0) / 1.8,
        "°f": lambda value: (value - 32.0) / 1.8,
    },
    "pressure": {"kpa": _same, "psi": _times(KPA_PER_PSI), "bar": _times(100.0), "mbar": _times(0.1)},
    "gas": {"ul/l": _same, "µl/l": _same, "ppm": _same},
    "water": {"mg/kg": _same, "ppm": _same},
    "voltage": {"kv": _same, "v": _times(0.001)},
    "length": {"mm": _same, "in": _times(MM_PER_INCH), "inch": _times(MM_PER_INCH)},
}
KEPT_UNIT = {
    "volume": "L",
    "temperature": "°C",
    "pressure": "kPa",
    "gas": "µL/L",
    "water": "mg/kg",
    "voltage": "kV",
    "length": "mm",
}
# The systems of units that people set, and what differs from the kept unit: its name in MEASURES, and as it is said.
SYSTEMS = ("metric", "us")
US_UNITS = {"temperature": ("f", "°F"), "pressure": ("psi", "psi"), "volume": ("gal_us", "gal (US)")}


def convert(value: float, kind: str, unit: str) -> float:
    """The value in the unit that we keep for this kind of quantity.

    Raises KeyError (with the known spellings) when the unit is not one of that kind, e.g. µmol/mol for gas in
    oil, which is a mole fraction and not a volume per volume.
    """
    known = MEASURES[kind]
    key = unit.strip().lower().replace("μ", "µ")
    if key not in known:
        raise KeyError(f"unit {unit!r} is not known for {kind}; known: {', '.join(known)}")
    return known[key](value)


def unit_in(kind: str, system: str) -> tuple[str, str]:
    """The unit of a kind of quantity in a system: as `convert` knows it ("" for the one we keep), and as people say it.

    system : one of SYSTEMS
    """
    return US_UNITS[kind] if system == "us" and kind in US_UNITS else ("", KEPT_UNIT[kind])


def shown_in(value: float, kind: str, system: str) -> str:
    """A value in the unit that we keep, said in a system: `41 °C`, `105.8 °F`."""
    unit, said = unit_in(kind, system)
    return f"{round(said_in(value, kind, unit) if unit else value, 2):.10g} {said}"


def said_in(value: float, kind: str, unit: str) -> float:
    """A value in the unit that we keep, in another one: the way back of `convert`."""
    zero, one = convert(0.0, kind, unit), convert(1.0, kind, unit)  # all conversions are straight lines
    return (value - zero) / (one - zero)
