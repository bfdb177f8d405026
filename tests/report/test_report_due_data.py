from __future__ import annotations

import csv
import io
import json
from datetime import date

import pytest
from due_examples import FAR, OVERDUE, UNKNOWN, due, outlook

from tapwear.report.due_choice import choose
from tapwear.report.due_data import DUE_FIELDS, csv_cell, due_csv, due_json, due_record


def test_every_field_of_a_record_is_documented_in_order() -> None:
    assert list(due_record(due())) == list(DUE_FIELDS)
    assert all(DUE_FIELDS.values())


def test_json_carries_its_schema_caution_and_what_was_left_out() -> None:
    choice = choose(outlook(OVERDUE, due()), until=date(2028, 6, 30), station="Halloway")
    page = json.loads(due_json(choice))
    assert page["schema"] == "tapwear.due/1"
    assert page["as_of"] == "2026-06-30"
    assert page["until"] == "2028-06-30"
    assert "neither a switching permit nor a diagnosis" in page["caution"]
    assert page["hidden"] == [{"by": "--station Halloway", "units": 1, "overdue": 0, "unknown": 0}]
    assert [item["unit"] for item in page["dues"]] == ["HAL-T1"]


def test_json_says_later_and_unknown_apart() -> None:
    far, unknown = due_record(FAR), due_record(UNKNOWN)
    assert (far["late"], far["late_words"], far["known"]) == (None, "after 2041", True)
    assert (unknown["late"], unknown["late_words"], unknown["known"]) == (None, "unknown", False)
    assert (unknown["bounds_earliest"], unknown["bounds_latest"]) == ("2011-04-02", "2033-06-30")
    assert unknown["operations_since"] is None
    assert unknown["chance_oil"] is None


def test_csv_has_a_row_per_due_that_reads_back() -> None:
    rows = list(csv.DictReader(io.StringIO(due_csv([due(), UNKNOWN]))))
    assert list(rows[0]) == list(DUE_FIELDS)
    assert rows[0]["early"] == "2026-09-14"
    assert rows[0]["operations_since"] == "61234.0"
    assert rows[0]["overdue"] == "no"
    assert rows[1]["early"] == ""
    assert rows[1]["doubts"] == "Last contact service unknown."


@pytest.mark.parametrize("text", ["=1+1", "+44", "-T1", "@me", " =x"])
def test_text_that_begins_like_a_formula_is_defused(text: str) -> None:
    assert csv_cell(text) == "'" + text


@pytest.mark.parametrize(
    ("value", "cell"), [(-5, -5), (-1.5, -1.5), ("T-1", "T-1"), (None, ""), (True, "yes"), ("", "")]
)
def test_numbers_and_ordinary_text_are_left_as_they_are(value: object, cell: object) -> None:
    assert csv_cell(value) == cell


def test_a_formula_in_a_tag_reaches_the_file_defused() -> None:
    rows = list(csv.DictReader(io.StringIO(due_csv([due(unit="=HYPERLINK(A1)")]))))
    assert rows[0]["unit"] == "'=HYPERLINK(A1)"
