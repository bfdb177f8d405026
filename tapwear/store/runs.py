"""What past imports brought, and the findings that were kept of each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, cast

import sqlalchemy as sa

from tapwear.errors import UsageError
from tapwear.findings import Finding, Severity
from tapwear.store.lean import lean

if TYPE_CHECKING:
    from tapwear.store.engine import Store


@dataclass(frozen=True)
class Run:
    """One import: when, by whom, what, and what became of its rows."""

    number: int
    recorded_at: datetime
    recorded_by: str
    what: str
    rows_stored: int
    rows_known: int
    rows_in_findings: int


_RUN = lean("import_run", "id", "recorded_at", "recorded_by", "what", "rows_stored", "rows_known", "rows_in_findings")
_FINDING = lean("import_finding", "id", "import_id", "file", "line", "field", "found", "remedy", "severity", "row")


def import_runs(store: Store) -> tuple[Run, ...]:
    """All imports, oldest first."""
    with store.rows() as connection:
        return tuple(Run(*row) for row in connection.execute(sa.select(*_RUN.c).order_by(_RUN.c.id)))


def findings_of(store: Store, number: int | None = None) -> tuple[Run, tuple[Finding, ...]]:
    """One import (None: the latest) and its findings in their order.

    Raises UsageError when there was no import, or none of that number.
    """
    runs = import_runs(store)
    if not runs:
        raise UsageError(f"{store.path} holds no import yet. Bring rows in with: tapwear import FILES")
    run = runs[-1] if number is None else next((run for run in runs if run.number == number), None)
    if run is None:
        raise UsageError(f"There is no import {number}; there are {runs[0].number} to {runs[-1].number}.")
    c = _FINDING.c
    query = (
        sa.select(c.file, c.line, c.field, c.found, c.remedy, c.severity, c.row)
        .where(c.import_id == run.number)
        .order_by(c.id)
    )
    with store.rows() as connection:
        found = tuple(
            Finding(file, line, field, what, remedy, cast(Severity, severity), row)
            for file, line, field, what, remedy, severity, row in connection.execute(query)
        )
    return run, found


def newest_import(store: Store) -> int:
    """The number of the newest import; 0 where there was none."""
    return max((run.number for run in import_runs(store)), default=0)
