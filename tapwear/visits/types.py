"""What reading a file gives: clean rows with their line numbers, and findings for the rest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from tapwear.findings import Finding
from tapwear.visits.visit import Visit

# What a finding names where no single field is to blame.
WHOLE_ROW, HEADINGS, WHOLE_FILE = "whole row", "headings", "whole file"


@dataclass(frozen=True)
class Below:
    """A gas that the laboratory reports as below its detection limit [µL/L]."""

    limit: float


@dataclass(frozen=True, slots=True)
class Row:
    """One clean row of a table. `values` has a key for every field that was given: str, int, float, date, bool,
    tuple[str, ...] for lists, or Below for a gas under its limit; fields left blank are absent."""

    table: str
    file: str
    line: int
    values: dict[str, Any]
    raw: str = ""

    def text(self, name: str) -> str:
        return str(self.values.get(name, ""))

    def day(self, name: str) -> date | None:
        value = self.values.get(name)
        return value if isinstance(value, date) else None


@dataclass(frozen=True)
class FiledVisit:
    """A visit from a visit file, and where it stands: file, line on which it begins, its text."""

    visit: Visit
    file: str
    line: int
    raw: str


@dataclass(frozen=True)
class Intake:
    """All that was read from the paths handed in, in the order of the tables, plus findings and files left alone.

    `rows_seen` counts the rows of all files read. A row that feeds two tables is in `rows` twice. `rejected` says
    how many rows were refused while reading, by the table they were meant for ("" when that cannot be told);
    `visits` are those of visit files.
    """

    rows: tuple[Row, ...]
    findings: tuple[Finding, ...]
    files_left_alone: tuple[str, ...]
    rows_seen: int
    rejected: Mapping[str, int] = field(default_factory=dict)
    visits: tuple[FiledVisit, ...] = ()
