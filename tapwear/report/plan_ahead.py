"""Years ahead, as a table for people and as JSON for programs."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import asdict

from tapwear.plan.ahead import Ahead, Figure, YearAhead
from tapwear.report.plain import json_text, plain
from tapwear.report.plan_words import engineer_lines
from tapwear.report.terminal import cell_width, columns
from tapwear.words import CAUTION_SHORT

AHEAD_SCHEMA = "tapwear.ahead/1"
NAMED = 8  # units named before "and 3 more"


def ahead_lines(ahead: Ahead, width: int | None = None) -> list[str]:
    """The units whose stop stands, overhauls and crew hours by year, then kits by year: the mean, and the range that
    holds in 8 of 10 cases.

    width : of the screen, in which sentences are broken and years stand in several tables; None: not for one
    """
    title = f"Overhauls that fall due from {ahead.as_of} to the end of {ahead.years[-1].year}, of {ahead.units} units"
    rows = [
        [_name(year), f"{year.overhauls.mean:.1f}", _range(year.overhauls), f"{year.crew_hours.mean:,.0f}",
         _range(year.crew_hours)]
        for year in ahead.years
    ]  # fmt: skip
    headings = ["year", "overhauls", "80 % range", "crew hours", "80 % range"]
    lines = [line for words in engineer_lines(ahead.at_engineer) for line in _broken(plain(words), width)]
    lines += _broken(f"{title}, the next interval after each included.", width)
    lines += ["", *columns(headings, rows, right=(1, 2, 3, 4))]
    kits = sorted({kit for year in ahead.years for kit, figure in year.kits.items() if figure.high > 0})
    if kits:
        lines += ["", "Kits, with the 80 % range", *_kit_tables(kits, ahead.years, width)]
    if ahead.unknown:
        some = ", ".join(map(plain, ahead.unknown[:NAMED]))
        more = f" and {len(ahead.unknown) - NAMED} more" if len(ahead.unknown) > NAMED else ""
        lines += ["", *_broken(f"Left out, since nobody knows when they are due: {some}{more}.", width)]
    last = "What is overdue counts in the first line. Each falls when it becomes due, whatever a plan says."
    return [*lines, "", *_broken(last, width), "", *_broken(CAUTION_SHORT, width)]


def _broken(words: str, width: int | None) -> list[str]:
    return [words] if width is None else textwrap.wrap(words, width, break_on_hyphens=False)


def _kit_tables(kits: Sequence[str], years: Sequence[YearAhead], width: int | None) -> list[str]:
    """One table of all years, or one each of as many as the screen has room for."""
    cells = [[plain(kit), *(_kit(year.kits[kit]) for year in years)] for kit in kits]
    lines = columns(["kit", *map(_name, years)], cells, right=range(1, len(years) + 1))
    if width is None or len(years) == 1 or max(map(cell_width, lines)) <= width:
        return lines
    half = (len(years) + 1) // 2
    return [*_kit_tables(kits, years[:half], width), "", *_kit_tables(kits, years[half:], width)]


def _name(year: YearAhead) -> str:
    whole = (year.from_on.month, year.from_on.day) == (1, 1)
    return str(year.year) if whole else f"{year.year} from {year.from_on:%m-%d}"


def _range(figure: Figure) -> str:
    return f"{figure.low:,.0f}-{figure.high:,.0f}"


def _kit(figure: Figure) -> str:
    return f"{figure.mean:.1f} ({_range(figure)})"


def ahead_json(ahead: Ahead) -> str:
    """`schema`, `as_of`, `at_engineer` (units whose stop stands, not counted), `units`, `unknown`, `draws`, `seed` and
    `years`, each figure with mean, low and high."""
    stopped = [{"stop": one.stop, **asdict(one)} for one in ahead.at_engineer]
    content = {"schema": AHEAD_SCHEMA, "at_engineer": stopped, **(asdict(ahead) | {"at_engineer": stopped})}
    return json_text(content, default=str)
