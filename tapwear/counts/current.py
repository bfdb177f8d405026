"""Operations weighted by the current that they broke: the weights, and the way from plain operations and back.

Contact burn-off depends on the current broken, not only on the number of operations: equivalent operations =
sum n (I / Iref)^k, I the mean through-current between two readings, Iref the rated one, k between 1 and 2. No
source that we have read confirms k, so it is the user's to set; 0, the plain count, unless set.

The path of the count stays plain. Between two visits all operations weigh the same, so the weighted operations are a
broken line over the plain ones, rising from visit to visit. An interval in weighted operations is translated into the
plain operations at which it is used up, and the path is asked for these.

What is ignored: how the current varies between two readings (with k above 1 the mean current says too little, and
operations may gather in the hours of heavy load); what the current will be, beyond its mean of late; that a move may
bring another load, until readings tell it. The corners of the line lie at the middle of the count at each visit: its
uncertainty at the day of the service, and a second explanation of the latest reading, do not move them. So a weighted
range is as wide as the plain one and no wider.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tapwear.counts.filter import Floats, Ints
from tapwear.counts.path import visit_before
from tapwear.counts.places import day_number
from tapwear.counts.season import YEAR

if TYPE_CHECKING:
    from tapwear.counts.rate import Days, RateModel

LATE_DAYS = 2 * YEAR
"""Operations to come weigh as those of the intervals that ended within this many days before as_of (our choice)."""

_NO_SPAN = np.zeros((0, 3))
_MIDDLE = np.array([0.5])


@dataclass(frozen=True)
class Currents:
    """What is known of the through-current.

    spans : by unit and drive, shape (spans, 3): day after which, day up to which [days since 1970-01-01], and the
        mean current as a share of the rated one
    rated : units whose rated current is known
    """

    spans: Mapping[tuple[str, str], Floats]
    rated: frozenset[str]


@dataclass(frozen=True)
class UnitWeights:
    """How much the operations of one unit weigh.

    intervals : by row of RateModel.index, the weight of every interval between two visits
    elsewhere : of operations whose current is not known: the unit's own mean by operations; 1 where there is none
    ahead : of operations after the last visit: the mean of late, see LATE_DAYS
    known, of : intervals with a known current, and intervals in all
    """

    intervals: Mapping[int, Floats]
    elsewhere: float
    ahead: float
    known: int
    of: int


def known_currents(readings: pd.DataFrame, units: pd.DataFrame, as_of: date) -> Currents:
    """The spans of known current of all units, from `current_a` of the readings up to `as_of`.

    A reading's current is the mean since the reading before of the same counter (a sample sheet's counter is the
    drive's own); the first reading of a counter tells none. Units without a rated current have no spans.
    Frames as in tapwear.counts.types, with current_a [A, NaN where not known] and rated_current_a [A]; readings
    without that column tell no current.
    """
    rated = units.loc[units["rated_current_a"] > 0].set_index("unit")["rated_current_a"]
    named = frozenset(map(str, rated.index))
    if "current_a" not in readings:
        return Currents({}, named)
    told = readings.loc[readings["current_a"].notna(), "unit"].unique()
    mine = readings[readings["unit"].isin(told) & readings["unit"].isin(rated.index)]
    rows = pd.DataFrame(
        {
            "unit": mine["unit"],
            "drive": mine["drive"],
            "counter": mine["source"].replace("sample", "mechanical"),
            "to": day_number(mine["read_on"]),
            "ratio": mine["current_a"].astype(float) / mine["unit"].map(rated).astype(float),
        }
    )
    counter = ["unit", "drive", "counter"]
    days = rows.groupby([*counter, "to"])["ratio"].mean().reset_index()
    days["since"] = days.groupby(counter)["to"].shift()
    today = float(np.datetime64(as_of, "D").astype(int))
    days = days[days["since"].notna() & days["ratio"].notna() & (days["to"] <= today)]
    spans = {
        (str(unit), str(drive)): own[["since", "to", "ratio"]].to_numpy(float)
        for (unit, drive), own in days.groupby(["unit", "drive"])
    }
    return Currents(spans, named)


def unit_weights(model: RateModel, currents: Currents, unit: str, exponent: float) -> UnitWeights:
    """The weights of a unit's operations, (current / rated current) ** exponent. KeyError for an unknown unit.

    An interval between visits has the mean weight of the days in it whose current is known.
    """
    series = model.series
    weight, made, ended = [], [], []
    rows = [int(row) for row in model.rows_of(unit)]
    for row in rows:
        visits = slice(series.begin[row], series.begin[row] + series.count[row])
        spans = currents.spans.get((unit, str(series.drive[row])), _NO_SPAN)
        weight.append(_interval_weights(series.day[visits], spans, exponent))
        made.append(np.diff(series.operations[visits]))
        ended.append(series.day[visits][1:])
    every, operations = np.concatenate(weight), np.concatenate(made)
    known = np.isfinite(every)
    late = known & (np.concatenate(ended) > model.today - LATE_DAYS)
    elsewhere = _mean(every[known], operations[known], 1.0)
    return UnitWeights(
        intervals={row: np.where(np.isfinite(own), own, elsewhere) for row, own in zip(rows, weight, strict=True)},
        elsewhere=elsewhere,
        ahead=_mean(every[late], operations[late], elsewhere),
        known=int(known.sum()),
        of=len(every),
    )


def _interval_weights(day: Floats, spans: Floats, exponent: float) -> Floats:
    """Weight of each interval between visits, NaN where no day of it has a known current."""
    shared = np.minimum(day[1:, None], spans[:, 1]) - np.maximum(day[:-1, None], spans[:, 0])
    shared = np.clip(shared, 0.0, None)
    days = shared.sum(axis=1)
    out: Floats = np.divide(shared @ spans[:, 2] ** exponent, days, out=np.full(len(days), np.nan), where=days > 0)
    return out


def _mean(weight: Floats, operations: Floats, otherwise: float) -> float:
    """Mean weight by operations; by intervals where none was made."""
    if not len(weight):
        return otherwise
    return float(np.average(weight, weights=operations if operations.sum() > 0 else None))


@dataclass(frozen=True)
class _Line:
    """Weighted over plain operations since a day: corners at the visits, then straight on at the weight to come."""

    plain: Floats
    weighted: Floats
    ahead: float

    def up(self, plain: Floats) -> Floats:
        """Weighted operations after so many plain ones."""
        beyond = np.maximum(plain - self.plain[-1], 0.0)
        return np.asarray(np.interp(plain, self.plain, self.weighted) + self.ahead * beyond)

    def down(self, weighted: float) -> float:
        """The fewest plain operations after which so many weighted ones are made; infinite where they never are."""
        corner = int(np.searchsorted(self.weighted, weighted))
        if corner == 0:
            return 0.0
        rest = weighted - self.weighted[corner - 1]
        if corner == len(self.weighted):
            return float(self.plain[-1] + rest / self.ahead) if self.ahead > 0 else np.inf
        step = self.weighted[corner] - self.weighted[corner - 1]
        return float(self.plain[corner - 1] + rest / step * (self.plain[corner] - self.plain[corner - 1]))


def plain_operations(
    model: RateModel, currents: Currents, rows: Ints, start_on: Days, exponent: Floats, weighted: Floats
) -> Floats:
    """The plain operations since start_on after which so many weighted ones are made, shape (n,).

    rows [row of RateModel.index], start_on [datetime64[D]], exponent and weighted [operations, above 0], one of each
    per question. Where the exponent is 0 the number is given back as it is; infinite where the operations to come
    weigh nothing.
    """
    out = np.array(weighted, float)
    for question, line in _lines(model, currents, rows, start_on, exponent).items():
        out[question] = line.down(float(out[question]))
    return out


def weighted_operations(
    model: RateModel, currents: Currents, rows: Ints, start_on: Days, exponent: Floats, plain: Floats
) -> Floats:
    """The weighted operations that so many plain ones since start_on make, shape (n, p) like `plain`.

    The other way round from plain_operations. Quantiles of the plain count give those of the weighted one, since
    the line between them never falls.
    """
    out = np.array(plain, float)
    for question, line in _lines(model, currents, rows, start_on, exponent).items():
        out[question] = line.up(out[question])
    return out


def _lines(model: RateModel, currents: Currents, rows: Ints, start_on: Days, exponent: Floats) -> dict[int, _Line]:
    """The line of each question whose exponent is not 0."""
    series = model.series
    asked = np.flatnonzero(exponent > 0)
    mine, start = rows[asked], start_on[asked].astype("datetime64[D]")
    first = visit_before(series, mine, start.astype(np.int64).astype(float)) + 1  # the first visit after the start
    each = np.repeat(np.arange(len(asked)), series.count[mine] - first)
    visit = np.arange(len(each)) - np.searchsorted(each, each) + (series.begin[mine] + first)[each]
    day = series.day[visit].astype(np.int64).astype("datetime64[D]")
    middle = model.operations(mine[each], start[each], day, _MIDDLE)[:, 0]
    weights: dict[tuple[str, float], UnitWeights] = {}
    out: dict[int, _Line] = {}
    for at, own in enumerate(np.split(middle, np.searchsorted(each, np.arange(1, len(asked))))[: len(asked)]):
        row, power = int(mine[at]), float(exponent[asked[at]])
        unit = str(series.unit[row])
        if (unit, power) not in weights:
            weights[unit, power] = unit_weights(model, currents, unit, power)
        found = weights[unit, power]
        to_visit = np.concatenate([[found.elsewhere], found.intervals[row]])  # weight up to each visit
        plain = np.maximum.accumulate(np.concatenate([[0.0], own]))
        weighted = np.concatenate([[0.0], np.cumsum(to_visit[first[at] :] * np.diff(plain))])
        out[int(asked[at])] = _Line(plain, weighted, found.ahead)
    return out
