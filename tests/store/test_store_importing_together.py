"""Rows that speak of one thing in several places: files in any order, shared stations and transformers, and what
comes back from the store."""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tapwear.store.engine import Store
from tapwear.store.entries import add_event
from tapwear.store.find import find_unit
from tapwear.store.importing import ImportResult, store_intake
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp
from tapwear.visits.mapping_file import parse_mapping
from tapwear.visits.reading import read_paths

NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)
UNITS = "unit,station,counter_digits\nT1,NORTH,5\nT2,SOUTH,5\n"


def bring(store: Store, folder: Path, mapping: str = "", **files: str) -> ImportResult:
    paths = []
    for name, text in files.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    intake = read_paths(paths, parse_mapping(mapping, "map") if mapping else None)
    return store_intake(store, intake, by="Kim", now=NOW, today=date(2026, 11, 2), what="files")


def unit(store: Store, tag: str) -> dict[str, Any]:
    return dict(load_book(store, tag).units.iloc[0])


# --- files and rows in any order ------------------------------------------------------------------------------


FILES = {
    "units": "unit,station,counter_digits\nT1,NORTH,5\n",
    "units_oil": "unit,technology,oil_volume_l\nT1,vacuum,220\n",
    "readings": "unit,read_on,value\nT1,2024-05-01,100\n",
}


@pytest.mark.parametrize("names", list(itertools.permutations(FILES)), ids=" ".join)
def test_files_may_come_in_any_order(empty_store: Store, tmp_path: Path, names: tuple[str, ...]) -> None:
    result = bring(empty_store, tmp_path, **{name: FILES[name] for name in names})
    assert result.findings == ()
    assert unit(empty_store, "T1")["technology"] == "vacuum"
    assert load_book(empty_store).readings["value"].tolist() == [100]
    again = bring(empty_store, tmp_path, **{name: FILES[name] for name in reversed(names)})
    assert (again.total("stored"), again.findings) == (0, ())


def test_a_row_that_only_adds_to_a_unit_may_stand_before_the_one_that_founds_it(
    empty_store: Store, tmp_path: Path
) -> None:
    result = bring(
        empty_store, tmp_path, units="unit,station,counter_digits,technology\nT1,,,vacuum\nT1,NORTH,5,\nT2,NORTH,,\n"
    )
    assert [(finding.line, finding.field) for finding in result.findings] == [(4, "counter_digits")]
    assert unit(empty_store, "T1")["technology"] == "vacuum"


def test_swaps_listed_backwards_end_where_they_end_forwards(empty_store: Store, tmp_path: Path) -> None:
    events = (
        "unit,happened_on,kind,other_unit,to_state\n"
        "S1,2023-05-01,swapped,T1,spare\n"  # and T1 came back
        "T1,2021-05-01,swapped,S1,workshop\n"
    )
    spare = "S1,SOUTH,5,spare\n"
    bring(empty_store, tmp_path, units="unit,station,counter_digits,state\nT1,NORTH,5,\n" + spare, events=events)
    stays = load_book(empty_store).stays.dropna(subset="from_on")
    told = [(unit, state, place[:5]) for unit, state, place in stays[["unit", "state", "place"]].to_numpy().tolist()]
    assert told == [
        ("S1", "in service", "NORTH"),
        ("S1", "spare", "spare"),
        ("T1", "workshop", "works"),
        ("T1", "in service", "NORTH"),
    ]
    again = bring(empty_store, tmp_path, events=events)
    assert (again.total("stored"), again.total("known"), again.findings) == (0, 2, ())


def test_a_swap_told_by_both_units_is_one_swap(empty_store: Store, tmp_path: Path) -> None:
    events = "unit,happened_on,kind,other_unit\nT1,2021-05-01,swapped,T2\nT2,2021-05-01,swapped,T1\n"
    result = bring(empty_store, tmp_path, units=UNITS, events=events)
    assert result.counts["events"].stored == 1
    assert result.counts["events"].known == 1
    assert (unit(empty_store, "T1")["station"], unit(empty_store, "T2")["station"]) == ("SOUTH", "NORTH")


def test_another_unit_in_the_swap_of_that_day_is_a_conflict(empty_store: Store, tmp_path: Path) -> None:
    more = UNITS + "T3,EAST,5\n"
    bring(empty_store, tmp_path, units=more, events="unit,happened_on,kind,other_unit\nT1,2021-05-01,swapped,T2\n")
    other = bring(empty_store, tmp_path, events="unit,happened_on,kind,other_unit\nT1,2021-05-01,swapped,T3\n")
    assert [(finding.field, finding.severity) for finding in other.findings] == [("other_unit", "conflict")]
    assert unit(empty_store, "T3")["station"] == "EAST"


# --- stations and transformers that several units share --------------------------------------------------------


def test_a_station_takes_its_region_from_whichever_unit_names_it(empty_store: Store, tmp_path: Path) -> None:
    units = "unit,station,counter_digits,region\nT1,NORTH,5,\nT2,NORTH,5,Hill\nT3,NORTH,5,Vale\n"
    result = bring(empty_store, tmp_path, units=units)
    assert [(finding.line, finding.field, finding.severity) for finding in result.findings] == [
        (4, "region", "conflict")
    ]
    assert set(load_book(empty_store).units["region"]) == {"Hill"}
    assert len(load_book(empty_store).units) == 3  # the unit itself is taken
    again = bring(empty_store, tmp_path, units=units)
    assert again.total("stored") == 0
    assert [(finding.line, finding.field) for finding in again.findings] == [(4, "region")]


def test_two_units_on_one_transformer_may_not_say_two_things_about_it(empty_store: Store, tmp_path: Path) -> None:
    units = (
        "unit,station,counter_digits,transformer_serial,conservator,main_tank_volume_l\n"
        "T1,NORTH,5,X-1,separate,\nT2,NORTH,5,X-1,,40000\nT3,NORTH,5,X-1,common,40000\n"
    )
    result = bring(empty_store, tmp_path, units=units)
    assert [(finding.line, finding.field, finding.severity) for finding in result.findings] == [
        (4, "conservator", "conflict")
    ]
    book = load_book(empty_store).units
    assert set(book["conservator"]) == {"separate"}
    assert set(book["main_tank_volume_l"]) == {40_000.0}
    assert bring(empty_store, tmp_path, units=units).total("stored") == 0


def test_a_transformer_named_later_keeps_what_was_known_of_it(empty_store: Store, tmp_path: Path) -> None:
    bring(
        empty_store, tmp_path, units="unit,station,counter_digits,conservator,main_tank_volume_l\nT1,NORTH,5,common,9\n"
    )
    result = bring(empty_store, tmp_path, units="unit,transformer_serial\nT1,X-1\n")
    assert (result.total("stored"), result.findings) == (1, ())
    row = unit(empty_store, "T1")
    assert (row["transformer_serial"], row["conservator"], row["main_tank_volume_l"]) == ("X-1", "common", 9.0)
    bring(empty_store, tmp_path, units="unit,station,counter_digits,conservator,main_tank_volume_l\nT2,NORTH,5,,8\n")
    joined = bring(empty_store, tmp_path, units="unit,transformer_serial\nT2,X-1\n")
    assert [(finding.field, finding.severity) for finding in joined.findings] == [("main_tank_volume_l", "conflict")]
    assert unit(empty_store, "T2")["main_tank_volume_l"] == 9.0


def test_places_fill_blanks_of_a_station_and_other_values_are_conflicts(empty_store: Store, tmp_path: Path) -> None:
    bring(empty_store, tmp_path, units=UNITS)
    heading = "station,station_name,region,neighbourhood\n"
    filled = bring(empty_store, tmp_path, places=heading + "NORTH,North mill,Hill,\n")
    assert (filled.total("stored"), filled.findings) == (1, ())
    other = bring(empty_store, tmp_path, places=heading + "NORTH,North mill,Vale,west\n")
    assert [(finding.field, finding.severity) for finding in other.findings] == [("region", "conflict")]
    row = unit(empty_store, "T1")
    assert (row["station_name"], row["region"], row["neighbourhood"]) == ("North mill", "Hill", "west")


# --- what comes back ------------------------------------------------------------------------------------------


MAP = """
[[feed]]
file = "readings.csv"
table = "readings"
date_format = "DD.MM.YYYY"
[feed.columns]
read_on = "day"
[[feed]]
file = "samples.csv"
table = "samples"
decimal_comma = true
delimiter = "semicolon"
[feed.units]
oil_temp_c = "F"
breakdown_gap_mm = "inch"
[feed.words.acetylene_ul_per_l]
ND = "<0.5"
"""


def test_the_book_gives_back_what_was_imported(empty_store: Store, tmp_path: Path) -> None:
    bring(
        empty_store,
        tmp_path,
        places="station,station_name,region,neighbourhood\nNORTH,North mill,Hill,west\n",
        units="unit,station,bank,phase,counter_digits,serial,transformer_serial,state,technology,breathing,oil_volume,"
        "oil_volume_unit,main_tank_volume_l,conservator,rated_current_a,step_voltage_v,peer_group,oil_group,scheme,"
        "commissioned_on,visit_cadence,sampling_needs_outage\n"
        "T1,NORTH,B1,A,5,S-1,X-1,in service,arcing_reactor,free,100,gal_us,12000,separate,600,1500,town,P1,yearly,"
        "1998-04-02,monthly,yes\n",
        service_rules="scheme,unit,task,interval_operations,interval_years,duration_days,crew_hours,kit,"
        "lead_time_weeks,provenance\n"
        "yearly,,inspection,,1,0.5,4,,,own choice\nyearly,,contact service,80000,7,3,60,kit 7,12,manual\n"
        ",T1,contact service,50000,,,,,,rating plate\n",
        events="unit,happened_on,kind,old_reading,new_reading,remark\nT1,2022-03-04,counter_replaced,98765,0,hail\n",
        services="unit,done_on,work,as_found_counter,as_left_counter,contact_left_mm,condemning_limit_mm,done_by\n"
        "T1,2021-02-03,overhaul,777,790,3.5,1,crew 4\nT1,2023-02-03,contact replacement,,,,,\n"
        "T1,2024-02-03,oil degassing,,,,,\n",
        closures="station,weeks,why\nNORTH,2027-W20..2027-W21,summer peak\n",
        transfer_groups="group,station,unit\nring,NORTH,\nring,,T1\n",
        crews="region,week,hours\nHill,2027-w5,120\n",
    )
    result = bring(
        empty_store,
        tmp_path,
        MAP,
        readings="unit,day,value,source,reader,remark\nT1,01.05.2024,120,,Kim,windy\nT1,01.05.2024,99120,controller,,\n",
        samples="unit;sampled_on;taken_from;hydrogen_ul_per_l;acetylene_ul_per_l;oil_temp_c;breakdown_gap_mm;"
        "breakdown_kv;laboratory;reference;counter_reading\n"
        "T1;2024-05-01;compartment;12,5;ND;68;0,1;41,5;lab A;24-7;121\n",
    )
    assert result.findings == ()
    book = load_book(empty_store)

    (row,) = book.units.to_dict("records")
    assert row["oil_volume_l"] == pytest.approx(378.5411784)
    assert [row[name] for name in ("station", "station_name", "region", "neighbourhood", "bank", "phase", "state")] == [
        "NORTH", "North mill", "Hill", "west", "B1", "A", "in service",
    ]  # fmt: skip
    assert [row[name] for name in ("serial", "transformer_serial", "technology", "breathing", "conservator")] == [
        "S-1", "X-1", "arcing_reactor", "free", "separate",
    ]  # fmt: skip
    assert [row[name] for name in ("peer_group", "oil_group", "scheme", "visit_cadence", "sampling_needs_outage")] == [
        "town", "P1", "yearly", "monthly", True,
    ]  # fmt: skip
    assert [row[name] for name in ("main_tank_volume_l", "rated_current_a", "step_voltage_v", "digits")] == [
        12_000.0, 600.0, 1_500.0, 5,
    ]  # fmt: skip
    assert row["commissioned_on"] == pd.Timestamp("1998-04-02")

    rules = book.rules.set_index("task").to_dict("index")
    own = rules["contact service"]
    assert [own[name] for name in ("interval_operations", "interval_years", "kit", "provenance")] == [
        50_000.0, 7.0, "kit 7", "rating plate",
    ]  # fmt: skip
    assert [rules["inspection"][name] for name in ("interval_years", "duration_days", "crew_hours")] == [1.0, 0.5, 4.0]

    readings = book.readings[["source", "read_on", "value", "digits", "reader", "remark"]].to_numpy().tolist()
    day = pd.Timestamp("2024-05-01")
    assert sorted(map(tuple, readings)) == [
        ("controller", day, 99_120, 9, "", ""),
        ("mechanical", day, 120, 5, "Kim", "windy"),
        ("sample", day, 121, 5, "", ""),
    ]
    (event,) = book.events.to_dict("records")
    assert (event["unit"], event["kind"], event["remark"]) == ("T1", "counter_replaced", "hail")
    assert (event["happened_on"], event["old_reading"], event["new_reading"]) == (pd.Timestamp("2022-03-04"), 98765, 0)

    (sample,) = book.samples.to_dict("records")
    assert (sample["acetylene"], sample["acetylene_below"], sample["hydrogen"], sample["hydrogen_below"]) == (
        0.5, True, 12.5, False,
    )  # fmt: skip
    assert sample["oil_temp_c"] == pytest.approx(20.0)
    assert sample["breakdown_gap_mm"] == pytest.approx(2.54)
    assert (sample["breakdown_kv"], sample["laboratory"], sample["reference"]) == (41.5, "lab A", "24-7")

    services = book.services[["work", "resets", "as_found_counter", "as_left_counter", "contact_left_mm", "done_by"]]
    assert services.iloc[0].tolist() == [
        "overhaul", ("contact service", "oil change"), 777.0, 790.0, 3.5, "crew 4",
    ]  # fmt: skip
    assert services["resets"].tolist()[1:] == [("contact replacement", "contact service"), ()]
    assert book.closures.to_numpy().tolist() == [
        ["NORTH", pd.Timestamp("2027-05-17"), pd.Timestamp("2027-05-30"), "summer peak"]
    ]
    assert book.transfer_groups.to_numpy().tolist() == [["ring", "", "T1"], ["ring", "NORTH", ""]]
    assert book.crews.to_numpy().tolist() == [["Hill", "2027-W05", 120.0]]


# --- counters and drives that were exchanged ---------------------------------------------------------------------


def test_readings_around_an_exchange_go_to_the_counter_of_their_day(empty_store: Store, tmp_path: Path) -> None:
    bring(empty_store, tmp_path, units=UNITS, readings="unit,read_on,value\nT1,2020-01-01,99000\n")
    with empty_store.rows(writing=True) as connection:
        exchange = {"happened_on": date(2021, 5, 1), "kind": "counter_replaced", "old_reading": 99_500}
        add_event(connection, find_unit(connection, "T1"), exchange, Stamp("Robin", NOW), digits=6)
    readings = "unit,read_on,value\nT1,2021-01-01,99300\nT1,2022-01-01,123456\nT1,2020-06-01,123456\n"
    result = bring(empty_store, tmp_path, readings=readings)
    assert [(one.line, one.field) for one in result.findings] == [(4, "value")]  # too long for the counter of that day
    book = load_book(empty_store).readings
    assert book[["value", "digits"]].to_numpy().tolist() == [[99_000, 5], [99_300, 5], [123_456, 6]]
    assert bring(empty_store, tmp_path, units=UNITS, readings=readings).total("stored") == 0


def test_of_several_drives_an_exchanged_counter_has_to_say_which(empty_store: Store, tmp_path: Path) -> None:
    bring(empty_store, tmp_path, units="unit,station,counter_digits,drives\nT1,NORTH,5,A;B\n")
    events = "unit,happened_on,kind,drive\nT1,2021-05-01,counter_replaced,\nT1,2021-05-02,counter_replaced,B\n"
    result = bring(empty_store, tmp_path, events=events + "T1,2021-05-03,inspection,\n")
    assert [(one.line, one.field) for one in result.findings] == [(2, "drive")]
    assert load_book(empty_store).events["drive"].tolist() == ["B", ""]


def test_a_swap_that_names_another_station_is_taken_and_noted(empty_store: Store, tmp_path: Path) -> None:
    events = "unit,happened_on,kind,other_unit,to_station\nT1,2021-05-01,swapped,T2,EAST\n"
    result = bring(empty_store, tmp_path, units=UNITS, events=events)
    assert [(one.field, one.severity) for one in result.findings] == [("to_station", "note")]
    assert unit(empty_store, "T1")["station"] == "SOUTH"
    assert result.all_taken
