"""Records of a delimited text file with their true line numbers, however the file was written.

A record is one line, or several where a quoted cell runs over line ends. One bad line costs that line only: a quote
that is never closed, a NUL byte or bytes that the encoding does not know make a record with a `problem`, and reading
goes on with the next line. Nothing but a few lines is held in memory.
"""

from __future__ import annotations

import codecs
import csv
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from tapwear.visits.values import printable

LONGEST_LINE = 100_000  # our choice, in characters: below the limit of the csv module (131,072)
MOST_LINES_A_CELL = 20  # our choice: a remark of more lines is taken for a quote that was never closed
DELIMITERS = (",", ";", "\t", "|")
_ESCAPED = range(0xDC80, 0xDD00)  # where Python's surrogateescape puts bytes that it cannot decode (PEP 383)


@dataclass(frozen=True, slots=True)
class Record:
    """One record: its first line's number, its cells (none when there is a problem), and the text itself."""

    line: int
    cells: list[str]
    raw: str
    problem: str = ""
    remedy: str = ""


def declared_encoding(path: Path) -> str | None:
    """The encoding that the file's own first bytes declare (a byte order mark), or None. Raises OSError."""
    with path.open("rb") as stream:
        start = stream.read(3)
    if start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    return "utf-8-sig" if start.startswith(codecs.BOM_UTF8) else None


def open_text(path: Path, encoding: str) -> TextIO:
    """The file as text, where undecodable bytes stay recognisable instead of ending the reading. Raises OSError."""
    errors = "replace" if encoding.lower().startswith(("utf-16", "utf-32", "utf16", "utf32")) else "surrogateescape"
    return path.open(encoding=encoding, errors=errors)


def numbered(stream: TextIO) -> Iterator[tuple[int, str]]:
    """Lines without their ends, numbered from 1; of an endless line the beginning, one character over the limit."""
    number = 0
    while text := stream.readline(LONGEST_LINE + 1):
        number += 1
        if text.endswith("\n"):
            yield number, text[:-1]
            continue
        yield number, text
        while len(text) > LONGEST_LINE and not text.endswith("\n"):
            text = stream.readline(LONGEST_LINE + 1)


def trouble(text: str, encoding: str) -> tuple[str, str] | None:
    """What makes a line unreadable, and what to do; None for a readable one."""
    if len(text) > LONGEST_LINE:
        return f"a line of more than {LONGEST_LINE:,} characters", "is this a CSV file? Split or shorten the line"
    if "\0" in text:
        return "a NUL byte in the line", "save the file again as CSV in UTF-8"
    if text.isascii():
        return None
    odd = next((char for char in text if ord(char) in _ESCAPED or char == "\ufffd"), None)
    if odd is None:
        return None
    name = "utf-8" if encoding == "utf-8-sig" else encoding
    what = f"byte {printable(odd)} is not {name}" if odd != "\ufffd" else "a character that was already lost (U+FFFD)"
    return what, 'save the file as UTF-8, or name its encoding in the mapping, e.g. encoding = "cp1252"'


def split(text: str, delimiter: str) -> list[str]:
    """The cells of one record. Raises csv.Error when a quote is not closed or stands where none may be."""
    if '"' not in text:
        return text.split(delimiter)
    return next(csv.reader([text], delimiter=delimiter, strict=True, skipinitialspace=True))


def records(lines: Iterable[tuple[int, str]], delimiter: str, width: int, encoding: str) -> Iterator[Record]:
    """Records from numbered lines, blank ones left out. `width` is the number of cells that the heading has."""
    source = iter(lines)
    ahead: deque[tuple[int, str]] = deque()
    while True:
        if ahead:
            number, text = ahead.popleft()
        else:
            following = next(source, None)
            if following is None:
                return
            number, text = following
        if not text or text.isspace():
            continue
        problem = trouble(text, encoding)
        if problem:
            yield Record(number, [], text, *problem)
            continue
        try:
            cells = split(text, delimiter)
        except csv.Error:
            joined = _run_on(text, source, ahead, delimiter, width, encoding)
            if joined is None:
                yield Record(number, [], text, 'a stray " in the line', 'close the quote, or write "" inside one')
                continue
            text, cells = joined
        if any(cells) and any(map(str.strip, cells)):
            yield Record(number, cells, text)


def _run_on(
    text: str,
    source: Iterator[tuple[int, str]],
    ahead: deque[tuple[int, str]],
    delimiter: str,
    width: int,
    encoding: str,
) -> tuple[str, list[str]] | None:
    """The record that a quoted cell carries over the next lines, or None when it is a stray quote.

    It must close within a few lines, have as many cells as the heading, and none of the lines it takes may be a
    whole row by itself: so that a quote never closed cannot swallow its neighbours.
    """
    for count in range(MOST_LINES_A_CELL):
        if count == len(ahead):
            following = next(source, None)
            if following is None:
                return None
            ahead.append(following)
        line = ahead[count][1]
        if line.count(delimiter) + 1 >= width or trouble(line, encoding):
            return None
        text = f"{text}\n{line}"
        if '"' not in line:
            continue
        try:
            cells = split(text, delimiter)
        except csv.Error:
            continue
        if len(cells) != width:
            return None
        for _ in range(count + 1):
            ahead.popleft()
        return text, cells
    return None
