"""Drawings for paper and screen as SVG, in one quiet style: black on white, told apart by line and sign, not colour.

matplotlib draws, on figures of its own without a global state. The same figures give the same bytes: ids are fixed
and no date is written. Words stay words, so that they can be searched and read aloud; every drawing has a title and
a description for who cannot see it.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from html import escape
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from tapwear.errors import MissingExtra
from tapwear.report.due_words import count_words
from tapwear.report.plain import plain
from tapwear.report.why_count import Drawn

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Our style. Sizes are [inches] for figures, [points] for text and lines.
WIDTH, HEIGHT, PANEL_HEIGHT = 5.4, 2.3, 1.2
INK, SOFT, FAINT, FAN = "#111111", "#555555", "#c8c8c8", "#d9d9d9"
TEXT, LINE = 9.0, 1.1
FONTS = "system-ui, 'Segoe UI', 'Liberation Sans', Arial, sans-serif"
DOTS = 60  # more visits than this are drawn as a line without dots
LABELS = 7  # upright grid lines at most
ROOM = 0.28  # of the width that one date takes with its word
HEADROOM = 1.16  # room above the highest thing drawn, for the words about the dates
SETTINGS = {
    "font.family": "DejaVu Sans",  # comes with matplotlib: widths are measured alike everywhere
    "font.size": TEXT,
    "svg.fonttype": "none",
    "svg.hashsalt": "tapwear",
    "text.parse_math": False,
    "axes.edgecolor": SOFT,
    "axes.linewidth": 0.7,
    "axes.facecolor": "none",
}


@dataclass(frozen=True)
class GasPanel:
    """One gas of one compartment: per sample its day, value [µL/L] and whether that is the detection limit."""

    name: str
    days: tuple[date, ...]
    values: tuple[float, ...]
    below: tuple[bool, ...]
    limit: float | None = None  # the user's limit [µL/L]


def count_svg(
    drawn: Drawn, as_of: date, *, key: str, title: str, about: str, due: tuple[date | None, date | None] = (None, None)
) -> str:
    """Operations so far, the forecast with its 8-in-10 fan, the interval as a line, and the range of the due date.

    key : letters and digits, different for each drawing of a page; due : early and late date of the task.
    Raises MissingExtra without matplotlib.
    """
    with _figure(HEIGHT) as figure:
        axes = figure.add_axes((0.125, 0.13, 0.865, 0.84))
        days = [day.toordinal() for day in drawn.days]
        ahead = [day.toordinal() for day in drawn.ahead]
        ends = [*days, *ahead, as_of.toordinal()]
        left, right = min(ends), max(max(ends), min(ends) + 30)
        tops = [*drawn.operations, *drawn.high, *([drawn.limit] if drawn.limit is not None else [])]
        top = max([*tops, 1.0]) * HEADROOM
        axes.fill_between(ahead, drawn.low, drawn.high, color=FAN, linewidth=0)
        axes.plot(ahead, drawn.middle, color=INK, linewidth=LINE, dashes=(4, 2))
        dot = "o" if len(days) <= DOTS else None
        axes.plot(days, drawn.operations, color=INK, linewidth=LINE, marker=dot, markersize=2.4)
        if drawn.limit is not None:
            axes.axhline(drawn.limit, color=INK, linewidth=0.9)
            _words(axes, f"interval {count_words(drawn.limit)}", (left, drawn.limit), (3, -8), "left")
        axes.axvline(as_of.toordinal(), color=SOFT, linewidth=0.8, dashes=(1, 2))
        roomy = as_of.toordinal() > left + 0.25 * (right - left)  # else the words stand on the other side
        _words(axes, f"as of {as_of}", (as_of.toordinal(), 0), (-3 if roomy else 3, 7), "right" if roomy else "left")
        _due_range(axes, due, left, right, top)
        _frame(axes, left, right, top)
        return _svg(figure, key, title, about)


def gas_svg(
    panels: Sequence[GasPanel], resets: Sequence[date], as_of: date, *, key: str, title: str, about: str
) -> str:
    """Gases over time, one panel each; upright lines where the oil began anew, across which nothing is joined.

    Full dots are measured values, open ones lie below the laboratory's limit. Raises MissingExtra without matplotlib.
    """
    height = PANEL_HEIGHT * len(panels) + 0.35
    with _figure(height) as figure:
        left = min(day for panel in panels for day in panel.days).toordinal()
        right = max(as_of.toordinal(), left + 30)
        room = (1 - 0.35 / height) / len(panels)
        renewed = sorted({day.toordinal() for day in resets if left <= day.toordinal() <= right})
        for row, panel in enumerate(panels):
            bottom = 0.35 / height + room * (len(panels) - 1 - row)
            axes = figure.add_axes((0.125, bottom, 0.865, room * 0.84))
            top = max([*panel.values, panel.limit or 0.0, 1.0]) * HEADROOM
            days = [day.toordinal() for day in panel.days]
            for start, end in pairwise([0, *renewed, date.max.toordinal()]):
                part = [(x, y) for x, y in zip(days, panel.values, strict=True) if start < x <= end]
                axes.plot([x for x, _ in part], [y for _, y in part], color=INK, linewidth=LINE)
            for below, face in ((False, INK), (True, "white")):
                part = [
                    (x, y) for x, y, b in zip(days, panel.values, panel.below, strict=True) if b == below
                ]
                if part:
                    axes.plot(
                        [x for x, _ in part], [y for _, y in part], linestyle="", marker="o", markersize=3.2,
                        color=INK, markerfacecolor=face,
                    )  # fmt: skip
            for day in renewed:
                axes.axvline(day, color=SOFT, linewidth=0.9)
            if panel.limit is not None:
                axes.axhline(panel.limit, color=INK, linewidth=0.9, dashes=(5, 2))
                _words(axes, f"limit {panel.limit:g}", (right, panel.limit), (0, 7), "right")
            _words(axes, panel.name, (left, top), (0, 5), "left")
            _frame(axes, left, right, top, lowest=row == len(panels) - 1)
        return _svg(figure, key, title, about)


def bars_svg(labels: Sequence[str], counts: Sequence[int], *, key: str, title: str, about: str) -> str:
    """Upright bars with the count above each. Raises MissingExtra without matplotlib."""
    with _figure(1.6) as figure:
        axes = figure.add_axes((0.02, 0.24, 0.96, 0.74))
        places = range(len(labels))
        axes.bar(places, counts, width=0.62, color=FAINT, edgecolor=INK, linewidth=0.7)
        for at, count in zip(places, counts, strict=True):
            axes.annotate(str(count), (at, count), (0, 2), textcoords="offset points", ha="center", va="bottom")
        axes.set_xticks(list(places), labels)
        axes.set_yticks([])
        axes.set_ylim(0, max([*counts, 1]) * 1.2)
        axes.set_xlim(-0.6, len(labels) - 0.4)
        axes.tick_params(length=0, labelsize=TEXT - 0.5)
        axes.spines[["top", "right", "left"]].set_visible(False)
        return _svg(figure, key, title, about)


def _due_range(axes: Axes, due: tuple[date | None, date | None], left: int, right: int, top: float) -> None:
    """The range of the due date as a bracket above the drawing; an arrow's end stays open where it goes on."""
    early, late = due
    if early is None or early.toordinal() > right:
        return
    start = max(early.toordinal(), left)
    end = min(late.toordinal() if late else right, right)
    height = top * 0.955
    axes.plot([start, max(end, start)], [height, height], color=INK, linewidth=2.2, solid_capstyle="butt")
    axes.plot([start, start], [0, height], color=INK, linewidth=0.6)
    if late is not None and start < late.toordinal() <= right:
        axes.plot([end, end], [0, height], color=INK, linewidth=0.6, dashes=(3, 2))
    words, needed = f"early {early}", ROOM
    if late and late != early:
        words, needed = f"{words}, late {late}", 2 * ROOM
    if start - left >= needed * (right - left):
        _words(axes, words, (start, height), (-5, 0), "right")
    elif right - end >= needed * (right - left):
        _words(axes, words, (end, height), (5, 0), "left")
    else:
        _words(axes, words, (left, height), (3, -9), "left")


def _words(axes: Axes, words: str, at: tuple[float, float], aside: tuple[float, float], towards: str) -> None:
    """Words beside a point of the drawing, `aside` [points] from it, on white so that no line runs through them."""
    paper = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
    axes.annotate(words, at, aside, textcoords="offset points", ha=towards, va="center", color=INK, bbox=paper)


def _frame(axes: Axes, left: int, right: int, top: float, *, lowest: bool = True) -> None:
    """Days across and amounts up, with as few lines as can be."""
    margin = 0.01 * (right - left)
    first, last = left - margin, right + margin
    axes.set_xlim(first, last)
    axes.set_ylim(0, top)
    axes.set_axis_off()  # drawn here instead: matplotlib's own axes take a third of the time
    days, heights = day_ticks(date.fromordinal(left), date.fromordinal(right)), amount_ticks(top)
    axes.hlines(heights[1:], first, last, color=FAINT, linewidth=0.4, zorder=0)
    axes.plot([first, first, last], [top, 0, 0], color=SOFT, linewidth=0.7, clip_on=False)
    feet = [day.toordinal() for day, _ in days]
    axes.vlines(feet, 0, 0.02 * top, color=SOFT, linewidth=0.6)
    aside: dict[str, Any] = {"textcoords": "offset points", "color": INK, "annotation_clip": False}
    for height in heights:
        axes.annotate(f"{height:,g}", (first, height), (-3, 0), ha="right", va="center_baseline", **aside)
    for foot, (_, words) in zip(feet, days if lowest else [], strict=False):
        axes.annotate(words, (foot, 0), (0, -4), ha="center", va="top", **aside)


def day_ticks(first: date, last: date) -> list[tuple[date, str]]:
    """Where the days' axis is labelled: years, or months where it spans less than three years."""
    years = range(first.year, last.year + 2)
    if (last - first).days > 3 * 365:
        step = next(step for step in (1, 2, 5, 10, 20, 50, 100) if len(years) <= LABELS * step)
        ticks = [(date(year, 1, 1), str(year)) for year in years if year % step == 0]
    else:
        months = max(1, (last - first).days / 30.44)
        step = next(step for step in (1, 2, 3, 6) if months <= LABELS * step or step == 6)
        ticks = [(date(year, month, 1), f"{year}-{month:02d}") for year in years for month in range(1, 13, step)]
    return [(day, words) for day, words in ticks if first <= day <= last]


def amount_ticks(top: float) -> list[float]:
    """Round amounts from 0 up to `top`, five at most."""
    scale = 1.0
    while scale * 10 <= top:
        scale *= 10
    while scale > top:
        scale /= 10
    step = next(part * scale for part in (0.2, 0.25, 0.5, 1, 2, 2.5) if top <= 5 * part * scale)
    return [step * i for i in range(int(top / step) + 1)]


@contextmanager
def _figure(height: float) -> Iterator[Figure]:
    """A figure in our style. Settings are lent for the time of the drawing only."""
    try:
        from matplotlib import rc_context
        from matplotlib.backends.backend_svg import FigureCanvasSVG
        from matplotlib.figure import Figure
    except ImportError:
        raise MissingExtra("matplotlib", "A page with drawings") from None
    settings: Any = SETTINGS
    with rc_context(settings):
        figure = Figure(figsize=(WIDTH, height), frameon=False)
        FigureCanvasSVG(figure)
        yield figure


_METADATA = re.compile(r"<metadata>.*?</metadata>|<style type=.*?</style>", re.DOTALL)
# How matplotlib names the font it measured with: in one property, in older versions, or in two.
_FONT = re.compile(r"font: ([0-9.]+)px '[^;\"]*'|(font-size: [0-9.]+px); font-family: '[^;\"]*'")
_ID = re.compile(r' id="([^"]*)"')
_EMPTY = re.compile(r"<defs>\s*</defs>")


def _svg(figure: Figure, key: str, title: str, about: str) -> str:
    """The figure as one `svg` element that can stand in a page: its own ids, no document head, our fonts."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = _METADATA.sub("", out.getvalue())
    text = _FONT.sub(lambda match: match[2] or f"font-size: {match[1]}px", text).replace("xlink:href", "href")
    used = set(re.findall(r'(?:url\(#|href="#)([^")]*)', text))
    text = _ID.sub(lambda match: f' id="{key}{match[1]}"' if match[1] in used else "", text)
    text = re.sub(r'(url\(#|href="#)', rf"\g<1>{key}", text)
    text = _EMPTY.sub("", re.sub(r"\s*\n\s*", " ", re.sub(r"<!--.*?-->", "", text)))
    body = text[text.index(">", text.index("<svg ")) + 1 :]
    width, height = figure.get_size_inches() * 72
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" class="drawing" role="img" '
        f'aria-labelledby="{key}title {key}about" font-family="{FONTS}" stroke-linejoin="round">'
        f'<title id="{key}title">{escape(plain(title))}</title>'
        f'<desc id="{key}about">{escape(plain(about))}</desc>{body}'
    )
