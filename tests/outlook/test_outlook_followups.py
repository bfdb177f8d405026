"""What is to be followed up: opened by what visits show, once for a fault, closed by people, opened by newer ones."""

from __future__ import annotations

import random
from datetime import date
from itertools import chain

import pytest
from books import AS_OF
from hypothesis import given
from hypothesis import strategies as st
from noticed_rows import seen

from tapwear.outlook.followups import FollowUp, Kept, follow_ups, open_ones
from tapwear.outlook.noticed import Noticed, in_order


def found(*visits: list[Noticed], kept: tuple[Kept, ...] = (), as_of: date = AS_OF) -> tuple[FollowUp, ...]:
    return follow_ups(in_order(chain(*visits)), kept, as_of)


def closing(kind: str, on: str, place: str = "", how: str = "mended") -> Kept:
    first = date(2025, 1, 1)
    return Kept("T1", kind, "", place, first, "as seen", "observation", date.fromisoformat(on), how, "Kim")


def sentences(*visits: list[Noticed], kept: tuple[Kept, ...] = ()) -> list[str]:
    return [one.sentence for one in open_ones(found(*visits, kept=kept))]


@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        ({"oil_level": "low", "oil_temp_c": 19}, "oil level low at 19 °C; seen 2026-04-14"),
        ({"oil_level": "low"}, "oil level low, oil temperature not noted; seen 2026-04-14"),
        ({"breather": "to be renewed"}, "breather to be renewed; seen 2026-04-14"),
        ({"breather": "blocked"}, "breather blocked; seen 2026-04-14"),
        ({"seepage": "drain valve"}, "seepage: drain valve; seen 2026-04-14"),
        ({"heater": "faulty"}, "cabinet heater faulty; seen 2026-04-14"),
        ({"noise": "unusual"}, "noise: unusual noise; seen 2026-04-14"[7:]),
        ({"coating": "damaged"}, "coating damaged; seen 2026-04-14"),
    ],
)
def test_each_fault_is_followed_up_and_its_healthy_twin_is_not(values: dict[str, object], sentence: str) -> None:
    assert sentences(seen("T1", "2026-04-14", **values)) == [sentence]
    well = {"oil_level": "normal", "breather": "good", "seepage": "none", "heater": "off", "noise": "usual",
            "coating": "sound"}  # fmt: skip
    assert sentences(seen("T1", "2026-04-14", **{name: well.get(name, value) for name, value in values.items()})) == []


def test_a_fault_seen_again_is_still_one_and_that_all_was_well_later_closes_nothing() -> None:
    visits = [seen("T1", "2025-10-17", breather="to be renewed"), seen("T1", "2026-01-23", breather="blocked")]
    assert sentences(*visits) == ["breather blocked; seen 2 times, 2025-10-17 to 2026-01-23"]
    well = seen("T1", "2026-04-14", breather="good")
    assert sentences(*visits, well) == [
        "breather blocked; seen 2 times, 2025-10-17 to 2026-01-23, found in order on 2026-04-14"
    ]


def test_seepages_at_several_places_are_followed_up_each_for_itself() -> None:
    first = seen("T1", "2026-01-23", seepage="Drain valve; bushing flange")
    assert sentences(first, seen("T1", "2026-04-14", seepage="drain  valve")) == [
        "seepage: bushing flange; seen 2026-01-23, found in order on 2026-04-14",
        "seepage: drain valve; seen 2 times, 2026-01-23 to 2026-04-14",
    ]


def test_a_closed_one_opens_again_only_by_an_observation_of_a_later_day() -> None:
    visits = [seen("T1", "2026-01-23", heater="faulty"), seen("T1", "2026-04-14", heater="faulty")]
    ended = closing("heater", "2026-04-14")
    (one,) = found(*visits, kept=(ended,))
    assert one.sentence == (
        "cabinet heater faulty; seen 2 times, 2026-01-23 to 2026-04-14; closed 2026-04-14 by Kim: mended"
    )
    late = seen("T1", "2026-02-01", heater="faulty")  # comes in later, but speaks of a day before
    assert open_ones(found(*visits, late, kept=(ended,))) == ()
    again = seen("T1", "2026-05-02", heater="faulty")
    assert sentences(*visits, again, kept=(ended,)) == ["cabinet heater faulty; seen 2026-05-02"]


def test_a_closing_concerns_its_own_place_and_kind_only() -> None:
    visit = seen("T1", "2026-01-23", seepage="drain valve; bushing flange", heater="faulty")
    rest = sentences(visit, kept=(closing("seepage", "2026-02-01", "DRAIN valve"),))
    assert rest == ["cabinet heater faulty; seen 2026-01-23", "seepage: bushing flange; seen 2026-01-23"]


def test_nothing_of_later_than_the_day_asked_for_counts() -> None:
    visit = seen("T1", "2026-01-23", heater="faulty")
    (one,) = found(visit, kept=(closing("heater", "2026-02-01"),), as_of=date(2026, 1, 31))
    assert one.closed_on is None
    assert found(visit, as_of=date(2026, 1, 22)) == ()


def bottle(*readings: tuple[str, float]) -> list[str]:
    return sentences(*(seen("T1", on, gas_bottle_kpa=value) for on, value in readings))


STEADY = (("2025-01-01", 10_000.0), ("2025-04-11", 9_600.0), ("2025-07-20", 9_200.0))  # 4 kPa a day


def test_a_bottle_that_falls_faster_than_before_says_that_the_gas_space_may_not_be_tight() -> None:
    (words,) = bottle(*STEADY, ("2025-10-28", 8_000.0))
    assert words == (
        "gas blanket uses more: the bottle fell 1,200 kPa in 100 days, 12.0 kPa a day, before that 4.0; the gas space "
        "may not be tight; seen 2025-10-28"
    )


def test_a_fall_as_before_one_of_a_cold_day_a_new_bottle_or_too_short_a_history_says_nothing() -> None:
    assert bottle(*STEADY, ("2025-10-28", 8_800.0)) == []
    assert bottle(*STEADY, ("2025-10-28", 8_400.0)) == []  # 400 kPa beyond the usual: 15 K explain 460
    assert bottle(*STEADY, ("2025-10-28", 10_000.0), ("2026-02-05", 9_600.0)) == []
    assert bottle(*STEADY[:2], ("2025-07-20", 7_000.0)) == []


def test_what_was_put_down_by_hand_stays_until_it_is_closed() -> None:
    row = Kept("T1", "other", "", "", date(2026, 3, 1), "lock of the cabinet stiff", "hand", by="Kim")
    assert sentences(kept=(row,)) == ["other: lock of the cabinet stiff; put down 2026-03-01 by Kim"]


FAULTY = [seen("T1", f"2026-0{month}-11", heater=state, seepage=place) for month in range(1, 7)
          for state, place in (("faulty", "drain valve; lid"), ("working", "none"))]  # fmt: skip


@given(st.lists(st.sampled_from(FAULTY), max_size=8), st.lists(st.sampled_from(range(1, 7)), max_size=3), st.randoms())
def test_the_order_in_which_visits_and_closings_came_in_makes_no_difference(
    visits: list[list[Noticed]], closed: list[int], chance: random.Random
) -> None:
    kept = [closing("heater", f"2026-0{month}-20", how=f"mended {month}") for month in closed]
    once = found(*visits, kept=tuple(kept))
    mixed, turned = list(visits) + visits[:2], list(kept)
    chance.shuffle(mixed)
    chance.shuffle(turned)
    rows, same = (in_order(set(chain(*some))) for some in (mixed, visits))
    assert follow_ups(rows, turned, AS_OF) == follow_ups(same, kept, AS_OF)
    heaters = [one for one in open_ones(once) if one.kind == "heater"]
    assert len(heaters) <= 1
    assert all(not closed or one.first_on > date(2026, max(closed), 20) for one in heaters)
