"""Where every tap changer stood: the rate belongs to the place, so an interval tells the rate of its place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts.filter import Floats, Ints

NEVER = 1e6
"""Day number that stands for "always" (negative) and "not in sight". [days since 1970-01-01]"""

CLEAR_SHARE = 0.9
"""An interval tells a place's rate when this share of its days in service was spent there (our choice)."""

_Stay = tuple[object, float, float, bool]  # place, arrived or NaN, left or NaN, in service


def day_number(dates: pd.Series) -> Floats:
    """Dates as days since 1970-01-01; NaT becomes NaN."""
    stamps = dates.to_numpy(dtype="datetime64[D]")
    out = stamps.astype(np.int64).astype(float)
    out[np.isnat(stamps)] = np.nan
    return out


@dataclass(frozen=True)
class Standing:
    """Where each series stands today; arrays over series, but `group` over places."""

    place: Ints
    place_before: Ints
    since: Floats
    commissioned: Floats
    stopped: NDArray[np.bool_]
    places: int
    group: Ints
    group_names: tuple[str, ...]


def stand(
    unit: NDArray[np.object_],
    drive: NDArray[np.object_],
    units: pd.DataFrame,
    stays: pd.DataFrame,
    series: Ints,
    start: Floats,
    end: Floats,
    today: float,
) -> tuple[Floats, Ints, Standing]:
    """Days in service and place row (-1: several) of each interval, and where every series stands now."""
    n = len(unit)
    exposure = end - start
    known = units.drop_duplicates("unit").set_index("unit")
    group_of = known["peer_group"].reindex(unit).fillna("").to_numpy(dtype=object)
    commissioned = day_number(known["commissioned_on"].reindex(unit))
    keys: dict[tuple[object, object], int] = {}
    groups: list[object] = []

    def row(place: object, which: object, group: object) -> int:
        if (place, which) not in keys:
            keys[place, which] = len(groups)
            groups.append(group)
        return keys[place, which]

    stays_of = _stays_by_unit(stays, today)
    place = np.zeros(n, np.int64)
    place_before = np.full(n, -1)
    since = np.full(n, -NEVER)
    stopped = np.zeros(n, bool)
    bounds = np.searchsorted(series, np.arange(n + 1))
    opened = np.append(start, NEVER)[np.where(bounds[1:] > bounds[:-1], bounds[:-1], len(start))]
    moved: list[tuple[slice, Ints]] = []
    for i in range(n):
        own = stays_of.get(unit[i])
        if own is None:
            place[i] = row(("own", unit[i]), drive[i], group_of[i])
            continue
        where, arrived, left, in_service = own[0]
        if len(own) == 1 and in_service and np.isnan(left) and not opened[i] < arrived:  # stood there all the time
            place[i] = row(where, drive[i], group_of[i])
            since[i] = arrived if np.isfinite(arrived) else -NEVER
            continue
        lo, hi = bounds[i], bounds[i + 1]
        if np.isfinite(own[0][1]):
            own = [(("own", unit[i]), -NEVER, own[0][1], True), *own]
        days = _days_in(own, start[lo:hi], end[lo:hi])
        rows = np.full(len(own), -1)
        for j, (where, _, _, in_service) in enumerate(own):
            if in_service and (days[j].any() or j == len(own) - 1):
                rows[j] = row(where, drive[i], group_of[i])
        exposure[lo:hi] = days.sum(axis=0)
        best = days.argmax(axis=0)
        clear = days[best, np.arange(hi - lo)] >= CLEAR_SHARE * exposure[lo:hi]
        moved.append((slice(lo, hi), np.where(clear, rows[best], -1)))
        served = [int(k) for k in rows if k >= 0]
        _, arrived, left, in_service = own[-1]
        gone = bool(np.isfinite(left)) and in_service
        stopped[i] = gone or not in_service
        place[i] = served[-1] if served else row(("own", unit[i]), drive[i], group_of[i])
        earlier = served if stopped[i] else served[:-1]
        place_before[i] = earlier[-1] if earlier else -1
        since[i] = left if gone else (arrived if np.isfinite(arrived) else -NEVER)
    interval_place = np.repeat(place, np.diff(bounds))
    for part, where_then in moved:
        interval_place[part] = where_then
    group_rows, names = pd.factorize(np.asarray(groups, dtype=object), sort=True)
    codes, labels = group_rows.astype(np.int64), tuple(map(str, names))
    now = Standing(place, place_before, since, commissioned, stopped, len(groups), codes, labels)
    return exposure, interval_place, now


def _days_in(own: list[_Stay], start: Floats, end: Floats) -> Floats:
    """Days of each interval in service in each stay, shape (stays, intervals)."""
    days = np.zeros((len(own), len(start)))
    for j, (_, arrived, left, in_service) in enumerate(own):
        a = arrived if np.isfinite(arrived) else -NEVER
        b = left if np.isfinite(left) else NEVER
        if in_service:
            days[j] = np.clip(np.minimum(end, b) - np.maximum(start, a), 0.0, None)
    return days


def _stays_by_unit(stays: pd.DataFrame, today: float) -> dict[object, list[_Stay]]:
    """Each unit's stays up to today in order of arrival."""
    out: dict[object, list[_Stay]] = {}
    if not len(stays):
        return out
    arrived, left = day_number(stays["from_on"]), day_number(stays["to_on"])
    left[~(left <= today)] = np.nan
    known = np.flatnonzero(~(arrived > today))
    order = known[np.argsort(np.where(np.isfinite(arrived[known]), arrived[known], -NEVER), kind="stable")]
    columns = (stays["unit"], stays["place"], arrived, left, stays["state"] == "in service")
    for name, *stay in zip(*(np.asarray(column)[order].tolist() for column in columns), strict=True):
        out.setdefault(name, []).append(tuple(stay))
    return out
