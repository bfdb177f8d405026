"""What is to be followed up after visits, by station, for people and as JSON.

JSON is one object:

    schema     "tapwear.followups/1"; the number rises when a field changes its meaning or goes away
    as_of      the day as of which everything is said [ISO date]
    caution    what to keep in mind before any work
    stops      [{stop, unit}]: stopped units: nobody goes there before the engineer says so
    severe     their tags
    followups  [{stop, station, unit, kind, compartment, place, words, first_on, last_on, times, origin, well_on,
               closed_on, closed_words, by, severe}], open ones first, then by station and unit; stop: what stands
               at the unit
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date

from tapwear.outlook.followups import FollowUp
from tapwear.report.frames import stop_records, stops_first
from tapwear.report.page import Block, Line, table
from tapwear.report.plain import json_text
from tapwear.words import CAUTION_SHORT, FOLLOWUP_KINDS, stop_notice

FOLLOWUPS_SCHEMA = "tapwear.followups/1"


def by_station(found: Sequence[FollowUp], stations: Mapping[str, str]) -> list[FollowUp]:
    """Open ones first, then by station and unit. stations : where each unit stands."""
    return sorted(found, key=lambda one: (one.closed_on is not None, stations.get(one.unit, ""), one.unit))


def followups_page(
    found: Sequence[FollowUp], stations: Mapping[str, str], stops: Mapping[str, str], as_of: date
) -> list[Block]:
    """The list in reading order: stopped units first and apart, for the engineer; then station by station.

    stops : of stopped units, by tag, what stands first in their rows
    """
    count = sum(1 for one in found if one.closed_on is None)
    rows = by_station(found, stations)
    stopped = [one for one in rows if one.unit in stops]
    blocks = []
    if stopped:
        notice = stop_notice(*dict.fromkeys(one.unit for one in stopped))
        blocks.append(Block(f"{notice} For the engineer alone:", tuple(_table(stopped, stops)), loud=True))
    blocks.append(Block(f"To follow up, as of {as_of}", (Line(f"{count:,} open."),)))
    for station in dict.fromkeys(stations.get(one.unit, "") for one in rows):
        mine = [one for one in rows if stations.get(one.unit, "") == station and one.unit not in stops]
        if mine:
            blocks.append(Block(f"Station {station or 'not recorded'}", tuple(_table(mine, stops))))
    return blocks


def _table(rows: Sequence[FollowUp], stops: Mapping[str, str]) -> list[Line]:
    cells = [[one.unit, FOLLOWUP_KINDS[one.kind], one.first_on.isoformat(), one.sentence] for one in rows]
    return table(["unit", "kind", "since", ""], cells, stops=[stops.get(one.unit, "") for one in rows])


def followups_json(
    found: Sequence[FollowUp], stations: Mapping[str, str], stops: Mapping[str, str], as_of: date
) -> str:
    """The list as JSON text, see the top of this module."""
    rows = []
    for one in by_station(found, stations):
        rows.append({"station": stations.get(one.unit, ""), **asdict(one), "severe": one.unit in stops})
    page = {
        "schema": FOLLOWUPS_SCHEMA,
        "as_of": as_of.isoformat(),
        "caution": CAUTION_SHORT,
        "stops": stop_records(stops),
        "severe": sorted(stops),
        "followups": rows,
    }
    return json_text(stops_first(page, stops), default=str)
