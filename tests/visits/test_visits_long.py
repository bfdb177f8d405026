"""Laboratory files with one row per result: gathered into samples, each complaint at its own line."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from tapwear.errors import UsageError
from tapwear.visits.mapping_file import parse_mapping
from tapwear.visits.reading import read_paths
from tapwear.visits.types import Below, Intake

MAP = """
[[feed]]
file = "lab.csv"
table = "samples"
date_format = "DD.MM.YYYY"
[feed.columns]
unit = "Equipment"
sampled_on = "Sampled"
reference = "No"
[feed.long]
name = "Parameter"
value = "Result"
unit = "Unit"
[feed.long.names]
C2H2 = "acetylene_ul_per_l"
H2 = "hydrogen_ul_per_l"
Water = "moisture_mg_per_kg"
Strength = "breakdown_kv"
Colour = ""
[feed.words.acetylene_ul_per_l]
ND = "<0.5"
"""
HEAD = "Equipment,Sampled,No,Parameter,Result,Unit\n"


def read(folder: Path, *lines: str, text: str = MAP) -> Intake:
    (folder / "lab.csv").write_text(HEAD + "\n".join(lines) + "\n", encoding="utf-8")
    return read_paths([folder / "lab.csv"], parse_mapping(text, "map.toml"))


def told(intake: Intake) -> list[tuple[int, str, str]]:
    return [(finding.line, finding.field, finding.severity) for finding in intake.findings]


def test_rows_of_one_sample_become_one_row_even_when_they_do_not_follow_each_other(tmp_path: Path) -> None:
    intake = read(
        tmp_path,
        "T1,03.06.2026,A7,C2H2,120,ppm",
        "T2,03.06.2026,A8,C2H2,ND,ppm",
        "T1,03.06.2026,A7,h2,<5,µL/L",
        "T1,03.06.2026,A7,Strength,42000,V",
        "T1,03.06.2026,A7,Colour,1.5,",
    )
    assert [row.values for row in intake.rows] == [
        {
            "unit": "T1", "sampled_on": date(2026, 6, 3), "reference": "A7",
            "acetylene_ul_per_l": 120.0, "hydrogen_ul_per_l": Below(5.0), "breakdown_kv": 42.0,
        },
        {"unit": "T2", "sampled_on": date(2026, 6, 3), "reference": "A8", "acetylene_ul_per_l": Below(0.5)},
    ]  # fmt: skip
    assert [row.line for row in intake.rows] == [2, 3]
    assert (intake.rows_seen, intake.findings) == (5, ())


def test_one_bad_result_costs_that_result_and_is_told_by_its_line(tmp_path: Path) -> None:
    intake = read(tmp_path, "T1,03.06.2026,A7,C2H2,many,ppm", "T1,03.06.2026,A7,H2,7,ppm", "T1,x,A7,Water,12,mg/kg")
    assert told(intake) == [
        (2, "Result (acetylene_ul_per_l)", "rejected"),
        (4, "Sampled (sampled_on)", "rejected"),
    ]
    (row,) = intake.rows
    assert row.line == 3
    assert row.values["hydrogen_ul_per_l"] == 7.0
    assert "acetylene_ul_per_l" not in row.values
    assert intake.rejected == {"samples": 2}


def test_a_unit_of_measure_that_is_none_of_that_kind_is_refused(tmp_path: Path) -> None:
    (finding,) = read(tmp_path, "T1,03.06.2026,A7,C2H2,12,umol/mol").findings
    assert (finding.line, finding.field) == (2, "Result (acetylene_ul_per_l)")
    assert "'12' umol/mol" in finding.found


def test_the_same_result_twice_is_taken_once_and_another_one_is_refused(tmp_path: Path) -> None:
    intake = read(tmp_path, *["T1,03.06.2026,A7,C2H2,12,ppm"] * 2, "T1,03.06.2026,A7,C2H2,15,ppm")
    assert told(intake) == [(3, "acetylene_ul_per_l", "left aside"), (4, "acetylene_ul_per_l", "rejected")]
    assert "line 2 gives another result" in intake.findings[1].found
    assert intake.rows[0].values["acetylene_ul_per_l"] == 12.0


def test_a_quantity_that_is_not_mapped_is_told_once_with_the_number_of_rows(tmp_path: Path) -> None:
    lines = [f"T{n},03.06.2026,,{name},1,ppm" for n in (1, 2) for name in ("C2H2", "Furan")]
    intake = read(tmp_path, *lines)
    assert told(intake) == [(3, "Parameter", "note")]
    assert "no field is mapped to 'Furan' (2 rows)" in intake.findings[0].found
    assert len(intake.rows) == 2


def test_what_the_rows_of_a_sample_say_otherwise_about_it_is_told(tmp_path: Path) -> None:
    text = MAP.replace('reference = "No"', 'laboratory = "No"')
    intake = read(tmp_path, "T1,03.06.2026,East,C2H2,12,ppm", "T1,03.06.2026,West,H2,5,ppm", text=text)
    assert told(intake) == [(3, "laboratory", "left aside")]
    assert intake.findings[0].found == "East in line 2, West here"
    assert intake.rows[0].values["laboratory"] == "East"


def test_main_tank_and_compartments_under_one_heading_are_told_apart_by_words(tmp_path: Path) -> None:
    text = MAP.replace('reference = "No"', 'taken_from = "No"\ncompartment = "No"') + (
        '[feed.words.taken_from]\nA = "compartment"\nB = "compartment"\nTank = "main_tank"\n'
        '[feed.words.compartment]\nTank = ""\n'
    )
    intake = read(tmp_path, *(f"T1,03.06.2026,{place},C2H2,12,ppm" for place in ("A", "B", "Tank")), text=text)
    places = [(row.text("taken_from"), row.text("compartment")) for row in intake.rows]
    assert places == [("compartment", "A"), ("compartment", "B"), ("main_tank", "")]


def test_a_heading_of_units_of_measure_is_not_taken_for_the_asset_tag(tmp_path: Path) -> None:
    (finding,) = read(tmp_path, "T1,03.06.2026,A7,C2H2,12,ppm", text=MAP.replace('unit = "Equipment"', "")).findings[:1]
    assert (finding.field, finding.found[:24]) == ("unit", "there is no such heading")


def test_a_heading_that_is_not_there_stops_the_file(tmp_path: Path) -> None:
    intake = read(tmp_path, "T1,03.06.2026,A7,C2H2,12,ppm", text=MAP.replace('"Parameter"', '"Analyte"'))
    assert ("long", "there is no heading 'Analyte'") in [(one.field, one.found) for one in intake.findings]
    assert intake.rows == ()


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('table = "samples"', 'table = "readings"', "long is for files of samples"),
        ('name = "Parameter"', "", 'write name = "the heading of the quantity"'),
        ('"acetylene_ul_per_l"', '"acetylen_ul_per_l"', "Did you mean 'acetylene_ul_per_l'"),
        ('"acetylene_ul_per_l"', '"sampled_on"', "no field for a result 'sampled_on'"),
        ('value = "Result"', 'values = "Result"', "no setting 'values'"),
        ("[feed.long.names]", "[feed.long.other]", "no setting 'other'"),
    ],
)
def test_mistakes_in_the_map_are_told_before_a_file_is_opened(old: str, new: str, said: str) -> None:
    text = MAP.replace(old, new)
    if "readings" in new:
        text = text.replace('sampled_on = "Sampled"\nreference = "No"', "").replace(
            "words.acetylene_ul_per_l", "words.unit"
        )
    with pytest.raises(UsageError, match=said):
        parse_mapping(text, "map.toml")
