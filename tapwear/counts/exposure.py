"""From cumulative operations to reading intervals: whose rate each interval tells, and over how many days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts.filter import Floats, Intervals, Ints
from tapwear.counts.places import NEVER, Standing, day_number, stand
from tapwear.counts.series import in_order
from tapwear.counts.settings import RateSettings
from tapwear.counts.types import CounterHistory

REGIME_EVENTS = ("regulator_setting_changed", "load_transferred", "new_generation", "paralleled")
SERVICE_SHARE = 0.03
"""Intervals with less of their days in service than this tell no rate (our choice)."""


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
    place_unit : (places,) row of the first series that is or was there; -1 where it told nothing
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
    place_unit: Ints

    @property
    def last_day(self) -> Floats:
        """Day of the last usable visit, NaN where there is none. [days since 1970-01-01]"""
        out = np.full(len(self.begin), np.nan)
        some = self.count > 0
        out[some] = self.day[(self.begin + self.count - 1)[some]]
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
    leads = np.ones(len(day), bool)
    leads[(begin + count - 1)[count > 0]] = False
    ends = np.ones(len(day), bool)
    ends[begin[count > 0]] = False
    start, end = day[leads], day[ends]
    made = np.maximum(operations[ends] - operations[leads], 0.0)
    either = np.maximum(doubt[leads], doubt[ends])
    spans = np.maximum(count - 1, 0)
    of_series = np.repeat(np.arange(n), spans)
    exposure, place, now = stand(unit, drive, units, stays, of_series, start, end, today)

    last = np.full(n, -NEVER)
    last[count > 0] = day[(begin + count - 1)[count > 0]]
    rows_of: dict[object, list[int]] = {}
    for i, name in enumerate(unit):
        rows_of.setdefault(name, []).append(i)
    book = _Book(start, end, np.cumsum(spans) - spans, spans, last, today)
    idle_from, idle_to, off = _take_idle_out(exposure, book, _idle_spans(events, rows_of, drive, today))
    event, visits, changed = _place_events(book, _event_rows(events, rows_of, drive, today))
    made -= np.minimum(visits * settings.inspection_operations, 0.6 * made)

    keep = np.flatnonzero((exposure >= np.maximum(1.0, SERVICE_SHARE * (end - start))) & (place >= 0))
    keep = keep[in_order(place[keep], end[keep])]
    rows = np.bincount(place[keep], minlength=now.places)
    intervals = Intervals(
        begin=np.cumsum(rows) - rows,
        count=rows,
        from_day=start[keep],
        to_day=end[keep],
        operations=made[keep],
        exposure=exposure[keep],
        event=event[keep],
        doubt=either[keep],
        noise=visits[keep] * (0.4 * settings.inspection_operations) ** 2,
        series=of_series[keep],
    )
    result = CountSeries(
        unit, drive, begin, count, day, operations, now.place, now.place_before, now.since,
        now.commissioned, now.stopped, idle_from, idle_to, off, changed, now.group, now.group_names,
        _first_there(now, place, of_series),
    )  # fmt: skip
    return result, intervals


def _first_there(now: Standing, place: Ints, of_series: Ints) -> Ints:
    """Row of the first series at each place, of those there now, of the one before, or of an interval."""
    none = len(now.place)
    first = np.full(now.places, none)
    np.minimum.at(first, now.place, np.arange(none))
    for where, series in ((now.place_before, np.arange(none)), (place, of_series)):
        np.minimum.at(first, where[where >= 0], series[where >= 0])
    return np.where(first < none, first, -1)


@dataclass(frozen=True)
class _Book:
    """All reading intervals by series, to look up what happened within them."""

    start: Floats
    end: Floats
    first: Ints
    spans: Ints
    last: Floats
    today: float


def _take_idle_out(
    exposure: Floats, book: _Book, idle: list[tuple[int, float, float]]
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Takes days out of service from `exposure`; returns the idle days since the last visit, and who is still off."""
    idle_from = np.full(len(book.last), book.today)
    idle_to = idle_from.copy()
    off = np.zeros(len(book.last), bool)
    for i, left, back in idle:
        part = slice(book.first[i], book.first[i] + book.spans[i])
        stop = book.today if np.isnan(back) else back
        lost = np.minimum(book.end[part], stop) - np.maximum(book.start[part], left)
        exposure[part] -= np.clip(lost, 0.0, None)
        if stop > book.last[i]:
            idle_from[i], idle_to[i] = max(left, book.last[i]), stop
        off[i] |= bool(np.isnan(back))
    return idle_from, idle_to, off


def _place_events(
    book: _Book, rows: list[tuple[int, float, str]]
) -> tuple[NDArray[np.bool_], Floats, NDArray[np.bool_]]:
    """Intervals with a recorded change, inspections in each interval, and series changed since the last visit."""
    event = np.zeros(len(book.start), bool)
    visits = np.zeros(len(book.start))
    changed = np.zeros(len(book.last), bool)
    for i, when, kind in rows:
        lo, hi = book.first[i], book.first[i] + book.spans[i]
        at = lo + int(np.searchsorted(book.end[lo:hi], when, side="left"))
        if at < hi and book.start[at] < when:
            if kind == "inspection":
                visits[at] += 1.0
            else:
                event[at] = True
        elif at >= hi and kind != "inspection":
            changed[i] = True
    return event, visits, changed


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
        wanted["unit"], day_number(wanted["happened_on"]), wanted["kind"], wanted["drive"].fillna(""), strict=True
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
            "drive": wanted["drive"].fillna("").to_numpy(),
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
