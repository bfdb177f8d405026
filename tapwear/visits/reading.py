"""From paths to clean rows: finds the files, reads each through its feeds, keeps a finding for the rest."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TextIO

from tapwear.errors import UsageError
from tapwear.findings import Finding
from tapwear.visits.dates import strptime_pattern
from tapwear.visits.feeding import FeedReader, heading_key, row_text
from tapwear.visits.fields import TABLES
from tapwear.visits.lines import DELIMITERS, Record, declared_encoding, numbered, open_text, records, split, trouble
from tapwear.visits.long import LongRows
from tapwear.visits.mapping import Feed, Mapping, own_names
from tapwear.visits.types import HEADINGS, WHOLE_FILE, WHOLE_ROW, FiledVisit, Intake, Row
from tapwear.visits.values import printable, show
from tapwear.visits.visit_file import looks_like_visits, read_visit_file
from tapwear.visits.workbook import ISO_PATTERN, NotReadable, Style, sheet_rows

Progress = Callable[[str, int, int], None]  # what is going on, how much of it is done, how much there is

ROWS_BETWEEN_PROGRESS = 5_000
VISIT_SUFFIXES = (".json", ".txt")  # the text of a sheet, copied into a file by hand, is mostly named .txt


def read_paths(
    paths: Sequence[Path],
    mapping: Mapping | None = None,
    date_format: str | None = None,
    progress: Progress | None = None,
    encoding: str | None = None,
) -> Intake:
    """All rows that the files hold, in the order of the tables, and findings for all that could not be taken.

    Parameters
    ----------
    paths : files, or folders whose files are read (folders inside them are not)
    mapping : from `load_mapping`; None: `readings.csv` or `readings_2024.csv` feeds the table readings, and so on
    date_format : how dates are written where the mapping does not say; None: YYYY-MM-DD
    progress : called now and then with (words, rows or files done, of how many; 0 = not known)
    encoding : of files that declare none and of which the mapping says nothing; None: UTF-8

    Raises UsageError when a path cannot be looked at, or when none of the files feeds a table.
    """
    if date_format is not None:
        strptime_pattern(date_format)  # so that a mistake in it is told once, not for every row
    feeds = mapping or own_names()
    gathered = _Gathered(date_format, progress, encoding)
    found, alone = _files(paths)
    for path in found:
        takers = feeds.feeds_of(path)
        if not takers and path.suffix.lower() in VISIT_SUFFIXES and gathered.read_visits(path):
            continue
        if takers:
            gathered.read_file(path, takers)
        else:
            alone.append(printable(str(path)))
    if not gathered.files:
        wanted = ", ".join(sorted({feed.file for feed in feeds.feeds})) if mapping else "readings.csv, units.csv, ..."
        seen = ", ".join(Path(name).name for name in alone) or "no file at all"
        raise UsageError(
            f"None of these files feeds a table. Needed: {wanted}; found: {seen}. "
            f"Name the files after the tables ({', '.join(TABLES)}), or write a mapping and give it with --map."
        )
    return gathered.intake(alone)


def _files(paths: Sequence[Path]) -> tuple[list[Path], list[str]]:
    """The files to look at, each once, and what is left alone whatever the mapping says."""
    files: dict[Path, Path] = {}
    alone: list[str] = []
    for path in paths:
        try:
            if path.is_dir():
                _look_into(path, files, alone)
            elif path.is_file():
                files.setdefault(path.resolve(), path)
            else:
                raise UsageError(f"There is nothing at {path}. Name files or folders that exist.")
        except OSError as error:
            raise UsageError(f"{path} cannot be looked at: {error.strerror}. Name files that may be read.") from None
    return list(files.values()), alone


def _look_into(folder: Path, files: dict[Path, Path], alone: list[str]) -> None:
    for inside in sorted(folder.iterdir()):
        if inside.name.startswith((".", "~")):
            continue  # left behind by the system or by an office program
        if inside.is_file():
            files.setdefault(inside.resolve(), inside)
        else:
            alone.append(printable(f"{inside}/" if inside.is_dir() else str(inside)))


class _Gathered:
    """What has been read so far; one for each call of `read_paths`."""

    def __init__(self, date_format: str | None, progress: Progress | None, encoding: str | None) -> None:
        self._date_format = date_format
        self._encoding = encoding
        self._progress = progress
        self._rows: dict[str, list[Row]] = {name: [] for name in TABLES}
        self._findings: list[Finding] = []
        self._rejected: Counter[str] = Counter()
        self._seen = 0
        self._visits: list[FiledVisit] = []
        self.files: list[str] = []

    def intake(self, alone: list[str]) -> Intake:
        rows: list[Row] = []
        for name in TABLES:
            rows.extend(self._rows.pop(name))
        return Intake(
            rows=tuple(rows),
            findings=tuple(self._findings),
            files_left_alone=tuple(alone),
            rows_seen=self._seen,
            rejected=dict(self._rejected),
            visits=tuple(self._visits),
        )

    def read_visits(self, path: Path) -> bool:
        """Takes the visits of a visit file; False for a file that does not say that it holds any."""
        name = printable(str(path))
        try:
            if not looks_like_visits(path):
                return False
        except OSError as error:
            self._refuse(name, 0, WHOLE_FILE, f"the file cannot be read: {error.strerror}", "check the file")
        else:
            held = read_visit_file(path, name)
            self._visits.extend(held.visits)
            self._findings.extend(held.findings)
            self._seen += held.seen
            self._rejected["visits"] += held.faulty
        self.files.append(name)
        return True

    def read_file(self, path: Path, feeds: Sequence[Feed]) -> None:
        name = printable(str(path))
        self.files.append(name)
        if path.suffix.lower() == ".xlsx":
            self._read_workbook(path, name, feeds)
            return
        encoding = _agreed("encoding", [feed.encoding for feed in feeds], name)
        delimiter = _agreed("delimiter", [feed.delimiter for feed in feeds], name)
        try:
            encoding = declared_encoding(path) or encoding or self._encoding or "utf-8"
            with open_text(path, encoding) as stream:
                self._read(stream, name, feeds, encoding, delimiter)
        except (OSError, UnicodeError) as error:
            reason = getattr(error, "strerror", None) or f"it is not {encoding}"
            found = f"the file cannot be read: {reason}"
            self._refuse(name, 0, WHOLE_FILE, found, "check the file, then import it again")

    def _refuse(self, file: str, line: int, field: str, found: str, remedy: str, row: str = "") -> None:
        self._findings.append(Finding(file, line, field, found, remedy, row=row_text(row)))

    def _read(self, stream: TextIO, name: str, feeds: Sequence[Feed], encoding: str, delimiter: str | None) -> None:
        lines = numbered(stream)
        heading = next(((number, text) for number, text in lines if text.strip()), None)
        if heading and heading[1].strip().strip('"').lower().startswith("sep=") and len(heading[1].strip()) <= 7:
            # a line by which spreadsheets state the delimiter
            mark = heading[1].strip().strip('"')[4:5]
            delimiter = delimiter or (mark if mark in DELIMITERS else None)
            heading = next(((number, text) for number, text in lines if text.strip()), None)
        if heading is None:
            remedy = "add a line of headings and rows, or leave the file out"
            self._refuse(name, 0, WHOLE_FILE, "the file is empty", remedy)
            return
        number, text = heading
        problem = trouble(text, encoding)
        if problem:
            found, remedy = f"the headings cannot be read: {problem[0]}", problem[1]
            self._refuse(name, number, HEADINGS, found, remedy, text)
            self._skip(lines, feeds)
            return
        delimiter = delimiter or _delimiter_of(text, feeds)
        try:
            headings = [printable(cell.strip()) for cell in split(text, delimiter)]
        except csv.Error as error:
            found = f"the headings cannot be read: {printable(str(error))}"
            self._refuse(name, number, HEADINGS, found, "correct the first line", text)
            self._skip(lines, feeds)
            return
        source = records(lines, delimiter, len(headings), encoding)
        self._read_rows(name, number, headings, source, feeds)

    def _read_workbook(self, path: Path, name: str, feeds: Sequence[Feed]) -> None:
        """Each sheet that feeds name, through its own feeds."""
        for sheet in dict.fromkeys(feed.sheet.casefold() for feed in feeds):
            takers = [feed for feed in feeds if feed.sheet.casefold() == sheet]
            title = f"{name}, sheet {printable(takers[0].sheet)}" if sheet else name
            stated = [feed.date_format or self._date_format for feed in takers]
            words = _agreed("date format", stated, title)
            mark = _agreed("decimal mark", ["," if feed.decimal_comma else "." for feed in takers], title)
            pattern = strptime_pattern(words) if words else ISO_PATTERN
            try:
                rows = sheet_rows(path, takers[0].sheet, Style(pattern, mark or "."))
                number, cells = next(rows, (0, []))
                headings = [printable(cell.strip()) for cell in cells]
                if not headings:
                    self._refuse(title, 0, WHOLE_FILE, "the sheet is empty", "add headings and rows, or leave it out")
                    continue
                self._read_rows(title, number, headings, _sheet_records(rows, len(headings)), takers)
            except NotReadable as error:
                self._refuse(title, 0, WHOLE_FILE, f"the file cannot be read: {error.found}", error.remedy)
            except OSError as error:
                found = f"the file cannot be read: {error.strerror}"
                self._refuse(title, 0, WHOLE_FILE, found, "check the file, then import it again")

    def _read_rows(
        self, name: str, number: int, headings: list[str], source: Iterable[Record], feeds: Sequence[Feed]
    ) -> None:
        readers = self._readers(name, number, headings, feeds)
        if not readers:
            self._skip(((record.line, record.raw) for record in source), feeds)
            return
        gathering = {id(reader): LongRows(reader) for reader in readers if reader.feed.long is not None}
        for count, record in enumerate(source, 1):
            self._take(record, readers, headings, gathering)
            if self._progress and count % ROWS_BETWEEN_PROGRESS == 0:
                self._progress(f"reading {Path(name).name}", count, 0)
        for long in gathering.values():
            self._rows[long.reader.table.name].extend(long.rows())
            self._findings.extend(sorted(long.findings, key=lambda finding: finding.line))
            self._rejected[long.reader.table.name] += long.rejected

    def _skip(self, lines: Iterable[tuple[int, str]], feeds: Sequence[Feed]) -> None:
        """Counts the rows of a file that was refused as a whole."""
        rows = sum(1 for _, text in lines if text.strip())
        self._seen += rows
        self._rejected[_table_of(feeds)] += rows

    def _readers(self, name: str, line: int, headings: list[str], feeds: Sequence[Feed]) -> list[FeedReader]:
        keys = Counter(heading_key(heading) for heading in headings if heading)
        twice = [heading for heading in headings if keys[heading_key(heading)] > 1]
        if twice:
            found = f"the heading {twice[0]!r} stands there {keys[heading_key(twice[0])]} times"
            self._refuse(name, line, HEADINGS, found, "give every column a heading of its own", ",".join(headings))
            return []
        readers = [FeedReader(feed, name, headings, line, self._date_format) for feed in feeds]
        for reader in readers:
            self._findings.extend(reader.problems)
        if any(reader.problems for reader in readers):
            return []  # to take a part of the feeds would tear rows in two
        used = set().union(*(reader.used for reader in readers))
        unknown = [heading for index, heading in enumerate(headings) if heading and index not in used]
        if unknown:
            found = f"no field is called: {', '.join(unknown)}"
            remedy = "nothing is lost if you do not need these columns; otherwise name them in a mapping"
            self._findings.append(Finding(name, line, HEADINGS, found, remedy, "note", row_text(",".join(headings))))
        return readers

    def _take(
        self, record: Record, readers: list[FeedReader], headings: list[str], gathering: dict[int, LongRows]
    ) -> None:
        self._seen += 1
        tables = _table_of([reader.feed for reader in readers])
        file = readers[0].file
        if record.problem:
            self._refuse(file, record.line, WHOLE_ROW, record.problem, record.remedy, record.raw)
            self._rejected[tables] += 1
            return
        width = len(headings)
        if len(record.cells) != width:
            extra = record.cells[width:]
            if len(record.cells) < width or any(cell.strip() for cell in extra):
                found = f"{len(record.cells)} cells, where the headings are {width}"
                remedy = "write one cell for each heading; put text that holds the delimiter in double quotes"
                self._refuse(file, record.line, WHOLE_ROW, found, remedy, record.raw)
                self._rejected[tables] += 1
                return
        takers = [reader for reader in readers if reader.takes(record.cells)]
        if not takers:
            words = {heading for reader in readers for heading in reader.feed.where}
            shown = ", ".join(
                f"{heading} {show(record.cells[index].strip())}"
                for index, heading in enumerate(headings)
                if heading_key(heading) in {heading_key(word) for word in words}
            )
            remedy = "add a feed for such rows to the mapping if they matter"
            self._findings.append(
                Finding(
                    file,
                    record.line,
                    WHOLE_ROW,
                    f"no feed takes rows with {shown}",
                    remedy,
                    "left aside",
                    row_text(record.raw),
                )
            )
        for reader in takers:
            if id(reader) in gathering:
                gathering[id(reader)].take(record)
                continue
            result = reader.row(record)
            if isinstance(result, Row):
                self._rows[result.table].append(result)
            else:
                self._findings.extend(result)
                self._rejected[reader.table.name] += 1


def _sheet_records(rows: Iterable[tuple[int, list[str]]], width: int) -> Iterator[Record]:
    """Rows of a sheet as records; a sheet leaves out the empty cells at the end of a row."""
    for number, cells in rows:
        yield Record(number, cells + [""] * (width - len(cells)), ",".join(cells))


def _table_of(feeds: Sequence[Feed]) -> str:
    """The table that all the feeds of a file share, or "" when they feed several."""
    names = {feed.table for feed in feeds}
    return names.pop() if len(names) == 1 else ""


def _agreed(what: str, values: list[str | None], file: str) -> str | None:
    given = {value for value in values if value is not None}
    if len(given) > 1:
        raise UsageError(f"The mapping states more than one {what} for {file}: {', '.join(sorted(given))}. Keep one.")
    return given.pop() if given else None


def _delimiter_of(heading: str, feeds: Sequence[Feed]) -> str:
    """The mark that splits the headings into most headings that are known, then into most headings."""
    known = {heading_key(name) for feed in feeds for name in (*feed.columns.values(), *feed.where, *feed.ignore)}
    for spec in (spec for feed in feeds for spec in TABLES[feed.table].fields):
        known |= {spec.name, spec.unit_column} if spec.measure else {spec.name}

    def score(mark: str) -> tuple[int, int]:
        cells = [heading_key(cell.strip().strip('"')) for cell in heading.split(mark)]
        return sum(cell in known for cell in cells), len(cells)

    return max(DELIMITERS, key=score)
