"""What `unit show` and `unit list` print: plain lines, or JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from tapwear.cli.entering import in_words
from tapwear.report.plain import json_text, plain
from tapwear.words import limits_words

if TYPE_CHECKING:
    from tapwear.store.overview import UnitLine, UnitSheet

_WORDS = {
    "serial": "serial number",
    "rated_current_a": "rated through-current [A]",
    "step_voltage_v": "step voltage [V]",
    "commissioned_on": "commissioned on",
    "sampling_needs_outage": "sampling needs an outage",
    "visit_cadence": "visits",
}


def as_json(what: UnitSheet | Sequence[UnitLine], stops: Mapping[str, str], still_open: Sequence[str] = ()) -> str:
    """The sheet or the list as JSON, what stands at each unit first; dates as ISO text.

    stops : of stopped units, by tag, what stands first in their rows. still_open : of the sheet, a sentence each
    """

    def record(one: UnitSheet | UnitLine) -> dict[str, Any]:
        return {"stop": stops.get(one.tag, ""), **asdict(one)}

    return json_text(
        [record(line) for line in what] if isinstance(what, Sequence) else {**record(what), "open": list(still_open)},
        default=str,
    )


def list_page(lines: Sequence[UnitLine], stops: Mapping[str, str]) -> str:
    """The units in columns."""
    from tapwear.report.terminal import columns

    rows = [
        (
            line.tag,
            line.station,
            line.bank,
            line.phase,
            line.state,
            line.serial,
            line.technology.replace("_", " "),
            str(line.last_reading_on or ""),
        )
        for line in lines
    ]
    headings = ("unit", "station", "bank", "phase", "state", "serial", "technology", "last reading")
    return "\n".join(columns(headings, rows, stops=[stops.get(line.tag, "") for line in lines])) if rows else ""


def sheet_page(sheet: UnitSheet, still_open: Sequence[str]) -> str:
    """One unit, section by section. still_open : noted conditions and follow-ups, a sentence each"""
    now = sheet.stays[-1]
    facts = [("unit", sheet.tag), ("place", now.where), ("state", now.state)]
    facts += [
        (_WORDS.get(name, name.replace("_", " ")), in_words(value).replace("arcing_", "arcing "))
        for name, value in sheet.fields.items()
        if value
    ]
    facts += [("scheme", sheet.scheme)] if sheet.scheme else []
    facts += [("transformer", now.transformer_serial)] if now.transformer_serial else []
    facts += [("main tank [L]", in_words(now.main_tank_volume_l))] if now.main_tank_volume_l else []
    facts += [
        (f"compartment {name}".rstrip(), (f"{volume:g} L" if volume else "oil volume not known") + _serial_of(serial))
        for name, volume, serial in sheet.compartments
    ]
    parts = [
        _section("", facts),
        _section("Open", [("-", words) for words in still_open]),
        _section("Drives and counters", _drives(sheet)),
        _section("Service rules", _rules(sheet)),
    ]
    stays = [(f"since {stay.from_on or 'always'}", f"{stay.where}, {stay.state}") for stay in sheet.stays]
    parts.append(_section("Where it stood", stays))
    book = [(f"{name}s", str(number)) for name, number in sheet.rows.items()]
    if sheet.last_service:
        book.append(("last service", f"{sheet.last_service[1]} on {sheet.last_service[0]}"))
    if sheet.last_sample_on:
        book.append(("last sample", str(sheet.last_sample_on)))
    parts.append(_section("In the book", book))
    history = [
        (
            f"{at:%Y-%m-%d}",
            f"{field.replace('_', ' ')}: {before or 'nothing'} -> {after or 'nothing'}, by {by}{_why(reason)}",
        )
        for at, by, field, before, after, reason in sheet.changes
    ]
    parts.append(_section("Changes of the register", history))
    return "\n\n".join(part for part in parts if part)


def _drives(sheet: UnitSheet) -> list[tuple[str, str]]:
    lines = []
    for slot, counters in sheet.drives.items():
        by_source: dict[str, list[str]] = {}
        for source, digits in counters:
            by_source.setdefault(source, []).append(str(digits))
        words = "; ".join(f"{source}, {' then '.join(digits)} digits" for source, digits in by_source.items())
        last = sheet.last_readings.get(slot)
        if last:
            words += f"; last reading {last[1]} on {last[0]}" + (f" by {last[2]}" if last[2] else "")
        if slot in sheet.last_doubts:
            words += f" ({sheet.last_doubts[slot]})"
        lines.append((f"drive {slot}", words))
    return lines


def _rules(sheet: UnitSheet) -> list[tuple[str, str]]:
    lines = []
    for task, rule in sheet.rules.items():
        limits = limits_words(rule["interval_operations"], rule["interval_years"])
        weight = f", weighted by current, exponent {rule['current_exponent']:g}" if rule["current_exponent"] else ""
        source = f" ({rule['provenance']})" if rule["provenance"] else ""
        lines.append((task, f"every {limits}" + weight + source))
    return lines


def _serial_of(serial: str | None) -> str:
    return f", serial number {serial}" if serial else ""


def _why(reason: str) -> str:
    return f" ({reason})" if reason else ""


def _section(title: str, lines: Sequence[tuple[str, str]]) -> str:
    if not lines:
        return ""
    width = max(len(plain(name)) for name, _ in lines)
    body = [f"  {plain(name):<{width}}  {plain(words)}" for name, words in lines]
    return "\n".join([title, *body] if title else [line[2:] for line in body])
