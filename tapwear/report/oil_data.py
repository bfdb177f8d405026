"""The oil as data: JSON with a schema that carries its version.

schema    "tapwear.oil/1"; the number rises when a field changes its meaning or goes away
kind      "unit", "fleet" or "requests"
as_of     the day as of which everything is said [ISO date]
caution   what to keep in mind before any work; with a severe finding, that first

kind "unit"
  unit      {the fields of UNIT_FIELDS}
  samples   [{the headings of `samples` of the store's book; gases in µL/L, `<gas>_below` true where the value is the
            detection limit; ratio_ethylene_acetylene, ratio_hydrocarbons_acetylene, null where there is too little
            gas}], oldest first; those of the main tank have taken_from "main_tank"
  events    [{on, kind}]: what happened to the oil, oldest first

kind "fleet"
  groups    [{name, technology, breathing, units, compared, members: [{the fields of UNIT_FIELDS}]}]: like units, each
            group's members from the highest newest acetylene down

kind "requests"
  stops     [{stop, unit}]: stopped units, which nobody samples
  requests  [{stop, unit, station, place, by, why, words, needs_outage, bottles: [{taken_from, serial, last_sampled_on,
            request, label}]}]: those that wait for the engineer (why: alarm) first, then by station and date; request
            and label are lists of lines
  left_out  {severe, bank_stopped, low_oil, never_sampled, not_in_service}: tags of units that are not on the list

Every record of a unit begins with `stop`: what stands there, blank for nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date
from typing import Any

from tapwear.report.frames import json_values, stop_records, stops_first
from tapwear.report.oil_fleet import LikeGroup, Member, place_words
from tapwear.report.oil_requests import ResampleList
from tapwear.report.oil_unit import HOT_GASES, OilUnit, limits_seen, next_sample, ratio
from tapwear.report.oil_words import call_sentence
from tapwear.report.plain import json_text
from tapwear.words import CAUTION_SHORT, CAUTIONS, stop_notice

OIL_SCHEMA = "tapwear.oil/1"

# name -> meaning of every field of a unit, in order
UNIT_FIELDS: dict[str, str] = {
    "stop": "STOP since the day of its evidence, or what an engineer released it for; blank: nothing stands",
    "unit": "the owner's asset tag",
    "station": "station where it stands",
    "place": "station, bank and phase",
    "state": "in service, spare, workshop or retired",
    "technology": "arcing_resistor, arcing_reactor, vacuum; blank where not recorded",
    "breathing": "free, desiccant, sealed; blank where not recorded",
    "oil_group": "group of like equipment",
    "oil_volume_l": "oil in the compartment [L]",
    "sampling_needs_outage": "true: it can be sampled only in an outage",
    "call": "pull forward, resample, nothing unusual, no oil evidence",
    "call_words": "the same as a sentence",
    "severe": "a stop is open at the unit: possible arcing or overheating",
    "open_by_early": "where the call is pull forward: open by this day with 10 % [ISO date]",
    "open_by_middle": "the same with 50 %",
    "open_by_late": "the same with 90 %; not approval to wait",
    "resample_by": "take a confirming sample by this day [ISO date]; null with a severe finding",
    "next_sample_from": "next sample not before, as advice [ISO date]; null with a severe finding",
    "next_sample_by": "next sample by, as advice [ISO date]; null with a severe finding",
    "next_sample_words": "the same as a sentence",
    "findings": "[{kind, words, figures, source, standing}]: why",
    "oil_work": "[{the same}]: asks for oil work, never for opening; empty with a severe finding",
    "trend": "acetylene since the last reset with its 80 % interval: {rate_ul_per_l_per_year, rate_low, rate_high, "
    "samples, since, ml_per_1000_operations, ml_per_1000_low, ml_per_1000_high}, or null",
    "last_sample_on": "newest sample [ISO date]",
    "samples_used": "samples since the last reset that count",
    "evidence_since": "the reset after which samples count [ISO date]",
    "newest_acetylene": "of a sample recent enough to compare [µL/L], the detection limit where it is below",
    "newest_acetylene_below": "true: below that detection limit",
    "newest_acetylene_on": "day of that sample [ISO date]",
    "like_units": "number of other units it is compared with; 0 where there are too few",
    "share_of_like_units_lower": "share of these with less acetylene [0-1]; null where not compared",
    "place_words": "the same in words",
}


def unit_record(unit: OilUnit, like: Member | None) -> dict[str, Any]:
    """One unit as plain values. Keys: UNIT_FIELDS."""
    row, verdict, advice = unit.identity, unit.verdict, next_sample(unit)
    call = verdict.call if verdict else "no oil evidence"
    kept = asdict(verdict) if verdict else {}
    return {
        "stop": unit.stop,
        "unit": unit.unit,
        "station": row.get("station") or "",
        "place": unit.place,
        "state": unit.state,
        **{name: row.get(name) or "" for name in ("technology", "breathing", "oil_group")},
        "oil_volume_l": row.get("oil_volume_l"),
        "sampling_needs_outage": unit.needs_outage,
        "call": call,
        "call_words": call_sentence(unit),
        "severe": unit.severe,
        **{name: kept.get(name) for name in ("open_by_early", "open_by_middle", "open_by_late")},
        "resample_by": None if unit.severe else kept.get("resample_by"),
        "next_sample_from": advice.earliest,
        "next_sample_by": advice.by,
        "next_sample_words": advice.words,
        "findings": kept.get("findings", ()),
        "oil_work": () if unit.severe else kept.get("oil_work", ()),
        "trend": kept.get("trend"),
        "last_sample_on": kept.get("last_sample_on"),
        "samples_used": kept.get("samples_used", 0),
        "evidence_since": kept.get("evidence_since"),
        "newest_acetylene": like.acetylene if like else None,
        "newest_acetylene_below": like.below if like else False,
        "newest_acetylene_on": like.sampled_on if like and like.acetylene is not None else None,
        "like_units": like.others if like else 0,
        "share_of_like_units_lower": like.share if like else None,
        "place_words": place_words(like) if like else "",
    }


def unit_json(unit: OilUnit, like: Member | None) -> str:
    """One unit with its samples, see the top of this module."""
    samples: list[dict[str, Any]] = []
    for compartment in (*unit.compartments(), None):
        rows = unit.rows(compartment)
        limits = limits_seen(rows)
        for row in rows:
            heat = None if compartment is None else ratio(row, ("ethylene",), "acetylene", limits)
            hot = None if compartment is None else ratio(row, HOT_GASES, "acetylene", limits)
            samples.append({**row, "ratio_ethylene_acetylene": heat, "ratio_hydrocarbons_acetylene": hot})
    samples.sort(key=lambda row: (row["sampled_on"], row["sample_id"]))
    events = [{"on": day, "kind": kind} for day, kind in reversed(unit.events)]
    content = {"unit": unit_record(unit, like), "samples": samples, "events": events}
    return _page("unit", unit.as_of, {unit.unit: unit.stop} if unit.severe else {}, content)


def fleet_json(groups: Sequence[LikeGroup], as_of: date) -> str:
    """The fleet by groups of like units, see the top of this module."""
    made = [
        {
            "name": group.name,
            "technology": group.technology,
            "breathing": group.breathing,
            "units": len(group.members),
            "compared": group.compared,
            "members": [unit_record(one.unit, one) for one in group.members],
        }
        for group in groups
    ]
    stops = {one.unit.unit: one.unit.stop for group in groups for one in group.members if one.unit.severe}
    return _page("fleet", as_of, stops, {"groups": made})


def requests_json(listed: ResampleList) -> str:
    """The samples to take, see the top of this module."""
    requests = [asdict(one) for one in listed.requests]
    for one in requests:
        del one["station_name"]
    left_out = {
        "severe": [tag for tag, _ in listed.severe],
        "bank_stopped": listed.bank_stopped,
        "low_oil": listed.low_oil,
        "never_sampled": listed.never_sampled,
        "not_in_service": listed.not_in_service,
    }
    content = {"stops": stop_records(listed.stops), "requests": requests, "left_out": left_out}
    return _page("requests", listed.as_of, listed.stops, content)


def _page(kind: str, as_of: date, stops: Mapping[str, str], content: dict[str, Any]) -> str:
    caution = CAUTION_SHORT if kind != "requests" else f"{CAUTION_SHORT} {CAUTIONS[2]}"
    caution = f"{stop_notice(*stops)} {caution}" if stops else caution
    head = {"schema": OIL_SCHEMA, "kind": kind, "as_of": as_of, "caution": caution}
    return json_text(stops_first(json_values(head | content), stops))
