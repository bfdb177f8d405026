from __future__ import annotations

import io
from datetime import date, datetime
from typing import Any

import pytest
from due_examples import SEVERE_ONE, due
from openpyxl import Workbook, load_workbook
from pages_examples import ORDINARY, fleet, oil_unit, readings
from why_examples import verdict

from tapwear.oil.types import OilFinding
from tapwear.outlook.conditions import Noted
from tapwear.report.pages_choice import Paper
from tapwear.report.pages_fleet import Fleet
from tapwear.report.pages_xlsx import pages_xlsx
from tapwear.words import CAUTIONS, stop_notice


def book(whole: Fleet, paper: Paper = Paper.A4) -> Workbook:
    return load_workbook(io.BytesIO(pages_xlsx(whole, paper)))


def row(workbook: Workbook, sheet: str, line: int = 2) -> dict[str, Any]:
    """One row of a sheet by heading."""
    cells = workbook[sheet]
    return {str(cells.cell(1, at).value): cells.cell(line, at).value for at in range(1, cells.max_column + 1)}


def test_the_sheets_are_there_with_frozen_headings_and_filters() -> None:
    found = book(fleet())
    assert found.sheetnames == ["due", "units", "doubtful readings", "oil", "assumptions"]
    for sheet in found.worksheets:
        assert sheet.freeze_panes == "A2"
        assert sheet.auto_filter.ref
        assert sheet.print_title_rows == "$1:$1"
        assert sheet.page_setup.paperSize == 9
    assert book(fleet(), Paper.LETTER)["due"].page_setup.paperSize == 1


def test_dates_and_numbers_are_typed_cells() -> None:
    found = row(book(fleet(ORDINARY)), "due")
    assert found["early (10 %)"] == datetime(2026, 9, 14)  # noqa: DTZ001 - a cell has no zone
    assert found["operations since"] == 61_234
    assert found["interval [operations]"] == 70_000
    assert found["chance operations first"] == pytest.approx(0.82)
    assert found["next"] == "schedule outage before 2026-09-14"


def test_an_unknown_date_is_an_empty_cell() -> None:
    assert row(book(fleet(due(early=None, middle=None, late=None))), "due")["early (10 %)"] is None


def test_text_that_looks_like_a_formula_or_a_link_is_text() -> None:
    one = due(unit="=1+1", station="+44", bank="-1", kit="@x", next_action="http://example.org")
    sheet = book(fleet(one))["due"]
    cells = {cell.value: cell for cell in sheet[2]}
    for value in ("=1+1", "+44", "-1", "@x", "http://example.org"):
        assert cells[value].data_type == "s"
        assert cells[value].hyperlink is None


def test_doubtful_readings_stand_with_the_reason() -> None:
    found = book(fleet(readings=readings(BRK_T1="doubtful")))
    assert row(found, "doubtful readings") == {
        "stop": None,
        "unit": "BRK-T1",
        "drive": 1 if isinstance(row(found, "doubtful readings")["drive"], int) else "1",
        "read on": datetime(2026, 6, 10),  # noqa: DTZ001
        "counter": 95_000,
        "source": "mechanical",
        "why it is doubtful": "digits transposed?",
    }
    assert found["doubtful readings"].max_row == 2


def test_a_severe_unit_is_asked_for_neither_sample_nor_oil_work() -> None:
    work = (OilFinding("wet oil", "dry or change the oil"),)
    severe = oil_unit("MIR-T2", verdict(unit="MIR-T2", severe=True, oil_work=work), stop="STOP since 2026-05-01")
    found = book(fleet(SEVERE_ONE, oil={"MIR-T2": severe}))
    assert row(found, "due")["next"] == stop_notice("MIR-T2")
    assert next(iter(row(found, "due").items())) == ("stop", "STOP since 2026-05-01")
    oil = row(found, "oil")
    assert oil["oil work, no reason to open"] in (None, "")
    assert oil["next sample by"] is None
    assert oil["next sample, as advice"] == stop_notice("MIR-T2")
    assert row(found, "assumptions")["what this report rests on"].startswith(stop_notice("MIR-T2"))


def test_noted_conditions_stand_beside_the_unit_and_cautions_among_the_assumptions() -> None:
    odd = Noted("motor_current", "peak odd", date(2026, 5, 20), None, False, "K. Arden")
    found = book(fleet(ORDINARY, conditions={"BRK-T1": (odd,)}))
    assert "peak odd, noted 2026-05-20 by K. Arden" in row(found, "units")["noted and still open"]
    lines = [cell.value for cell in found["assumptions"]["A"]]
    assert set(CAUTIONS) <= set(lines)
    assert "Contact service every 70,000 operations or 8 years (manual): 1 unit." in lines


def test_the_same_fleet_gives_the_same_bytes() -> None:
    assert pages_xlsx(fleet(), Paper.A4) == pages_xlsx(fleet(), Paper.A4)
