"""What can be chosen about a report; nothing heavy is imported here, so that the command line starts quickly."""

from __future__ import annotations

from enum import StrEnum


class Format(StrEnum):
    """What the report is written as."""

    HTML = "html"
    XLSX = "xlsx"
    JSON = "json"


class Pages(StrEnum):
    """Which units have a page of their own."""

    DUE = "due"
    ALL = "all"
    NONE = "none"


class Paper(StrEnum):
    """Sheets that the HTML pages are laid out for."""

    A4 = "a4"
    LETTER = "letter"


class BoardPaper(StrEnum):
    """Sheets that the board of an outage plan prints on: two of A4 landscape, or one of A3."""

    A4 = "a4"
    A3 = "a3"
