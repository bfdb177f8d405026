"""Years ahead: how many overhauls, crew hours and kits each year brings, the next interval after each included.

Every task falls when it becomes due, and takes with it what is due in the same year, as in a plan. The dates are drawn
from their distributions many times over, with a fixed seed: of each unit evenly over all its chances, so that the mean
hardly depends on chance. A place that runs fast stays fast: all dates of a unit are drawn early or late together. Units
are drawn independently of one another; a change of load that concerns them all makes the true range wider. Our choices.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from tapwear.outlook.types import Due, Outlook
from tapwear.plan.jobs import DEFAULT_HOURS, INSPECTION, NO_OUTAGE, TASKS, at_engineer, kit_parts
from tapwear.plan.lateness import SHARES, spread_days
from tapwear.plan.types import AtEngineer

DRAWS = 2_000
SEED = 20270101
SHORTEST = 30.0  # a shorter interval is taken as this, so that the years come to an end [days]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Figure:
    """A number to come: its mean, and the 10 and 90 % ends of its range."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class YearAhead:
    """One calendar year; the first begins on the day of looking."""

    year: int
    from_on: date
    overhauls: Figure
    crew_hours: Figure
    crew_hours_by_region: Mapping[str, Figure]
    kits: Mapping[str, Figure]


@dataclass(frozen=True)
class Ahead:
    """The rest of this year and the years after it.

    unknown : units left out, since nobody knows when they are due
    at_engineer : units left out, since their stop stands
    """

    as_of: date
    years: tuple[YearAhead, ...]
    units: int
    unknown: tuple[str, ...]
    draws: int
    seed: int
    at_engineer: tuple[AtEngineer, ...] = ()


@dataclass
class _Totals:
    """Per year and draw."""

    years: int
    draws: int
    overhauls: Floats = field(init=False)
    hours: dict[str, Floats] = field(default_factory=dict)
    kits: dict[str, Floats] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.overhauls = self.blank()

    def blank(self) -> Floats:
        return np.zeros((self.years, self.draws))


def years_ahead(outlook: Outlook, renewed: Outlook, years: int, *, draws: int = DRAWS, seed: int = SEED) -> Ahead:
    """What the rest of this year and that many years after it bring.

    outlook : the dates as they stand
    renewed : the same units with all work done on outlook.as_of, which tells how long the next intervals last
    Inspections make no outage of their own and are left out, like units that are spare, in the workshop or retired, and
    those whose stop stands: the engineer decides now.
    """
    first = outlook.as_of.year
    ends = np.array([date(first + ahead + 1, 1, 1).toordinal() for ahead in range(years + 1)], float)
    totals = _Totals(len(ends), draws)
    again = {(due.unit, due.task): due for due in renewed.dues}
    chance = np.random.default_rng(seed)
    by_unit: dict[str, list[Due]] = {}
    for due in outlook.dues:
        if due.state not in NO_OUTAGE and due.task != INSPECTION and not due.must_stop:
            by_unit.setdefault(due.unit, []).append(due)
    unknown = []
    for unit in sorted(by_unit):
        known = sorted((due for due in by_unit[unit] if due.known or due.severe), key=lambda due: _order(due.task))
        share = (chance.permutation(draws) + 0.5) / draws
        if known:
            _run(known, again, share, ends, outlook.as_of, totals)
        else:
            unknown.append(unit)
    return Ahead(
        outlook.as_of,
        tuple(_year(at, first + at, outlook.as_of, totals) for at in range(len(ends))),
        len(by_unit) - len(unknown),
        tuple(unknown),
        draws,
        seed,
        at_engineer(outlook),
    )


def _order(task: str) -> int:
    return TASKS.index(task) if task in TASKS else len(TASKS)


def _run(
    dues: list[Due], again: Mapping[tuple[str, str], Due], share: Floats, ends: Floats, as_of: date, totals: _Totals
) -> None:
    """One unit through the years; dues come the least demanding task first."""
    now = float(as_of.toordinal())
    falls = np.array([np.maximum(_drawn(due, share, as_of), now) for due in dues])
    lasts = np.array([np.maximum(_interval(again.get((due.unit, due.task)), share, as_of), SHORTEST) for due in dues])
    hours = np.array([DEFAULT_HOURS.get(d.task, 80.0) if d.crew_hours is None else d.crew_hours for d in dues])
    region = totals.hours.setdefault(dues[0].region, totals.blank())
    draw = np.arange(len(share))
    while True:
        first = falls.min(axis=0)
        inside = draw[first < ends[-1]]
        if not len(inside):
            return
        at = np.searchsorted(ends, first[inside], side="right")
        within = falls[:, inside] < ends[at]  # what is due in the same year goes along
        lead = len(dues) - 1 - np.argmax(within[::-1], axis=0)
        totals.overhauls[at, inside] += 1
        region[at, inside] += np.where(within, hours[:, None], 0.0).max(axis=0)
        for item in {part for due in dues for part in kit_parts(due.kit)}:  # one of each in an outage, as in a plan
            needing = within[[row for row, due in enumerate(dues) if item in kit_parts(due.kit)]]
            totals.kits.setdefault(item, totals.blank())[at, inside] += needing.any(axis=0)
        for row in range(len(dues)):
            done = inside[(row <= lead) | within[row]]
            falls[row, done] = first[done] + lasts[row, done]


def _drawn(due: Due, share: Floats, as_of: date) -> Floats:
    """The day (ordinal) of becoming due in each draw; inf beyond the horizon."""
    if due.early is None:
        return np.full(len(share), float(as_of.toordinal()) if due.severe or due.overdue else np.inf)
    return np.interp(share, SHARES, spread_days(due.early, due.middle, due.late, as_of))


def _interval(due: Due | None, share: Floats, as_of: date) -> Floats:
    """How long the next interval lasts in each draw [days]; inf without an interval or beyond the horizon."""
    if due is None or not due.known or due.early is None:
        return np.full(len(share), np.inf)
    return _drawn(due, share, as_of) - as_of.toordinal()


def _year(at: int, year: int, as_of: date, totals: _Totals) -> YearAhead:
    hours = {name: values[at] for name, values in sorted(totals.hours.items())}
    return YearAhead(
        year,
        as_of if at == 0 else date(year, 1, 1),
        _figure(totals.overhauls[at]),
        _figure(np.sum(list(hours.values()), axis=0) if hours else np.zeros(totals.draws)),
        {name: _figure(values) for name, values in hours.items()},
        {name: _figure(values[at]) for name, values in sorted(totals.kits.items())},
    )


def _figure(values: Floats) -> Figure:
    low, high = np.quantile(values, (0.1, 0.9), method="inverted_cdf")
    return Figure(round(float(values.mean()), 3), float(low), float(high))
