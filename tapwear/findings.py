"""Findings: what is wrong with a row that somebody handed in, where it stands, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["rejected", "conflict", "held", "left aside", "note"]


@dataclass(frozen=True)
class Finding:
    """One complaint about one row. `rejected`, `conflict` and `held` rows are not stored; a `note` row is."""

    file: str
    line: int  # 1 = the heading line; 0 = the file as a whole
    field: str
    found: str
    remedy: str
    severity: Severity = "rejected"
    row: str = ""

    def sentence(self) -> str:
        where = f"{self.file}:{self.line}" if self.line else self.file
        field = f" {self.field}:" if self.field else ""
        return f"{where}{field} {self.found} -> {self.remedy}"
