"""Files with one row per result: the rows of one sample are gathered into one row of the table."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

from tapwear.findings import Finding
from tapwear.visits.feeding import FeedReader, row_text
from tapwear.visits.lines import Record
from tapwear.visits.types import Row
from tapwear.visits.values import printable, show


@dataclass
class _Sample:
    """What the rows of one sample have said so far, each field with the line that said it."""

    first: Row
    values: dict[str, Any]
    lines: dict[str, int] = field(default_factory=dict)


@dataclass
class LongRows:
    """Gathers the rows of one feed of one file; rows of one sample agree in the key of the table.

    findings : what could not be taken, by line; one bad result costs that result only
    rejected : rows that were refused
    """

    reader: FeedReader
    findings: list[Finding] = field(default_factory=list)
    rejected: int = 0
    _samples: dict[tuple[Any, ...], _Sample] = field(default_factory=dict)
    _unknown: Counter[str] = field(default_factory=Counter)
    _first_seen: dict[str, Record] = field(default_factory=dict)

    def take(self, record: Record) -> None:
        """Takes one row of the file."""
        name = self.reader.quantity(record.cells)
        if name is None:
            self._stranger(record)
            return
        if not name:
            return  # left out on purpose
        row = self.reader.row(record)
        result = self.reader.result(record)
        complaints = [one for part in (row, result) if isinstance(part, list) for one in part]
        if complaints or not isinstance(row, Row):
            self._refuse(complaints)
            return
        key = tuple(row.values.get(part) for part in self.reader.table.key)
        sample = self._samples.setdefault(key, _Sample(row, {}))
        for field_name, value in row.values.items():
            have = sample.values.setdefault(field_name, value)
            if have != value:
                found = f"{have} in line {sample.lines[field_name]}, {value} here"
                self._tell(record, field_name, found, "nothing to do if the earlier one is right", "left aside")
            sample.lines.setdefault(field_name, record.line)
        if result is None or isinstance(result, list):
            return
        if name not in sample.values:
            sample.values[name], sample.lines[name] = result, record.line
        elif sample.values[name] == result:
            found = f"line {sample.lines[name]} of the file says the same"
            self._tell(record, name, found, "delete one of the two lines", "left aside")
        else:
            found = f"line {sample.lines[name]} gives another result for it"
            self._tell(record, name, found, "correct one of the two lines; the earlier one was taken", "rejected")
            self.rejected += 1

    def rows(self) -> list[Row]:
        """The samples in the order in which they began, each with the line of its first result."""
        for word, number in self._unknown.items():
            found = f"no field is mapped to {show(word)} ({number} row{'s' if number > 1 else ''})"
            remedy = "nothing is lost if you do not need it; otherwise name it under long.names"
            self._tell(self._first_seen[word], self.reader.long_heading, found, remedy, "note")
        return [
            Row(one.first.table, one.first.file, one.first.line, one.values, one.first.raw)
            for one in self._samples.values()
        ]

    def _stranger(self, record: Record) -> None:
        word = self.reader.quantity_word(record.cells)
        self._unknown[word] += 1
        self._first_seen.setdefault(word, record)

    def _refuse(self, complaints: list[Finding]) -> None:
        self.findings.extend(complaints)
        self.rejected += 1

    def _tell(self, record: Record, name: str, found: str, remedy: str, severity: Any) -> None:
        file = self.reader.file
        self.findings.append(Finding(file, record.line, name, printable(found), remedy, severity, row_text(record.raw)))
