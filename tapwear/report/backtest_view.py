"""The page on how past forecasts of operations fared: the verdict, how often the bands held, and plain averages."""

from __future__ import annotations

import math

from tapwear.report.backtest_data import Part, PastForecasts
from tapwear.report.page import INDENT, Block, Line, fixed
from tapwear.report.terminal import GAP, cell_width, columns
from tapwear.report.why_count import bands_words

ASKED = 0.8
"""Share of outcomes that a 10 to 90 % band should hold."""
LEAST_DRAWN = 0.5  # left end of the scale that coverage is drawn on; our choice
LEAST_CELLS, MOST_CELLS = 18, 41  # of that scale, which is left out where there is less room; our choice
SCALE = ("50 %", "80 %", "100 %")
HEADINGS = {"life_average": "since first", "last_year": "last year", "last_two": "last two"}
PLAIN_LEGEND = (
    "Pinball loss of the 10, 50 and 90 % figures, in % of the unit's usual operations over the horizon; less is "
    "better. Beside it the plain averages: since the first reading, of the last year, between the last two readings, "
    "each with a band from its own earlier errors. gain: how much less than the least of the three."
)
HISTORY_NEEDED = (
    "A past forecast can be compared where a unit had two readings by a past date, at least a year after the fleet's "
    "first, and has another near the horizon. Earlier readings, imported, count at once."
)


def backtest_page(past: PastForecasts, *, width: int = 78, ascii_only: bool = False) -> list[Block]:
    """The page's blocks in reading order.

    width : columns for tables and the chart; ascii_only : the chart in letters
    Too little history for a verdict: no tables, but what would help.
    """
    said = [Line(past.verdict)]
    said.append(Line(_made_words(past) if past.enough else HISTORY_NEEDED))
    blocks = [Block(f"Past forecasts of operations   as of {past.as_of.isoformat()}", tuple(said))]
    if past.enough or past.past_errors or past.own_settings:
        words = bands_words(past.past_errors, past.own_settings)
        blocks.append(Block("What the bands rest on today", (Line(words),)))
    if past.enough:
        parts = _telling(past.parts)
        blocks.append(Block("How often the 80 % bands held", tuple(_coverage(parts, width, ascii_only))))
        blocks.append(Block("How far off, beside plain averages", tuple(_losses(parts))))
    return blocks


def _telling(parts: tuple[Part, ...]) -> tuple[Part, ...]:
    """The parts without those of the only horizon or the only cadence, which would say the same again."""
    horizons = {part.horizon_days for part in parts} - {None}
    cadences = {part.cadence for part in parts} - {None}
    return tuple(
        part
        for part in parts
        if (part.horizon_days is None or len(horizons) > 1) and (part.cadence is None or len(cadences) > 1)
    )


def _made_words(past: PastForecasts) -> str:
    dates = f"{len(past.origins)} past dates, {past.origins[0]} to {past.origins[-1]}"
    if len(past.origins) == 1:
        dates = f"one past date, {past.origins[0]}"
    ahead = [f"{days:,}" for days in past.horizons]
    listed = f"{', '.join(ahead[:-1])} and {ahead[-1]}" if len(ahead) > 1 else ahead[0]
    return (
        f"Made from {dates}, each from nothing dated later, for {listed} days ahead, and held against the usable "
        "reading nearest to that."
    )


def _coverage(parts: tuple[Part, ...], width: int, ascii_only: bool) -> list[Line]:
    """One row per part: its figures, and the share of outcomes within the band on a scale."""
    figures = columns(
        ["", "forecasts", "units", "held", "±", "bias"],
        [
            [
                _name(part),
                f"{part.forecasts:,}",
                f"{part.units:,}",
                f"{100 * part.coverage:.0f}",
                f"{200 * part.coverage_se:.0f}" if _spread_known(part) else "",
                f"{round(100 * part.bias, 1) + 0.0:+.1f}",  # + 0.0: no minus before a zero
            ]
            for part in parts
        ],
        right=(1, 2, 3, 4, 5),
    )
    used = max(cell_width(line) for line in figures) + 2 * GAP
    cells = min(width - used, MOST_CELLS)
    drawn = cells >= LEAST_CELLS
    strips = [_scale(cells), *(_strip(part, cells, ascii_only) for part in parts)] if drawn else [""] * len(figures)
    lines = [f"{line.ljust(used)}{strip}".rstrip() for line, strip in zip(figures, strips, strict=True)]
    dot, bar, asked = (f", drawn {sign}" if drawn else "" for sign in _signs(ascii_only))
    legend = (
        f"held: outcomes within the band, in %{dot}; ±: twice its standard error by unit{bar}; the band says "
        f"80 %{asked}. bias: middle figure against the outcome, in %; above 0, more was forecast than came."
    )
    return [*fixed(lines), Line(""), Line(legend)]


def _losses(parts: tuple[Part, ...]) -> list[Line]:
    """One row per part: our loss, that of each plain average, and how much less ours is than the least of them."""
    lines = columns(
        ["", "forecast", *HEADINGS.values(), "gain"],
        [
            [
                _name(part),
                f"{100 * part.pinball:.1f}",
                *(f"{100 * part.pinball_plain[name]:.1f}" for name in HEADINGS),
                f"{100 * part.gain:.0f} %",
            ]
            for part in parts
        ],
        right=(1, 2, 3, 4, 5),
    )
    return [*fixed(lines), Line(""), Line(PLAIN_LEGEND)]


def _name(part: Part) -> str:
    """`all`, `  90 days`, `read monthly`, `  90 days`: horizons stand under what they are of."""
    if part.horizon_days is not None:
        return f"{' ' * INDENT}{part.horizon_days:,} days"
    if part.cadence is None:
        return "all"
    return f"read {part.cadence}"


def _spread_known(part: Part) -> bool:
    """Whether the standard error says anything: not with one unit, nor where all outcomes fell on one side."""
    return math.isfinite(part.coverage_se) and 0.0 < part.coverage < 1.0


def _signs(ascii_only: bool) -> tuple[str, str, str]:
    return ("o", "-", ":") if ascii_only else ("●", "─", "┊")


def _cell(share: float, cells: int) -> int:
    """The cell of the scale that holds a share; what lies left of the scale stands in its first cell."""
    place = (share - LEAST_DRAWN) / (1.0 - LEAST_DRAWN)
    return min(max(round(place * (cells - 1)), 0), cells - 1)


def _scale(cells: int) -> str:
    """The scale's figures: its left end, what the band says, its right end."""
    left, asked, right = SCALE
    at = _cell(ASKED, cells) - len(asked) // 2
    line = left.ljust(at) + asked
    return line.ljust(cells - len(right)) + right if len(line) < cells - len(right) else line


def _strip(part: Part, cells: int, ascii_only: bool) -> str:
    dot, bar, asked = _signs(ascii_only)
    strip = [" "] * cells
    strip[_cell(ASKED, cells)] = asked
    if _spread_known(part):
        low, high = part.coverage - 2 * part.coverage_se, part.coverage + 2 * part.coverage_se
        for cell in range(_cell(low, cells), _cell(high, cells) + 1):
            strip[cell] = bar
    strip[_cell(part.coverage, cells)] = dot
    return "".join(strip)
