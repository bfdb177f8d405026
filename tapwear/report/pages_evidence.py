"""The evidence on a unit's page: its counter and forecast, its readings with their doubts, its oil; with drawings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from tapwear.oil.types import RESETS
from tapwear.outlook.types import Due
from tapwear.report.charts_svg import GasPanel, count_svg, gas_svg
from tapwear.report.due_words import chance_words, count_words, sentence
from tapwear.report.frames import day_of, given, newest
from tapwear.report.oil_unit import OilUnit, Row, gas_text, next_sample, number
from tapwear.report.oil_words import call_sentence, finding_lines, joined, rate_words
from tapwear.report.pages_parts import Drawing, Section, Table, table, tables
from tapwear.report.stories import Subject
from tapwear.report.why_count import Drawn, bands_words, drawn_from
from tapwear.report.why_oil import SHOWN_GASES

# Our choices: how much of a long history a page shows.
READINGS_SHOWN, DOUBTFUL_SHOWN, SAMPLES_SHOWN, TANK_SHOWN = 5, 20, 6, 3
DRAWN_GASES = ("acetylene", "ethylene")
UNSURE = 0.9  # a used reading less likely than this to be right as understood is told with its chance


def count_section(subject: Subject, lead: Due | None, key: str) -> Section:
    """The rate in words, then the operations with the forecast."""
    story = subject.story
    if story is None:
        return Section("Count of operations", ("No usable reading.",))
    sentences = tuple(sentence(words) for words in story.rate_words)
    drawn = drawn_from(story, lead, subject.as_of)
    if len({*drawn.days, *drawn.ahead}) < 2:
        return Section("Count of operations", sentences or ("No usable reading.",))
    due = (lead.early, lead.late) if lead is not None and lead.known else (None, None)
    since = f"since the service of {drawn.start}" if drawn.from_service else f"since {drawn.start}"
    title = f"Operations of {subject.unit}{story.of_drive.replace(' of', ',')} {since}"
    svg = count_svg(drawn, subject.as_of, key=f"{key}n", title=title, about=_count_about(drawn, due), due=due)
    caption = (
        f"Operations{story.of_drive} {since}. Dashes: the forecast; grey: its range, right 8 times in 10. "
        "The bar at the top reaches from the early to the late date."
    )
    rests = (bands_words(story.past_errors, story.own_settings),)
    return Section("Count of operations", sentences, drawings=(Drawing(svg, caption),), after=rests)


def _count_about(drawn: Drawn, due: tuple[date | None, date | None]) -> str:
    """The drawing in words, for who cannot see it."""
    words = [f"{count_words(drawn.operations[-1])} operations by {drawn.days[-1]}"] if drawn.days else []
    if drawn.ahead:
        low, high = count_words(drawn.low[-1]), count_words(drawn.high[-1])
        words.append(f"forecast for {drawn.ahead[-1]}: {low} to {high}")
    words += [f"interval {count_words(drawn.limit)}"] if drawn.limit is not None else []
    words += [f"early date {due[0]}" + (f", late date {due[1]}" if due[1] else "")] if due[0] else []
    return "; ".join(words) + "."


def readings_section(subject: Subject) -> Section:
    """Doubtful readings, each with the reason; and the latest ones, in a line where there is nothing to say of them."""
    story = subject.story
    if story is None or story.readings.empty:
        return Section("Counter readings", ("None is recorded.",))
    everything = newest(story.readings, "read_on", None)
    doubtful = [row for row in everything if row["status"] == "doubtful"]
    beside = [row for row in everything if row["status"] == "left aside"]
    rest = [row for row in everything if row["status"] not in ("doubtful", "left aside")]
    are = "are" if len(doubtful) > 1 else "is"
    sentences = [f"{len(doubtful)} of {len(doubtful) + len(rest)} readings {are} doubtful: kept, and not relied on."]
    if not doubtful:
        sentences = [f"None of {len(rest)} readings is doubtful."]
    if beside:
        reasons = ", ".join(dict.fromkeys(str(row["reason"]) for row in beside))
        sentences.append(f"{len(beside)} more are left aside: {reasons}.")
    sentences += _older(len(doubtful), DOUBTFUL_SHOWN, "doubtful ones")
    sources = {str(row["source"]) for row in rest} - {"mechanical"}
    latest = rest[:READINGS_SHOWN]
    plain_ones = bool(latest) and not sources and not any(_note(row) for row in latest)
    if plain_ones:  # a line instead of a table, so that a unit keeps to its two sheets
        drives = [f" (drive {row['drive']})" if story.drive else "" for row in latest]
        values = [f"{int(row['value']):,}{drive}" for row, drive in zip(latest, drives, strict=True)]
        said = [f"{value} on {day_of(row['read_on'])}" for row, value in zip(latest, values, strict=True)]
        sentences.append(f"Latest: {'; '.join(said)}.")
    found = [
        table(
            f"{kind} readings of {subject.unit}",
            (f"{kind} readings", "counter", "drive", "source", "why"),
            [
                (
                    day,
                    f"{int(row['value']):,}",
                    str(row["drive"]) if story.drive else "",
                    str(row["source"]) if sources else "",
                    _note(row),
                )
                for row in rows[:shown]
                if (day := str(day_of(row["read_on"])))
            ],
            ("counter",),
        )
        for kind, rows, shown in (
            ("Doubtful", doubtful, DOUBTFUL_SHOWN),
            ("Latest", () if plain_ones else latest, READINGS_SHOWN),
        )
    ]
    return Section("Counter readings", tuple(sentences), tables=tables(*found))


def _note(row: dict[str, Any]) -> str:
    """What is to be said about a reading; nothing about most of them."""
    status, reason, probability = str(row["status"]), str(row["reason"]), float(row["probability"])
    said = [status] if status not in ("used", "doubtful") else []
    said += [reason] if reason else []
    if status == "used" and probability < UNSURE:
        said.append(f"right as understood: {chance_words(probability)}")
    return "; ".join(said)


def oil_section(tag: str, oil: OilUnit | None, key: str, *, severe: bool) -> Section:
    """What the oil says and why, a drawing per compartment, the limits set, the latest samples.

    With a severe finding nothing here suggests a further sample, oil work or a visit.
    """
    if oil is None:
        return Section("Oil", ("No recent oil sample: no sample is recorded.",))
    sentences = [call_sentence(oil)]
    verdict = oil.verdict
    if verdict is not None:
        sentences += [joined(finding_lines(finding)) for finding in verdict.findings]
        sentences += [rate_words(verdict.trend)] if verdict.trend else []
        if not severe:
            sentences += [joined(finding_lines(work, "Oil work, no reason to open: ")) for work in verdict.oil_work]
    if oil.limits:
        limits = (f"{name.replace('_', ' ')} {limit.value:g} ({limit.source})" for name, limit in oil.limits.items())
        sentences.append(f"Limits set: {', '.join(limits)}.")
    renewed = [f"{day} {kind.replace('_', ' ')}" for day, kind in oil.events]
    sentences += [f"What happened to the oil: {', '.join(renewed[::-1])}."] if renewed else []
    sentences += [] if severe else [f"Next sample, as advice: {next_sample(oil).words}"]
    drawings = [one for i, name in enumerate(oil.compartments()) for one in _gas_drawing(oil, name, f"{key}g{i}")]
    found, after = [], []
    for place in (*oil.compartments(), None):  # None: the main tank
        rows, shown = oil.rows(place), TANK_SHOWN if place is None else SAMPLES_SHOWN
        found.append(_samples(tag, place, rows[:shown]))
        after += _older(len(rows), shown, "samples", f" of the {_where(place)}")
    return Section("Oil", tuple(sentences), drawings=tuple(drawings), tables=tables(*found), after=tuple(after))


def _older(count: int, shown: int, what: str, of: str = "") -> list[str]:
    left = count - shown
    return [f"{left} older {what if left > 1 else what.removesuffix('s')}{of} not shown."] if left > 0 else []


def _where(compartment: str | None) -> str:
    """Which compartment, `compartment` for the only one; the main tank for None."""
    return "main tank" if compartment is None else f"compartment {compartment}".rstrip()


def _gas_drawing(oil: OilUnit, compartment: str, key: str) -> list[Drawing]:
    """Acetylene and ethylene of one compartment that has two samples or more."""
    rows = [row for row in oil.rows(compartment)[::-1] if day_of(row["sampled_on"])]
    panels = []
    for gas in DRAWN_GASES:
        own = [(day, row) for row in rows if given(row.get(gas)) and (day := day_of(row["sampled_on"]))]
        if len({day for day, _ in own}) > 1:
            limit = oil.limits[gas].value if gas in oil.limits else None
            values = tuple(float(row[gas]) for _, row in own)
            below = tuple(bool(row.get(f"{gas}_below")) for _, row in own)
            panels.append(GasPanel(f"{gas} [ppm]", tuple(day for day, _ in own), values, below, limit))
    if not panels:
        return []
    resets = [day for day in oil.happened(*RESETS) if day <= oil.as_of]
    name = f", compartment {compartment}" if compartment else ""
    about = "; ".join(
        f"{panel.name} from {panel.values[0]:g} on {panel.days[0]} to {panel.values[-1]:g} on {panel.days[-1]}, "
        f"highest {max(panel.values):g}"
        for panel in panels
    )
    svg = gas_svg(panels, resets, oil.as_of, key=key, title=f"Gases in the oil of {oil.unit}{name}", about=f"{about}.")
    caption = f"Gases in the oil{name}. Open dots lie below the laboratory's limit."
    caption += " Upright lines: the oil began anew; nothing is joined across them." if resets else ""
    caption += " Dashes across: the limit set." if any(panel.limit is not None for panel in panels) else ""
    return [Drawing(svg, caption)]


def _samples(tag: str, compartment: str | None, rows: Sequence[Row]) -> Table:
    """Samples of one compartment, or of the main tank for None, newest first."""
    where = _where(compartment)
    gases = [short for _, short in SHOWN_GASES]
    headings = (f"sampled, {where}", *gases, "water [mg/kg]", "breakdown [kV]", "laboratory")
    body = [
        (
            str(day_of(row["sampled_on"])),
            *(gas_text(row, gas) for gas, _ in SHOWN_GASES),
            number(row.get("moisture_mg_per_kg")),
            _breakdown(row),
            str(row.get("laboratory") or ""),
        )
        for row in rows
    ]
    return table(f"Samples of {tag}, {where}", headings, body, headings[1:-1])


def _breakdown(row: Row) -> str:
    """Breakdown voltage with its method, since methods do not convert."""
    words = number(row.get("breakdown_kv"))
    method, gap = str(row.get("breakdown_method") or ""), row.get("breakdown_gap_mm")
    if not words or not method:
        return words
    return f"{words} ({method}{f', {number(gap)} mm' if given(gap) else ''})"
