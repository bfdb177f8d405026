"""The track record: how kept dates held, and how one snapshot's dates have moved since. For people and as JSON.

JSON is one object:

    schema     "tapwear.track/1"; the number rises when a field changes its meaning or goes away
    as_of      [ISO date]
    how        what is judged, as a sentence
    stops      [{stop, unit}]: stopped units
    snapshots  [{number, as_of, dates, judged, before, within, after}]
    outcomes   [{stop, snapshot, unit, task, early, late, reached_on, place}]: dates of which something is known by now
    moved      [{stop, snapshot, unit, task, early_then, early_now, late_then, late_now, days, reasons}]: of one
               snapshot
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from tapwear.outlook.track import Moved, Outcome, Score, moved, score
from tapwear.report.changes_view import moved_block, moved_record
from tapwear.report.frames import stop_records, stops_first
from tapwear.report.page import Block, Line, stop_blocks, table
from tapwear.report.plain import json_text, plain

TRACK_SCHEMA = "tapwear.track/1"
HOW = (
    "A range is judged when its late date has passed and the counter was read since. The day of reaching the limit is "
    "read off the count and the calendar. Expected of 10: 1 before the early date, 8 within, 1 after the late one. "
    "Dates that were certain, past already, weighted by current or set by oil or a noted condition are not judged."
)


@dataclass(frozen=True)
class Tracked:
    """One snapshot: what became of its dates, and, for the one asked for, how they have moved."""

    number: int
    as_of: date
    outcomes: tuple[Outcome, ...]
    moved: tuple[Moved, ...] = ()


def track_page(
    tracked: Sequence[Tracked], as_of: date, stops: Mapping[str, str], *, everything: bool = False
) -> list[Block]:
    """The record in reading order.

    stops : of stopped units, by tag, what stands first in their rows
    everything : dates that have hardly moved too
    """
    rows = []
    for one in tracked:
        held = score(one.outcomes)
        counts = [str(count) for count in (held.judged, held.before, held.within, held.after)]
        rows.append([str(one.number), one.as_of.isoformat(), str(len(one.outcomes)), *counts])
    headings = ["snapshot", "as of", "dates", "judged", "before early", "within", "after late"]
    lines = [Line(HOW), *table(headings, rows, right=range(2, 7))]
    blocks = [*stop_blocks(stops), Block(f"Track record, as of {as_of}", (*lines, Line(_total(tracked))))]
    for one in tracked:
        if one.moved:
            shown = [row for row in one.moved if everything or moved(row)]
            heading = f"Snapshot {one.number} of {one.as_of}: {len(shown)} of {len(one.moved)} dates have moved"
            blocks.append(moved_block(shown, heading, stops) if shown else Block(heading))
        missed = [outcome for outcome in one.outcomes if outcome.place in ("before", "after")]
        if missed:
            cells = [
                [found.told.unit, found.told.task, f"{found.told.early}", f"{found.told.late}", _reached(found)]
                for found in missed
            ]
            title = f"Snapshot {one.number} of {one.as_of}: outside their range"
            headings = ["unit", "task", "early", "late", "limit reached"]
            here = [stops.get(found.told.unit, "") for found in missed]
            blocks.append(Block(title, tuple(table(headings, cells, stops=here))))
    return blocks


def _reached(found: Outcome) -> str:
    return found.reached_on.isoformat() if found.reached_on else "not yet"


def _total(tracked: Sequence[Tracked]) -> str:
    scores = [score(one.outcomes) for one in tracked]
    judged = sum(one.judged for one in scores)
    if not judged:
        return "No range can be judged yet."
    before, within, after = (sum(getattr(one, name) for one in scores) for name in ("before", "within", "after"))
    ranges = f"{judged} range{'s' if judged > 1 else ''}"
    return f"Of {ranges} judged, {within} held; reached before the early date: {before}, after the late one: {after}."


def track_json(tracked: Sequence[Tracked], as_of: date, stops: Mapping[str, str]) -> str:
    """The record as JSON text, see the top of this module."""
    page = {
        "schema": TRACK_SCHEMA,
        "as_of": as_of.isoformat(),
        "how": HOW,
        "stops": stop_records(stops),
        "snapshots": [
            {
                "number": one.number,
                "as_of": one.as_of.isoformat(),
                "dates": len(one.outcomes),
                **_score_record(score(one.outcomes)),
            }
            for one in tracked
        ],
        "outcomes": [
            {
                "snapshot": one.number,
                "unit": plain(found.told.unit),
                "task": plain(found.told.task),
                "early": found.told.early.isoformat() if found.told.early else None,
                "late": found.told.late.isoformat() if found.told.late else None,
                "reached_on": found.reached_on.isoformat() if found.reached_on else None,
                "place": found.place,
            }
            for one in tracked
            for found in one.outcomes
            if found.place or found.reached_on
        ],
        "moved": [{"snapshot": one.number} | moved_record(row) for one in tracked for row in one.moved],
    }
    return json_text(stops_first(page, stops))


def _score_record(held: Score) -> dict[str, int]:
    return {"judged": held.judged, "before": held.before, "within": held.within, "after": held.after}
