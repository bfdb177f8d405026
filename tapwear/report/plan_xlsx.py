"""An outage plan as a workbook: plan, week board, not placed, assumptions."""

from __future__ import annotations

import io
from collections.abc import Sequence
from datetime import UTC, date
from typing import Any

from tapwear.errors import MissingExtra
from tapwear.report.plain import plain
from tapwear.report.plan_board import Board, week_board
from tapwear.report.plan_data import JobRow, PlanView, job_rows
from tapwear.report.plan_words import headline
from tapwear.words import CAUTIONS

LINE_HEIGHT = 15  # of one line of text [points]
A4 = 9  # paper size in the file format's own numbering
# heading, field, width [characters]
PLAN_COLUMNS = (
    ("no.", "number", 5),
    ("week", "start_week", 10),
    ("from", "start_on", 11),
    ("to", "end_on", 11),
    ("unit", "unit", 16),
    ("station", "station", 16),
    ("region", "region", 12),
    ("bank", "bank", 8),
    ("phase", "phase", 7),
    ("task", "task", 19),
    ("due from (10 %)", "early", 15),
    ("middle (50 %)", "middle", 14),
    ("late (90 %)", "late", 12),
    ("chance past due", "chance_late", 16),
    ("crew hours", "crew_hours", 11),
    ("kit", "kit", 18),
    ("kit ready", "kit_ready_on", 11),
    ("why", "why", 60),
)
NOT_PLACED_COLUMNS = (
    ("unit", "unit", 16),
    ("station", "station", 16),
    ("region", "region", 12),
    ("task", "task", 19),
    ("due from (10 %)", "early", 15),
    ("late (90 %)", "late", 12),
    ("what stops it", "stopped_by", 60),
    ("why it is due", "why", 60),
)


def plan_xlsx(view: PlanView) -> bytes:
    """The workbook. Dates and numbers are typed cells, text is never read as a formula or a link; the same plan
    gives the same bytes. Raises MissingExtra without XlsxWriter."""
    try:
        import xlsxwriter
    except ImportError:
        raise MissingExtra("XlsxWriter", "The XLSX export") from None
    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(out, options)
    made = view.recorded_at.astimezone(UTC).replace(tzinfo=None)
    book.set_properties({"title": plain(f"Outage plan {view.name}"), "created": made})
    looks = _looks(book)
    rows = job_rows(view.result)
    _jobs(book, looks, "plan", PLAN_COLUMNS, [row for row in rows if row.start_week])
    _board(book, looks, week_board(view.result))
    _jobs(book, looks, "not placed", NOT_PLACED_COLUMNS, [row for row in rows if not row.start_week])
    _assumptions(book, looks, view)
    book.close()
    return out.getvalue()


def _looks(book: Any) -> dict[str, Any]:
    top = {"valign": "top"}
    return {
        "head": book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "vcenter"}),
        "text": book.add_format({**top, "text_wrap": True}),
        "date": book.add_format({**top, "num_format": "yyyy-mm-dd", "align": "left"}),
        "percent": book.add_format({**top, "num_format": "0%"}),
        "number": book.add_format({**top, "num_format": "General"}),
        "out": book.add_format({"align": "center", "bold": True, "border": 1}),
        "closed": book.add_format({"align": "center", "pattern": 17, "fg_color": "#9A9A9A"}),
        "middle": book.add_format({"align": "center"}),
        "title": book.add_format({"bold": True}),
    }


def _sheet(book: Any, name: str) -> Any:
    sheet = book.add_worksheet(name)
    sheet.set_landscape()
    sheet.set_paper(A4)
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&LPlanning advice only, neither a switching permit nor a diagnosis.&R&P / &N")
    return sheet


def _jobs(
    book: Any, looks: dict[str, Any], name: str, columns: Sequence[tuple[str, str, int]], rows: Sequence[JobRow]
) -> None:
    sheet = _sheet(book, name)
    sheet.freeze_panes(1, 0)
    sheet.repeat_rows(0)
    for at, (heading, _, width) in enumerate(columns):
        sheet.set_column(at, at, width)
        sheet.write_string(0, at, heading, looks["head"])
    for line, row in enumerate(rows, start=1):
        lines = max(_lines(getattr(row, field), width) for _, field, width in columns)
        sheet.set_row(line, LINE_HEIGHT * lines)
        for at, (_, field, _) in enumerate(columns):
            _write(sheet, line, at, field, getattr(row, field), looks)
    sheet.autofilter(0, 0, max(1, len(rows)), len(columns) - 1)


def _lines(value: object, width: int) -> int:
    """How many lines a wrapped text takes in a column of that width, since not every program works it out itself."""
    return -(-len(value) // max(width - 2, 1)) if isinstance(value, str) and value else 1


def _write(sheet: Any, line: int, at: int, field: str, value: object, looks: dict[str, Any]) -> None:
    if value is None:
        sheet.write_blank(line, at, None, looks["text"])
    elif isinstance(value, date):
        sheet.write_datetime(line, at, value, looks["date"])
    elif isinstance(value, (int, float)):
        sheet.write_number(line, at, value, looks["percent" if field == "chance_late" else "number"])
    else:
        sheet.write_string(line, at, str(value), looks["text"])


def _board(book: Any, looks: dict[str, Any], board: Board) -> None:
    """Stations down, weeks across, the jobs' numbers in the cells; crew hours of each region below."""
    sheet = _sheet(book, "week board")
    sheet.freeze_panes(1, 1)
    sheet.repeat_rows(0)
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, len(board.weeks), 4.5)
    sheet.write_string(0, 0, "station", looks["head"])
    for at, week in enumerate(board.weeks, start=1):
        sheet.write_string(0, at, week[-3:], looks["head"])
    for line, row in enumerate(board.rows, start=1):
        sheet.write_string(line, 0, row.station, looks["text"])
        for at, cell in enumerate(row.cells, start=1):
            if cell.numbers:
                sheet.write_string(line, at, ", ".join(str(number) for number in cell.numbers), looks["out"])
            elif cell.closed:
                sheet.write_blank(line, at, None, looks["closed"])
    # The filter covers the stations alone, so that the crew hours stay in sight.
    sheet.autofilter(0, 0, max(1, len(board.rows)), 0)
    line = len(board.rows) + 2
    for crew in board.crews:
        name = f"region {crew.region}" if crew.region else "no region"
        for what, numbers in (("crew hours planned", crew.planned), ("crew hours on offer", crew.on_offer)):
            if any(number is not None for number in numbers):
                sheet.write_string(line, 0, f"{name}: {what}", looks["text"])
                for at, number in enumerate(numbers, start=1):
                    if number:
                        sheet.write_number(line, at, number, looks["middle"])
                line += 1
    words = "Numbers are those of the sheet plan. Hatched: the station is closed in that week."
    sheet.write_string(line + 1, 0, words)


def _assumptions(book: Any, looks: dict[str, Any], view: PlanView) -> None:
    sheet = _sheet(book, "assumptions")
    sheet.freeze_panes(1, 0)
    sheet.set_column(0, 0, 120)
    sheet.write_string(0, 0, "what this plan rests on", looks["head"])
    made = f"Made by {plain(view.recorded_by)} on {view.recorded_at.date().isoformat()}; {view.status}."
    lines = [headline(view), made, *(plain(words) for words in view.result.limits.assumptions), *CAUTIONS]
    for line, words in enumerate(lines, start=1):
        sheet.set_row(line, LINE_HEIGHT * _lines(words, 120))
        sheet.write_string(line, 0, words, looks["text"])
    sheet.autofilter(0, 0, len(lines), 0)
