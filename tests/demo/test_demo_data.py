"""The demo files: made by their script, in the headings of the tables, whole in themselves, with their stories in."""

import csv
import sys
from collections import defaultdict
from datetime import date
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from tapwear.visits.fields import TABLES

DEMO = Path(__file__).parents[2] / "data" / "demo"
STORIES = Path(__file__).with_name("stories.csv")
Table = list[dict[str, str]]
FILES = {name: table for name, table in TABLES.items() if name != "limits"}  # no limit ships


def read(path: Path) -> Table:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def tables() -> dict[str, Table]:
    return {name: read(DEMO / f"{name}.csv") for name in FILES}


@pytest.fixture(scope="module")
def script() -> Any:
    """The script as a module, with its neighbours, leaving no trace in sys.path."""
    sys.path.insert(0, str(DEMO))
    before, sys.dont_write_bytecode = sys.dont_write_bytecode, True
    try:
        import make_demo

        assert isinstance(make_demo, ModuleType)
        yield make_demo
    finally:
        sys.path.remove(str(DEMO))
        sys.dont_write_bytecode = before
        for name in ("make_demo", "demo_truth", "demo_fleet"):
            sys.modules.pop(name, None)


def of(table: Table, unit: str) -> Table:
    return [row for row in table if row["unit"] == unit]


def values(table: Table, unit: str) -> dict[str, int]:
    return {row["read_on"]: int(row["value"]) for row in of(table, unit)}


def ratios(tables: dict[str, Table], unit: str) -> dict[str, float]:
    """Ethylene to acetylene in the compartment by day of sampling."""
    return {
        row["sampled_on"]: float(row["ethylene_ul_per_l"]) / float(row["acetylene_ul_per_l"])
        for row in of(tables["samples"], unit)
        if row["taken_from"] == "compartment"
    }


def acetylene(tables: dict[str, Table], unit: str) -> dict[str, float]:
    return {
        row["sampled_on"]: float(row["acetylene_ul_per_l"].lstrip("<"))
        for row in of(tables["samples"], unit)
        if row["taken_from"] == "compartment"
    }


# --- the files ------------------------------------------------------------------------------------------------


def test_running_the_script_again_gives_the_same_bytes(script: Any, tmp_path: Path) -> None:
    script.write(tmp_path)
    made = sorted(path.name for path in tmp_path.iterdir())
    assert made == sorted(f"{name}.csv" for name in FILES)
    for name in made:
        assert (tmp_path / name).read_bytes() == (DEMO / name).read_bytes(), name


@pytest.mark.parametrize("name", list(FILES))
def test_headings_are_fields_of_the_table_and_needed_ones_are_always_filled(name: str) -> None:
    rows = read(DEMO / f"{name}.csv")
    fields = [field.name for field in TABLES[name].fields]
    headings = list(rows[0])
    assert headings == [field for field in fields if field in headings]
    for needed in (field.name for field in TABLES[name].fields if field.required):
        assert all(row[needed] for row in rows), needed


@pytest.mark.parametrize("name", list(FILES))
def test_no_two_rows_of_a_table_are_about_the_same_thing(name: str) -> None:
    rows = read(DEMO / f"{name}.csv")
    key = (*TABLES[name].key, "weeks") if name == "closures" else TABLES[name].key
    keys = [tuple(row.get(field, "") for field in key) for row in rows]
    assert len(keys) == len(set(keys))


def test_every_row_speaks_of_a_known_unit_station_scheme_and_region(tables: dict[str, Table]) -> None:
    units = {row["unit"] for row in tables["units"]}
    stations = {row["station"] for row in tables["places"]}
    for name in ("events", "readings", "samples", "services", "conditions", "observations"):
        assert {row["unit"] for row in tables[name]} <= units, name
    assert {row["other_unit"] for row in tables["events"]} - {""} <= units
    assert {row["unit"] for row in tables["transfer_groups"]} - {""} <= units
    places = {(row["station"], row["bank"], row["phase"]) for row in tables["places"]}
    assert {(row["station"], row["bank"], row["phase"]) for row in tables["units"]} <= places
    for name in ("outage_terms", "job_notes"):
        assert {row["unit"] for row in tables[name]} - {""} <= units, name
    assert {row["team"] for row in tables["team_holidays"]} <= {row["team"] for row in tables["teams"]}
    for name in ("closures", "transfer_groups", "outage_terms", "other_outages"):
        assert {row["station"] for row in tables[name]} - {""} <= stations, name
    assert {row["scheme"] for row in tables["units"]} == {row["scheme"] for row in tables["service_rules"]}
    assert {row["region"] for row in tables["crews"]} == {row["region"] for row in tables["places"]}


def test_choices_are_those_of_the_fields(tables: dict[str, Table]) -> None:
    for name, table in FILES.items():
        for field in table.fields:
            if field.choices and field.name in tables[name][0]:
                assert {row[field.name] for row in tables[name]} - {""} <= set(field.choices), (name, field.name)


def test_everything_that_happened_is_dated_before_the_as_of_date(tables: dict[str, Table], script: Any) -> None:
    days = {"events": "happened_on", "readings": "read_on", "samples": "reported_on", "services": "done_on"}
    as_of = script.fleet.AS_OF
    assert as_of.isoformat() == "2026-06-30"
    for name, day in days.items():
        newest = max(row[day] for row in tables[name])
        assert "2026-06-15" < newest < "2026-06-30" or name == "events", name


def test_readings_fit_their_counters_and_services_name_the_right_serial(tables: dict[str, Table]) -> None:
    digits = {row["unit"]: int(row["counter_digits"]) for row in tables["units"]}
    serial = {row["unit"]: row["serial"] for row in tables["units"]}
    assert len(set(serial.values())) == len(serial)
    assert all(0 <= int(row["value"]) < 10 ** digits[row["unit"]] for row in tables["readings"])
    assert all(row["serial_seen"] == serial[row["unit"]] for row in tables["services"])


def test_size_is_modest_and_about_two_readings_in_a_hundred_are_slips(tables: dict[str, Table], script: Any) -> None:
    assert sum(path.stat().st_size for path in DEMO.glob("*.csv")) < 1_500_000
    assert 2_700 <= len(tables["readings"]) <= 3_500
    assert len({row["station"] for row in tables["places"]}) == 20
    slips = script.build()[1]
    assert 0.01 < len(slips) / len(tables["readings"]) < 0.03
    written = {(row["unit"], row["read_on"]): int(row["value"]) for row in tables["readings"]}
    assert all(written[row["unit"], row["read_on"].isoformat()] == row["value"] != row["true"] for row in slips)


# --- the stories ----------------------------------------------------------------------------------------------


def test_every_story_names_units_of_the_fleet_and_is_told_in_the_readme(tables: dict[str, Table]) -> None:
    units = {row["unit"] for row in tables["units"]}
    told = (DEMO.parent / "README.md").read_text(encoding="utf-8")
    for row in read(STORIES):
        assert {row["unit"], *row["other_unit"].split()} <= units, row["story"]
        assert row["unit"] in told, row["story"]


def test_heating_gas_of_one_unit_rises_over_its_last_four_samples(tables: dict[str, Table]) -> None:
    series = list(ratios(tables, "OR-T1").values())
    assert max(series[:-5]) < 0.35
    assert series[-4] < series[-3] < series[-1]
    assert min(series[-2:]) > 0.9
    assert series[-1] > 1.5
    others = [row["unit"] for row in tables["units"] if row["technology"] != "vacuum" and row["unit"] != "OR-T1"]
    assert max(value for unit in others for value in ratios(tables, unit).values()) < 0.4


def test_counter_of_five_digits_rolls_over_once(tables: dict[str, Table]) -> None:
    series = list(values(tables["readings"], "FG-T1").values())
    drops = [(one, other) for one, other in pairwise(series) if other < one]
    assert len(drops) == 1
    assert drops[0][0] > 98_000
    assert drops[0][1] < 2_000


def test_last_reading_is_far_off_with_two_digits_exchanged(tables: dict[str, Table]) -> None:
    *_, before, last = values(tables["readings"], "HB-T1").values()
    assert last - before > 40_000
    assert sorted(str(last)) == sorted(str(last - 45_000))


def test_rate_halves_on_the_day_of_the_recorded_setting_change(tables: dict[str, Table]) -> None:
    series = values(tables["readings"], "KS-T2")
    at = [f"{year}-03" for year in (2022, 2023, 2024)]
    first, middle, last = (next(value for day, value in series.items() if day.startswith(month)) for month in at)
    assert 0.4 < (last - middle) / (middle - first) < 0.6
    kinds = [(row["happened_on"], row["kind"]) for row in of(tables["events"], "KS-T2")]
    assert kinds == [("2023-03-14", "regulator_setting_changed")]


def test_acetylene_of_one_vacuum_unit_leaves_its_baseline(tables: dict[str, Table]) -> None:
    series = acetylene(tables, "SC-T1")
    assert max(value for day, value in series.items() if day < "2024-08") < 3
    assert list(series.values())[-1] > 40
    assert max(acetylene(tables, "SC-T2").values()) < 4


@pytest.mark.parametrize(("unit", "lowest", "highest"), [("PH-F1", 55_000, 65_000), ("QV-G1", 500, 700)])
def test_furnace_and_quiet_unit_have_their_yearly_operations(
    tables: dict[str, Table], unit: str, lowest: int, highest: int
) -> None:
    series = values(tables["readings"], unit)
    (first_day, first), *_, (last_day, last) = series.items()
    years = (date.fromisoformat(last_day) - date.fromisoformat(first_day)).days / 365.25
    assert lowest < (last - first) / years < highest


def test_spare_takes_over_where_the_swapped_unit_stopped(tables: dict[str, Table]) -> None:
    assert max(values(tables["readings"], "CF-T2")) < "2023-05-18"
    stood = sorted(values(tables["readings"], "SP-04"))
    assert not [day for day in stood if "2020-09-16" <= day < "2023-05-18"]
    assert [day for day in stood if day >= "2023-05-18"]
    swap = next(row for row in tables["events"] if row["kind"] == "swapped")
    assert (swap["unit"], swap["other_unit"], swap["to_state"]) == ("CF-T2", "SP-04", "workshop")


def test_three_phases_of_a_bank_go_through_the_same_operations(tables: dict[str, Table]) -> None:
    bank = [row for row in tables["units"] if (row["station"], row["bank"]) == ("IR", "T1")]
    assert [row["phase"] for row in bank] == ["A", "B", "C"]
    made = {
        values(tables["readings"], row["unit"])["2026-06-23"] - int(first_left(tables, row["unit"])) for row in bank
    }
    assert max(made) - min(made) < 100


def first_left(tables: dict[str, Table], unit: str) -> str:
    return next(row["as_left_counter"] for row in of(tables["services"], unit) if row["work"] == "overhaul")


def test_overdue_unit_has_passed_its_operations(tables: dict[str, Table]) -> None:
    since = list(values(tables["readings"], "LM-T2").values())[-1] - int(first_left(tables, "LM-T2"))
    assert since > 80_000


def test_units_without_service_papers_have_no_service_but_inspections(tables: dict[str, Table]) -> None:
    done = defaultdict(set)
    for row in tables["services"]:
        done[row["unit"]].add(row["work"])
    story = next(row for row in read(STORIES) if row["story"] == "last service unknown")
    expected = {story["unit"], *story["other_unit"].split()}
    assert {row["unit"] for row in tables["units"] if done[row["unit"]] <= {"inspection"}} == expected


def test_unrecorded_replacement_shows_in_the_readings_alone(tables: dict[str, Table]) -> None:
    series = values(tables["readings"], "GD-T1")
    before = max(value for day, value in series.items() if day < "2024-03-12")
    after = min(value for day, value in series.items() if day > "2024-03-12")
    assert 60_000 < before < 90_000
    assert after < 1_000
    assert of(tables["events"], "GD-T1") == []


def test_recorded_replacement_gives_both_counters(tables: dict[str, Table]) -> None:
    event = of(tables["events"], "KS-T1")[0]
    before = max(value for day, value in values(tables["readings"], "KS-T1").items() if day < "2022-02-09")
    assert 0 <= int(event["old_reading"]) - before < 1_000
    assert event["new_reading"] == "0"


def test_new_units_have_no_reading_and_one(tables: dict[str, Table]) -> None:
    assert values(tables["readings"], "TQ-T3") == {}
    assert len(values(tables["readings"], "TQ-T4")) == 1


def test_swapped_samples_show_the_other_units_level_on_one_day_only(tables: dict[str, Table]) -> None:
    one, other = acetylene(tables, "DL-T1"), acetylene(tables, "DL-T2")
    assert one["2025-04-15"] < 600
    assert other["2025-04-15"] > 2_000
    settled = [value for day, value in one.items() if day > "2023-06" and day != "2025-04-15"]
    assert min(settled) > 2_500
    assert max(value for day, value in other.items() if day != "2025-04-15") < 1_000


def test_unit_just_overhauled_has_its_counters_and_a_sample_of_the_new_oil(tables: dict[str, Table]) -> None:
    last = of(tables["services"], "MF-T1")[-1]
    assert (last["done_on"], last["work"]) == ("2026-06-04", "overhaul")
    assert 40 <= int(last["as_left_counter"]) - int(last["as_found_counter"]) < 150
    *_, before, after = acetylene(tables, "MF-T1").items()
    assert after[0] == "2026-06-18"
    assert after[1] < 0.2 * before[1]


def test_rate_of_one_unit_doubles_without_any_event(tables: dict[str, Table]) -> None:
    series = values(tables["readings"], "RM-T1")
    at = [f"{year}-05" for year in (2023, 2024, 2025)]
    first, middle, last = (next(value for day, value in series.items() if day.startswith(month)) for month in at)
    assert 1.7 < (last - middle) / (middle - first) < 2.4
    assert of(tables["events"], "RM-T1") == []
