"""Rows of imports that are held for a person's word, and what becomes of them then."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.findings import Finding
from tapwear.store.doubts import Doubt
from tapwear.store.importing_types import remark
from tapwear.store.lean import lean
from tapwear.store.recording import Stamp, insert
from tapwear.visits.feeding import row_text
from tapwear.visits.types import Below, Intake, Row

if TYPE_CHECKING:
    from tapwear.store.engine import Store

MOST_UNITS_NAMED = 8  # in a sentence: our choice; all of them are kept with the row
MOST_ROWS_NAMED = 20  # each by itself, beside a list of dates: our choice; tapwear confirm shows all

_HELD = ("id", "import_id", "table_name", "content_key", "file", "line", "field", "found", "units", "payload", "row")
_DECIDED = ("id", "held_id", "decision", "recorded_at", "recorded_by", "reason")


@dataclass(frozen=True)
class Held:
    """A row that waits for a person's word: its number, where it came from, and why it is held."""

    number: int
    table: str
    file: str
    line: int
    field: str
    found: str
    units: tuple[str, ...]
    row: str

    def sentence(self) -> str:
        matters = f"; it matters for {units_words(self.units)}" if self.units else ""
        where = f"{self.table.replace('_', ' ')}, {self.file}:{self.line} {self.field}"
        return f"{self.number}  {where}: {self.found}{matters}"


@dataclass(frozen=True)
class Waiting:
    """A row that waits: whose it is (unit or scheme), and the units that it bears on, in small letters."""

    held: Held
    whose: str
    units: frozenset[str]


def units_words(units: Sequence[str]) -> str:
    """`AH-T1, AH-T2 and 12 more`."""
    more = len(units) - MOST_UNITS_NAMED
    return ", ".join(units[:MOST_UNITS_NAMED]) + (f" and {more} more" if more > 0 else "")


@dataclass
class Holding:
    """Holds the doubtful rows of one import back, and with a unit that is held all rows that need it."""

    connection: Connection
    stamp: Stamp
    doubts: Mapping[int, Doubt]  # by id() of the row
    _waiting: dict[str, int] = field(default_factory=dict)  # tag of a unit that is held -> its row's number

    def look(self, row: Row) -> Finding | None:
        """What is said of a row that is not to be stored now; None for one that may be."""
        doubt = self.doubts.get(id(row)) or self._because_of_its_unit(row)
        if doubt is None:
            return None
        key = content_key(row)
        held, decided = lean("held_row", *_HELD), lean("held_decision", *_DECIDED)
        known = self.connection.execute(
            sa.select(held.c.id, decided.c.decision, decided.c.recorded_by, decided.c.recorded_at, decided.c.reason)
            .select_from(held.outerjoin(decided, decided.c.held_id == held.c.id))
            .where(held.c.content_key == key)
        ).first()
        if known is not None and known.decision == "stored":
            return None
        if known is not None and known.decision == "dropped":
            found = f"dropped by {known.recorded_by} on {known.recorded_at:%Y-%m-%d}: {known.reason}"
            return remark(doubt.field, found, "nothing to do; to store it after all, correct the row", "left aside")
        number = self._keep(row, doubt, key) if known is None else int(known.id)
        if row.table == "units":
            self._waiting[row.values["unit"].casefold()] = number
        matters = f" (units: {units_words(doubt.units)})" if doubt.units else ""
        how = f"if it is right: tapwear confirm {number} --because REASON; if not: the same with --drop"
        return remark(doubt.field, doubt.found + matters, how, "held")

    def _because_of_its_unit(self, row: Row) -> Doubt | None:
        for name in ("unit", "other_unit"):
            number = self._waiting.get(str(row.values.get(name, "")).casefold())
            if number is not None and row.table != "units":
                return Doubt(name, f"{row.values[name]} itself is held (number {number})", (row.values[name],))
        return None

    def _keep(self, row: Row, doubt: Doubt, key: str) -> int:
        return insert(
            self.connection, "held_row", import_id=self.stamp.import_id, table_name=row.table, content_key=key,
            file=row.file, line=row.line, field=doubt.field, found=doubt.found, units=";".join(doubt.units),
            payload=as_json(row.values), row=row_text(row.raw),
        )  # fmt: skip


def content_key(row: Row) -> str:
    """The same for the same values of the same table, from whatever file."""
    return hashlib.sha256(f"{row.table}\n{as_json(row.values)}".encode()).hexdigest()


def as_json(values: Mapping[str, Any]) -> str:
    """The values of a row as text; `from_json` gives them back."""

    def told(value: Any) -> Any:
        if isinstance(value, date):
            return {"day": value.isoformat()}
        if isinstance(value, Below):
            return {"below": value.limit}
        return list(value) if isinstance(value, tuple) else value

    return json.dumps({name: told(value) for name, value in values.items()}, sort_keys=True, ensure_ascii=False)


def from_json(text: str) -> dict[str, Any]:
    """The values that `as_json` wrote."""

    def meant(value: Any) -> Any:
        if isinstance(value, dict):
            return date.fromisoformat(value["day"]) if "day" in value else Below(value["below"])
        return tuple(value) if isinstance(value, list) else value

    return {name: meant(value) for name, value in json.loads(text).items()}


def held_rows(store: Store) -> tuple[Held, ...]:
    """All rows that still wait for a person's word, oldest first."""
    with store.rows() as connection:
        return tuple(held for held, _ in _undecided(connection))


def waiting(connection: Connection, tags: Collection[str] | None = None) -> tuple[Waiting, ...]:
    """The rows that wait for a person's word and bear on these units (None: on any), oldest first."""
    found = []
    for held, row in _undecided(connection):
        whose = str(row.values.get("unit") or "")
        units = frozenset(one.casefold() for one in (*held.units, whose))
        if tags is None or units & {tag.casefold() for tag in tags}:
            found.append(Waiting(held, whose or str(row.values.get("scheme") or ""), units))
    return tuple(found)


def waiting_lines(rows: Sequence[Waiting], unit: str | None = None) -> tuple[str, ...]:
    """How many rows wait and of what, as a sentence, then a line for each; nothing for none.

    unit : only those that bear on it
    """
    rows = [one for one in rows if unit is None or unit.casefold() in one.units]
    if not rows:
        return ()
    count = Counter((one.held.table.replace("_", " "), one.whose) for one in rows)
    parts = [f"{number} of {table}{f' for {whose}' if whose else ''}" for (table, whose), number in count.items()]
    more = f" and {len(parts) - MOST_UNITS_NAMED} more" if len(parts) > MOST_UNITS_NAMED else ""
    await_ = "1 imported row awaits" if len(rows) == 1 else f"{len(rows):,} imported rows await"
    words = (
        f"{await_} confirmation and {'is' if len(rows) == 1 else 'are'} not counted in what follows: "
        f"{', '.join(parts[:MOST_UNITS_NAMED])}{more}. Look at them with: tapwear confirm"
    )
    left = (f"and {len(rows) - MOST_ROWS_NAMED:,} more",) if len(rows) > MOST_ROWS_NAMED else ()
    return (words, *(one.held.sentence() for one in rows[:MOST_ROWS_NAMED]), *left)


def _undecided(connection: Connection) -> list[tuple[Held, Row]]:
    held, decided = lean("held_row", *_HELD), lean("held_decision", *_DECIDED)
    rows = connection.execute(
        sa.select(held).where(~sa.exists().where(decided.c.held_id == held.c.id)).order_by(held.c.id)
    )
    return [
        (
            Held(r.id, r.table_name, r.file, r.line, r.field, r.found, tuple(filter(None, r.units.split(";"))), r.row),
            Row(r.table_name, r.file, r.line, from_json(r.payload), r.row),
        )
        for r in rows
    ]


@dataclass(frozen=True)
class Confirmed:
    """What became of held rows: the numbers now stored or dropped, and findings of those that could not be stored."""

    done: tuple[int, ...]
    findings: tuple[Finding, ...]


def decide(
    store: Store,
    numbers: Sequence[int] | None,
    *,
    by: str,
    at: datetime,
    because: str,
    today: date,
    drop: bool = False,
) -> Confirmed:
    """Stores held rows on a person's word, or drops them; `numbers` None: all that wait.

    A row that cannot be stored (it contradicts the store, say) goes on waiting. Raises UsageError for a number that
    does not wait.
    """
    from tapwear.store.importing import store_intake

    with store.rows() as connection:
        waiting = {held.number: row for held, row in _undecided(connection)}
    wanted = sorted(waiting) if numbers is None else list(dict.fromkeys(numbers))
    strange = [number for number in wanted if number not in waiting]
    if strange:
        raise UsageError(f"No row waits under number {strange[0]}; those that wait: tapwear confirm")
    findings: tuple[Finding, ...] = ()
    if not drop and wanted:
        rows = tuple(waiting[number] for number in wanted)
        what = f"held rows confirmed: {', '.join(map(str, wanted))}: {because}"
        intake = Intake(_by_table(rows), (), (), len(rows))
        findings = store_intake(store, intake, by=by, now=at, today=today, what=what, sure=True).findings
    refused = {(one.file, one.line) for one in findings if one.severity in ("rejected", "conflict")}
    done = tuple(number for number in wanted if (waiting[number].file, waiting[number].line) not in refused)
    with store.rows(writing=True) as connection:
        for number in done:
            insert(
                connection, "held_decision", held_id=number, decision="dropped" if drop else "stored",
                recorded_at=at, recorded_by=by, reason=because,
            )  # fmt: skip
    return Confirmed(done, findings)


def _by_table(rows: Sequence[Row]) -> tuple[Row, ...]:
    from tapwear.visits.fields import TABLES

    order = list(TABLES)
    return tuple(sorted(rows, key=lambda row: order.index(row.table)))
