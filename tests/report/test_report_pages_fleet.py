from __future__ import annotations

from datetime import date

import pandas as pd
from due_examples import AS_OF, OVERDUE, SEVERE_ONE, due
from pages_examples import DUES, ORDINARY, fleet, oil_unit, readings
from why_examples import verdict

from tapwear.outlook.conditions import Noted
from tapwear.report.pages_choice import Pages
from tapwear.report.pages_fleet import by_period, by_quarter, latest_in_doubt, paged_units, summary

ODD = Noted("motor_current", "peak odd", date(2026, 5, 20), None, False, "K. Arden")


def test_a_small_fleet_has_a_page_for_every_unit_most_pressing_first() -> None:
    assert paged_units(fleet(), None) == ["MIR-T2", "HAL-T1", "BRK-T1", "OLD-T4", "NEW-T1", "FAR-T1"]


def test_a_large_fleet_has_pages_only_where_due_or_unusual() -> None:
    many = tuple(due(unit=f"U{i}", early=date(2040, 1, 1), middle=None, late=None) for i in range(100))
    assert paged_units(fleet(ORDINARY, *many), None) == ["BRK-T1"]
    assert len(paged_units(fleet(ORDINARY, *many), Pages.ALL)) == 101


def test_named_units_have_a_page_each_and_none_means_none() -> None:
    assert paged_units(fleet(*DUES[-1:], asked=("FAR-T1",)), None) == ["FAR-T1"]
    assert paged_units(fleet(), Pages.NONE) == []


def test_odd_oil_a_noted_condition_and_a_latest_reading_in_doubt_are_unusual() -> None:
    far = due(unit="FAR-T1", early=date(2040, 1, 1), middle=None, late=None)
    assert paged_units(fleet(far), Pages.DUE) == []
    assert paged_units(fleet(far, conditions={"FAR-T1": (ODD,)}), Pages.DUE) == ["FAR-T1"]
    asking = {"FAR-T1": oil_unit("FAR-T1", verdict(unit="FAR-T1", call="resample"))}
    assert paged_units(fleet(far, oil=asking), Pages.DUE) == ["FAR-T1"]
    assert paged_units(fleet(far, readings=readings(FAR_T1="doubtful")), Pages.DUE) == ["FAR-T1"]


def test_a_doubtful_reading_followed_by_a_good_one_is_not_in_doubt_any_more() -> None:
    rows = readings(BRK_T1="doubtful")
    later = rows.iloc[[0]].assign(unit="BRK-T1", read_on=pd.Timestamp("2026-06-20"), status="used")
    assert latest_in_doubt(rows) == {"BRK-T1"}
    assert latest_in_doubt(pd.concat([rows, later])) == set()


def test_a_unit_without_any_due_still_has_its_page() -> None:
    retired = {"unit": "OUT-T1", "station": "", "state": "retired"}
    whole = fleet(ORDINARY)
    more = fleet(ORDINARY, identities=(*whole.identities, retired))
    assert paged_units(more, Pages.ALL) == ["BRK-T1", "OUT-T1"]


def test_the_summary_counts_what_is_overdue_soon_and_without_date() -> None:
    lines = " ".join(summary(fleet()))
    assert "6 units: 6 in service." in lines
    assert "2 overhauls are overdue; 1 more has its early date by 2028-06-30; 1 has no date." in lines
    assert "without a usable reading: 1." in lines
    assert "18 counter readings; 0 more are doubtful" in lines


def test_the_summary_says_what_the_oil_asks_for_but_no_sample_of_a_severe_unit() -> None:
    oil = {
        "MIR-T2": oil_unit("MIR-T2", verdict(unit="MIR-T2", call="resample"), stop="STOP since 2026-05-01"),
        "HAL-T1": oil_unit("HAL-T1", verdict(unit="HAL-T1", call="resample")),
        "BRK-T1": oil_unit("BRK-T1", verdict()),
        "OLD-T4": oil_unit("OLD-T4", None, identity={"state": "retired"}),
    }
    told = "Oil results call for an internal inspection at 1 unit and for another sample at 1."
    assert told in summary(fleet(oil=oil))


def test_an_oil_change_that_comes_before_is_not_counted_as_an_overhaul() -> None:
    before = due(unit="BRK-T1", task="oil change", early=date(2025, 1, 1), middle=date(2025, 1, 1), overdue=True)
    whole = fleet(before, ORDINARY)
    assert [one.task for one in whole.leads()] == ["contact service"]
    assert "0 overhauls are overdue; 1 more has its early date by 2028-06-30." in summary(whole)
    assert by_period(whole)[0].units == 0


def test_the_summary_of_named_units_says_of_how_many() -> None:
    assert summary(fleet(ORDINARY, asked=("BRK-T1",), in_store=61))[0] == "1 unit of 61, as asked for: 1 in service."


def test_noted_conditions_are_named_in_the_summary() -> None:
    noted = {"HAL-T1": (ODD,), "BRK-T1": (ODD, ODD)}
    assert "Open field conditions: 2 units, BRK-T1, HAL-T1." in summary(fleet(conditions=noted))


def test_every_unit_stands_in_one_period_of_its_early_date() -> None:
    periods = {period.words: (period.units, period.drivers) for period in by_period(fleet())}
    assert periods == {
        "overdue": (2, (1, 0, 1, 0)),
        "by 2026-12-30": (1, (1, 0, 0, 0)),
        "then by 2027-06-30": (0, (0, 0, 0, 0)),
        "then by 2028-06-30": (0, (0, 0, 0, 0)),
        "later": (2, (2, 0, 0, 0)),
        "no date": (1, (0, 0, 0, 0)),
    }


def test_overhauls_stand_in_the_quarter_of_their_early_date() -> None:
    soon = due(unit="A", early=AS_OF)
    next_year = due(unit="B", early=date(2027, 5, 1), task="contact replacement")
    oil = due(unit="B", early=date(2027, 5, 1), task="oil change")
    labels, counts = by_quarter(fleet(OVERDUE, soon, next_year, oil))
    assert labels[:3] == ["overdue", "Q2\n2026", "Q3\n2026"]
    assert counts == [1, 1, 0, 0, 0, 1, 0, 0, 0]


def test_severe_units_are_found_by_date_and_by_oil() -> None:
    oil = {"HAL-T1": oil_unit("HAL-T1", stop="STOP since 2026-05-01")}
    assert fleet(SEVERE_ONE, OVERDUE, oil=oil).severe() == ["HAL-T1", "MIR-T2"]
