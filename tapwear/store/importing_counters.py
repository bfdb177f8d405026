"""Counter numbers that came in with an import, judged as typed ones are: an odd one is kept with its doubt and told.

Who asks for a long history is not told of each odd number in it: the search for right readings looks at that as a whole
and says so in `why`. So only counters of which an import brings a few numbers are judged, one by one, and only where
these are not too many in all.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.findings import Finding
from tapwear.store.entries import columns_of
from tapwear.store.find import UnitKey
from tapwear.store.history import CounterPast, PastReading, counter_past
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp, record
from tapwear.visits.types import FiledVisit, Row
from tapwear.visits.values import minute_of, printable
from tapwear.words import as_typed

Judge = Callable[[CounterPast, date, int, int | None], str]
"""Why a number of a counter, read on a day at a minute of it (None: not known), is questioned; "" for nothing."""

FEW = 12  # numbers of one counter in one import up to which each is judged: our choice
MOST = 2_000  # numbers of one import up to which they are judged: our choice, up to a minute


def question_readings(
    connection: Connection, stamp: Stamp, judge: Judge, rows: Sequence[Row], visits: Sequence[FiledVisit]
) -> list[Finding]:
    """Puts the doubt beside each odd number of an import, in a row that supersedes it, and says so in findings.

    stamp : the import's; rows, visits : of the import, to say where a number stands
    """
    reading = lean(
        *("reading", "id", "counter_id", "read_on", "read_time", "value", "doubt", "import_id"),
        *("supersedes_id", "withdrawn"),
    )
    counter = lean("counter", "id", "drive_id", "source")
    new = connection.execute(
        sa.select(
            *(reading.c[name] for name in ("id", "read_on", "read_time", "value", "doubt", "counter_id")),
            counter.c.drive_id,
            counter.c.source,
        )
        .join_from(reading, counter, reading.c.counter_id == counter.c.id)
        .where(reading.c.import_id == stamp.import_id, is_current(reading), counter.c.source != "sample")
        .order_by(reading.c.read_on, reading.c.read_time, reading.c.value, reading.c.id)
    ).all()
    of_counter: dict[int, list[Any]] = {}
    for row in new:
        of_counter.setdefault(row.counter_id, []).append(row)
    few = [mine for mine in of_counter.values() if len(mine) <= FEW]
    if sum(map(len, few)) > MOST:
        return []
    where = _places(rows, visits)
    found = []
    for mine in few:
        for number, on, time, value, doubt, _, drive, source in mine:
            if doubt:
                continue  # somebody was asked where it was typed
            unit, slot = _whose(connection, drive, on)
            past = counter_past(connection, unit, slot, source, on)
            others = tuple(one for one in past.readings if one.id != number)
            if not _enough(others) or value >= 10**past.digits:
                continue
            words = judge(replace(past, readings=others), on, value, minute_of(time))
            if not words:
                continue
            said = columns_of(connection, "reading", number) | {"doubt": words}
            record(connection, "reading", stamp, number, **said)
            found.append(_finding(where, unit, on, value, words))
    return found


def _enough(others: Sequence[PastReading]) -> bool:
    return len({one.on for one in others}) > 1


def _whose(connection: Connection, drive: int, on: date) -> tuple[UnitKey, str]:
    """The unit and slot on which a drive sat on that day, or sits first where it sat on none then."""
    fitting = lean("fitting", "id", "drive_id", "tap_changer_id", "slot", "from_on", "supersedes_id", "withdrawn")
    changer = lean("tap_changer", "id", "tag")
    rows = connection.execute(
        sa.select(changer.c.id, changer.c.tag, fitting.c.slot, fitting.c.from_on)
        .join_from(fitting, changer, fitting.c.tap_changer_id == changer.c.id)
        .where(fitting.c.drive_id == drive, is_current(fitting))
    ).all()
    fitted = sorted(rows, key=lambda row: row.from_on or date.min)
    begun = [row for row in fitted if row.from_on is None or row.from_on <= on]
    row = begun[-1] if begun else fitted[0]
    return UnitKey(row.id, row.tag), row.slot


def _places(rows: Sequence[Row], visits: Sequence[FiledVisit]) -> dict[tuple[str, date, int], tuple[str, int, str]]:
    """File, line and text of each number, by unit, day and number."""
    found = {
        (str(row.values["unit"]).casefold(), row.values["read_on"], row.values["value"]): (row.file, row.line, row.raw)
        for row in rows
        if row.table == "readings" and {"unit", "read_on", "value"} <= row.values.keys()
    }
    for filed in visits:
        for seen in filed.visit.counters:
            key = filed.visit.unit.casefold(), filed.visit.visited_on, seen.value
            found[key] = filed.file, filed.line, printable(filed.raw)
    return found


def _finding(
    where: dict[tuple[str, date, int], tuple[str, int, str]], unit: UnitKey, on: date, value: int, words: str
) -> Finding:
    file, line, raw = where.get((unit.tag.casefold(), on, value), ("", 0, ""))
    remedy = (
        "it is stored with this doubt; read it again, and where it is wrong: "
        f"tapwear amend {as_typed(unit.tag)} reading --on {on} --set value=NUMBER --because REASON"
    )
    return Finding(file, line, "value", f"{unit.tag} on {on}: {value}: {words}", remedy, "note", raw)
