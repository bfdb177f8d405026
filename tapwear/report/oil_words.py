"""What the oil says, as sentences: the call, each finding with its figures, the rate of acetylene."""

from __future__ import annotations

from collections.abc import Sequence

from tapwear.oil.types import AcetyleneTrend, OilFinding
from tapwear.report.due_words import chance_words, sentence
from tapwear.report.oil_unit import OilUnit, number
from tapwear.report.page import Line
from tapwear.report.stories import Subject

STANDING = {"confirmed": "confirmed rule", "provisional": "provisional rule", "our choice": "our own rule"}
# From what the oil asks of a crew, the most pressing first.
CALL_ORDER = {"pull forward": 1, "resample": 2, "no oil evidence": 3, "nothing unusual": 4}


def call_order(unit: OilUnit) -> int:
    """Sorting key: severe findings, openings, samples to confirm, no evidence, the rest."""
    if unit.severe:
        return 0
    return CALL_ORDER[unit.verdict.call if unit.verdict else "no oil evidence"]


def call_sentence(unit: OilUnit | Subject) -> str:
    """The call as one sentence."""
    verdict = unit.verdict
    if unit.severe and (verdict is None or verdict.call != "pull forward"):
        return "Arcing or overheating is suspected, by what people recorded."
    if verdict is None or verdict.call == "no oil evidence":
        last = verdict.last_sample_on if verdict else None
        return f"No recent oil sample since {last}." if last else "No recent oil sample: no sample is recorded."
    count = f"{verdict.samples_used} sample{'s' if verdict.samples_used != 1 else ''}"
    since = f" since {verdict.evidence_since}" if verdict.evidence_since else ""
    if verdict.call == "nothing unusual":
        return f"No abnormal result in {count}{since}. Due dates unchanged."
    if verdict.call == "resample":
        by = f" by {verdict.resample_by}" if verdict.resample_by else ""
        return f"Oil results are unusual: resample{by}, to confirm it ({count}{since})."
    if unit.severe:
        return f"Oil results point to arcing or overheating ({count}{since})."
    early, middle, late = verdict.open_by_early, verdict.open_by_middle, verdict.open_by_late
    when = f"by {early}" if early and early > unit.as_of else "now"
    later = f"; middle {middle or 'later'}, late {late or 'later'}, which is not approval to wait"
    later = later if late is None or late > unit.as_of else ""
    return f"Oil results call for an internal inspection {when}{later} ({count}{since})."


def call_short(unit: OilUnit) -> str:
    """The call as it stands in a column of a list."""
    verdict = unit.verdict
    if unit.severe:
        return "stopped"
    if verdict is None or verdict.call == "no oil evidence":
        last = verdict.last_sample_on if verdict else None
        return f"no oil evidence since {last}" if last else "no oil evidence"
    if verdict.call == "resample":
        return f"resample by {verdict.resample_by}" if verdict.resample_by else "resample"
    if verdict.call == "pull forward":
        early = verdict.open_by_early
        return f"open by {early}" if early and early > unit.as_of else "open now"
    return verdict.call


def finding_lines(finding: OilFinding, before: str = "") -> list[Line]:
    """A finding: its reason after the words `before`, its figures, where the rule comes from and its standing."""
    figures = "; ".join(figure_words(name, value) for name, value in finding.figures.items())
    rule = "; ".join(part for part in (finding.source, STANDING[finding.standing]) if part)
    parts = ([f"Figures: {figures}."] if figures else []) + [f"Rule: {rule}."]
    return [Line(before + sentence(finding.words)), *(indented(part) for part in parts)]


def joined(lines: Sequence[Line]) -> str:
    """The lines as one paragraph."""
    return " ".join(line.text.strip() for line in lines)


def indented(text: str) -> Line:
    """A line set in by two columns, which go on when it wraps."""
    return Line("  " + text, hang=2)


def figure_words(name: str, value: float) -> str:
    """`chance that a fault has begun: 9 in 10`, `ethylene of hot oil: 420 mL`; a unit stands after the name's comma."""
    what, _, unit = name.partition(", ")
    amount = chance_words(value) if what.startswith("chance") else number(value)
    return f"{what}: {amount} {unit}".rstrip()


def rate_words(trend: AcetyleneTrend) -> str:
    """How fast acetylene rises or falls since the last reset, with the interval that holds 8 times in 10."""
    low, high, rate = trend.rate_low, trend.rate_high, trend.rate_ul_per_l_per_year
    change = f"rises by {number(rate)}" if low > 0 else f"falls by {number(-rate)}" if high < 0 else ""
    change = change or f"shows no clear change, {number(rate)}"
    words = f"Acetylene {change} ppm a year"
    words += f" (8 in 10: {number(low)} to {number(high)})"
    if trend.ml_per_1000_operations is not None:
        words += f"; {number(trend.ml_per_1000_operations)} mL per 1,000 operations"
        if trend.ml_per_1000_low is not None and trend.ml_per_1000_high is not None:
            words += f" ({number(trend.ml_per_1000_low)} to {number(trend.ml_per_1000_high)})"
    return f"{words}; {trend.samples} samples since {trend.since}."
