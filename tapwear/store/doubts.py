"""Rows that are well formed and probably wrong: ten times too much, another unit's, another century's, columns
exchanged. They are not judged, only held until somebody who knows has said so.

All bounds here are our choice: wide enough that a right row is hardly ever held, since confirming one is one command.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from tapwear.weeks import DAYS_PER_YEAR

# Our choices. A slip of the decimal point lies this many times above or below what is usual among like ones ...
TENFOLD = (7.0, 14.0)
NEIGHBOUR = 3.0  # ... and no like one lies within this factor of it
FEWEST_LIKE = 2  # figures of like ones, to say what is usual
FEWEST_COUNTERS = 8  # so many like units there are at least, none of which has a counter of that length
OLDEST_RECORD = timedelta(days=60 * 365)
OLDEST_UNIT = timedelta(days=80 * 365)
FARTHEST_PLAN = timedelta(days=30 * 365)
SOON_AGAIN = timedelta(days=180)  # two overhauls of one unit within this time are hardly two ...
FEWEST_OVERHAULS = 4  # ... unless so many of them show that it is overhauled more often: then
SOON_SHARE = 3.0  # soon is this part of the usual time between two of them


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
    by_kind: dict[str, dict[tuple[str, float], Item]] = {}
    for item in items:
        if item.value > 0:
            by_kind.setdefault(item.what, {}).setdefault((item.whose, item.value), item)
    found = []
    for group in by_kind.values():
        ordered = sorted(group.values(), key=lambda item: item.value)
        values = [item.value for item in ordered]
        for at, item in enumerate(ordered):
            if len(values) - 1 < FEWEST_LIKE or any(
                max(item.value / near, near / item.value) <= NEIGHBOUR
                for near in values[max(at - 1, 0) : at] + values[at + 1 : at + 2]
            ):
                continue
            usual = _median_without(values, at)
            times = item.value / usual
            if TENFOLD[0] <= times <= TENFOLD[1] or TENFOLD[0] <= 1 / times <= TENFOLD[1]:
                said = "about ten times" if times > 1 else "about a tenth of"
                found.append((item, f"{item.value:,.10g} is {said} what like ones have ({usual:,.10g})"))
    return found


def _median_without(ordered: Sequence[float], at: int) -> float:
    """The median of all values but one, without copying them."""
    number = len(ordered) - 1

    def other(place: int) -> float:
        return ordered[place if place < at else place + 1]

    return (other((number - 1) // 2) + other(number // 2)) / 2


def other_length(digits: Mapping[str, int], alike: Mapping[str, str], new: Iterable[str]) -> dict[str, str]:
    """New units whose counter has a length that no like unit's has, ten times as long or a tenth, with that in words.

    digits : of each unit's counter; alike : what makes units alike, blank for none
    """
    lengths: dict[str, Counter[int]] = {}
    for unit, group in alike.items():
        if group and unit in digits:
            lengths.setdefault(group, Counter())[digits[unit]] += 1
    found = {}
    for unit in new:
        own = lengths.get(alike.get(unit, ""), Counter())
        number = own.total() - 1
        if number < FEWEST_COUNTERS or own[digits[unit]] > 1:
            continue
        usual = " or ".join(str(length) for length in sorted(own) if length != digits[unit])
        found[unit] = f"{digits[unit]} digits, where all {number} similar units have {usual}"
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
    years = max((readings[-1][0] - readings[0][0]).days / DAYS_PER_YEAR, 0.25)
    a_year = (readings[-1][1] - readings[0][1]) / years
    slack = max(200.0, a_year / 4)
    highest = after[0][1] if after else before[-1][1] + 3 * a_year * (day - before[-1][0]).days / DAYS_PER_YEAR
    return before[-1][1] - slack <= shown <= highest + slack


def anothers(
    unit: str, day: date, shown: int, mates: Iterable[str], readings: Mapping[str, Sequence[tuple[date, int]]]
) -> tuple[str, ...]:
    """Units of the same station whose counter can have shown that on that day, where the unit's own cannot."""
    if fits(readings.get(unit, ()), day, shown) is not False:
        return ()
    return tuple(mate for mate in mates if mate != unit and fits(readings.get(mate, ()), day, shown))


def soon_again(days: Sequence[date], day: date, every: Sequence[date] = ()) -> date | None:
    """Another day, shortly before or after, on which the same unit was overhauled; what is shortly follows from the
    unit's own past, `every` day on which it was, those in doubt too."""
    soon = SOON_AGAIN
    known = sorted({*days, *every, day})
    if len(known) >= FEWEST_OVERHAULS:
        gaps = sorted(later - earlier for earlier, later in pairwise(known))
        soon = min(soon, gaps[len(gaps) // 2] / SOON_SHARE)
    near = [other for other in days if other != day and abs(other - day) <= soon]
    return min(near, key=lambda other: abs(other - day)) if near else None
