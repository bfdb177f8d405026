"""What is to be followed up after visits, by station, for people and as JSON.

JSON is one object:

    schema     "tapwear.followups/1"; the number rises when a field changes its meaning or goes away
    as_of      the day as of which everything is said [ISO date]
    caution    what to keep in mind before any work
    severe     tags of units with a severe finding: nobody goes there before the engineer says so
    followups  [{station, unit, kind, compartment, place, words, first_on, last_on, times, origin, well_on, closed_on,
               closed_words, by, severe}], open ones first, then by station and unit
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict
from datetime import date

from tapwear.outlook.followups import FollowUp
from tapwear.report.page import Block, Line, table
from tapwear.report.plain import json_text
from tapwear.words import CAUTION_SHORT, FOLLOWUP_KINDS, stop_notice

FOLLOWUPS_SCHEMA = "tapwear.followups/1"


def by_station(found: Sequence[FollowUp], stations: Mapping[str, str]) -> list[FollowUp]:
    """Open ones first, then by station and unit. stations : where each unit stands."""
    return sorted(found, key=lambda one: (one.closed_on is not None, stations.get(one.unit, ""), one.unit))


def followups_page(
    found: Sequence[FollowUp], stations: Mapping[str, str], severe: Collection[str], as_of: date
) -> list[Block]:
    """The list in reading order, station by station; units with a severe finding stand apart, for the engineer."""
    count = sum(1 for one in found if one.closed_on is None)
    blocks = [Block(f"To follow up, as of {as_of}", (Line(f"{count:,} open."),))]
    rows = by_station(found, stations)
    for station in dict.fromkeys(stations.get(one.unit, "") for one in rows):
        mine = [one for one in rows if stations.get(one.unit, "") == station and one.unit not in severe]
        if mine:
            blocks.append(Block(f"Station {station or 'not recorded'}", tuple(_table(mine))))
    stopped = [one for one in rows if one.unit in severe]
    if stopped:
        notice = stop_notice(*dict.fromkeys(one.unit for one in stopped))
        blocks.append(Block(f"For the engineer alone. {notice}", tuple(_table(stopped)), loud=True))
    return blocks


def _table(rows: Sequence[FollowUp]) -> list[Line]:
    cells = [[one.unit, FOLLOWUP_KINDS[one.kind], one.first_on.isoformat(), one.sentence] for one in rows]
    return table(["unit", "kind", "since", ""], cells)


def followups_json(
    found: Sequence[FollowUp], stations: Mapping[str, str], severe: Collection[str], as_of: date
) -> str:
    """The list as JSON text, see the top of this module."""
    rows = []
    for one in by_station(found, stations):
        rows.append({"station": stations.get(one.unit, ""), **asdict(one), "severe": one.unit in severe})
    page = {
        "schema": FOLLOWUPS_SCHEMA,
        "as_of": as_of.isoformat(),
        "caution": CAUTION_SHORT,
        "severe": sorted(severe),
        "followups": rows,
    }
    return json_text(page, default=str)
