"""The monthly sheet, for people and as JSON.

JSON is one object:

    schema   "tapwear.changes/1"; the number rises when a field changes its meaning or goes away
    since, as_of  [ISO dates]
    caution  what to keep in mind before any work
    stops    [{stop, unit}]: stopped units
    severe   their tags
    dates    [{stop, unit, task, early_then, early_now, late_then, late_now, days, reasons}], moved ones and all others
    stop_events, work, readings, oil, rules, followups, conditions
             sentences; those of a stopped unit begin with its stop
    samples  [{stop, unit, by, words}]
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Any

from tapwear.outlook.changes import Changes
from tapwear.outlook.track import Moved, moved
from tapwear.report.due_words import after_words, sentence
from tapwear.report.frames import stop_records, stops_first
from tapwear.report.page import Block, Line, stop_blocks, table
from tapwear.report.plain import json_text, plain
from tapwear.words import CAUTION_SHORT, CAUTIONS

CHANGES_SCHEMA = "tapwear.changes/1"
SENTENCES = ("stop_events", "work", "readings", "oil", "rules", "followups", "conditions")


def changes_page(changes: Changes, stops: Mapping[str, str], *, everything: bool = False) -> list[Block]:
    """The sheet in reading order.

    stops : of stopped units, by tag, what stands first in their rows
    everything : dates that have hardly moved too
    """
    shown = [row for row in changes.dates if everything or moved(row)]
    blocks = stop_blocks(stops)
    blocks += [Block(f"Changes from {changes.since} to {changes.as_of}", (Line(_count(changes.dates, len(shown))),))]
    if changes.stop_events:
        blocks.append(_sentences("Stops opened, released or cleared", changes.stop_events, stops))
    if shown:
        blocks.append(moved_block(shown, "Dates", stops))
    for heading, rows in (
        ("Conditions noted or closed", changes.conditions),
        ("What the oil newly shows", changes.oil),
        ("Readings that turned out doubtful", changes.readings),
        ("Work done", changes.work),
        ("Follow-ups opened or closed", changes.followups),
        ("Rules changed", changes.rules),
    ):
        if rows:
            blocks.append(_sentences(heading, rows, stops))
    if changes.samples:
        lines = [Line(CAUTIONS[2]), *(Line(f"{unit}, by {by}: {words}") for unit, by, words in changes.samples)]
        blocks.append(Block("Samples due", tuple(lines)))
    return blocks


def _sentences(heading: str, rows: Sequence[str], stops: Mapping[str, str]) -> Block:
    return Block(heading, tuple(Line(f"{said_first(row, stops).rstrip('.')}.") for row in rows))


def said_first(words: str, stops: Mapping[str, str]) -> str:
    """A sentence that begins with a unit's tag, with what stands there before it."""
    stop = stops.get(words.partition(":")[0])
    return f"{stop}: {words}" if stop else words


def moved_block(rows: Sequence[Moved], heading: str, stops: Mapping[str, str]) -> Block:
    """Dates then and now, how far they moved, and why."""
    cells = []
    for row in rows:
        days = "" if row.days is None else f"{row.days:+,}" if row.days else "0"
        cells.append([row.unit, row.task, _early(row, "then"), _early(row, "now"), days, "; ".join(row.reasons)])
    headings = ["unit", "task", "early then", "early now", "days", "why"]
    return Block(heading, tuple(table(headings, cells, (4,), [stops.get(row.unit, "") for row in rows])))


def _early(row: Moved, which: str) -> str:
    one = row.then if which == "then" else row.now
    if one is None:
        return "-"
    if not one.known:
        return "unknown"
    return one.early.isoformat() if one.early else after_words(one.as_of)


def _count(rows: Iterable[Moved], shown: int) -> str:
    every = list(rows)
    later = sum(1 for row in every if moved(row) and (row.days or 0) > 0)
    earlier = sum(1 for row in every if moved(row) and (row.days or 0) < 0)
    count = f"{len(every)} dates compared: {earlier} earlier, {later} later by two weeks or more"
    return sentence(f"{count}; {shown} shown")


def moved_record(row: Moved) -> dict[str, Any]:
    """One comparison as plain values."""

    def day(value: date | None) -> str | None:
        return value.isoformat() if value else None

    return {
        "unit": plain(row.unit),
        "task": plain(row.task),
        "early_then": day(row.then.early) if row.then else None,
        "early_now": day(row.now.early) if row.now else None,
        "late_then": day(row.then.late) if row.then else None,
        "late_now": day(row.now.late) if row.now else None,
        "days": row.days,
        "reasons": [plain(words) for words in row.reasons],
    }


def changes_json(changes: Changes, stops: Mapping[str, str]) -> str:
    """The sheet as JSON text, see the top of this module."""
    page = {
        "schema": CHANGES_SCHEMA,
        "since": changes.since.isoformat(),
        "as_of": changes.as_of.isoformat(),
        "caution": f"{CAUTION_SHORT} {CAUTIONS[2]}",
        "stops": stop_records(stops),
        "severe": [plain(unit) for unit in changes.severe],
        "dates": [moved_record(row) for row in changes.dates],
        **{name: [plain(said_first(row, stops)) for row in getattr(changes, name)] for name in SENTENCES},
        "samples": [
            {"unit": plain(unit), "by": by.isoformat(), "words": plain(words)} for unit, by, words in changes.samples
        ],
    }
    return json_text(stops_first(page, stops))
