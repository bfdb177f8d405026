"""Years ahead, as a table for people and as JSON for programs."""

from __future__ import annotations

from dataclasses import asdict

from tapwear.plan.ahead import Ahead, Figure, YearAhead
from tapwear.report.plain import json_text, plain
from tapwear.report.terminal import columns
from tapwear.words import CAUTION_SHORT

AHEAD_SCHEMA = "tapwear.ahead/1"
NAMED = 8  # units named before "and 3 more"


def ahead_lines(ahead: Ahead) -> list[str]:
    """Overhauls and crew hours by year, then kits by year: the mean, and the range that holds in 8 of 10 cases."""
    title = f"Overhauls that fall due from {ahead.as_of} to the end of {ahead.years[-1].year}, of {ahead.units} units"
    rows = [
        [_name(year), f"{year.overhauls.mean:.1f}", _range(year.overhauls), f"{year.crew_hours.mean:,.0f}",
         _range(year.crew_hours)]
        for year in ahead.years
    ]  # fmt: skip
    headings = ["year", "overhauls", "80 % range", "crew hours", "80 % range"]
    lines = [f"{title}, the next interval after each included.", "", *columns(headings, rows, right=(1, 2, 3, 4))]
    kits = sorted({kit for year in ahead.years for kit, figure in year.kits.items() if figure.high > 0})
    if kits:
        cells = [[plain(kit), *(_kit(year.kits[kit]) for year in ahead.years)] for kit in kits]
        names = ["kit", *(_name(year) for year in ahead.years)]
        lines += ["", "Kits, with the 80 % range", *columns(names, cells, right=range(1, len(names)))]
    if ahead.unknown:
        some = ", ".join(map(plain, ahead.unknown[:NAMED]))
        more = f" and {len(ahead.unknown) - NAMED} more" if len(ahead.unknown) > NAMED else ""
        lines += ["", f"Left out, since nobody knows when they are due: {some}{more}."]
    lines += ["", "What is overdue counts in the first line. Each falls when it becomes due, whatever a plan says."]
    return [*lines, "", CAUTION_SHORT]


def _name(year: YearAhead) -> str:
    whole = (year.from_on.month, year.from_on.day) == (1, 1)
    return str(year.year) if whole else f"{year.year} from {year.from_on:%m-%d}"


def _range(figure: Figure) -> str:
    return f"{figure.low:,.0f}-{figure.high:,.0f}"


def _kit(figure: Figure) -> str:
    return f"{figure.mean:.1f} ({_range(figure)})"


def ahead_json(ahead: Ahead) -> str:
    """`schema`, `as_of`, `units`, `unknown`, `draws`, `seed` and `years`, each figure with mean, low and high."""
    return json_text({"schema": AHEAD_SCHEMA, **asdict(ahead)}, default=str)
