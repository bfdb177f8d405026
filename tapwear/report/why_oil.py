"""What the oil of one unit says, in words, a small table and a chart of its acetylene."""

from __future__ import annotations

from typing import Any

from tapwear.oil.types import RESETS
from tapwear.report.charts_terminal import acetylene_chart
from tapwear.report.frames import day_of, given, newest
from tapwear.report.oil_unit import number
from tapwear.report.oil_words import call_sentence, finding_lines, joined, rate_words
from tapwear.report.page import Block, Line, fixed
from tapwear.report.stories import Subject
from tapwear.report.terminal import columns

SAMPLES_SHOWN = 5  # newest ones; our choice
SHOWN_GASES = (("hydrogen", "H2"), ("methane", "CH4"), ("ethane", "C2H6"), ("ethylene", "C2H4"), ("acetylene", "C2H2"))


def oil_block(subject: Subject, width: int, full: bool, ascii_only: bool) -> Block:
    """The call, what it rests on, the latest samples and the acetylene since the first sample.

    With a severe finding nothing here suggests a further sample, an oil change or a visit.
    """
    verdict = subject.verdict
    lines = [Line(call_sentence(subject))]
    if verdict is not None:
        lines += [Line(joined(finding_lines(finding))) for finding in verdict.findings]
        lines += [Line(rate_words(verdict.trend))] if verdict.trend else []
        if not subject.severe:
            lines += [Line(joined(finding_lines(work, "Oil work, no reason to open: "))) for work in verdict.oil_work]
    lines += fixed(_samples(subject, full))
    for name, chart in _charts(subject, width, ascii_only):
        lines += fixed(["", f"Acetylene{name} [ppm]", *chart])
    return Block("Oil", tuple(lines))


def _samples(subject: Subject, full: bool) -> list[str]:
    """The latest samples as plain columns, newest first."""
    samples = newest(subject.samples, "sampled_on", None if full else SAMPLES_SHOWN)
    if not samples:
        return []
    water = any(given(sample.get("moisture_mg_per_kg")) for sample in samples)
    kilovolt = any(given(sample.get("breakdown_kv")) for sample in samples)
    headings = ["sampled", "from", *(short for _, short in SHOWN_GASES)]
    headings += (["water"] if water else []) + (["kV"] if kilovolt else [])
    rows = []
    for sample in samples:
        row = [str(day_of(sample["sampled_on"])), _drawn_from(sample)]
        row += [_gas(sample, gas) for gas, _ in SHOWN_GASES]
        row += [number(sample.get("moisture_mg_per_kg"))] if water else []
        row += [number(sample.get("breakdown_kv"))] if kilovolt else []
        rows.append(row)
    more = len(subject.samples) - len(samples)
    return ["", *columns(headings, rows, right=range(2, len(headings))), *([f"and {more} older"] if more else [])]


def _drawn_from(sample: dict[str, Any]) -> str:
    if sample.get("taken_from") == "main_tank":
        return "main tank"
    return f"compartment {sample.get('compartment') or ''}".rstrip()


def _gas(sample: dict[str, Any], gas: str) -> str:
    text = number(sample.get(gas))
    return f"<{text}" if text and sample.get(f"{gas}_below") else text


def _charts(subject: Subject, width: int, ascii_only: bool) -> list[tuple[str, list[str]]]:
    """One acetylene chart per compartment that has two samples or more."""
    samples = [
        sample
        for sample in newest(subject.samples, "sampled_on", None)[::-1]
        if sample.get("taken_from") != "main_tank" and given(sample.get("acetylene"))
    ]
    resets = [
        day
        for row in newest(subject.oil_events, "happened_on", None)
        if row["kind"] in RESETS
        if (day := day_of(row["happened_on"])) and day <= subject.as_of
    ]
    charts = []
    for compartment in sorted({str(sample.get("compartment") or "") for sample in samples}):
        own = [sample for sample in samples if str(sample.get("compartment") or "") == compartment]
        days = [day for sample in own if (day := day_of(sample["sampled_on"]))]
        values = [float(sample["acetylene"]) for sample in own]
        below = [bool(sample.get("acetylene_below")) for sample in own]
        if len(days) > 1:
            name = f" in compartment {compartment}" if compartment else ""
            chart = acetylene_chart(
                days, values, below, resets, as_of=subject.as_of, width=width, ascii_only=ascii_only
            )
            charts.append((name, chart))
    return [(name, chart) for name, chart in charts if chart]
