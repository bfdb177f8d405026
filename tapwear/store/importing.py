"""Stores what was read from files: register first, then the book, in one piece, with a finding for all the rest.

Importing the same file twice adds nothing. A row that says otherwise than the store about the same thing is a
conflict: shown, kept in the findings, not stored.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import TYPE_CHECKING

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.findings import Finding
from tapwear.store.backup import LONG_TABLES
from tapwear.store.guards import many_inserted
from tapwear.store.holding import Holding
from tapwear.store.holding_facts import find_doubts
from tapwear.store.importing_book import BookIntake
from tapwear.store.importing_counters import Judge, question_readings
from tapwear.store.importing_order import in_order
from tapwear.store.importing_planning import take_planning_row
from tapwear.store.importing_register import RegisterIntake
from tapwear.store.importing_types import Refused, Result
from tapwear.store.importing_visits import VISITS, take_visits
from tapwear.store.lean import lean
from tapwear.store.recording import Stamp, entry_of, insert
from tapwear.visits.feeding import row_text
from tapwear.visits.fields import TABLES
from tapwear.visits.planning import PLANNING
from tapwear.visits.types import Intake, Row

if TYPE_CHECKING:
    from tapwear.store.engine import Store

Progress = Callable[[str, int, int], None]
REGISTER = ("places", "units", "service_rules", "visit_rules")
BOOK = ("events", "readings", "samples", "services", "conditions", "observations", "limits")
NOT_TAKEN = {"rejected": "rejected", "conflict": "conflicts", "held": "held"}  # severity -> as it is counted
ROWS_BETWEEN_PROGRESS = 2_000
MANY = 1_000  # rows of one import from which on the tables take them faster: our choice
# Tables whose dates may be later than today, and fields.
MAY_LIE_AHEAD = ("closures", "team_holidays", "resources", "other_outages", "units")
AHEAD_FIELDS = ("act_by_on",)


@dataclass(frozen=True)
class TableCount:
    """What became of the rows meant for one table."""

    stored: int = 0
    known: int = 0
    conflicts: int = 0
    rejected: int = 0
    held: int = 0


@dataclass(frozen=True)
class ImportResult:
    """What an import did, or in a dry run would have done.

    number : of the import, None for a dry run; of an earlier one that brought the same, where this one added nothing
    counts : by table; "" holds rows whose table could not be told
    """

    number: int | None
    counts: Mapping[str, TableCount]
    findings: tuple[Finding, ...]
    files_left_alone: tuple[str, ...]
    rows_seen: int
    sample_counters: int = 0  # counters on sample sheets that became readings

    def total(self, what: str) -> int:
        return sum(getattr(count, what) for count in self.counts.values())

    @property
    def all_taken(self) -> bool:
        """True when no file and no row was rejected, none is in conflict with the store, and none is held."""
        return not any(finding.severity in NOT_TAKEN for finding in self.findings)


class _Undone(Exception):
    """Ends an import inside the transaction, so that everything is undone: a dry run, or the same one once more."""

    def __init__(self, number: int | None) -> None:
        super().__init__()
        self.number = number


@dataclass
class _Tally:
    counts: dict[str, dict[str, int]] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)

    @property
    def added(self) -> bool:
        """Whether anything was stored."""
        return any(rows["stored"] for rows in self.counts.values())

    def count(self, table: str, what: str, number: int = 1) -> None:
        rows = self.counts.setdefault(table, {"stored": 0, "known": 0, "conflicts": 0, "rejected": 0, "held": 0})
        rows[what] += number

    def take(self, row: Row, result: Result) -> None:
        self.findings.extend(_placed(row, finding) for finding in result.findings)
        worst = next((f for f in result.findings if f.severity in NOT_TAKEN), None)
        if result.stored:
            self.count(row.table, "stored")
        elif worst is None:
            self.count(row.table, "known")
        if worst is not None:
            self.count(row.table, NOT_TAKEN[worst.severity])


def store_intake(
    store: Store,
    intake: Intake,
    *,
    by: str,
    now: datetime,
    today: date,
    what: str,
    dry_run: bool = False,
    sure: bool = False,
    progress: Progress | None = None,
    judge: Judge | None = None,
) -> ImportResult:
    """Stores the rows of an intake, all together or not at all, and keeps every finding with the import.

    Parameters
    ----------
    by, now : who imports, when (with a time zone)
    today : rows dated later are refused
    what : the files, as the list of imports shows them
    dry_run : say what would happen, and store nothing
    sure : a person has confirmed the rows, so that none is held as probably wrong (tapwear.store.holding)
    judge : why a counter's number is questioned, see tapwear.store.importing_counters; None: no number is judged
    progress : called with (words, rows done, rows in all)

    Raises StoreError when the store cannot be written to.
    """
    tally = _Tally(findings=list(intake.findings))
    for table, rows in intake.rejected.items():
        tally.count(table, "rejected", rows)
    number: int | None = None
    sample_counters = 0
    key = _content_key(intake)
    try:
        with store.rows(writing=True) as connection:
            number = insert(
                connection, "import_run", recorded_at=now, recorded_by=by, what=what,
                rows_stored=0, rows_known=0, rows_in_findings=0, content_key=key,
            )  # fmt: skip
            stamp = Stamp(by, now, import_id=number)
            entry_of(connection, stamp)
            with many_inserted(connection, LONG_TABLES if len(intake.rows) >= MANY else ()):
                sample_counters = _store_rows(connection, intake.rows, stamp, today, tally, progress, sure)
            take_visits(connection, intake.visits, stamp, today, tally.take)
            if judge is not None:
                tally.findings += question_readings(connection, stamp, judge, intake.rows, intake.visits)
            if dry_run:
                raise _Undone(None)
            before = _same_before(connection, number, key, by)
            if before is not None and not tally.added and not _holds(connection, number):
                raise _Undone(before)
            _close_run(connection, number, tally)
    except _Undone as undone:
        number = undone.number
    return ImportResult(
        number=number,
        counts={table: TableCount(**tally.counts[table]) for table in (*TABLES, VISITS, "") if table in tally.counts},
        findings=tuple(tally.findings),
        files_left_alone=intake.files_left_alone,
        rows_seen=intake.rows_seen,
        sample_counters=sample_counters,
    )


def _content_key(intake: Intake) -> str:
    """The same for the same rows, visits and findings, in the same order, from files of the same names."""
    told = hashlib.sha256()
    for row in intake.rows:  # as it stands in the file; a feed that reads it otherwise gives other findings or rows
        told.update(f"{row.table}\n{row.file}\n{row.line}\n{row.raw or row.values}\n".encode())
    for other in (*intake.visits, *intake.findings):
        told.update(repr(other).encode())
    return told.hexdigest()


def _same_before(connection: Connection, number: int, key: str, by: str) -> int | None:
    """The number of an earlier import of the same by the same person."""
    run = lean("import_run", "id", "content_key", "recorded_by")
    same = sa.select(run.c.id).where(run.c.content_key == key, run.c.recorded_by == by, run.c.id != number)
    found = connection.execute(same.order_by(run.c.id.desc()).limit(1)).scalar()
    return None if found is None else int(found)


def _holds(connection: Connection, number: int) -> bool:
    """Whether an import holds rows that none before it held."""
    held = lean("held_row", "id", "import_id")
    return connection.execute(sa.select(held.c.id).where(held.c.import_id == number).limit(1)).first() is not None


def _store_rows(
    connection: Connection,
    rows: Sequence[Row],
    stamp: Stamp,
    today: date,
    tally: _Tally,
    progress: Progress | None,
    sure: bool,
) -> int:
    holding = Holding(connection, stamp, {} if sure else find_doubts(connection, rows, today))
    register = RegisterIntake(connection, stamp)
    book: BookIntake | None = None
    takers: dict[str, Callable[[Row], Result]] = {name: register.take for name in REGISTER}
    takers |= {table.name: lambda row: take_planning_row(connection, row, stamp) for table in PLANNING}
    for done, row in enumerate(in_order(rows), 1):
        if progress and done % ROWS_BETWEEN_PROGRESS == 0:
            progress(f"storing {row.table.replace('_', ' ')}", done, len(rows))
        ahead = _ahead(row, today)
        said = ahead or holding.look(row)
        if said:
            tally.take(row, Result((said,)))
            continue
        if row.table in BOOK:
            book = book or BookIntake(connection, stamp)  # reads who is who only when the register is complete
            take: Callable[[Row], Result] = book.take
        else:
            take = takers[row.table]
        try:
            result = take(row) if row.table in BOOK else _whole(connection, take, row)
        except Refused as refused:
            result = Result((Finding(row.file, row.line, refused.field, refused.found, refused.remedy),))
        tally.take(row, result)
    if book is None:
        return 0
    book.write()
    return book.sample_counters


def _whole(connection: Connection, take: Callable[[Row], Result], row: Row) -> Result:
    """Takes a row that may need several writes: all of them, or none when the row is refused on the way."""
    with connection.begin_nested():
        return take(row)


def _ahead(row: Row, today: date) -> Finding | None:
    if row.table in MAY_LIE_AHEAD:
        return None
    for name, value in row.values.items():
        if isinstance(value, date) and value > today and name not in AHEAD_FIELDS:
            return Finding(row.file, row.line, name, f"{value} lies in the future", "correct the date")
    return None


def _placed(row: Row, finding: Finding) -> Finding:
    return replace(finding, file=row.file, line=row.line, row=row_text(row.raw))


def _close_run(connection: Connection, number: int, tally: _Tally) -> None:
    run = lean("import_run", "id", "rows_stored", "rows_known", "rows_in_findings")
    total = {what: sum(count[what] for count in tally.counts.values()) for what in ("stored", "known")}
    concerned = len({(finding.file, finding.line) for finding in tally.findings if finding.severity != "note"})
    connection.execute(
        sa.update(run)
        .where(run.c.id == number)
        .values(rows_stored=total["stored"], rows_known=total["known"], rows_in_findings=concerned)
    )
    columns = ("file", "line", "field", "found", "remedy", "severity", "row")
    rows = [{"import_id": number, **{name: getattr(f, name) for name in columns}} for f in tally.findings]
    if rows:
        connection.execute(sa.insert(lean("import_finding", "import_id", *columns)), rows)
