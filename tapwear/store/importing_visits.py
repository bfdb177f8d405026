"""Visits from files into the book, one after the other, with a finding for all that could not be taken."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.doubts import other_century
from tapwear.store.importing_types import Result, remark
from tapwear.store.recording import Stamp
from tapwear.store.visiting import record_visit
from tapwear.visits.types import WHOLE_ROW, FiledVisit, Row
from tapwear.visits.values import printable

VISITS = "visits"  # the name under which an import counts them


def take_visits(
    connection: Connection,
    visits: Sequence[FiledVisit],
    stamp: Stamp,
    today: date,
    take: Callable[[Row, Result], None],
) -> None:
    """Stores each visit in one piece; `take` is told what became of it. Visits dated after `today`, or so long ago
    that the century is probably wrong, are refused."""
    for filed in visits:
        row = Row(VISITS, filed.file, filed.line, {}, printable(filed.raw))
        visit = filed.visit
        odd = other_century(VISITS, {"visited_on": visit.visited_on}, today)
        if visit.visited_on > today or odd is not None:
            found = f"{visit.unit}: " + (odd.found if odd is not None else f"{visit.visited_on} lies in the future")
            take(row, Result((remark("visited_on", found, "correct the date", "rejected"),)))
            continue
        try:
            with connection.begin_nested():
                outcome = record_visit(connection, visit, stamp)
        except UsageError as error:
            remedy = "correct the visit, or the register, then import it again"
            take(row, Result((remark(WHOLE_ROW, str(error), remedy, "rejected"),)))
            continue
        told = tuple(remark(one.field, one.found, one.remedy, one.severity) for one in outcome.remarks)
        take(row, Result(told, stored=outcome.kind in ("stored", "replaced")))
