"""The fleet by groups of like units."""

from __future__ import annotations

from datetime import date
from typing import Any

from oil_examples import pulled, sample, unit, verdict

from tapwear.report.oil_fleet import fleet_page, like_groups, member_of, place_words
from tapwear.report.oil_unit import OilUnit
from tapwear.report.page import page_plain
from tapwear.words import stop_notice


def fleet(count: int, group: str = "town", **changed: Any) -> list[OilUnit]:
    """`count` units of one group, acetylene 100, 101, ...; tags begin with the group."""
    return [
        unit(
            sample("2026-03-01", acetylene=100.0 + i),
            identity={"unit": f"{group}{i:02d}", "oil_group": group},
            **changed,
        )
        for i in range(count)
    ]


def words_of(units: list[OilUnit]) -> dict[str, str]:
    return {one.unit.unit: place_words(one) for group in like_groups(units) for one in group.members}


def test_the_place_among_like_units_is_said_in_tenths_with_their_number() -> None:
    words = words_of(fleet(11))
    assert words["town10"] == "above all of 10 others"
    assert words["town09"] == "above 9 in 10 of 10 others"
    assert words["town05"] == "above 5 in 10 of 10 others"
    assert words["town00"] == "among the lowest of 10 others"


def test_a_group_of_ten_is_too_small_to_compare() -> None:
    assert set(words_of(fleet(10)).values()) == {"too few like units"}


def test_units_are_not_compared_across_group_interruption_or_breathing() -> None:
    mixed = fleet(6) + fleet(6, "field")
    other = unit(sample("2026-03-01"), identity={"unit": "V", "technology": "vacuum"})
    sealed = unit(sample("2026-03-01"), identity={"unit": "S", "breathing": "sealed"})
    groups = like_groups([*mixed, other, sealed])
    assert [len(group.members) for group in groups] == [6, 6, 1, 1]


def test_only_recent_samples_are_compared_and_retired_units_are_left_out() -> None:
    old = unit(sample("2020-03-01", acetylene=900.0), identity={"unit": "old"})
    gone = unit(sample("2026-03-01", acetylene=900.0), identity={"unit": "gone", "state": "retired"})
    groups = like_groups([*fleet(11), old, gone])
    assert (len(groups[0].members), groups[0].compared) == (12, 11)
    found = member_of(groups, "old")
    assert found is not None
    assert (found[1].acetylene, found[1].sampled_on, place_words(found[1])) == (
        None,
        date(2020, 3, 1),
        "no recent sample",
    )
    assert member_of(groups, "gone") is None
    top = member_of(groups, "town10")
    assert top is not None
    assert top[1].share == 1.0


def test_below_the_detection_limit_is_less_than_anything_seen() -> None:
    below = unit(sample("2026-03-01", acetylene=500.0, acetylene_below=True), identity={"unit": "below"})
    assert words_of([*fleet(11), below])["below"] == "among the lowest of 11 others"


def test_the_highest_of_several_compartments_counts() -> None:
    two = unit(
        sample("2026-03-01", acetylene=50.0, compartment="A"),
        sample("2026-02-01", acetylene=700.0, compartment="B"),
        identity={"unit": "two"},
    )
    found = member_of(like_groups([two]), "two")
    assert found is not None
    assert found[1].acetylene == 700.0


def text_of(units: list[OilUnit], full: bool = False) -> str:
    return "\n".join(page_plain(fleet_page(like_groups(units), full=full)))


def test_the_page_begins_with_severe_units_and_calls_before_the_groups() -> None:
    stopped = {"stop": "STOP since 2026-05-01", "verdict": pulled(severe=True)}
    severe = unit(sample("2026-03-01"), identity={"unit": "S1"}, **stopped)
    opening = unit(sample("2026-03-01"), verdict=pulled(), identity={"unit": "P1"})
    flagged = unit(
        sample("2026-03-01"), verdict=verdict("resample", resample_by=date(2026, 7, 18)), identity={"unit": "R1"}
    )
    text = text_of([*fleet(9), flagged, opening, severe])
    assert text.startswith(stop_notice("S1"))
    rows = ("STOP since 2026-05-01   S1   AH", "P1   AH", "R1   AH")
    places = [text.index(word) for word in ("Oil of the fleet", "What it asks for", *rows, "town:")]
    assert places == sorted(places)
    block = text[text.index("STOP since 2026-05-01   S1   AH") : text.index("P1   AH")]
    assert "Next sample" not in block
    assert "Next sample: Within 4 weeks, by 2026-07-18" in text
    assert "1  severe: call the responsible engineer" in text
    assert "resample by 2026-07-18" in text


def test_a_fleet_without_calls_says_nothing_of_them() -> None:
    text = text_of(fleet(11))
    assert "Severe" not in text
    assert "What it asks for" not in text
    assert "11  nothing unusual, which postpones no date" in text


def test_units_above_nine_in_ten_are_shown_and_the_others_counted() -> None:
    text = text_of(fleet(11))
    assert "town: 11 units, 11 with a recent sample" in text
    assert "among 10 others  call\n" in text
    assert "above all " in text
    assert "and 9 others (--all shows them)" in text
    assert "among the lowest" in text_of(fleet(11), full=True)


def test_small_groups_in_which_none_stands_out_take_one_line() -> None:
    text = text_of(fleet(3))
    assert "town:  3 units, 3 with a recent sample; too few to compare (arcing in oil, resistor type" in text
    assert "too few like units" in text_of(fleet(3), full=True)


def test_units_without_evidence_are_listed_with_their_last_sample() -> None:
    old = unit(
        sample("2022-03-01"),
        verdict=verdict("no oil evidence", last_sample_on=date(2022, 3, 1)),
        identity={"unit": "OLD", "state": "spare"},
    )
    never = unit(verdict=None, identity={"unit": "NEW"})
    text = text_of([old, never])
    assert "NEW: none ever" in text
    assert "OLD: none since 2022-03-01 (spare)" in text


def test_oil_renewed_shortly_before_the_sample_is_said() -> None:
    renewed = unit(sample("2026-03-01"), events=((date(2026, 1, 5), "oil_changed"),))
    assert "nothing unusual; oil renewed 2026-01-05" in text_of([renewed], full=True)
    assert "renewed" not in text_of([unit(sample("2026-03-01"))], full=True)


def test_an_empty_fleet_says_so() -> None:
    assert "The store holds no units in use." in text_of([])
