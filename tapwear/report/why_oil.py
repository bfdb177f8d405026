"""What the oil of one unit says, in words, a small table and a chart of its acetylene."""

from __future__ import annotations

from typing import Any

from tapwear.oil.types import RESETS, AcetyleneTrend, OilFinding, OilVerdict
from tapwear.report.charts_terminal import acetylene_chart
from tapwear.report.due_words import sentence
from tapwear.report.frames import day_of, given, newest
from tapwear.report.page import Block, Line, fixed
from tapwear.report.stories import Subject
from tapwear.report.terminal import columns

SAMPLES_SHOWN = 5
SHOWN_GASES = (("hydrogen", "H2"), ("methane", "CH4"), ("ethane", "C2H6"), ("ethylene", "C2H4"), ("acetylene", "C2H2"))
STANDING = {"confirmed": "confirmed rule", "provisional": "provisional rule", "our choice": "our own rule"}


def oil_block(subject: Subject, width: int, full: bool, ascii_only: bool) -> Block:
    """The call, what it rests on, the latest samples and the acetylene since the first sample.

    With a severe finding nothing here suggests a further sample, an oil change or a visit.
    """
    verdict = subject.verdict
    lines = [Line(call_words(verdict, subject.severe))]
    if verdict is not None:
        lines += [Line(finding_words(finding)) for finding in verdict.findings]
        lines += [Line(trend_words(verdict.trend))] if verdict.trend else []
        if not subject.severe:
            lines += [Line("Oil work, no reason to open: " + finding_words(work)) for work in verdict.oil_work]
    lines += fixed(_samples(subject, full))
    for name, chart in _charts(subject, width, ascii_only):
        lines += fixed(["", f"Acetylene{name} [ppm]", *chart])
    return Block("Oil", tuple(lines))


def call_words(verdict: OilVerdict | None, severe: bool) -> str:
    """The call as a sentence."""
    if verdict is None or verdict.call == "no oil evidence":
        last = verdict.last_sample_on if verdict else None
        return f"No oil evidence since {last.isoformat()}." if last else "No oil evidence: no sample is recorded."
    count = f"{verdict.samples_used} sample{'s' if verdict.samples_used != 1 else ''}"
    since = f" since {verdict.evidence_since.isoformat()}" if verdict.evidence_since else ""
    if verdict.call == "nothing unusual":
        return f"Nothing unusual in {count}{since}. That does not postpone any date."
    if verdict.call == "pull forward":
        days = [day.isoformat() if day else "later" for day in (verdict.open_by_early, verdict.open_by_late)]
        when = "" if verdict.open_by_middle is None else f" between {days[0]} and {days[1]}"
        return f"The oil asks for opening{when} ({count}{since})."
    if severe:
        return f"The oil is unusual ({count}{since})."
    by = f" by {verdict.resample_by.isoformat()}" if verdict.resample_by else ""
    return f"The oil is unusual: resample{by}, to confirm it ({count}{since})."


def finding_words(finding: OilFinding) -> str:
    """The finding with its figures, its source and how far to trust the rule."""
    figures = ", ".join(f"{name.replace('_', ' ')} {value:,.3g}" for name, value in finding.figures.items())
    rule = "; ".join(part for part in (finding.source, STANDING[finding.standing]) if part)
    return sentence(finding.words) + (f" {figures[:1].upper()}{figures[1:]}." if figures else "") + f" ({rule})"


def trend_words(trend: AcetyleneTrend) -> str:
    """How fast acetylene rises, with its 80 % interval and the samples that it rests on."""
    words = (
        f"Acetylene changes by {trend.rate_ul_per_l_per_year:,.3g} ppm a year "
        f"({trend.rate_low:,.3g} to {trend.rate_high:,.3g}), from {trend.samples} samples since "
        f"{trend.since.isoformat()}"
    )
    if trend.ml_per_1000_operations is None:
        return words + "."
    interval = ""
    if trend.ml_per_1000_low is not None and trend.ml_per_1000_high is not None:
        interval = f" ({trend.ml_per_1000_low:,.3g} to {trend.ml_per_1000_high:,.3g})"
    return f"{words}; {trend.ml_per_1000_operations:,.3g} mL per 1,000 operations{interval}."


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
        row += [_number(sample.get("moisture_mg_per_kg"))] if water else []
        row += [_number(sample.get("breakdown_kv"))] if kilovolt else []
        rows.append(row)
    more = len(subject.samples) - len(samples)
    return ["", *columns(headings, rows, right=range(2, len(headings))), *([f"and {more} older"] if more else [])]


def _drawn_from(sample: dict[str, Any]) -> str:
    if sample.get("taken_from") == "main_tank":
        return "main tank"
    return f"compartment {sample.get('compartment') or ''}".rstrip()


def _gas(sample: dict[str, Any], gas: str) -> str:
    text = _number(sample.get(gas))
    return f"<{text}" if text and sample.get(f"{gas}_below") else text


def _number(value: object) -> str:
    if not given(value):
        return ""
    number = float(str(value))
    return f"{number:,.0f}" if abs(number) >= 100 else f"{number:.3g}"


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
