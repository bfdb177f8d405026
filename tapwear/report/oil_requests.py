"""Which units to sample next, by station, each with a text for the laboratory and one for the bottle's label.

On the list are the units whose oil asks for a confirming sample, and those whose routine or baseline sample is
overdue; first those whose oil wants them opened, in days to weeks. A stopped unit is never on it, nor one whose oil is
low: nobody samples that.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from tapwear.oil.types import GASES
from tapwear.outlook.signs import STAYS
from tapwear.report.bottle import COMPARTMENT, boxed, label_text
from tapwear.report.frames import given
from tapwear.report.oil_unit import TANK_FINDING, OilUnit, Row, next_sample, number
from tapwear.report.oil_words import indented
from tapwear.report.page import Block, Line, fixed, stop_blocks
from tapwear.words import CAUTIONS, stop_notice

TANK = "main tank"


@dataclass(frozen=True)
class Bottle:
    """One sample to take: where from, how the last one there was examined, and the two texts."""

    taken_from: str  # "main tank", or the tap-changer compartment with its name
    serial: str
    last_sampled_on: date | None
    request: tuple[str, ...]
    label: tuple[str, ...]


@dataclass(frozen=True)
class Request:
    """One unit to sample, by when and why."""

    unit: str
    station: str
    station_name: str
    place: str
    by: date
    why: str
    words: str
    needs_outage: bool
    bottles: tuple[Bottle, ...]


@dataclass(frozen=True)
class ResampleList:
    """The requests, alarms first, then by station and date; and the units that are not on the list, with the reason."""

    as_of: date
    requests: tuple[Request, ...]
    severe: tuple[tuple[str, str], ...]  # unit, station
    never_sampled: tuple[str, ...]
    not_in_service: tuple[str, ...]
    low_oil: tuple[str, ...] = ()
    bank_stopped: tuple[str, ...] = ()
    stops: Mapping[str, str] = field(default_factory=dict)  # of severe units, what stands first in their rows


def resample_list(units: Iterable[OilUnit], as_of: date) -> ResampleList:
    """Who is to be sampled: alarms, flagged units, and those whose routine or baseline sample is overdue."""
    requests: list[Request] = []
    stops: dict[str, str] = {}
    low: list[str] = []
    bank: list[str] = []
    severe: list[tuple[str, str]] = []
    never: list[str] = []
    resting: list[str] = []
    for unit in units:
        advice = next_sample(unit)
        if advice.why == "severe":
            severe.append((unit.unit, str(unit.identity.get("station") or "")))
            stops[unit.unit] = unit.stop
        elif advice.why == "bank stopped":
            bank.append(unit.unit)
        elif advice.why == "low oil":
            low.append(unit.unit)
        elif advice.why == "first":
            never.append(unit.unit)
        elif advice.why == "not in service" and unit.state != "retired":
            resting.append(unit.unit)
        elif advice.by is not None and (advice.why in ("alarm", "flagged") or advice.by < as_of):
            requests.append(_request(unit, advice.by, advice.why, advice.words))
    requests.sort(key=lambda one: (one.why != "alarm", one.station, one.by, one.unit))
    return ResampleList(
        as_of,
        tuple(requests),
        tuple(sorted(severe)),
        never_sampled=tuple(sorted(never)),
        not_in_service=tuple(sorted(resting)),
        low_oil=tuple(sorted(low)),
        bank_stopped=tuple(sorted(bank)),
        stops=dict(sorted(stops.items())),
    )


def _request(unit: OilUnit, by: date, why: str, words: str) -> Request:
    row = unit.identity
    found = unit.verdict.findings if unit.verdict else ()
    drawn: list[str | None] = [*(unit.compartments() or [""])]
    if why in ("alarm", "flagged") and any(finding.kind == TANK_FINDING for finding in found):
        drawn.append(None)
    return Request(
        unit=unit.unit,
        station=str(row.get("station") or ""),
        station_name=str(row.get("station_name") or ""),
        place=unit.place,
        by=by,
        why=why,
        words=words,
        needs_outage=unit.needs_outage,
        bottles=tuple(_bottle(unit, compartment, why) for compartment in drawn),
    )


def _bottle(unit: OilUnit, compartment: str | None, why: str) -> Bottle:
    rows = unit.rows(compartment)
    last = rows[0] if rows else None
    taken_from = TANK if compartment is None else f"{COMPARTMENT} {compartment}".rstrip()
    serials = (str(row.get("compartment_serial") or "") for row in rows)
    own = next((serial for serial in serials if serial), "")
    changer = str(unit.identity.get("serial") or "")
    transformer = str(unit.identity.get("transformer_serial") or "")
    serial = transformer if compartment is None else own or changer
    day = last["sampled_on"].date() if last else None
    return Bottle(
        taken_from=taken_from,
        serial=serial,
        last_sampled_on=day,
        request=tuple(_laboratory_text(unit, taken_from, serial, last, why)),
        label=tuple(_label_text(unit, taken_from, serial)),
    )


def _laboratory_text(unit: OilUnit, taken_from: str, serial: str, last: Row | None, why: str) -> list[str]:
    """What the laboratory is asked for; the same test method as before, since methods do not convert."""
    gases = ", ".join(gas.replace("_", " ") for gas in GASES)
    what = "on-load tap changer of " if taken_from != TANK else "transformer beside tap changer "
    lines = [
        f"Sample from the {taken_from}, {what}{unit.unit}, {unit.place}; serial {serial or 'not recorded'}.",
        f"Dissolved gas in µL/L by ASTM D3612 or IEC 60567: {gases}.",
        "Please state the detection limit of every gas, and the temperature that gas volumes refer to.",
        "Water in mg/kg.",
    ]
    method, gap = (last.get("breakdown_method"), last.get("breakdown_gap_mm")) if last else (None, None)
    how = ", ".join(part for part in (str(method or ""), f"gap {number(gap)} mm" if given(gap) else "") if part)
    if how:
        lines.append(f"Breakdown voltage by the same method as before ({how}), or none: methods do not convert.")
    else:
        lines.append("Breakdown voltage in kV, with method and gap.")
    if last:
        laboratory = f" by {last['laboratory']}" if last.get("laboratory") else ""
        reference = f", reference {last['reference']}" if last.get("reference") else ""
        lines.append(f"The last sample there: {last['sampled_on'].date()}{laboratory}{reference}.")
    if why in ("alarm", "flagged"):
        lines.append("It follows an unusual result: please report by telephone as soon as it is known.")
    return lines


def _label_text(unit: OilUnit, taken_from: str, serial: str) -> list[str]:
    """The bottle's label, with lines to fill in."""
    name = str(unit.identity.get("station_name") or "")
    station = str(unit.identity.get("station") or "")
    where = f"{unit.place} {name}".rstrip() if name and name != station else unit.place
    return label_text(unit.unit, serial, taken_from, where)


def requests_page(listed: ResampleList) -> list[Block]:
    """The list in reading order: by station, each unit with its reasons, its laboratory text and its labels."""
    count = len(listed.requests)
    flagged = sum(1 for one in listed.requests if one.why == "flagged")
    alarmed = [one.unit for one in listed.requests if one.why == "alarm"]
    head = [f"{STAYS} {', '.join(alarmed)}."] if alarmed else []
    head += [f"{count} unit{'s' if count != 1 else ''} to sample, {flagged} of them to confirm what the oil shows."]
    head += [CAUTIONS[2], "Confirm station, bank and serial number on the nameplate before a sample is drawn."]
    blocks = stop_blocks(listed.stops)
    blocks.append(Block(f"Oil samples to take, as of {listed.as_of}", tuple(Line(line) for line in head)))
    outside = _left_out(listed)
    blocks += [Block("Not on the list", tuple(Line(line) for line in outside))] if outside else []
    begun = None
    for one in listed.requests:
        station, alarm = one.station, one.why == "alarm"
        if (station, alarm) != begun:
            begun = (station, alarm)
            name = f" ({one.station_name})" if one.station_name and one.station_name != one.station else ""
            own = [other for other in listed.requests if (other.station, other.why == "alarm") == begun]
            words = ", ".join(f"{other.unit} by {other.by}" for other in own)
            stop = [tag for tag, where in listed.severe if where == station]
            warned = [Line(stop_notice(*stop))] if stop else []
            blocks.append(Block(f"Station {one.station or 'not recorded'}{name}", (*warned, Line(words))))
        blocks.append(Block(f"{one.unit}   {one.place}   by {one.by}", tuple(_unit_lines(one))))
    return blocks


def _unit_lines(one: Request) -> list[Line]:
    lines = [Line(one.words)]
    for bottle in one.bottles:
        lines += [Line(""), Line("For the laboratory:"), *(indented(text) for text in bottle.request)]
        lines += [Line(""), Line("For the bottle:"), *fixed(boxed(bottle.label))]
    return lines


def _left_out(listed: ResampleList) -> list[str]:
    lines = []
    if listed.severe:
        lines.append(stop_notice(*(tag for tag, _ in listed.severe)))
    if listed.bank_stopped:
        lines.append(f"In the bank of a stopped unit, so nobody goes near: {', '.join(listed.bank_stopped)}.")
    if listed.low_oil:
        lines.append(f"Oil level low, so no oil is drawn: {', '.join(listed.low_oil)}.")
    if listed.never_sampled:
        lines.append(f"Never sampled, so no interval runs: {', '.join(listed.never_sampled)}.")
    if listed.not_in_service:
        lines.append(f"Not in service: {', '.join(listed.not_in_service)}.")
    return lines
