"""Positions in the unit's own way of writing them: put in order, checked against the unit's range."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapwear.visits.positions import all_positions, position_number, position_words, positions_of
from tapwear.visits.specs import Unfit

SIDES, PLAIN, MIDDLE, LETTERED = "16L-N-16R", "1-33", "1-17-33", "1-9abc-17"
EVERY = {
    SIDES: [*(f"{n}L" for n in range(16, 0, -1)), "N", *(f"{n}R" for n in range(1, 17))],
    PLAIN: [str(n) for n in range(1, 34)],
    LETTERED: [*map(str, range(1, 9)), "9a", "9b", "9c", *map(str, range(10, 18))],
}


@pytest.mark.parametrize("style", EVERY)
def test_all_positions_of_a_style_stand_in_their_order(style: str) -> None:
    numbers = [position_number(text, style) for text in EVERY[style]]
    assert numbers == sorted(set(numbers))
    assert [position_words(text.lower(), style) for text in EVERY[style]] == EVERY[style]


@pytest.mark.parametrize("style", EVERY)
def test_all_positions_of_a_style_are_listed(style: str) -> None:
    assert all_positions(positions_of(style)) == tuple(EVERY[style])


def test_a_unit_of_which_no_style_is_known_has_no_list() -> None:
    assert all_positions(positions_of("")) == ()


def test_the_change_over_selector_moves_where_the_style_names_the_middle() -> None:
    def change_over(style: str) -> tuple[float, float] | None:
        known = positions_of(style)
        assert known is not None
        return known.change_over

    assert change_over(SIDES) == (0, 0)
    assert change_over(PLAIN) is None  # linear types have none
    assert change_over(MIDDLE) == change_over("1-N-33") == (17, 17)
    assert change_over(LETTERED) == change_over("1-9a/9b/9c-17") == (9.1, 9.3)
    assert positions_of("  ") is None


def test_neutral_is_the_middle_whichever_way_it_is_written() -> None:
    assert position_number("n", SIDES) == position_number("0", SIDES) == 0
    assert position_words("0", SIDES) == "N"
    assert position_number("N", MIDDLE) == position_number("17", MIDDLE) == 17


@pytest.mark.parametrize(
    ("text", "style"),
    [("17R", SIDES), ("5", SIDES), ("5L", PLAIN), ("34", PLAIN), ("0", PLAIN), ("N", PLAIN), ("9", LETTERED),
     ("8a", LETTERED), ("9d", LETTERED), ("N", LETTERED), ("middle", ""), ("", ""), ("-3", ""), ("L", SIDES)],
)  # fmt: skip
def test_what_is_no_position_of_the_unit_is_refused_with_what_it_has(text: str, style: str) -> None:
    with pytest.raises(Unfit) as refused:
        position_number(text, style)
    assert refused.value.remedy.startswith(("read the indicator again; the register has", "write it as on the"))


@pytest.mark.parametrize("style", ["16L", "16R-N-16L", "1-33R", "33-1", "1-40-33", "1-9cba-17", "x-y", "1--33", "-"])
def test_a_style_that_names_no_range_is_refused(style: str) -> None:
    with pytest.raises(Unfit) as refused:
        positions_of(style)
    assert "16L-N-16R" in refused.value.remedy


def test_without_a_style_any_way_of_writing_is_taken() -> None:
    assert [position_number(text) for text in ("L5", "N", "5 r", "17", "9b")] == [-5, 0, 5, 17, 9.2]
    assert [position_words(text) for text in ("l5", "n", "05 r", "017"[1:], "9B")] == ["5L", "N", "5R", "17", "9b"]


@given(st.text(max_size=8), st.sampled_from(["", *EVERY]))
def test_any_text_is_a_position_or_refused(text: str, style: str) -> None:
    try:
        number = position_number(text, style)
    except Unfit:
        return
    assert position_number(position_words(text, style), style) == number
