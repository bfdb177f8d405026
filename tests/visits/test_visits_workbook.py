"""Sheets of workbooks, written by two other programs' writers: dates, numbers, texts, mixed places, odd files."""

from __future__ import annotations

import zipfile
from datetime import date, datetime
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter

from tapwear.errors import UsageError
from tapwear.visits.mapping_file import parse_mapping
from tapwear.visits.reading import read_paths
from tapwear.visits.types import Below, Intake
from tapwear.visits.workbook import NotReadable, Style, sheet_rows

AFTERNOON = datetime(2026, 6, 3, 12)  # noqa: DTZ001 - a sheet knows no time zones
MAP = """
[[feed]]
file = "lab.xlsx"
table = "samples"
sheet = "Oil"
[feed.columns]
unit = "Equipment"
sampled_on = "Sampled"
taken_from = "Point"
compartment = "Point"
acetylene_ul_per_l = "C2H2"
moisture_mg_per_kg = "Water"
[feed.words.taken_from]
"OLTC A" = "compartment"
"OLTC B" = "compartment"
Tank = "main_tank"
[feed.words.compartment]
"OLTC A" = "A"
"OLTC B" = "B"
Tank = ""
"""


def mixed(path: Path) -> Path:
    """A sheet that mixes the main tank and two compartments, behind a sheet of something else."""
    book = openpyxl.Workbook()
    book.active.title = "Cover"
    book.active["A1"] = "Report 7"
    sheet = book.create_sheet("Oil")
    sheet.append(["Equipment", "Sampled", "Point", "C2H2", "Water"])
    sheet.append(["T1", date(2026, 6, 3), "OLTC A", 120.25, 12])
    sheet.append(["T1", AFTERNOON, "OLTC B", "<0.5", None])
    sheet.append([None] * 5)
    sheet.append(["T1", date(2026, 6, 3), "Tank", 0.7, 8.1])
    sheet.append(["T1", "03.06.2026", "Tank", 0.7, 8.1])
    book.save(path)
    return path


def read(path: Path, text: str = MAP) -> Intake:
    return read_paths([path], parse_mapping(text, "map.toml"))


def test_one_sheet_that_mixes_main_tank_and_compartments_gives_samples_of_each(tmp_path: Path) -> None:
    intake = read(mixed(tmp_path / "lab.xlsx"))
    day = date(2026, 6, 3)
    assert [row.values for row in intake.rows] == [
        {
            "unit": "T1", "sampled_on": day, "compartment": "A", "taken_from": "compartment",
            "acetylene_ul_per_l": 120.25, "moisture_mg_per_kg": 12.0,
        },
        {
            "unit": "T1", "sampled_on": day, "compartment": "B", "taken_from": "compartment",
            "acetylene_ul_per_l": Below(0.5),
        },
        {
            "unit": "T1", "sampled_on": day, "taken_from": "main_tank",
            "acetylene_ul_per_l": 0.7, "moisture_mg_per_kg": 8.1,
        },
    ]  # fmt: skip
    assert [row.line for row in intake.rows] == [2, 3, 5]  # the empty row counts
    (finding,) = intake.findings
    assert (finding.file.endswith("lab.xlsx, sheet Oil"), finding.line) == (True, 6)
    assert finding.found == "'03.06.2026' is not a date written as YYYY-MM-DD"


def test_dates_and_numbers_come_in_the_writing_that_the_feed_announces(tmp_path: Path) -> None:
    text = MAP.replace('sheet = "Oil"', 'sheet = "oil"\ndate_format = "DD.MM.YYYY"\ndecimal_comma = true')
    intake = read(mixed(tmp_path / "lab.xlsx"), text)
    assert [row.values["sampled_on"] for row in intake.rows] == [date(2026, 6, 3)] * 3
    assert [row.values["acetylene_ul_per_l"] for row in intake.rows] == [120.25, 0.7, 0.7]
    assert [finding.line for finding in intake.findings] == [3]  # the text <0.5, where commas are announced


@pytest.mark.parametrize("since_1904", [False, True])
def test_days_count_from_where_the_workbook_says(tmp_path: Path, since_1904: bool) -> None:
    path = tmp_path / "days.xlsx"
    with xlsxwriter.Workbook(path, {"date_1904": since_1904}) as book:
        sheet = book.add_worksheet("One")
        sheet.write_row(0, 0, ["a", "b", "c", "d", "e"])
        for column, shape in enumerate(("yyyy-mm-dd", "d.m.yy", '[$-409]d"day"', '0.00"day"', "h:mm")):
            sheet.write_datetime(1, column, AFTERNOON, book.add_format({"num_format": shape}))
    serial = "44714.5" if since_1904 else "46176.5"
    rows = list(sheet_rows(path, "", Style()))
    assert rows[1] == (2, ["2026-06-03", "2026-06-03", "2026-06-03", serial, serial])


def test_kinds_of_cells_become_text(tmp_path: Path) -> None:
    path = tmp_path / "kinds.xlsx"
    with xlsxwriter.Workbook(path) as book:
        sheet = book.add_worksheet("One")
        bold = book.add_format({"bold": True})
        sheet.write_rich_string(0, 1, "rich ", bold, "text")
        sheet.write_formula(0, 2, '=A1&"x"', None, "made")
        sheet.write_boolean(0, 3, True)
        sheet.write_number(0, 4, 0.1 + 0.2)
        sheet.write_number(0, 5, 123456)
        sheet.write_string(0, 6, " <5 ")
        sheet.write_formula(0, 7, "=1/0", None, "#DIV/0!")
    assert list(sheet_rows(path, "", Style())) == [
        (1, ["", "rich text", "made", "1", "0.3", "123456", " <5 ", "#DIV/0!"])
    ]


def test_a_sheet_that_is_not_named_or_not_there_is_told_with_the_sheets_there_are(tmp_path: Path) -> None:
    path = mixed(tmp_path / "lab.xlsx")
    for text, said in (
        (MAP.replace('sheet = "Oil"\n', ""), "2 sheets, and none is named; sheets: 'Cover', 'Oil'"),
        (MAP.replace('"Oil"', '"Gas"'), "there is no sheet 'Gas'; sheets: 'Cover', 'Oil'"),
    ):
        (finding,) = read(path, text).findings
        assert finding.found == f"the file cannot be read: {said}"
        assert (finding.line, finding.field, finding.severity) == (0, "whole file", "rejected")


@pytest.mark.parametrize("content", [b"", b"Equipment,Sampled\n", b"PK\x03\x04 broken"])
def test_a_file_that_is_no_workbook_is_told(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "lab.xlsx").write_bytes(content)
    (finding,) = read(tmp_path / "lab.xlsx").findings
    assert "it is no .xlsx workbook, or a damaged one" in finding.found


def test_a_workbook_that_declares_entities_is_refused(tmp_path: Path) -> None:
    made, changed = mixed(tmp_path / "made.xlsx"), tmp_path / "lab.xlsx"
    with zipfile.ZipFile(made) as source, zipfile.ZipFile(changed, "w") as target:
        for name in source.namelist():
            content = source.read(name)
            if name == "xl/styles.xml":
                content = b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]><styleSheet>&b;</styleSheet>'
            target.writestr(name, content)
    with pytest.raises(NotReadable, match="declares a document type"):
        list(sheet_rows(changed, "Oil", Style()))


def test_an_empty_sheet_is_told(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.title = "Oil"
    book.save(tmp_path / "lab.xlsx")
    (finding,) = read(tmp_path / "lab.xlsx").findings
    assert finding.found == "the sheet is empty"


def test_two_sheets_feed_two_tables(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.title = "Read"
    book.active.append(["unit", "read_on", "value"])
    book.active.append(["T1", date(2026, 6, 3), 123])
    book.create_sheet("Units").append(["unit", "station", "counter_digits"])
    book["Units"].append(["T1", "NORTH", 6])
    book.save(tmp_path / "all.xlsx")
    feeds = "".join(
        f'[[feed]]\nfile = "*.xlsx"\nsheet = "{sheet}"\ntable = "{table}"\n'
        for sheet, table in (("Read", "readings"), ("Units", "units"))
    )
    intake = read(tmp_path / "all.xlsx", feeds)
    assert [row.values for row in intake.rows] == [
        {"unit": "T1", "station": "NORTH", "counter_digits": 6},
        {"unit": "T1", "read_on": date(2026, 6, 3), "value": 123},
    ]
    assert intake.findings == ()


def test_a_sheet_of_a_file_that_is_no_workbook_is_a_mistake_in_the_map() -> None:
    with pytest.raises(UsageError, match=r"sheet goes with a workbook; lab\.csv does not end in \.xlsx"):
        parse_mapping(MAP.replace("lab.xlsx", "lab.csv"), "map.toml")
