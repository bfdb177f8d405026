"""Small charts for a terminal, drawn with braille dots, or with letters where the encoding has no dots.

They work without colour: history is a full line, a forecast a thin one between two dotted ones, a limit a row of
dashes with its name on it. Axes carry the figures, so that a chart can be read aloud.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise

# Bits of a braille cell by (column, row), Unicode block "Braille Patterns".
DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
BRAILLE = 0x2800
ACROSS, DOWN = 2, 4  # dots in a cell
DAY_WIDTH = len("2026-06-30")


@dataclass
class Canvas:
    """A field of cells, `width` x `height`, in which a point (x, y) of the ranges lands on a dot; y grows upward."""

    width: int
    height: int
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    dots: dict[tuple[int, int], int] = field(default_factory=dict)
    letters: dict[tuple[int, int], str] = field(default_factory=dict)

    def cell_of(self, x: float, y: float) -> tuple[int, int] | None:
        """Column and row of the cell that holds the point; None outside."""
        dot = self._dot(x, y)
        return None if dot is None else (dot[0] // ACROSS, dot[1] // DOWN)

    def line(self, xs: Sequence[float], ys: Sequence[float], every: int = 1) -> None:
        """Joins the points by straight lines; `every` 3 sets each third dot only."""
        count = 0
        for (x0, y0), (x1, y1) in pairwise(zip(xs, ys, strict=True)):
            steps = max(
                1,
                round(abs(x1 - x0) / self._x_step),
                round(abs(y1 - y0) / self._y_step),
            )
            for i in range(steps + 1):
                count += 1
                if count % every == 0:
                    self._set(x0 + (x1 - x0) * i / steps, y0 + (y1 - y0) * i / steps)

    def letter(self, x: float, y: float, letter: str) -> None:
        """Puts a letter over the cell that holds the point."""
        cell = self.cell_of(x, y)
        if cell is not None:
            self.letters[cell] = letter

    def across(self, y: float, letter: str, name: str = "") -> None:
        """A row of letters at height y wherever nothing is drawn, with a name at its left end."""
        cell = self.cell_of(self.x_range[0], y)
        if cell is None:
            return
        row = cell[1]
        for column in range(self.width):
            if (column, row) not in self.dots:
                self.letters.setdefault((column, row), letter)
        for i, sign in enumerate(f" {name} " if name else ""):
            if 1 + i < self.width and (1 + i, row) not in self.dots:
                self.letters[1 + i, row] = sign

    def upright(self, x: float, letter: str) -> None:
        """A column of letters at x wherever nothing is drawn."""
        cell = self.cell_of(x, self.y_range[0])
        for row in range(self.height if cell else 0):
            if cell and (cell[0], row) not in self.dots:
                self.letters.setdefault((cell[0], row), letter)

    def rows(self, ascii_only: bool = False) -> list[str]:
        """The field as lines of text, top first."""

        def sign(column: int, row: int) -> str:
            letter = self.letters.get((column, row))
            if letter is not None:
                return letter
            bits = self.dots.get((column, row), 0)
            return " " if not bits else "*" if ascii_only else chr(BRAILLE + bits)

        return ["".join(sign(column, row) for column in range(self.width)) for row in range(self.height)]

    @property
    def _x_step(self) -> float:
        return (self.x_range[1] - self.x_range[0]) / (self.width * ACROSS - 1)

    @property
    def _y_step(self) -> float:
        return (self.y_range[1] - self.y_range[0]) / (self.height * DOWN - 1)

    def _dot(self, x: float, y: float) -> tuple[int, int] | None:
        across = round((x - self.x_range[0]) / self._x_step)
        up = round((y - self.y_range[0]) / self._y_step)
        if not (0 <= across < self.width * ACROSS and 0 <= up < self.height * DOWN):
            return None
        return across, self.height * DOWN - 1 - up

    def _set(self, x: float, y: float) -> None:
        dot = self._dot(x, y)
        if dot is not None:
            cell = dot[0] // ACROSS, dot[1] // DOWN
            self.dots[cell] = self.dots.get(cell, 0) | DOTS[dot[0] % ACROSS][dot[1] % DOWN]


def count_chart(
    days: Sequence[date],
    operations: Sequence[float],
    *,
    as_of: date,
    forecast_days: Sequence[date] = (),
    low: Sequence[float] = (),
    middle: Sequence[float] = (),
    high: Sequence[float] = (),
    limit: float | None = None,
    limit_name: str = "interval",
    width: int = 76,
    height: int = 10,
    ascii_only: bool = False,
) -> list[str]:
    """The count's history, its forecast and the interval line, as lines of text at most `width` wide.

    days, operations : the history, ascending [operations since whatever the caller counts from]
    forecast_days, low, middle, high : the forecast as of `as_of` (10, 50, 90 %), same scale
    limit : where the interval is reached, same scale; None: no line
    No lines when there is nothing to draw.
    """
    every_day = [*days, *forecast_days, as_of]
    values = [*operations, *low, *middle, *high, *([limit] if limit is not None else [])]
    if not values or min(every_day) == max(every_day):
        return []
    low_end = min(0.0, *values) if limit is None else min(values)
    canvas, axis = empty_field(every_day, (low_end, max(values)), width, height)
    canvas.line([day.toordinal() for day in days], list(operations))
    ahead = [day.toordinal() for day in forecast_days]
    for edge in (low, high):
        canvas.line(ahead, list(edge), every=3)
    canvas.line(ahead, list(middle))
    if limit is not None:
        canvas.across(limit, "-" if ascii_only else "─", limit_name)
    canvas.upright(as_of.toordinal(), ":" if ascii_only else "┊")
    return framed(canvas, axis, every_day, as_of, ascii_only)


def acetylene_chart(
    days: Sequence[date],
    values: Sequence[float],
    below: Sequence[bool],
    resets: Sequence[date],
    *,
    as_of: date,
    width: int = 76,
    height: int = 7,
    ascii_only: bool = False,
) -> list[str]:
    """Acetylene of one compartment over time, as lines of text at most `width` wide.

    days, values [µL/L], below : one per sample, ascending; below: the value is the detection limit
    resets : days after which the oil starts anew; drawn as upright lines, no line joins samples across them
    """
    if not days or max(values) <= 0:
        return []
    inside = [day for day in resets if day >= min(days)]
    every_day = [*days, *inside, as_of]
    if min(every_day) == max(every_day):
        return []
    canvas, axis = empty_field(every_day, (0.0, max(values)), width, height)
    bounds = [date.min, *sorted(inside), date.max]
    for start, end in pairwise(bounds):
        part = [(day.toordinal(), value) for day, value in zip(days, values, strict=True) if start < day <= end]
        canvas.line([x for x, _ in part], [y for _, y in part], every=2)
    for day in inside:
        canvas.upright(day.toordinal(), "|" if ascii_only else "│")
    for day, value, under in zip(days, values, below, strict=True):
        mark = ("o" if ascii_only else "○") if under else ("#" if ascii_only else "●")
        canvas.letter(day.toordinal(), value, mark)
    return framed(canvas, axis, every_day, as_of, ascii_only)


def empty_field(days: Sequence[date], values: tuple[float, float], width: int, height: int) -> tuple[Canvas, list[str]]:
    """An empty canvas with its figures for the left edge, top first."""
    low, high = values
    if high <= low:
        high = low + 1.0
    middle = (low + high) / 2
    figures = [_figure(high), _figure(middle), _figure(low)]
    edge = max(len(text) for text in figures)
    axis = [" " * edge] * height
    axis[0], axis[height // 2], axis[-1] = (text.rjust(edge) for text in figures)
    cells = max(width - edge - 2, 10)
    return Canvas(cells, height, (min(days).toordinal(), max(days).toordinal()), (low, high)), axis


def _figure(value: float) -> str:
    return f"{value:,.0f}" if abs(value) >= 100 or float(value).is_integer() else f"{value:.3g}"


def framed(canvas: Canvas, axis: list[str], days: Sequence[date], as_of: date, ascii_only: bool) -> list[str]:
    """The canvas with figures at its left and days under it."""
    edge = "|" if ascii_only else "│"
    lines = [f"{text} {edge}{row}".rstrip() for text, row in zip(axis, canvas.rows(ascii_only), strict=True)]
    first, last = min(days), max(days)
    under = [" "] * canvas.width
    right = canvas.width - DAY_WIDTH
    cell = canvas.cell_of(as_of.toordinal(), canvas.y_range[0])
    places = [(first, [0]), (last, [right])]
    if cell and first < as_of < last:
        places.append((as_of, [cell[0] - back for back in (DAY_WIDTH // 2, DAY_WIDTH + 1, 0)]))
    for day, starts in places:
        for start in starts:
            if 0 <= start <= right and not "".join(under[max(start - 1, 0) : start + DAY_WIDTH + 1]).strip():
                under[start : start + DAY_WIDTH] = day.isoformat()
                break
    return [*lines, (" " * (len(axis[0]) + 2) + "".join(under)).rstrip()]
