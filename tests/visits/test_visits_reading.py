"""From files to rows: headings, maps, several feeds of one file, files left alone, and files that are refused."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from tapwear.errors import UsageError
from tapwear.visits.mapping_file import parse_mapping
from tapwear.visits.reading import read_paths
from tapwear.visits.types import Below, Intake


def put(folder: Path, **files: str) -> Path:
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


def told(intake: Intake) -> list[tuple[int, str, str]]:
    return [(finding.line, finding.field, finding.severity) for finding in intake.findings]


def test_rows_come_in_the_order_of_the_tables_whatever_the_order_of_the_files(tmp_path: Path) -> None:
    put(
        tmp_path,
        units="unit,station,counter_digits\nT1,NORTH,5\n",
        readings="unit,read_on,value\nT1,2024-05-01,12\n",
        places="station,region\nNORTH,Hill\n",
    )
    intake = read_paths([tmp_path / "readings.csv", tmp_path])
    assert [row.table for row in intake.rows] == ["places", "units", "readings"]
    assert intake.rows_seen == 3
    assert intake.findings == ()
    assert intake.rows[2].values == {"unit": "T1", "read_on": date(2024, 5, 1), "value": 12}
    assert intake.rows[2].line == 2


@pytest.mark.parametrize("mark", [";", "\t", "|", ","])
def test_the_delimiter_is_seen_from_the_headings(tmp_path: Path, mark: str) -> None:
    put(tmp_path, readings="Unit,Read_On,VALUE\nT1,2024-05-01,12\n".replace(",", mark))
    assert read_paths([tmp_path]).rows[0].values["value"] == 12


def test_a_line_that_names_the_delimiter_is_understood_and_counted(tmp_path: Path) -> None:
    put(tmp_path, readings="sep=;\nunit;read_on;value\nT1;2024-05-01;12\nT1;x;13\n")
    intake = read_paths([tmp_path])
    assert len(intake.rows) == 1
    assert told(intake) == [(4, "read_on", "rejected")]


def test_every_complaint_about_a_row_is_told_and_the_row_is_counted_once(tmp_path: Path) -> None:
    put(tmp_path, readings="unit,read_on,value\n,2024-13-01,x\n")
    intake = read_paths([tmp_path])
    assert told(intake) == [(2, "unit", "rejected"), (2, "read_on", "rejected"), (2, "value", "rejected")]
    assert intake.rejected == {"readings": 1}
    assert intake.findings[0].row == ",2024-13-01,x"


def test_missing_and_extra_cells_are_findings_and_empty_extra_cells_are_not(tmp_path: Path) -> None:
    put(tmp_path, readings="unit,read_on,value\nT1,2024-05-01\nT1,2024-05-02,7,8\nT1,2024-05-03,9,,\n")
    intake = read_paths([tmp_path])
    assert [row.line for row in intake.rows] == [4]
    assert [finding.found for finding in intake.findings] == [
        "2 cells, where the headings are 3",
        "4 cells, where the headings are 3",
    ]


def test_unknown_headings_are_a_note_about_the_file(tmp_path: Path) -> None:
    put(tmp_path, readings="unit,read_on,value,weather\nT1,2024-05-01,12,fog\n")
    intake = read_paths([tmp_path])
    assert told(intake) == [(1, "headings", "note")]
    assert "weather" in intake.findings[0].found
    assert len(intake.rows) == 1


@pytest.mark.parametrize(
    ("text", "field", "said"),
    [
        ("unit,date,value\nT1,2024-05-01,12\nT1,2024-05-02,13\n", "read_on", "there are: unit, date, value"),
        ("unit,value,read_on,Value\nT1,1,2024-05-01,12\nT1,1,2024-05-02,13\n", "headings", "'value' stands there 2"),
        ('unit,"value,read_on\nT1,1,2024-05-01\nT1,2,2024-05-02\n', "headings", "headings cannot be read"),
        ("unit,val\0ue,read_on\nT1,1,2024-05-01\nT1,2,2024-05-02\n", "headings", "headings cannot be read"),
    ],
)
def test_a_file_with_wrong_headings_is_refused_and_its_rows_counted(
    tmp_path: Path, text: str, field: str, said: str
) -> None:
    put(tmp_path, readings=text)
    intake = read_paths([tmp_path])
    assert intake.rows == ()
    assert [(finding.line, finding.field) for finding in intake.findings] == [(1, field)]
    assert said in intake.findings[0].found
    assert intake.rejected == {"readings": 2}
    assert intake.rows_seen == 2


def test_an_empty_file_is_told(tmp_path: Path) -> None:
    put(tmp_path, readings="\n\n", units="unit,station\n")
    intake = read_paths([tmp_path])
    assert [(finding.line, finding.found) for finding in intake.findings] == [(0, "the file is empty")]


def test_units_of_measure_come_from_a_column_or_from_the_map(tmp_path: Path) -> None:
    put(
        tmp_path,
        units="unit,oil_volume,oil_volume_unit\nT1,100,gal_us\nT2,100,\nT3,100,barrel\n",
        samples="unit,sampled_on,acetylene_ul_per_l,oil_temp_c,oil_temp_unit\nT1,2024-05-01,<0.5,212,F\n",
    )
    intake = read_paths([tmp_path])
    assert [row.values.get("oil_volume_l") for row in intake.rows[:2]] == [pytest.approx(378.5411784), 100.0]
    assert intake.rows[2].values["oil_temp_c"] == pytest.approx(100.0)
    assert intake.rows[2].values["acetylene_ul_per_l"] == Below(0.5)
    assert "'100' barrel" in intake.findings[0].found
    mapping = parse_mapping(
        "[[feed]]\nfile='units.csv'\ntable='units'\n[feed.columns]\noil_volume_l='oil_volume'\n"
        "[feed.units]\noil_volume_l='gal_imp'",
        "m",
    )
    volumes = [row.values["oil_volume_l"] for row in read_paths([tmp_path], mapping).rows]
    assert volumes == [pytest.approx(378.5411784), pytest.approx(454.609)]  # what the row says goes first


MAP = """
[[feed]]
file = "log.csv"
table = "services"
where = { what = ["overhauled", "oil new"] }
ignore = ["page"]
[feed.columns]
unit = "trafo"
done_on = "day"
work = "what"
[feed.words.work]
overhauled = "overhaul"
"oil new" = "oil change"
[feed.fixed]
done_by = "contractor"

[[feed]]
file = "log.csv"
table = "readings"
where = { what = ["read", "overhauled"] }
[feed.columns]
unit = "trafo"
read_on = "day"
value = "count"
"""


def test_one_file_feeds_several_tables_and_what_no_feed_takes_is_told(tmp_path: Path) -> None:
    put(
        tmp_path,
        log="page,trafo,day,what,count\n1,T1,2024-05-01,read,12\n1,T1,2024-06-01,Overhauled,15\n"
        "2,T1,2024-07-01,painted,16\n2,T1,2024-08-01,oil new,\n",
        truth="x\n1\n",
    )
    (tmp_path / "scan.pdf").write_bytes(b"%PDF")
    (tmp_path / "old").mkdir()
    intake = read_paths([tmp_path], parse_mapping(MAP, "m"))
    assert [(row.table, row.line) for row in intake.rows] == [
        ("readings", 2),
        ("readings", 3),
        ("services", 3),
        ("services", 5),
    ]
    assert intake.rows[2].values == {
        "unit": "T1",
        "done_on": date(2024, 6, 1),
        "work": "overhaul",
        "done_by": "contractor",
    }
    assert told(intake) == [(4, "whole row", "left aside")]
    assert intake.findings[0].found == "no feed takes rows with what 'painted'"
    assert intake.rows_seen == 4
    assert [Path(name).name for name in intake.files_left_alone] == ["old", "scan.pdf", "truth.csv"]


def test_a_heading_that_the_map_names_and_the_file_lacks_refuses_the_file(tmp_path: Path) -> None:
    put(tmp_path, log="page,trafo,day,what\n1,T1,2024-05-01,read\n")
    intake = read_paths([tmp_path], parse_mapping(MAP, "m"))
    assert intake.rows == ()
    assert intake.findings[0].found == "there is no heading 'count'"
    assert intake.rejected == {"": 1}


def test_the_date_format_is_stated_for_all_files_or_by_the_map(tmp_path: Path) -> None:
    put(tmp_path, readings="unit,read_on,value\nT1,03/04/2024,12\n")
    assert read_paths([tmp_path], date_format="DD/MM/YYYY").rows[0].day("read_on") == date(2024, 4, 3)
    mapping = parse_mapping("[[feed]]\nfile='*.csv'\ntable='readings'\ndate_format='MM/DD/YYYY'", "m")
    assert read_paths([tmp_path], mapping, "DD/MM/YYYY").rows[0].day("read_on") == date(2024, 3, 4)
    assert told(read_paths([tmp_path])) == [(2, "read_on", "rejected")]
    with pytest.raises(UsageError, match="A date format"):
        read_paths([tmp_path], date_format="day first")


def test_words_of_the_map_are_ours_whatever_the_file_does_with_commas_and_dates(tmp_path: Path) -> None:
    put(tmp_path, lab="unit;sampled_on;acetylene_ul_per_l;hydrogen_ul_per_l\nT1;new;ND;1,5\nT2;01.02.2024;n/a;2\n")
    mapping = parse_mapping(
        "[[feed]]\nfile='lab.csv'\ntable='samples'\ndecimal_comma=true\ndate_format='DD.MM.YYYY'\n"
        "[feed.words.acetylene_ul_per_l]\nND='<0.5'\n'n/a'=''\n[feed.words.sampled_on]\nnew=2024-03-04",
        "m",
    )
    intake = read_paths([tmp_path], mapping)
    assert intake.findings == ()
    first, second = (row.values for row in intake.rows)
    assert first["sampled_on"] == date(2024, 3, 4)
    assert first["acetylene_ul_per_l"] == Below(0.5)
    assert first["hydrogen_ul_per_l"] == 1.5
    assert "acetylene_ul_per_l" not in second


def test_an_encoding_is_declared_by_the_map_or_by_the_file_itself(tmp_path: Path) -> None:
    text = "unit,read_on,value,remark\nT1,2024-05-01,12,Öl\nT2,2024-05-01,13,dry\n"
    path = tmp_path / "readings.csv"
    path.write_text(text, encoding="cp1252")
    plain = read_paths([path])
    assert [row.text("unit") for row in plain.rows] == ["T2"]
    assert plain.findings[0].line == 2
    assert "encoding" in plain.findings[0].remedy
    mapping = parse_mapping("[[feed]]\nfile='readings.csv'\ntable='readings'\nencoding='cp1252'", "m")
    assert read_paths([path], mapping).rows[0].text("remark") == "Öl"
    for encoding in ("utf-16", "utf-8-sig"):
        path.write_text(text, encoding=encoding)
        assert read_paths([path], mapping).rows[0].text("remark") == "Öl"


def test_two_feeds_of_one_file_have_to_agree_on_how_it_is_written(tmp_path: Path) -> None:
    put(tmp_path, log="a\n1\n")
    feed = "[[feed]]\nfile='log.csv'\ntable='units'\ndelimiter='{}'\n"
    with pytest.raises(UsageError, match="more than one delimiter"):
        read_paths([tmp_path], parse_mapping(feed.format(",") + feed.format(";"), "m"))


def test_a_path_that_is_not_there_or_feeds_nothing_is_explained(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="There is nothing at"):
        read_paths([tmp_path / "none.csv"])
    put(tmp_path, meters="a\n1\n")
    with pytest.raises(UsageError, match=r"None of these files feeds a table.*found: meters\.csv"):
        read_paths([tmp_path])


def test_long_readings_report_how_far_they_are(tmp_path: Path) -> None:
    put(tmp_path, readings="unit,read_on,value\n" + "T1,2024-05-01,12\n" * 10_001)
    seen: list[tuple[str, int, int]] = []
    read_paths([tmp_path], progress=lambda *step: seen.append(step))
    assert seen == [("reading readings.csv", 5_000, 0), ("reading readings.csv", 10_000, 0)]
