"""Workbooks: typed cells so that they sort and sum, headings that stay in sight, text that is never obeyed."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from tapwear.errors import MissingExtra
from tapwear.report.frames import day_of, given
from tapwear.report.plain import plain

# Paper sizes in the file format's own numbering; height of one line of text [points].
LETTER, A3, A4 = 1, 8, 9
LINE_HEIGHT = 15
THOUSAND = 1000  # from here on whole numbers are set with commas


@dataclass(frozen=True)
class Column:
    """A column: its heading, its width [characters], and the value of a row: text, number, date or None."""

    heading: str
    width: int
    value: Callable[[Any], object]
    look: str = ""  # of its numbers, where not the usual one: "percent"


@dataclass(frozen=True)
class Workbook:
    """A workbook being written, with the looks of its cells by name. `content` closes it."""

    book: Any
    out: io.BytesIO
    looks: dict[str, Any]

    def content(self) -> bytes:
        """The file; the same cells give the same bytes."""
        self.book.close()
        return self.out.getvalue()


def new_workbook(title: str, made: datetime, purpose: str) -> Workbook:
    """An empty workbook in which text is never read as a formula, link or number.

    made : what the file says when it was made, without a zone; `purpose` names it where XlsxWriter is missing,
    such as "The XLSX report". Raises MissingExtra then.
    """
    try:
        import xlsxwriter
    except ImportError:
        raise MissingExtra("XlsxWriter", purpose) from None
    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(out, options)
    book.set_properties({"title": plain(title), "created": made})
    top = {"valign": "top"}
    # Set in a little, so that text does not touch a number to its left.
    text = {**top, "text_wrap": True, "align": "left", "indent": 1}
    looks = {
        "head": book.add_format({**text, "bold": True, "bottom": 1, "valign": "vcenter"}),
        "text": book.add_format(text),
        "date": book.add_format({**top, "num_format": "yyyy-mm-dd", "align": "left", "indent": 1}),
        "whole": book.add_format({**top, "num_format": "#,##0"}),
        "number": book.add_format({**top, "num_format": "General"}),
        "percent": book.add_format({**top, "num_format": "0%"}),
    }
    return Workbook(book, out, looks)


def new_sheet(work: Workbook, name: str, paper: int, *, frozen_columns: int = 0) -> Any:
    """A sheet laid out for landscape paper, one page wide, its first row in sight and on every printed page."""
    sheet = work.book.add_worksheet(name)
    sheet.set_landscape()
    sheet.set_paper(paper)
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&LPlanning advice only, neither a switching permit nor a diagnosis.&R&P / &N")
    sheet.freeze_panes(1, frozen_columns)
    sheet.repeat_rows(0)
    return sheet


def table_sheet(work: Workbook, name: str, columns: Sequence[Column], rows: Sequence[Any], paper: int) -> Any:
    """A sheet with a heading, a filter, and a row of typed cells for each row. Returns it, to write more below."""
    sheet = new_sheet(work, name, paper)
    sheet.set_row(0, LINE_HEIGHT * max(_lines(column.heading, column) for column in columns))
    for at, column in enumerate(columns):
        sheet.set_column(at, at, column.width)
        sheet.write_string(0, at, column.heading, work.looks["head"])
    for line, row in enumerate(rows, start=1):
        values = [column.value(row) for column in columns]
        sheet.set_row(line, LINE_HEIGHT * max(map(_lines, values, columns)))
        for at, (value, column) in enumerate(zip(values, columns, strict=True)):
            write_cell(work, sheet, line, at, value, column.look)
    sheet.autofilter(0, 0, max(1, len(rows)), len(columns) - 1)
    return sheet


def _lines(value: object, column: Column) -> int:
    """How many lines a wrapped text takes, since not every program works it out itself."""
    if not isinstance(value, str):
        return 1
    room, lines, used = max(column.width - 1, 1), 1, 0
    for word in value.split():
        if used and used + 1 + len(word) > room:
            lines, used = lines + 1, 0
        used += len(word) + (1 if used else 0)
        lines, used = lines + used // (room + 1), min(used, room)
    return lines


def write_cell(work: Workbook, sheet: Any, line: int, at: int, value: object, look: str = "") -> None:
    """One typed cell; what is not recorded stays blank. `look` names another look than the usual one of numbers."""
    looks = work.looks
    if not given(value):
        sheet.write_blank(line, at, None, looks["text"])
    elif isinstance(value, date):
        sheet.write_datetime(line, at, day_of(value), looks["date"])
    elif isinstance(value, str):
        sheet.write_string(line, at, plain(value), looks["text"])
    elif isinstance(value, bool) or type(value).__name__ == "bool":
        sheet.write_string(line, at, "yes" if value else "no", looks["text"])
    else:
        number = float(str(value))
        usual = "whole" if number == int(number) and abs(number) >= THOUSAND else "number"
        sheet.write_number(line, at, number, looks[look or usual])
