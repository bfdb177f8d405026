"""From the cells of one record to a row of one table: headings matched once, then cell by cell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from tapwear.findings import Finding
from tapwear.visits.fields import TABLES, FieldSpec, TableSpec
from tapwear.visits.lines import Record
from tapwear.visits.mapping import Feed
from tapwear.visits.types import Row
from tapwear.visits.values import Parser, Unfit, in_kept_unit, parser_for, printable, show

LONGEST_ROW_SHOWN = 500  # our choice, in characters


def heading_key(heading: str) -> str:
    """How headings are compared: without regard to capitals and to blanks around and between."""
    return " ".join(heading.split()).casefold()


def row_text(raw: str) -> str:
    """The row itself as a finding shows it: one line, printable, not endless."""
    return printable(raw[:LONGEST_ROW_SHOWN]) + ("..." if len(raw) > LONGEST_ROW_SHOWN else "")


@dataclass(frozen=True)
class _Column:
    spec: FieldSpec
    index: int
    label: str  # what a finding calls it: the heading of the file
    parse: Parser
    words: dict[str, Any]  # their word -> our value, None for blank
    unit_index: int | None = None
    unit: str = ""


@dataclass
class FeedReader:
    """One feed made ready for the headings of one file. `problems` (if any) stop the file for this feed."""

    feed: Feed
    file: str
    headings: Sequence[str]
    heading_line: int
    date_format: str | None = None  # the format stated for all files; the feed's own goes first
    problems: list[Finding] = field(default_factory=list)
    used: set[int] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.table: TableSpec = TABLES[self.feed.table]
        self._where: list[tuple[int, frozenset[str]]] = []
        self._columns: list[_Column] = []
        self._fixed: dict[str, Any] = {}
        self._results: dict[str, _Column | None] = {}
        self._long: tuple[int, ...] = ()
        position = {heading_key(heading): index for index, heading in enumerate(self.headings) if heading}
        for heading, words in self.feed.where.items():
            index = self._find(position, heading, "where")
            if index is not None:
                self._where.append((index, frozenset(words)))
        if self.feed.long is not None:
            self._find_long(position)
        places = self._places(position)
        for spec in self.table.fields:
            self._add(spec, places)
        self._add_results()
        self.used |= {position[key] for key in map(heading_key, self.feed.ignore) if key in position}

    def _places(self, position: dict[str, int]) -> dict[str, int]:
        """Our field or unit column -> index of its column. The map goes first, then headings spelled like ours."""
        places: dict[str, int] = {}
        for name, heading in self.feed.columns.items():
            index = self._find(position, heading, name)
            if index is not None:
                places[name] = index
        taken = {*places.values(), *self._long}  # a column that `where` looks at may also be one of ours
        for spec in self.table.fields:
            # `oil_volume` with `oil_volume_unit` beside it says the same as `oil_volume_l`
            short = spec.unit_column.removesuffix("_unit") if spec.measure else ""
            names = [spec.name, spec.unit_column] if spec.measure else [spec.name]
            if short in position and spec.unit_column in position and spec.name not in position:
                names[0] = short
            for name, ours in zip(names, (spec.name, spec.unit_column), strict=False):
                index = position.get(name, position.get(name.replace("_", " ")))
                if index is None or ours in places or index in taken or ours in self.feed.fixed:
                    continue
                places[ours] = index
        self.used |= set(places.values())
        return places

    def _find_long(self, position: dict[str, int]) -> None:
        """The columns of quantity, result and, where there is one, unit of measure."""
        assert self.feed.long is not None  # noqa: S101 - asked before
        wanted = (self.feed.long.name, self.feed.long.value, self.feed.long.unit)
        found = [self._find(position, heading, "long") for heading in wanted if heading]
        self._long = tuple(index for index in found if index is not None)
        self.used |= set(self._long)

    def _add_results(self) -> None:
        """A column for each quantity that is mapped: all of them stand under one heading."""
        long = self.feed.long
        if long is None or self.problems:
            return
        for word, name in long.names.items():
            column = None
            if name:
                spec = self.table.field(name)
                label = f"{self.headings[self._long[1]]} ({name})"
                column = self._column(spec, self._long[1], label, self._long[2] if long.unit else None)
            self._results[word] = column

    @property
    def long_heading(self) -> str:
        """Their heading of the quantity, in a file with one row per result."""
        return self.headings[self._long[0]]

    def quantity_word(self, cells: Sequence[str]) -> str:
        """What a row with one result calls its quantity."""
        return cells[self._long[0]].strip()

    def quantity(self, cells: Sequence[str]) -> str | None:
        """The field that a row with one result fills; "" for one left out on purpose, None for one not mapped."""
        word = self.quantity_word(cells).casefold()
        if word not in self._results:
            return None
        column = self._results[word]
        return column.spec.name if column else ""

    def result(self, record: Record) -> Any | list[Finding]:
        """The result in a row of a mapped quantity, None where nothing is written, or what is wrong with it."""
        column = self._results[self.quantity_word(record.cells).casefold()]
        if column is None:
            return None
        try:
            return _value(column, record.cells)
        except Unfit as error:
            return [Finding(self.file, record.line, column.label, error.found, error.remedy, row=row_text(record.raw))]

    def _find(self, position: dict[str, int], heading: str, what: str) -> int | None:
        index = position.get(heading_key(heading))
        if index is None:
            self._problem(what, f"there is no heading {heading!r}", "correct the mapping, or add the column")
            return None
        if what == "where":
            self.used.add(index)
        return index

    def _add(self, spec: FieldSpec, places: dict[str, int]) -> None:
        feed = self.feed
        fixed = feed.fixed.get(spec.name)
        if fixed is not None:
            value = parser_for(spec)(fixed)  # the mapping has been checked for this
            self._fixed[spec.name] = in_kept_unit(spec, value, feed.units.get(spec.name, "")) if spec.measure else value
            return
        index = places.get(spec.name)
        if index is None:
            if spec.required and not self._mapped(spec.name):
                found = "there is no such heading; there are: " + ", ".join(filter(None, self.headings))
                self._problem(spec.name, found, f"add a column {spec.name} ({spec.help}), or name it in a mapping")
            return
        heading = self.headings[index]
        label = spec.name if heading_key(heading) == spec.name else f"{heading} ({spec.name})"
        self._columns.append(self._column(spec, index, label, places.get(spec.unit_column) if spec.measure else None))

    def _column(self, spec: FieldSpec, index: int, label: str, unit_index: int | None) -> _Column:
        feed = self.feed
        date_format = feed.date_format or self.date_format
        return _Column(
            spec=spec,
            index=index,
            label=label,
            parse=parser_for(spec, date_format=date_format, decimal_comma=feed.decimal_comma),
            words={
                word: parser_for(spec)(ours) if ours else None for word, ours in feed.words.get(spec.name, {}).items()
            },
            unit_index=unit_index if spec.measure else None,
            unit=feed.units.get(spec.name, ""),
        )

    def _mapped(self, name: str) -> bool:
        return name in self.feed.columns  # then its absence has been told already

    def _problem(self, name: str, found: str, remedy: str) -> None:
        self.problems.append(
            Finding(self.file, self.heading_line, name, found, remedy, row=row_text(",".join(self.headings)))
        )

    def takes(self, cells: Sequence[str]) -> bool:
        """Whether the row is for this feed: it has, in each `where` column, one of the words that are named."""
        return all(cells[index].strip().casefold() in words for index, words in self._where)

    def row(self, record: Record) -> Row | list[Finding]:
        """The row of our table, or every complaint about it."""
        values = dict(self._fixed)
        cells = record.cells
        complaints: list[Finding] = []
        for column in self._columns:
            try:
                value = _value(column, cells)
            except Unfit as error:
                complaints.append(
                    Finding(self.file, record.line, column.label, error.found, error.remedy, row=row_text(record.raw))
                )
            else:
                if value is not None:
                    values[column.spec.name] = value
        return complaints or Row(self.table.name, self.file, record.line, values, record.raw)


def _value(column: _Column, cells: Sequence[str]) -> Any:
    """The value of one cell, None when nothing is written there. Raises Unfit."""
    text = cells[column.index].strip()
    value = None
    if column.words and text.casefold() in column.words:
        value = column.words[text.casefold()]
    elif text:
        value = column.parse(text)
    if value is None:
        if column.spec.required:
            raise Unfit("nothing is written there", f"give {column.spec.help}")
        return None
    if not column.spec.measure:
        return value
    unit = column.unit
    if column.unit_index is not None:
        unit = cells[column.unit_index].strip() or unit
    try:
        return in_kept_unit(column.spec, value, unit)
    except Unfit as error:
        raise Unfit(f"{show(text)}{' ' + printable(unit) if unit else ''}: {error.found}", error.remedy) from None
