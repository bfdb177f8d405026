"""What stations and crews allow, and what is said where nothing is given."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from tapwear.plan.limits import limits_from
from tapwear.plan.types import Job, Limits

DAY = date(2027, 3, 1)


def job(unit: str, station: str = "ALDER", region: str = "North", **given: Any) -> Job:
    return Job(f"{unit} / contact service", unit, "contact service", station, region, unit, DAY, DAY, DAY, 1, 80.0,
               **given)  # fmt: skip


def limits(
    *jobs: Job,
    closures: list[tuple[Any, ...]] = [],  # noqa: B006 - never changed
    groups: list[tuple[str, ...]] = [],  # noqa: B006
    crews: list[tuple[Any, ...]] = [],  # noqa: B006
    units: list[tuple[str, str]] = [],  # noqa: B006
) -> Limits:
    return limits_from(
        jobs,
        2027,
        closures=pd.DataFrame(closures, columns=["station", "from_on", "to_on", "why"]),
        transfer_groups=pd.DataFrame(groups, columns=["group", "station", "unit"]),
        crews=pd.DataFrame(crews, columns=["region", "week", "hours"]),
        units=pd.DataFrame(units, columns=["station", "neighbourhood"]),
    )


def test_a_week_with_one_closed_day_is_closed() -> None:
    shut = pd.Timestamp("2027-03-07"), pd.Timestamp("2027-03-15")  # a Sunday and a Monday
    found = limits(job("U1"), closures=[("ALDER", *shut, "winter peak"), ("BIRCH", *shut, "elsewhere")])
    assert found.closed == {"ALDER": dict.fromkeys(("2027-W09", "2027-W10", "2027-W11"), "winter peak")}


def test_a_closure_is_cut_to_the_year_and_needs_no_reason() -> None:
    found = limits(job("U1"), closures=[("ALDER", date(2020, 1, 1), date(2027, 1, 4), "")])
    assert found.closed == {"ALDER": {"2027-W01": "closed"}}


def test_a_transfer_group_takes_in_all_units_of_a_station_or_one() -> None:
    found = limits(
        job("U1"), job("U2"), job("U3", "BIRCH"), groups=[("G", "ALDER", ""), ("G", "BIRCH", "U3"), ("H", "", "U1")]
    )
    ids = {group: {job_id.split(" / ")[0] for job_id in ids} for group, ids in found.groups.items()}
    assert ids == {"G": {"U1", "U2", "U3"}, "H": {"U1"}}


def test_a_station_without_a_group_is_one_of_its_own_and_that_is_said() -> None:
    found = limits(job("U1"), job("U2"))
    assert found.groups == {
        "station ALDER (assumed)": frozenset({"U1 / contact service", "U2 / contact service"}),
    }
    assert "No transfer group given at ALDER: one transformer or bank out at a time in each station." in (
        found.assumptions
    )


def test_a_region_without_crew_hours_is_not_limited_and_that_is_said() -> None:
    found = limits(job("U1"), job("U2", region=""))
    assert found.crew_hours == {}
    assert "No crew hours given for region North: not limited." in found.assumptions
    assert "No crew hours given for units without a region: not limited." in found.assumptions


def test_weeks_that_a_region_leaves_out_offer_no_hours() -> None:
    found = limits(job("U1"), crews=[("North", "2027-W05", 120), ("North", "2026-W05", 7)])
    assert found.crew_hours["North", "2027-W05"] == 120
    assert sum(found.crew_hours.values()) == 120
    assert len(found.crew_hours) == 52
    assert "No crew hours given for region North in 51 weeks of the year: none on offer in those." in found.assumptions


def test_every_absence_is_stated_once_with_the_stations_named() -> None:
    jobs = [job(f"U{i}", f"S{i}", assumed=("80 crew hours",)) for i in range(8)]
    words = limits(*jobs).assumptions
    assert "No closed weeks given in 2027 for S0, S1, S2, S3, S4, S5 and 2 more: open all year." in words
    assert "No neighbourhood given for S0, S1, S2, S3, S4, S5 and 2 more: a trip of their own." in words
    assert "Not given, so 80 crew hours is taken for U0, U1, U2, U3, U4, U5 and 2 more." in words


def test_nothing_is_assumed_where_everything_is_given() -> None:
    found = limits(
        job("U1", permit_weeks=2.0),
        closures=[("ALDER", DAY, DAY, "peak")],
        groups=[("G", "ALDER", "")],
        crews=[("North", f"2027-W{week:02d}", 80) for week in range(1, 53)],
        units=[("ALDER", "hills")],
    )
    assert [words for words in found.assumptions if "given" in words] == []
    assert found.neighbourhoods == {"ALDER": "hills"}


def test_crews_of_a_region_that_has_no_unit_are_named() -> None:
    frames = {
        "closures": pd.DataFrame([], columns=["station", "from_on", "to_on", "why"]),
        "transfer_groups": pd.DataFrame([], columns=["group", "station", "unit"]),
        "crews": pd.DataFrame([("north", "2027-W05", 80.0)], columns=["region", "week", "hours"]),
        "units": pd.DataFrame([("ALDER", "", "North")], columns=["station", "neighbourhood", "region"]),
    }
    found = limits_from((job("U1"),), 2027, **frames)
    assert "Crew hours are given for region north, where no unit stands." in found.assumptions


def test_of_a_station_where_only_some_units_have_a_group_the_others_are_named() -> None:
    found = limits(job("U1"), job("U2"), job("U3"), job("U4", "BIRCH"), groups=[("G", "", "U1")])
    assert found.groups["station ALDER (assumed)"] == {"U2 / contact service", "U3 / contact service"}
    assert (
        "No transfer group given for U2, U3 at ALDER: one of them out at a time, beside those of the station that are "
        "in a group."
    ) in found.assumptions
    assert "No transfer group given at BIRCH: one transformer or bank out at a time in each station." in (
        found.assumptions
    )
