"""The page about the oil of one unit: what it says and why, the samples with what happened between them, a chart."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from itertools import pairwise

from tapwear.oil.types import RESETS
from tapwear.report.charts_gas import GasLine, gas_chart, share_a_scale
from tapwear.report.due_words import sentence
from tapwear.report.frames import day_of, given
from tapwear.report.oil_fleet import LikeGroup, Member, place_words
from tapwear.report.oil_unit import HOT_GASES, OilUnit, Row, gas_text, limits_seen, next_sample, number, ratio
from tapwear.report.oil_words import call_sentence, finding_lines, rate_words
from tapwear.report.page import Block, Line, fixed
from tapwear.report.terminal import columns
from tapwear.report.why_oil import SHOWN_GASES
from tapwear.report.why_view import BREATHING, TECHNOLOGY
from tapwear.words import CAUTIONS, stop_notice

LEAST_SHOWN = 4  # samples, so that a young history still shows what was before the oil was renewed; our choice
TANK_SHOWN = 3
RANK_FINDING = "above like units"
TOO_LITTLE = "--"  # stands for a ratio where there is too little gas
RATIO_LEGEND = (
    "; e/a: ethylene to acetylene; h/a: methane, ethane and ethylene to acetylene; "
    f"{TOO_LITTLE}: too little gas for a ratio"
)
TANK_LEGEND = (
    "Acetylene to hydrogen above 2 to 3 suggests a leak from the compartment (IEC 60599; provisional rule). It never "
    "excludes arcing in the main tank."
)
CONSERVATOR = {"separate": "its own conservator", "common": "shares the conservator with the main tank"}
HAPPENED = {
    "oil_changed": "oil changed",
    "oil_degassed": "oil degassed",
    "overhaul": "overhaul",
    "breather_changed": "breather changed",
    "laboratory_changed": "laboratory changed",
}
CHART_GASES = ("acetylene", "ethylene")


def oil_page(
    unit: OilUnit,
    like: tuple[LikeGroup, Member] | None = None,
    *,
    width: int = 76,
    full: bool = False,
    ascii_only: bool = False,
) -> list[Block]:
    """The page's blocks in reading order.

    like : the unit's group and its place in it
    width : columns for charts; full : every sample instead of those since the oil was last renewed

    With a severe finding the page opens with it, and suggests no sample, exercise, oil work or visit.
    """
    blocks = [Block(stop_notice(unit.unit), loud=True)] if unit.severe else []
    blocks += [_identity(unit), _says(unit, like)]
    for compartment in unit.compartments():
        name = f" {compartment}" if compartment else ""
        rows = unit.rows(compartment)
        blocks.append(Block(f"Samples of the compartment{name}", tuple(_samples(unit, rows, full))))
        blocks += _charts(unit, rows, name, width, ascii_only)
    if not unit.compartments():
        blocks.append(Block("Samples of the compartment", (Line("None is recorded."),)))
    tank = unit.rows(None)
    if tank:
        blocks.append(Block("Main tank beside it", tuple(_tank(tank, full))))
    return blocks


def _identity(unit: OilUnit) -> Block:
    row = unit.identity
    volume, tank = row.get("oil_volume_l"), row.get("main_tank_volume_l")
    kind = (
        TECHNOLOGY.get(str(row.get("technology")), "how it interrupts is not recorded"),
        BREATHING.get(str(row.get("breathing")), "how it breathes is not recorded"),
        CONSERVATOR.get(str(row.get("conservator")), ""),
    )
    oil = (
        f"{number(volume)} L of oil in the compartment" if given(volume) else "oil volume of the compartment not known",
        f"{number(tank)} L in the main tank" if given(tank) else "",
        f"group of like equipment: {row.get('oil_group') or 'none recorded'}",
        f"serial {row['serial']}" if row.get("serial") else "serial not recorded",
        "" if unit.state == "in service" else unit.state,
    )
    lines = [Line(sentence("; ".join(part for part in parts if part))) for parts in (kind, oil)]
    if unit.needs_outage and not unit.severe:
        lines.append(Line("Can be sampled only in an outage."))
    name = str(row.get("station_name") or "")
    where = unit.place + (f" ({name})" if name and name != row.get("station") else "")
    return Block(f"{unit.unit}   {where}   oil as of {unit.as_of}", tuple(lines))


def _says(unit: OilUnit, like: tuple[LikeGroup, Member] | None) -> Block:
    """The call, why, how fast acetylene rises, its place among like units, and when to sample next."""
    verdict = unit.verdict
    lines = [Line(call_sentence(unit))]
    if verdict is not None:
        lines += [line for finding in verdict.findings for line in finding_lines(finding)]
        lines += [Line(rate_words(verdict.trend))] if verdict.trend else []
    told = {finding.kind for finding in verdict.findings} if verdict else set()
    if like is not None and like[1].acetylene is not None and RANK_FINDING not in told:
        group, member = like
        of = f" ({group.name}: {group.kind})" if group.name else f" ({group.kind})"
        among = "too few to compare" if member.share is None else place_words(member)
        lines.append(Line(f"Newest acetylene {member.acetylene_text} ppm; among like units {among}{of}."))
    if verdict is not None and not unit.severe:
        for work in verdict.oil_work:
            lines += finding_lines(work, "Oil work, no reason to open: ")
    lines += [Line(f"Limits set: {_limits_words(unit)}.")] if unit.limits else []
    if not unit.severe:
        advice = next_sample(unit).words
        lines.append(Line(f"Next sample, as advice: {advice[:1].lower()}{advice[1:]}"))
        lines.append(Line(CAUTIONS[2]))
    return Block("What the oil says", tuple(lines))


def _limits_words(unit: OilUnit) -> str:
    """The user's limits that hold for this unit, each with where it comes from."""
    return "; ".join(
        f"{name.replace('_', ' ')} {number(limit.value)} ({limit.source})"
        for name, limit in sorted(unit.limits.items())
    )


def _samples(unit: OilUnit, rows: Sequence[Row], full: bool) -> list[Line]:
    """Samples as columns, newest first, with lines between them for what happened there."""
    reset = unit.last_reset()
    shown = [row for row in rows if full or reset is None or _day(row) > reset]
    shown = list(rows[: max(len(shown), LEAST_SHOWN)])
    vacuum = unit.identity.get("technology") == "vacuum"
    limits = limits_seen(rows)
    water, kilovolt, warmth = (
        any(given(row.get(name)) for row in shown) for name in ("moisture_mg_per_kg", "breakdown_kv", "oil_temp_c")
    )
    headings = ["sampled", *(short for _, short in SHOWN_GASES), *([] if vacuum else ["e/a", "h/a"])]
    headings += ["water"] * water + ["kV"] * kilovolt + ["°C"] * warmth
    cells = []
    for row in shown:
        line = [str(_day(row)), *(gas_text(row, gas) for gas, _ in SHOWN_GASES)]
        if not vacuum:
            line += [_ratio(row, ("ethylene",), limits), _ratio(row, HOT_GASES, limits)]
        line += [number(row.get("moisture_mg_per_kg"))] * water + [number(row.get("breakdown_kv"))] * kilovolt
        cells.append(line + [number(row.get("oil_temp_c"))] * warmth)
    heading, *body = columns(headings, cells, right=range(1, len(headings)))
    older = rows[len(shown) :]
    lines = [heading]
    for i, text in enumerate(body):
        lines.append(text)
        before = shown[i + 1] if i + 1 < len(shown) else older[0] if older else None
        lines += [f"  {words}" for words in _between(unit, before, shown[i])]
    lines += [f"and {len(older)} older (--all shows them)"] if older else []
    legend = "Gases in ppm (µL/L)"
    legend += "" if vacuum else RATIO_LEGEND
    legend += "; water in ppm (mg/kg)" if water else ""
    method = _method(shown[0])
    legend += f"; kV by {method}" if kilovolt and method else ""
    laboratory = str(shown[0].get("laboratory") or "")
    legend += f"; newest by {laboratory}" if laboratory else ""
    return [*fixed(lines), Line(legend + ".")]


def _between(unit: OilUnit, before: Row | None, after: Row) -> list[str]:
    """What happened to the oil, or changed in how it is examined, between two samples; newest first."""
    start, end = _day(before) if before else date.min, _day(after)
    inside = [(day, kind) for day, kind in unit.events if start < day <= end]
    changed = _changed(before, after)
    told = {"laboratory_changed"} if "laboratory" in changed else set()
    marks = [(day, f"{HAPPENED.get(kind, kind)} {day}") for day, kind in inside if kind not in told]
    seen = unit.verdict.evidence_since if unit.verdict else None
    if before and seen and start < seen <= end and not any(kind in RESETS for _, kind in inside):
        marks.append((seen, f"oil renewed about {seen}, by the gases; no record says so"))
    lines = [words for _, words in sorted(marks, reverse=True)]
    lines += [f"{what} from here on: {new}; before: {old}" for what, (old, new) in changed.items()]
    return [f"--- {words} ---" for words in lines]


def _changed(before: Row | None, after: Row) -> dict[str, tuple[str, str]]:
    """Laboratory and breakdown test where they differ between two samples: before and after."""
    if before is None:
        return {}
    pairs = {
        "laboratory": (str(before.get("laboratory") or ""), str(after.get("laboratory") or "")),
        "breakdown test": (_method(before), _method(after)),
    }
    return {what: (old, new) for what, (old, new) in pairs.items() if old and new and old != new}


def _method(row: Row) -> str:
    """`IEC 60156, gap 2.5 mm`: how the breakdown voltage was measured."""
    gap = row.get("breakdown_gap_mm")
    parts = [str(row.get("breakdown_method") or ""), f"gap {number(gap)} mm" if given(gap) else ""]
    return ", ".join(part for part in parts if part)


def _ratio(row: Row, over: tuple[str, ...], limits: dict[str, float]) -> str:
    value = ratio(row, over, "acetylene", limits)
    if value is not None:
        return f"{value:.2f}" if value < 10 else f"{value:.0f}"
    return TOO_LITTLE if all(given(row.get(gas)) for gas in (*over, "acetylene")) else ""


def _tank(rows: Sequence[Row], full: bool) -> list[Line]:
    """The main tank's newest samples, with acetylene to hydrogen where there is enough of both."""
    limits = limits_seen(rows)
    shown = rows if full else rows[:TANK_SHOWN]
    headings = ["sampled", *(short for _, short in SHOWN_GASES), "C2H2/H2"]
    cells, told = [], False
    for row in shown:
        value = ratio(row, ("acetylene",), "hydrogen", limits)
        told = told or value is not None
        cells.append([str(_day(row)), *(gas_text(row, gas) for gas, _ in SHOWN_GASES), f"{value:.2f}" if value else ""])
    if not told:
        headings, cells = headings[:-1], [line[:-1] for line in cells]
    lines = fixed(columns(headings, cells, right=range(1, len(headings))))
    more = len(rows) - len(shown)
    lines += fixed([f"and {more} older (--all shows them)"]) if more else []
    if told:
        lines.append(Line(TANK_LEGEND))
    return lines


def _charts(unit: OilUnit, rows: Sequence[Row], name: str, width: int, ascii_only: bool) -> list[Block]:
    """Acetylene and ethylene over time: in one chart where they share a scale, else apart."""
    gases = [line for gas in CHART_GASES if len((line := _gas_line(rows, gas)).days) > 1]
    together = [gases] if len(gases) == 2 and share_a_scale(*gases) else [[line] for line in gases]
    laboratories = unit.happened("laboratory_changed")
    ordered = [row for row in reversed(rows) if row.get("laboratory")]
    for before, after in pairwise(ordered):
        known = any(_day(before) < day <= _day(after) for day in laboratories)
        if before["laboratory"] != after["laboratory"] and not known:
            laboratories.append(_day(after))
    seen = unit.last_reset()
    renewed = {*unit.happened(*RESETS), *([seen] if seen else [])}
    blocks = []
    for lines in together:
        named = [line.name for line in lines if line.name in unit.limits]
        limits = [(unit.limits[name].value, f"limit of {name}") for name in named]
        chart = gas_chart(
            lines,
            as_of=unit.as_of,
            renewed=sorted(renewed),
            laboratory_changed=laboratories,
            limits=limits,
            width=width,
            ascii_only=ascii_only,
        )
        if chart:
            title = " and ".join(line.name for line in lines)
            blocks.append(Block(f"{title[:1].upper()}{title[1:]} in the compartment{name} [ppm]", tuple(fixed(chart))))
    return blocks


def _gas_line(rows: Sequence[Row], gas: str) -> GasLine:
    known = [row for row in reversed(rows) if given(row.get(gas))]
    return GasLine(
        gas,
        tuple(_day(row) for row in known),
        tuple(float(row[gas]) for row in known),
        tuple(bool(row.get(f"{gas}_below")) for row in known),
    )


def _day(row: Row) -> date:
    day = day_of(row["sampled_on"])
    if day is None:
        raise ValueError("a sample without a date has come as far as a page")
    return day
