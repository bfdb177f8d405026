"""What visits show for the engineer: contacts that stand still, a compartment hotter than the main tank."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import chain

import pandas as pd
import pytest
from books import AS_OF
from noticed_rows import hands, seen
from outlook_dues import due

from tapwear.outlook.conditions import Noted
from tapwear.outlook.noticed import Noticed, in_order
from tapwear.outlook.observed import HOTTER, advice, last_cleaned, last_closed, with_observed
from tapwear.outlook.types import Outlook
from tapwear.words import stop_notice


def told(*visits: list[Noticed], after: float | None = None, cleaned: str = "", suspected: bool = False) -> str:
    """What is said of T1, "" for nothing."""
    found = advice(
        in_order(chain(*visits)),
        {} if after is None else {"T1": after},
        {"T1": date.fromisoformat(cleaned)} if cleaned else {},
        {},
        {},
        ["T1"] if suspected else [],
    )
    assert set(found) <= {"T1"}
    return "; ".join(found.get("T1", ()))


ONE_SIDE = (
    hands("T1", "2024-03-18", "3R", "8R", "5R"),
    hands("T1", "2025-03-13", "2R", "7R", "4R"),
    hands("T1", "2026-01-26", "3R", "7R", "5R"),
)


def test_a_selector_not_seen_to_move_for_a_year_goes_to_the_engineer_before_anybody_exercises_it() -> None:
    assert told(*ONE_SIDE) == (
        "no change-over selector operation recorded 2024-03-18 to 2026-01-26: drag hands from 3R to 7R, never "
        "through neutral; contacts left stationary can coke up: ask the engineer before anybody exercises it"
    )


def test_where_the_oil_suggests_arcing_or_heating_nobody_is_to_operate_it_at_all() -> None:
    words = told(*ONE_SIDE, suspected=True)
    assert words.endswith("do not operate it, not even to exercise it; ask the engineer")
    assert "before anybody exercises" not in words


def test_drag_hands_on_both_sides_of_neutral_or_an_indicator_seen_on_both_show_a_movement() -> None:
    moved = hands("T1", "2026-01-26", "1L", "7R")
    assert told(*ONE_SIDE[:2], moved) == ""
    left = hands("T1", "2026-01-26", "3L", "1L", "2L")  # 4R a year before: it went through neutral since
    assert told(*ONE_SIDE[:2], left) == ""
    assert told(*ONE_SIDE[:2], moved, hands("T1", "2026-05-01", "2R", "6R")) == ""  # 95 days only
    later = told(*ONE_SIDE[:2], moved, hands("T1", "2027-03-01", "2R", "6R"))
    assert "recorded 2026-01-26 to 2027-03-01" in later


def test_hands_that_were_not_reset_show_the_movement_of_before_and_no_newer_one() -> None:
    across = {"position_low": "3L", "position_high": "8R"}
    left = [seen("T1", on, **across, drag_hands_reset=False) for on in ("2024-03-18", "2025-03-13", "2026-01-26")]
    assert told(*left) == (
        "drag hands not reset since 2024-03-18 do not show whether the change-over selector has moved since: they "
        "are to be reset whenever they are read"
    )
    unsaid = [seen("T1", on, **across) for on in ("2024-03-18", "2025-03-13", "2026-01-26")]
    assert told(*unsaid) == told(*left)
    reset = [seen("T1", on, **across, drag_hands_reset=True) for on in ("2024-03-18", "2025-03-13", "2026-01-26")]
    assert told(*reset) == ""
    one_side = seen("T1", "2026-06-01", position_low="2R", position_high="8R")
    assert "no change-over selector operation recorded 2024-03-18 to 2026-06-01" in told(*left, one_side)
    assert told(*reset, one_side) == ""


def test_each_compartment_has_its_own_selector() -> None:
    days = ("2024-03-18", "2025-06-01", "2026-01-26")
    moves = [seen("T1", on, compartment="A", position_low="3L", position_high=f"{n}R") for n, on in enumerate(days, 5)]
    stays = [seen("T1", on, compartment="B", position_low="3R", position_high="8R") for on in days]
    assert told(*moves, *stays).startswith("compartment B: no change-over selector operation recorded 2024-03-18")
    assert told(*moves) == ""


def test_neutral_itself_shows_no_movement() -> None:
    assert "no change-over selector operation" in told(*ONE_SIDE[:2], hands("T1", "2026-01-26", "N", "7R", "N"))


def test_less_than_the_set_time_is_not_told_and_the_time_can_be_set() -> None:
    short = (hands("T1", "2025-07-01", "1R", "4R"), hands("T1", "2026-06-30", "1R", "4R"))  # 364 days
    assert told(*short) == ""
    assert told(*short, after=364) != ""
    assert told(*ONE_SIDE, after=1000) == ""


def test_an_overhaul_cleans_the_contacts_so_the_time_begins_again() -> None:
    assert told(*ONE_SIDE, cleaned="2025-06-01") == ""
    days = pd.to_datetime(["2025-06-01", "2026-01-01"])
    services = pd.DataFrame({"unit": ["T1", "T1"], "work": ["overhaul", "inspection"], "done_on": days})
    assert last_cleaned(services) == {"T1": date(2025, 6, 1)}


@pytest.mark.parametrize("style", ["1-33", ""])
def test_nothing_is_said_of_a_selector_where_no_middle_is_known(style: str) -> None:
    visits = [hands("T1", on, "18", "25", style=style) for on in ("2024-03-18", "2025-03-13", "2026-01-26")]
    assert told(*visits) == ""
    assert told(*[hands("T1", on, "18", "25", style="1-17-33") for on in ("2024-03-18", "2026-01-26")]) != ""


def test_three_middle_positions_are_crossed_from_below_the_first_to_above_the_last() -> None:
    first = hands("T1", "2024-03-18", "10", "12", style="1-9abc-17")
    within = hands("T1", "2026-01-26", "9a", "12", style="1-9abc-17")
    across = hands("T1", "2026-01-26", "8", "10", style="1-9abc-17")
    assert "no change-over selector operation recorded" in told(first, within)
    assert told(first, across) == ""


def test_one_position_only_is_told_of_linear_types_too() -> None:
    visits = [hands("T1", on, "18", "18", style="1-33") for on in ("2024-03-18", "2025-03-13", "2026-01-26")]
    assert told(*visits).startswith("drag hands at 18 only from 2024-03-18 to 2026-01-26; ")
    assert told(hands("T1", "2024-03-18", "17", "19", style="1-33"), *visits[1:]) == ""


def test_without_drag_hands_only_one_position_at_three_visits_says_anything() -> None:
    days = ("2024-03-18", "2025-03-13", "2026-01-26")
    same = [seen("T1", on, position="5R") for on in days]
    assert told(*same).startswith("seen at 5R on 3 visits in a row from 2024-03-18 to 2026-01-26, drag hands not noted")
    assert told(*same[1:]) == ""
    assert told(*same[:2], seen("T1", days[2], position="6R")) == ""


def hot(on: str, compartment: float, tank: float) -> list[Noticed]:
    return seen("T1", on, compartment_temp_c=compartment, main_tank_temp_c=tank)


def test_a_compartment_hotter_than_its_tank_is_told_with_how_to_note_it_until_it_is_noted() -> None:
    visits = (hot("2026-05-04", 34, 36), hot("2026-06-01", 43, 39), hot("2026-06-25", 47, 41))
    assert told(*visits) == (
        "compartment 6 K hotter than the main tank on 2026-06-25, as on 2026-06-01: refer to the engineer today; note "
        "it with tapwear condition add T1 hotter_than_main_tank --words TEXT"
    )
    assert told(*visits[:1]) == ""
    assert told(hot("2026-06-25", 43, 40.5)) == ""  # 2.5 K may be the thermometer
    assert told(*visits, hot("2026-06-28", 38, 41)) == ""
    rows = in_order(chain(*visits))
    noted = Noted(HOTTER, "6 K", date(2026, 6, 26), None, False, "Kim")
    assert advice(rows, {}, {}, {"T1": (noted,)}, {}) == {}
    assert advice(rows, {}, {}, {}, {"T1": date(2026, 6, 25)}) == {}
    assert advice(rows, {}, {}, {}, {"T1": date(2026, 6, 24)}) != {}


def test_only_conditions_of_that_kind_closed_by_then_count_as_settled() -> None:
    days = pd.to_datetime(pd.Series(["2026-05-01", "2026-08-01", "2026-05-01", None]))
    kinds = [HOTTER, HOTTER, "infrared", HOTTER]
    frame = pd.DataFrame({"unit": ["T1", "T2", "T3", "T4"], "kind": kinds, "closed_on": days})
    assert last_closed(frame, HOTTER, AS_OF) == {"T1": date(2026, 5, 1)}


def test_it_stands_at_the_contact_service_and_moves_no_date() -> None:
    now = due()
    other = replace(now, task="oil change")
    found = with_observed(Outlook(AS_OF, (now, other)), {now.unit: ("selector stands still",)})
    first, second = found.dues
    assert first == replace(now, observed=("selector stands still",), doubts=(*now.doubts, "selector stands still"))
    assert second == other
    alone = with_observed(Outlook(AS_OF, (other,)), {now.unit: ("selector stands still",)})
    assert alone.dues[0].observed == ("selector stands still",)


def test_of_a_unit_with_a_severe_finding_nothing_else_is_said() -> None:
    severe = replace(due(), task="oil change", severe=True, next_action=stop_notice("T1"))
    outlook = Outlook(AS_OF, (due(), severe))
    assert with_observed(outlook, {severe.unit: ("selector stands still",)}) == outlook
