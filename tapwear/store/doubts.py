"""Rows that are well formed and probably wrong: ten times too much, another unit's, another century's, columns
exchanged. They are not judged, only held until somebody who knows has said so.

All bounds here are our choice: wide enough that a right row is hardly ever held, since confirming one is one command.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from statistics import median

# A slip of the decimal point lies this many times above or below what is usual among like ones ...
TENFOLD = (7.0, 14.0)
NEIGHBOUR = 3.0  # ... and no like one lies within this factor of it
FEWEST_LIKE = 2
FEWEST_COUNTERS = 8  # so many like units there are at least, none of which has a counter of that length
OLDEST_RECORD = timedelta(days=60 * 365)
OLDEST_UNIT = timedelta(days=80 * 365)
FARTHEST_PLAN = timedelta(days=30 * 365)
SOON_AGAIN = timedelta(days=180)  # two overhauls of one unit within this time are hardly two


@dataclass(frozen=True)
class Item:
    """One figure of one owner, to be held against those of like owners.

    what : `contact service, interval_operations`; whose : scheme, unit or group that it belongs to; units : tags that
    it matters for; number : of the row that says so, None for what is stored already
    """

    what: str
    whose: str
    value: float
    units: tuple[str, ...] = ()
    number: int | None = None


@dataclass(frozen=True)
class Doubt:
    """Why a row is held: which field, what was found, which units it would matter for."""

    field: str
    found: str
    units: tuple[str, ...] = ()


def tenfold(items: Iterable[Item]) -> list[tuple[Item, str]]:
    """Items about ten times, or a tenth of, what like ones have, with what is odd about each in words."""
    by_kind: dict[str, list[Item]] = {}
    for item in items:
        if item.value > 0:
            by_kind.setdefault(item.what, []).append(item)
    found = []
    for group in by_kind.values():
        for item in group:
            like = [other.value for other in group if other.whose != item.whose]
            if len(like) < FEWEST_LIKE:
                continue
            usual = median(like)
            times = item.value / usual
            above, below = TENFOLD[0] <= times <= TENFOLD[1], TENFOLD[0] <= 1 / times <= TENFOLD[1]
            alone = all(max(item.value / value, value / item.value) > NEIGHBOUR for value in like)
            if (above or below) and alone:
                said = "about ten times" if above else "about a tenth of"
                found.append((item, f"{item.value:,.10g} is {said} what like ones have ({usual:,.10g})"))
    return found


def other_length(digits: Mapping[str, int], alike: Mapping[str, str], new: Iterable[str]) -> dict[str, str]:
    """New units whose counter has a length that no like unit's has, ten times as long or a tenth, with that in words.

    digits : of each unit's counter; alike : what makes units alike, blank for none
    """
    lengths: dict[str, dict[str, int]] = {}
    for unit, group in alike.items():
        if group and unit in digits:
            lengths.setdefault(group, {})[unit] = digits[unit]
    found = {}
    for unit in new:
        own = lengths.get(alike.get(unit, ""), {})
        others = {length for other, length in own.items() if other != unit}
        if len(own) <= FEWEST_COUNTERS or digits[unit] in others:
            continue
        usual = " or ".join(map(str, sorted(others)))
        found[unit] = f"{digits[unit]} digits, where all {len(own) - 1} like units have {usual}"
    return found


def other_century(table: str, values: Mapping[str, object], today: date) -> Doubt | None:
    """A day so far away that the century was probably taken wrong."""
    for name, value in values.items():
        if not isinstance(value, date):
            continue
        if table == "closures":
            odd = abs(value - today) > FARTHEST_PLAN
        elif name == "commissioned_on":
            odd = not -FARTHEST_PLAN / 3 < today - value < OLDEST_UNIT
        else:
            odd = today - value > OLDEST_RECORD
        if odd:
            return Doubt(name, f"{value} is {abs(today.year - value.year)} years away: is the century right?")
    return None


def fits(readings: Sequence[tuple[date, int]], day: date, shown: int) -> bool | None:
    """Whether a counter can have shown that on that day, by its readings before and after; None: they do not tell.

    readings : in order of their days
    """
    if len(readings) < 2 or any(later[1] < earlier[1] for earlier, later in pairwise(readings)):
        return None  # exchanged, rolled over or misread
    before = [reading for reading in readings if reading[0] <= day]
    after = [reading for reading in readings if reading[0] >= day]
    if not before:
        return None
    years = max((readings[-1][0] - readings[0][0]).days / 365.25, 0.25)
    a_year = (readings[-1][1] - readings[0][1]) / years
    slack = max(200.0, a_year / 4)
    highest = after[0][1] if after else before[-1][1] + 3 * a_year * (day - before[-1][0]).days / 365.25
    return before[-1][1] - slack <= shown <= highest + slack


def anothers(
    unit: str, day: date, shown: int, mates: Iterable[str], readings: Mapping[str, Sequence[tuple[date, int]]]
) -> tuple[str, ...]:
    """Units of the same station whose counter can have shown that on that day, where the unit's own cannot."""
    if fits(readings.get(unit, ()), day, shown) is not False:
        return ()
    return tuple(mate for mate in mates if mate != unit and fits(readings.get(mate, ()), day, shown))


def soon_again(days: Sequence[date], day: date) -> date | None:
    """Another day, shortly before or after, on which the same unit was overhauled."""
    near = [other for other in days if other != day and abs(other - day) <= SOON_AGAIN]
    return min(near, key=lambda other: abs(other - day)) if near else None
