"""From cells to rows: which heading is which field, and in which unit of measure a number was written."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tapwear.errors import UsageError
from tapwear.visits.fields import TABLES
from tapwear.visits.mapping_file import parse_mapping
from tapwear.visits.reading import read_paths
from tapwear.visits.types import Below, Intake


def read(folder: Path, text: str, table: str = "samples", mapping: str = "") -> Intake:
    (folder / f"{table}.csv").write_text(text, encoding="utf-8")
    feeds = f'[[feed]]\nfile = "{table}.csv"\ntable = "{table}"\n{mapping}'
    return read_paths([folder / f"{table}.csv"], parse_mapping(feeds, "map") if mapping else None)


def test_every_unit_column_is_named_after_its_field_without_the_unit() -> None:
    named = {spec.name: spec.unit_column for table in TABLES.values() for spec in table.fields if spec.measure != ""}
    assert named["oil_volume_l"] == "oil_volume_unit"
    assert named["acetylene_ul_per_l"] == "acetylene_unit"
    assert named["moisture_mg_per_kg"] == "moisture_unit"
    assert named["breakdown_kv"] == "breakdown_unit"
    assert named["breakdown_gap_mm"] == "breakdown_gap_unit"
    assert named["oil_temp_c"] == "oil_temp_unit"
    assert len(set(named.values())) == len(named)


def test_the_unit_of_measure_is_read_row_by_row_from_its_column(tmp_path: Path) -> None:
    intake = read(
        tmp_path,
        "unit,sampled_on,oil_temp_c,oil_temp_unit,acetylene_ul_per_l,acetylene_unit\n"
        "T1,2024-05-01,68,°F,<0.5,ppm\nT1,2024-05-02,20,C,7,\nT1,2024-05-03,20,,7,µL/L\nT1,2024-05-04,20,K,7,%\n",
    )
    assert [(row.values["oil_temp_c"], row.values["acetylene_ul_per_l"]) for row in intake.rows] == [
        (pytest.approx(20.0), Below(0.5)),
        (20.0, 7.0),
        (20.0, 7.0),
    ]
    assert [(one.line, one.field) for one in intake.findings] == [(5, "acetylene_ul_per_l"), (5, "oil_temp_c")]
    assert intake.findings[1].found == "'20' K: unit 'K' is not known for temperature; known: c, °c, f, °f"


def test_a_heading_without_its_unit_needs_a_column_that_names_it(tmp_path: Path) -> None:
    headings = "unit,station,counter_digits,oil_volume"
    named = read(tmp_path, headings + ",oil_volume_unit\nT1,NORTH,5,10,gal_imp\n", "units")
    assert named.rows[0].values["oil_volume_l"] == pytest.approx(45.4609)
    unnamed = read(tmp_path, headings + "\nT1,NORTH,5,10\n", "units")
    assert "oil_volume_l" not in unnamed.rows[0].values
    assert [(one.severity, one.found) for one in unnamed.findings] == [("note", "no field is called: oil_volume")]


def test_the_heading_with_its_unit_goes_before_the_one_without(tmp_path: Path) -> None:
    intake = read(
        tmp_path, "unit,station,counter_digits,oil_volume,oil_volume_l,oil_volume_unit\nT1,N,5,1,99,\n", "units"
    )
    assert intake.rows[0].values["oil_volume_l"] == 99.0
    assert [one.found for one in intake.findings] == ["no field is called: oil_volume"]


def test_the_unit_of_the_map_holds_where_the_column_is_blank(tmp_path: Path) -> None:
    mapping = 'columns = { oil_temp_c = "Temp", oil_temp_unit = "U" }\nunits = { oil_temp_c = "F" }'
    intake = read(tmp_path, "unit,sampled_on,Temp,U\nT1,2024-05-01,212,\nT1,2024-05-02,100,c\n", mapping=mapping)
    assert [row.values["oil_temp_c"] for row in intake.rows] == [pytest.approx(100.0), 100.0]


def test_a_fixed_value_is_converted_like_any_other(tmp_path: Path) -> None:
    mapping = 'fixed = { breakdown_gap_mm = 0.1 }\nunits = { breakdown_gap_mm = "in" }'
    intake = read(tmp_path, "unit,sampled_on,breakdown_kv\nT1,2024-05-01,40\n", mapping=mapping)
    assert intake.rows[0].values["breakdown_gap_mm"] == pytest.approx(2.54)


@pytest.mark.parametrize("mapping", ["fixed = { breakdown_gap_mm = 25 }", "words.breakdown_gap_mm.wide = 25"])
def test_a_value_of_the_map_outside_its_range_is_told_before_any_file_is_read(tmp_path: Path, mapping: str) -> None:
    with pytest.raises(UsageError, match="25 lies above 10"):
        read(tmp_path, "unit,sampled_on,breakdown_kv\nT1,2024-05-01,40\n", mapping=mapping)


def test_the_range_holds_for_what_is_kept_not_for_what_was_written(tmp_path: Path) -> None:
    text = "unit,station,counter_digits,oil_volume_l,oil_volume_unit\n"
    intake = read(tmp_path, text + "T1,N,5,6000,gal_us\nT2,N,5,6000,L\n", "units")
    assert [row.text("unit") for row in intake.rows] == ["T2"]
    assert "22,712.4707 lies above 20,000" in intake.findings[0].found


def test_a_week_is_kept_in_one_spelling(tmp_path: Path) -> None:
    intake = read(tmp_path, "region,week,hours\nHill,2027-W5,1\nHill, 2027-w05 ,1\n", "crews")
    assert [row.values["week"] for row in intake.rows] == ["2027-W05", "2027-W05"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no named pipes")
def test_a_pipe_in_the_folder_is_left_alone_and_not_waited_for(tmp_path: Path) -> None:
    (tmp_path / "units.csv").write_text("unit,station,counter_digits\nT1,N,5\n", encoding="utf-8")
    os.mkfifo(tmp_path / "readings.csv")
    (tmp_path / "events.csv").symlink_to(tmp_path / "gone.csv")
    intake = read_paths([tmp_path])
    assert len(intake.rows) == 1
    assert [Path(name).name for name in intake.files_left_alone] == ["events.csv", "readings.csv"]


def test_a_path_that_cannot_be_looked_at_is_explained(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"cannot be looked at|There is nothing at"):
        read_paths([tmp_path / ("x" * 5_000)])


def test_a_file_name_that_cannot_be_printed_is_spelled_out(tmp_path: Path) -> None:
    name = b"readings_\xe9.csv".decode("utf-8", "surrogateescape")
    (tmp_path / name).write_text("unit,read_on,value\nT1,x,5\n", encoding="utf-8")
    assert read_paths([tmp_path]).findings[0].file.endswith("readings_\\xe9.csv")
