"""What can be noted on a visit: how it is kept, and said."""

from __future__ import annotations

import pytest

from tapwear.visits.observations import BY_NAME, MORE, label, level_doubt, noted
from tapwear.visits.positions import positions_of
from tapwear.visits.specs import Unfit
from tapwear.words import OBSERVED, observed_words


def test_numbers_are_kept_as_numbers_and_all_else_as_words() -> None:
    seen = {"position": "l5", "oil_temp_c": 42, "oil_level": "low", "drag_hands_reset": True, "seepage": "None"}
    assert noted(seen, positions_of("16L-N-16R")) == {
        "position": (None, "5L"),
        "oil_temp_c": (42.0, ""),
        "oil_level": (None, "low"),
        "drag_hands_reset": (None, "yes"),
        "seepage": (None, "none"),
    }


@pytest.mark.parametrize("words", ["none", "None.", "no", "NIL", "nothing"])
def test_no_seepage_is_kept_in_one_spelling_and_a_place_as_it_is(words: str) -> None:
    assert noted({"seepage": words}) == {"seepage": (None, "none")}
    assert noted({"seepage": f"{words} but the lid"}) == {"seepage": (None, f"{words} but the lid")}


def test_what_was_not_looked_at_is_not_kept() -> None:
    assert noted({"heater": None, "remark": "", "unit": "T1"}) == {}


def test_the_order_of_the_words_is_the_order_of_the_fields() -> None:
    assert tuple(BY_NAME) == OBSERVED


def test_drag_hands_the_wrong_way_round_are_refused() -> None:
    with pytest.raises(Unfit, match="drag hands from 5R up to 3L"):
        noted({"position_low": "5R", "position_high": "3L"})
    assert set(noted({"position_low": "3L", "position_high": "5R"})) == {"position_low", "position_high"}


def test_every_quantity_has_a_label_and_says_its_unit_of_measure() -> None:
    assert observed_words("oil_temp_c", 41.5, "") == "41.5 °C"
    assert observed_words("pressure_kpa", -20.0, "") == "-20 kPa"
    assert observed_words("breather", None, "to be renewed") == "to be renewed"
    assert all("_" not in label(name) for name in BY_NAME)


@pytest.mark.parametrize(
    ("level", "degrees", "odd"),
    [
        ("low", 85.0, True), ("low", 50.0, True), ("low", 49.0, False), ("low", -15.0, False),
        ("high", -15.0, True), ("high", 10.0, True), ("high", 11.0, False), ("high", 85.0, False),
        ("normal", 85.0, False), ("normal", -15.0, False),
    ],
)  # fmt: skip
def test_a_level_is_held_against_the_temperature_at_which_it_was_read(level: str, degrees: float, odd: bool) -> None:
    words = level_doubt(level, degrees, f"{degrees:g} °C")
    assert bool(words) == odd
    assert not odd or words.startswith(f"oil level {level} at {degrees:g} °C: ")


def test_what_is_asked_for_in_groups_is_a_quantity_and_in_one_group_only() -> None:
    names = [name for group in MORE.values() for name in group]
    assert len(set(names)) == len(names)
    assert set(names) <= set(BY_NAME)
    assert observed_words("filter_hours", 1_200.0, "") == "1,200 h"
    assert observed_words("breather_share_percent", 60.0, "") == "60 %"
