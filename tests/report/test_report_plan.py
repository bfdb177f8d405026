"""What the exports and pages of a plan say, read back by independent readers."""

from __future__ import annotations

import csv
import io
import json
import sys
from datetime import date, datetime

import pytest
from openpyxl import load_workbook
from plan_examples import AS_OF, HOSTILE, WEEKS, job, usual, view
from rich.console import Console

from tapwear.errors import MissingExtra
from tapwear.plan.types import Limits, PlanResult
from tapwear.report.plan_board import week_board
from tapwear.report.plan_csv import plan_csv
from tapwear.report.plan_data import PLAN_FIELDS, job_rows, plan_json
from tapwear.report.plan_html import plan_html
from tapwear.report.plan_ics import plan_ics
from tapwear.report.plan_table import plan_plain, plan_screen
from tapwear.report.plan_words import headline
from tapwear.report.plan_xlsx import plan_xlsx
from tapwear.words import CAUTION_SHORT, CAUTIONS

# --- data and CSV ---------------------------------------------------------------------------------------------


def test_rows_are_numbered_in_week_order_and_those_without_a_place_come_last() -> None:
    rows = job_rows(usual().result)
    assert [(row.number, row.unit, row.start_week) for row in rows] == [
        (1, "U1", "2027-W09"), (2, "U2", "2027-W18"), (None, "U3", None), (None, "U4", None),
    ]  # fmt: skip
    assert (rows[1].start_on, rows[1].end_on) == (date(2027, 5, 3), date(2027, 5, 16))


def test_the_headline_counts_what_is_placed_and_what_is_not() -> None:
    assert headline(usual()) == (
        "Outage plan 2027-a for 2027, as of 2026-06-30: 2 outages placed, 1 found no place, 1 with unknown date."
    )


def test_json_holds_every_field_and_the_caution() -> None:
    page = json.loads(plan_json(usual()))
    assert page["caution"] == CAUTION_SHORT
    assert page["assumptions"] == ["No crew hours given for region North: not limited."]
    assert list(page["jobs"][0]) == list(PLAN_FIELDS)
    assert page["jobs"][0]["early"] == "2027-03-01"
    assert page["jobs"][2]["stopped_by"] == "station SHUT closed (rebuilding) in weeks 1-52"


def test_csv_has_one_row_per_job_and_blanks_for_what_is_not_known() -> None:
    rows = list(csv.DictReader(io.StringIO(plan_csv(usual()))))
    assert [row["start_week"] for row in rows] == ["2027-W09", "2027-W18", "", ""]
    assert rows[0]["crew_hours"] == "80.0"
    assert rows[0]["overdue"] == "no"
    assert rows[3]["early"] == ""


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_csv_text_that_begins_like_a_formula_is_defused(start: str) -> None:
    (row,) = csv.DictReader(io.StringIO(plan_csv(view(job(f"{start}1+1", kit=f" {start}x")))))
    assert row["unit"] == f"'{start}1+1"
    assert row["kit"].startswith("'")


# --- the board ------------------------------------------------------------------------------------------------


def test_the_board_shows_outages_closed_weeks_and_crew_hours() -> None:
    board = week_board(usual().result)
    rows = {row.station: row.cells for row in board.rows}
    assert set(rows) == {"ALDER", "BIRCH", "SHUT"}
    assert rows["ALDER"][8].numbers == (1,)
    assert rows["ALDER"][29].closed == "summer peak"
    assert [at for at, cell in enumerate(rows["BIRCH"]) if cell.numbers == (2,)] == [17, 18]
    (crew,) = board.crews
    assert (crew.planned[8], crew.planned[17], crew.planned[18]) == (80, 40, 40)
    assert set(crew.on_offer) == {None}


# --- workbook -------------------------------------------------------------------------------------------------


def test_the_workbook_has_typed_cells_a_frozen_heading_and_a_filter() -> None:
    book = load_workbook(io.BytesIO(plan_xlsx(usual())))
    assert book.sheetnames == ["plan", "week board", "crew load", "to order", "not placed", "assumptions"]
    sheet = book["plan"]
    head = [cell.value for cell in sheet[1]]
    first = dict(zip(head, sheet[2], strict=True))
    assert first["from"].value == datetime(2027, 3, 1)  # noqa: DTZ001 - a workbook's dates have no zone
    assert first["from"].is_date
    assert first["crew hours"].value == 80
    assert first["chance past due"].value == 0
    assert first["unit"].value == "U1"
    assert sheet.max_row == 3
    for page in book.worksheets:
        assert page.freeze_panes is not None
        assert page.auto_filter.ref is not None
        assert page.page_setup.orientation == "landscape"
        assert str(page.page_setup.paperSize) == ("8" if page.title == "plan" else "9")  # A3, A4
    assert book["week board"].cell(2, 10).value == "1"
    assert [cell.value for cell in book["not placed"]["B"]] == ["unit", "U3", "U4"]
    told = [cell.value for cell in book["assumptions"]["A"]]
    assert "No crew hours given for region North: not limited." in told
    assert set(CAUTIONS) <= set(told)


def test_the_workbook_of_a_plan_is_the_same_every_time() -> None:
    assert plan_xlsx(usual()) == plan_xlsx(usual())


def test_the_workbook_takes_formula_looking_text_as_text() -> None:
    book = load_workbook(io.BytesIO(plan_xlsx(view(*(job(text) for text in HOSTILE)))))
    cells = [cell for row in book["plan"].iter_rows(min_row=2) for cell in row]
    assert {cell.data_type for cell in cells} <= {"s", "n", "d"}
    assert "=cmd|' /C calc'!A0" in [cell.value for cell in cells]


# --- screen and pipe ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [40, 80, 120, 200])
def test_screen_lines_keep_to_the_width_and_lose_nothing(width: int) -> None:
    console = Console(width=width, file=io.StringIO())
    text = [line.plain for line in plan_screen(usual(), console)]
    assert max(len(line) for line in text) <= width
    whole = " ".join(" ".join(text).split())
    for words in ("2027-W09", "U1", "ALDER", "contact service", "2027-03-01", "kit 7", "80 h", "T1",
                  "operations drive the date", "Not placed", "date unknown", CAUTION_SHORT):  # fmt: skip
        assert words in whole


def test_more_stands_in_columns_on_a_wider_screen() -> None:
    def heading(width: int) -> str:
        lines = plan_screen(usual(), Console(width=width, file=io.StringIO()))
        return next(line.plain for line in lines if line.plain.startswith("week"))

    assert "due from" in heading(80)
    assert "late" in heading(80)
    assert "starts" not in heading(70)
    assert {"starts", "lasts", "crew"} <= set(heading(120).split())


def test_markup_and_terminal_codes_in_names_are_shown_as_text() -> None:
    hostile = view(*(job(text, station=text) for text in HOSTILE))
    screen = io.StringIO()
    console = Console(width=200, file=screen, markup=False, highlight=False, emoji=False)
    for line in plan_screen(hostile, console):
        console.print(line)
    for told in (screen.getvalue(), "\n".join(plan_plain(hostile))):
        assert "[/]" in told
        assert "[red]x" in told
        assert "\x1b" not in told


def test_a_pipe_gets_one_line_per_job_with_nothing_cut_off() -> None:
    long = "a reason " * 60
    lines = plan_plain(view(job("U1", why=long.strip())))
    (line,) = (line for line in lines if line.startswith("2027-W09"))
    assert line.endswith(long.strip())


# --- extras ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("package", "export"), [("xlsxwriter", plan_xlsx), ("icalendar", plan_ics), ("jinja2", plan_html)]
)
def test_a_missing_package_is_answered_with_the_line_to_run(
    package: str, export: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, package, None)
    with pytest.raises(MissingExtra, match=r"python -m pip install 'tapwear\[report\]'"):
        export(usual())  # type: ignore[operator]


def test_views_can_be_made_of_a_plan_without_any_job() -> None:
    result = PlanResult(2027, AS_OF, (), Limits(WEEKS, {}, {}, {}))
    assert job_rows(result) == ()
    assert week_board(result).rows == ()
