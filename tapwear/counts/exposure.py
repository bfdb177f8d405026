"""From cumulative operations to reading intervals: whose rate each interval tells, and over how many days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts.filter import Floats, Intervals, Ints
from tapwear.counts.settings import RateSettings
from tapwear.counts.types import CounterHistory

REGIME_EVENTS = ("regulator_setting_changed", "load_transferred", "new_generation", "paralleled")
NEVER = 1e6
"""Day number that stands for "not in sight". [days since 1970-01-01]"""


@dataclass(frozen=True)
class CountSeries:
    """Usable visits of all series as flat arrays, and where each series stands on as_of.

    unit, drive : (n,) names; begin, count : first visit and number of visits of each series
    day [days since 1970-01-01], operations [cumulative] : flat over visits
    place : (n,) row of the place whose rate the series has now
    place_before : (n,) row of the place where it served before, -1 where there is none
    since : (n,) day on which it came to where it is now (-NEVER: always there) [days since 1970-01-01]
    commissioned : (n,) first day in service; NaN where not known
    stopped : (n,) True while in store, workshop or retired: the operations clock stands still
    idle_from, idle_to : (n,) days out of service since the last visit (equal: none)
    off : (n,) True while out of service with no return recorded: idle up to as_of, then until it returns
    changed : (n,) True where a recorded event since the last visit may have changed the rate
    place_group : (places,) peer group of each place; group_names
    """

    unit: NDArray[np.object_]
    drive: NDArray[np.object_]
    begin: Ints
    count: Ints
    day: Floats
    operations: Floats
    place: Ints
    place_before: Ints
    since: Floats
    commissioned: Floats
    stopped: NDArray[np.bool_]
    idle_from: Floats
    idle_to: Floats
    off: NDArray[np.bool_]
    changed: NDArray[np.bool_]
    place_group: Ints
    group_names: tuple[str, ...]

    @property
    def last_day(self) -> Floats:
        """Day of the last usable visit, NaN where there is none. [days since 1970-01-01]"""
        out = np.full(len(self.begin), np.nan)
        some = self.count > 0
        out[some] = self.day[(self.begin + self.count - 1)[some]]
        return out


def day_number(dates: pd.Series) -> Floats:
    """Dates as days since 1970-01-01; NaT becomes NaN."""
    stamps = dates.to_numpy(dtype="datetime64[D]")
    out = stamps.astype(np.int64).astype(float)
    out[np.isnat(stamps)] = np.nan
    return out


def build_series(
    history: CounterHistory,
    units: pd.DataFrame,
    events: pd.DataFrame,
    stays: pd.DataFrame,
    as_of: date,
    settings: RateSettings,
) -> tuple[CountSeries, Intervals]:
    """Series, and the reading intervals sorted by the place whose rate they tell.

    Rows dated after `as_of` are not read. Every unit gets at least one series, even without a reading.
    Days out of service, in store or in the workshop are no exposure; an interval spent at two places tells
    neither place's rate.
    """
    today = float((np.datetime64(as_of, "D") - np.datetime64("1970-01-01", "D")).astype(int))
    unit, drive, begin, count, day, operations, doubt = _flat_points(history.points, units, today)
    n = len(unit)
    row_of_unit: dict[object, list[int]] = {}
    for i, name in enumerate(unit):
        row_of_unit.setdefault(name, []).append(i)

    has_next = np.ones(len(day), bool)
    has_next[(begin + count - 1)[count > 0]] = False
    left = np.flatnonzero(has_next)
    series = np.repeat(np.arange(n), count)[left]
    start, end = day[left], day[left + 1]
    made = np.maximum(operations[left + 1] - operations[left], 0.0)
    either = 1.0 - (1.0 - doubt[left]) * (1.0 - doubt[left + 1])
    intervals_of = np.maximum(count - 1, 0)
    first_interval = np.cumsum(intervals_of) - intervals_of

    exposure, place_key, now = _places(unit, drive, units, stays, series, start, end, today)
    idle_from = np.full(n, today)
    idle_to = np.full(n, today)
    still_off = np.zeros(n, bool)
    last = np.full(n, -NEVER)
    last[count > 0] = day[(begin + count - 1)[count > 0]]
    for i, off, on in _idle_spans(events, row_of_unit, drive, today):
        lo, hi = first_interval[i], first_interval[i] + intervals_of[i]
        stop = today if np.isnan(on) else on
        lost = np.minimum(end[lo:hi], stop) - np.maximum(start[lo:hi], off)
        exposure[lo:hi] -= np.clip(lost, 0.0, None)
        if stop > last[i]:
            idle_from[i], idle_to[i] = max(off, last[i]), stop
        still_off[i] |= bool(np.isnan(on))

    visits = np.zeros(len(left))
    event = np.zeros(len(left), bool)
    changed = np.zeros(n, bool)
    for row, when, kind in _event_rows(events, row_of_unit, drive, today):
        lo, hi = first_interval[row], first_interval[row] + intervals_of[row]
        at = lo + int(np.searchsorted(end[lo:hi], when, side="left"))
        if at < hi and start[at] < when:
            if kind == "inspection":
                visits[at] += 1.0
            else:
                event[at] = True
        elif at >= hi and kind != "inspection":
            changed[row] = True

    taken_out = np.minimum(visits * settings.inspection_operations, 0.6 * made)
    useful = (exposure >= np.maximum(1.0, 0.03 * (end - start))) & (place_key >= 0)
    keep = np.flatnonzero(useful)
    keep = keep[np.lexsort((end[keep], place_key[keep]))]
    places = now.places
    rows = np.bincount(place_key[keep], minlength=places)
    intervals = Intervals(
        begin=np.cumsum(rows) - rows,
        count=rows,
        from_day=start[keep],
        to_day=end[keep],
        operations=(made - taken_out)[keep],
        exposure=exposure[keep],
        event=event[keep],
        doubt=either[keep],
        noise=(visits * (0.4 * settings.inspection_operations) ** 2)[keep],
    )
    result = CountSeries(
        unit, drive, begin, count, day, operations, now.place, now.place_before, now.since,
        now.commissioned, now.stopped, idle_from, idle_to, still_off, changed, now.group, now.group_names,
    )  # fmt: skip
    return result, intervals


def _flat_points(
    points: pd.DataFrame, units: pd.DataFrame, today: float
) -> tuple[NDArray[np.object_], NDArray[np.object_], Ints, Ints, Floats, Floats, Floats]:
    """Unit, drive, begin, count of each series; day, operations, doubt of each visit, one visit a day."""
    day = day_number(points["on"])
    operations = points["operations"].to_numpy(dtype=float)
    doubt = 1.0 - points["probability"].to_numpy(dtype=float)
    series = pd.factorize(points["series"])[0].astype(np.int64)
    good = np.isfinite(day) & (day <= today) & np.isfinite(operations)
    sure = np.isfinite(doubt)
    doubt = np.clip(np.where(sure, doubt, 0.0), 0.0, 1.0)
    step = np.diff(series)
    if not good.all() or (step < 0).any() or ((step == 0) & (np.diff(day) <= 0)).any():
        order = np.lexsort((operations, day, series))
        order = order[good[order]]
        s, d = series[order], day[order]
        last_of_day = np.ones(len(order), bool)
        last_of_day[:-1] = (s[1:] != s[:-1]) | (d[1:] != d[:-1])
        order = order[last_of_day]
    else:
        order = np.arange(len(day))
    s = series[order]
    head = np.flatnonzero(np.r_[True, s[1:] != s[:-1]]) if len(s) else np.zeros(0, np.int64)
    count = np.diff(np.r_[head, len(s)])
    named = points.iloc[order[head]]
    unit = named["unit"].to_numpy(dtype=object)
    drive = named["drive"].to_numpy(dtype=object)
    missing = units["unit"][~units["unit"].isin(unit)].drop_duplicates().to_numpy(dtype=object)
    unit = np.concatenate([unit, missing])
    drive = np.concatenate([drive, np.full(len(missing), "1", dtype=object)])
    begin = np.concatenate([head, np.full(len(missing), len(s))]).astype(np.int64)
    count = np.concatenate([count, np.zeros(len(missing))]).astype(np.int64)
    return unit, drive, begin, count, day[order], operations[order], doubt[order]


def _event_rows(
    events: pd.DataFrame, row_of_unit: dict[object, list[int]], drive: NDArray[np.object_], today: float
) -> list[tuple[int, float, str]]:
    """(series, day, kind) of every event of a kind that concerns the rate, up to today."""
    wanted = events[events["kind"].isin([*REGIME_EVENTS, "inspection"])]
    out = []
    for name, when, kind, which in zip(
        wanted["unit"], day_number(wanted["happened_on"]), wanted["kind"], wanted["drive"], strict=True
    ):
        if np.isfinite(when) and when <= today:
            rows = row_of_unit.get(name, [])
            out += [(i, float(when), str(kind)) for i in rows if which in ("", drive[i])]
    return out


def _idle_spans(
    events: pd.DataFrame, row_of_unit: dict[object, list[int]], drive: NDArray[np.object_], today: float
) -> list[tuple[int, float, float]]:
    """(series, from, to) of every spell out of service; `to` is NaN while it lasts."""
    wanted = events[events["kind"].isin(["out_of_service", "back_in_service"])]
    frame = pd.DataFrame(
        {
            "unit": wanted["unit"].to_numpy(),
            "day": day_number(wanted["happened_on"]),
            "off": (wanted["kind"] == "out_of_service").to_numpy(),
            "drive": wanted["drive"].to_numpy(),
        }
    )
    frame = frame[frame["day"] <= today].sort_values(["unit", "drive", "day"], kind="stable")
    out = []
    for (name, which), rows in frame.groupby(["unit", "drive"], sort=False):
        off_since = np.nan
        spans = []
        for when, off in zip(rows["day"], rows["off"], strict=True):
            if off and not np.isfinite(off_since):
                off_since = when
            elif not off and np.isfinite(off_since):
                spans.append((off_since, when))
                off_since = np.nan
        if np.isfinite(off_since):
            spans.append((off_since, np.nan))
        for i in row_of_unit.get(name, []):
            if which in ("", drive[i]):
                out += [(i, float(a), float(b)) for a, b in spans]
    return out


@dataclass(frozen=True)
class _Now:
    """Where each series stands today; arrays over series, but `group` over places."""

    place: Ints
    place_before: Ints
    since: Floats
    commissioned: Floats
    stopped: NDArray[np.bool_]
    places: int
    group: Ints
    group_names: tuple[str, ...]


def _places(
    unit: NDArray[np.object_],
    drive: NDArray[np.object_],
    units: pd.DataFrame,
    stays: pd.DataFrame,
    series: Ints,
    start: Floats,
    end: Floats,
    today: float,
) -> tuple[Floats, Ints, _Now]:
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
    interval_place = np.zeros(len(series), np.int64)
    bounds = np.searchsorted(series, np.arange(n + 1))
    for i in range(n):
        own = stays_of.get(unit[i])
        lo, hi = bounds[i], bounds[i + 1]
        if own is None:
            place[i] = row(("own", unit[i]), drive[i], group_of[i])
            interval_place[lo:hi] = place[i]
            continue
        if np.isfinite(own[0][1]):
            own = [(("own", unit[i]), -NEVER, own[0][1], True), *own]
        days = np.zeros((len(own), hi - lo))
        rows = np.full(len(own), -1)
        for j, (where, arrived, left, in_service) in enumerate(own):
            a = arrived if np.isfinite(arrived) else -NEVER
            b = left if np.isfinite(left) else NEVER
            if in_service:
                days[j] = np.clip(np.minimum(end[lo:hi], b) - np.maximum(start[lo:hi], a), 0.0, None)
                if days[j].any() or j == len(own) - 1:
                    rows[j] = row(where, drive[i], group_of[i])
        exposure[lo:hi] = days.sum(axis=0)
        best = days.argmax(axis=0)
        clear = days[best, np.arange(hi - lo)] >= 0.9 * exposure[lo:hi]
        interval_place[lo:hi] = np.where(clear, rows[best], -1)
        served = [int(k) for k in rows if k >= 0]
        _, arrived, left, in_service = own[-1]
        gone = bool(np.isfinite(left)) and in_service
        stopped[i] = gone or not in_service
        if stopped[i]:
            place[i] = served[-1] if served else row(("own", unit[i]), drive[i], group_of[i])
        else:
            place[i] = rows[-1]
        earlier = served if stopped[i] else served[:-1]
        place_before[i] = earlier[-1] if earlier else -1
        since[i] = left if gone else (arrived if np.isfinite(arrived) else -NEVER)
    group_rows, names = pd.factorize(np.asarray(groups, dtype=object), sort=True)
    codes, labels = group_rows.astype(np.int64), tuple(map(str, names))
    now = _Now(place, place_before, since, commissioned, stopped, len(groups), codes, labels)
    return exposure, interval_place, now


def _stays_by_unit(
    stays: pd.DataFrame, today: float
) -> dict[object, list[tuple[object, float, float, bool]]]:
    """Each unit's stays up to today in order of arrival: (place, arrived, left or NaN, in service)."""
    out: dict[object, list[tuple[object, float, float, bool]]] = {}
    if not len(stays):
        return out
    arrived, left = day_number(stays["from_on"]), day_number(stays["to_on"])
    order = np.argsort(np.where(np.isfinite(arrived), arrived, -NEVER), kind="stable")
    unit = stays["unit"].to_numpy(dtype=object)
    place = stays["place"].to_numpy(dtype=object)
    serving = (stays["state"] == "in service").to_numpy()
    for k in order:
        if not arrived[k] > today:
            gone = float(left[k]) if left[k] <= today else np.nan
            out.setdefault(unit[k], []).append((place[k], float(arrived[k]), gone, bool(serving[k])))
    return out
