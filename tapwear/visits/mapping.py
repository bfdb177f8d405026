"""The map from other people's files to our tables: which file feeds which table, which heading is which field."""

from __future__ import annotations

from collections.abc import Mapping as AbstractMapping
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path

from tapwear.visits.fields import TABLES


@dataclass(frozen=True)
class Long:
    """How a file with one row per result is read.

    name, value   their headings of the quantity and of the result
    unit          their heading of the unit of measure, "" for none
    names         their word for a quantity (case-folded) -> our field, "" = not wanted
    """

    name: str
    value: str
    unit: str = ""
    names: AbstractMapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Feed:
    """One file (or all whose name fits the pattern) feeding one table.

    columns   our field -> their heading; a heading spelled like our field needs no line
    fixed     our field -> the value that it has in every row of the file
    units     our field -> the unit of measure that the file uses
    words     our field -> their word -> our word ("" = blank)
    where     their heading -> the words that a row must have there to belong to this feed
    ignore    their headings that are left out on purpose
    long      for a file with one row per result
    sheet     of a workbook (.xlsx), "" = the only one
    """

    file: str
    table: str
    columns: AbstractMapping[str, str] = field(default_factory=dict)
    fixed: AbstractMapping[str, str] = field(default_factory=dict)
    units: AbstractMapping[str, str] = field(default_factory=dict)
    words: AbstractMapping[str, AbstractMapping[str, str]] = field(default_factory=dict)
    where: AbstractMapping[str, tuple[str, ...]] = field(default_factory=dict)
    ignore: tuple[str, ...] = ()
    date_format: str | None = None
    encoding: str | None = None
    delimiter: str | None = None
    decimal_comma: bool = False
    long: Long | None = None
    sheet: str = ""

    def takes(self, path: Path) -> bool:
        """Whether this feed reads the file: by its name, or by the end of its path when the pattern has a `/`."""
        parts = path.as_posix().split("/")
        wanted = self.file.count("/") + 1
        return fnmatchcase("/".join(parts[-wanted:]).lower(), self.file.lower())


@dataclass(frozen=True)
class Mapping:
    """All feeds, in the order in which they were written, and where they were written."""

    feeds: tuple[Feed, ...]
    source: str = ""

    def feeds_of(self, path: Path) -> tuple[Feed, ...]:
        return tuple(feed for feed in self.feeds if feed.takes(path))


def own_names() -> Mapping:
    """The map used when none is given: `readings.csv` feeds readings, and so does `readings_2024.csv`."""
    return Mapping(
        tuple(
            Feed(file=pattern, table=name)
            for name in TABLES
            for pattern in (f"{name}.csv", f"{name}_*.csv", f"{name}.tsv")
        )
    )
