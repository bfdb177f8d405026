"""One sheet of an .xlsx workbook (ISO/IEC 29500) as numbered rows of text, written as the feed expects a file's text.

A number keeps the digits that the sheet holds, not those that it shows. A date is a number whose format shows a day
or a year; days count from 1900 or, where the workbook says so, from 1904.
"""

from __future__ import annotations

import posixpath
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import IO
from xml.etree.ElementTree import Element, ParseError, iterparse

LARGEST_PART = 300_000_000  # our choice, in bytes unpacked: a sheet of a million rows takes about half of it
MOST_COLUMNS = 16_384  # of a sheet (ECMA-376 part 1, annex L; `XFD`)
# What may stand before the first element, which must begin soon: XML declaration, comments, blanks.
_BEGINNING = re.compile(rb"(?:\xef\xbb\xbf)?(?:\s|<\?[^>]*\?>|<!--(?:(?!-->).)*-->)*<[A-Za-z_]", re.DOTALL)
_BUILT_IN_DATES = {*range(14, 18), 22, *range(27, 37), *range(50, 59)}  # ISO/IEC 29500-1, 18.8.30
_QUOTED = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')  # in a number format: literal text, colours, locales
_FIRST_DAY, _FIRST_DAY_1904 = date(1899, 12, 30), date(1904, 1, 1)  # the former holds from 1900-03-01 on
_FIRST_SURE = 61
ISO_PATTERN = "%Y-%m-%d"


class NotReadable(ValueError):
    """What is wrong with a workbook, and what to do."""

    def __init__(self, found: str, remedy: str) -> None:
        super().__init__(found)
        self.found, self.remedy = found, remedy


@dataclass(frozen=True)
class Style:
    """How the feed expects text: the pattern of dates for `strftime`, and the mark before decimals."""

    date_pattern: str = ISO_PATTERN
    decimal_mark: str = "."

    def number(self, value: float) -> str:
        return f"{value:.15g}".replace(".", self.decimal_mark)


def sheet_rows(path: Path, sheet: str, style: Style) -> Iterator[tuple[int, list[str]]]:
    """The rows of a sheet that hold anything, each with its number.

    sheet : its name, whatever its capitals; "" for the only one. Raises NotReadable, also while reading; OSError.
    """
    try:
        with zipfile.ZipFile(path) as book:
            part, since = _sheet(book, sheet)
            dates, texts = _date_styles(book), _shared_texts(book)
            with _open(book, part) as stream:
                yield from _rows(stream, dates, texts, since, style)
    except (
        zipfile.BadZipFile,
        ParseError,
        zlib.error,
        EOFError,
        LookupError,
        ValueError,
        OverflowError,
        NotImplementedError,
        RuntimeError,
    ) as error:
        if isinstance(error, NotReadable):
            raise
        raise NotReadable(f"it is no .xlsx workbook, or a damaged one: {error}", "save it again as .xlsx") from error


def _open(book: zipfile.ZipFile, part: str) -> IO[bytes]:
    """A part of the workbook. Parts are in UTF-8 and declare no document type, with which a reader can be made to
    grow endlessly."""
    if book.getinfo(part).file_size > LARGEST_PART:
        raise NotReadable(f"{part} is larger than {LARGEST_PART:,} bytes", "split the workbook")
    with book.open(part) as start:
        if not _BEGINNING.match(start.read(4096)):
            raise NotReadable(f"{part} declares a document type, or begins oddly", "save the workbook again as .xlsx")
    return book.open(part)


def _elements(book: zipfile.ZipFile, part: str, name: str) -> Iterator[Element]:
    """All elements of that local name, each complete."""
    if part in book.namelist():
        with _open(book, part) as stream:
            for _, element in iterparse(stream):  # noqa: S314 - no document type gets here
                if _local(element) == name:
                    yield element
                    element.clear()  # so that a long list takes no more memory than one of its entries


def _local(element: Element) -> str:
    return element.tag.rpartition("}")[2]


def _sheet(book: zipfile.ZipFile, wanted: str) -> tuple[str, date]:
    """The part that holds the sheet, and the day from which days are counted."""
    folder = "xl/_rels/workbook.xml.rels"
    targets = {one.get("Id"): one.get("Target", "") for one in _elements(book, folder, "Relationship")}
    sheets = {}
    for one in _elements(book, "xl/workbook.xml", "sheet"):
        link = next(value for name, value in one.items() if name.endswith("}id"))
        sheets[one.get("name", "")] = posixpath.normpath(posixpath.join("/xl", targets[link])).lstrip("/")
    fit = [part for name, part in sheets.items() if not wanted or name.casefold() == wanted.casefold()]
    if len(fit) != 1:
        what = f"there is no sheet {wanted!r}" if wanted else f"{len(sheets)} sheets, and none is named"
        named = ", ".join(repr(name) for name in sheets)
        raise NotReadable(f"{what}; sheets: {named}", 'name one in the mapping, like sheet = "Oil"')
    mac = any(one.get("date1904") in ("1", "true") for one in _elements(book, "xl/workbook.xml", "workbookPr"))
    return fit[0], _FIRST_DAY_1904 if mac else _FIRST_DAY


def _date_styles(book: zipfile.ZipFile) -> list[bool]:
    """Whether each style of the workbook shows a number as a date."""
    own = {
        int(one.get("numFmtId", 0)): bool(re.search("[yd]", _QUOTED.sub("", one.get("formatCode", "")), re.IGNORECASE))
        for one in _elements(book, "xl/styles.xml", "numFmt")
    }
    used = next(_elements(book, "xl/styles.xml", "cellXfs"), None)
    numbers = [int(one.get("numFmtId", 0)) for one in used] if used is not None else []
    return [own.get(number, number in _BUILT_IN_DATES) for number in numbers]


def _shared_texts(book: zipfile.ZipFile) -> list[str]:
    return [_text(one) for one in _elements(book, "xl/sharedStrings.xml", "si")]


def _text(element: Element) -> str:
    """The text of a string item: of all its runs, without how to pronounce it."""
    parts = (one for child in element if _local(child) != "rPh" for one in child.iter() if _local(one) == "t")
    return "".join(one.text or "" for one in parts)


def _rows(
    stream: IO[bytes], dates: list[bool], texts: list[str], since: date, style: Style
) -> Iterator[tuple[int, list[str]]]:
    number = 0
    for _, row in iterparse(stream):  # noqa: S314 - no document type gets here
        if _local(row) != "row":
            continue
        number = int(row.get("r", number + 1))
        cells: list[str] = []
        for cell in row:
            column = _column(cell.get("r", ""), len(cells))
            cells += [""] * (column - len(cells))
            cells.append(_cell(cell, dates, texts, since, style))
        row.clear()
        if any(map(str.strip, cells)):
            yield number, cells


def _column(reference: str, following: int) -> int:
    """`B7` is column 1; without a reference the cell follows the one before."""
    letters = re.match("[A-Z]+", reference)
    if letters is None:
        return following
    place = 0
    for letter in letters[0]:
        place = place * 26 + ord(letter) - 64
    if place > MOST_COLUMNS:
        found = f"a cell in column {letters[0][:12]}, beyond the last one"
        raise NotReadable(found, "save the workbook again as .xlsx")
    return place - 1


def _cell(cell: Element, dates: list[bool], texts: list[str], since: date, style: Style) -> str:
    kind = cell.get("t", "n")
    if kind == "inlineStr":
        return "".join(_text(one) for one in cell if _local(one) == "is")
    held = next((one.text or "" for one in cell if _local(one) == "v"), "")
    if kind == "s":
        return texts[int(held)]
    if kind == "d":
        return date.fromisoformat(held[:10]).strftime(style.date_pattern)
    if kind != "n" or not held:
        return held
    look = int(cell.get("s", 0))
    day = int(float(held))
    if look < len(dates) and dates[look] and (day >= _FIRST_SURE or since == _FIRST_DAY_1904):
        return (since + timedelta(days=day)).strftime(style.date_pattern)
    return style.number(float(held))
