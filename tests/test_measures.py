"""Conversions held against figures worked by hand."""

from __future__ import annotations

import pytest

from tapwear.measures import KEPT_UNIT, MEASURES, convert, shown_in, unit_in


@pytest.mark.parametrize(
    ("value", "kind", "unit", "kept"),
    [
        (10, "volume", "L", 10.0),
        (10, "volume", "gal_us", 37.85411784),  # 231 cubic inches each
        (10, "volume", "US_gallon", 37.85411784),
        (10, "volume", "gal_imp", 45.4609),
        (0, "temperature", "C", 0.0),
        (32, "temperature", "F", 0.0),
        (212, "temperature", "°F", 100.0),
        (-40, "temperature", "f", -40.0),
        (100, "pressure", "kPa", 100.0),
        (14.5, "pressure", "psi", 99.97398),  # 14.5 lbf/in2 are just under 1 bar
        (1.5, "pressure", "bar", 150.0),
        (250, "pressure", "mbar", 25.0),
        (7, "gas", "ppm", 7.0),
        (7, "gas", "µL/L", 7.0),  # micro sign
        (7, "gas", "μL/L", 7.0),  # Greek letter mu
        (7, "gas", " uL/L ", 7.0),
        (18, "water", "ppm", 18.0),
        (18, "water", "mg/kg", 18.0),
        (41_500, "voltage", "V", 41.5),
        (0.1, "length", "inch", 2.54),
    ],
)
def test_a_value_comes_back_in_the_unit_that_we_keep(value: float, kind: str, unit: str, kept: float) -> None:
    assert convert(value, kind, unit) == pytest.approx(kept, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(("kind", "unit"), [("gas", "µmol/mol"), ("water", "µL/L"), ("volume", "gal"), ("length", "")])
def test_a_unit_that_is_none_or_could_be_two_is_refused_with_those_known(kind: str, unit: str) -> None:
    with pytest.raises(KeyError, match="known: "):
        convert(1.0, kind, unit)


def test_every_kind_of_quantity_knows_the_unit_in_which_it_is_kept() -> None:
    assert KEPT_UNIT.keys() == MEASURES.keys()
    assert all(convert(3.25, kind, unit) == 3.25 for kind, unit in KEPT_UNIT.items())


def test_a_value_is_said_in_the_system_that_people_set() -> None:
    assert shown_in(41.0, "temperature", "metric") == "41 °C"
    assert shown_in(41.0, "temperature", "us") == "105.8 °F"
    assert shown_in(6.894757293168, "pressure", "us") == "1 psi"
    assert shown_in(2.5, "length", "us") == "2.5 mm"
    assert shown_in(40.55555, "temperature", "metric") == "40.56 °C"
    assert shown_in(12_345.0, "pressure", "metric") == "12345 kPa"
    assert unit_in("pressure", "us") == ("psi", "psi")
