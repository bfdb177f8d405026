"""Puts counter readings in order: one flat, sorted book of readings, with the days in service.

A *counter* here is one mechanical counter, one raise counter, one lower counter or one controller count of one
drive; how several of them make the operations of a drive is settled afterwards, in `drives`.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd

from tapwear.counts.book import Book, Replacement

IDLE_SHARE = 0.02
"""Share of its usual rate that a unit out of service is still allowed (tests, exercise): our choice."""

IN_SERVICE = "in service"


def day_numbers(dates: pd.Series) -> np.ndarray:
    """Days since 1970-01-01 [int64]; a missing date is a very large negative number."""
    return pd.to_datetime(dates).to_numpy().astype("datetime64[D]").astype(np.int64)


def make_book(units: pd.DataFrame, readings: pd.DataFrame, events: pd.DataFrame, stays: pd.DataFrame) -> Book:
    """The readings given, sorted and dated in days of service; all frames as described in `types`.

    The rows of `readings` must be usable (dated, with a value of at least 0 and 1 digit or more); the
    caller sees to that, and to `as_of`.
    """
    columns = [readings[name].to_numpy(dtype=object) for name in ("unit", "drive", "source")]
    head = run_starts(columns)
    unit, drive, source = (column[head] for column in columns)
    source = np.where(np.isin(source, ["raise", "lower", "controller"]), source, "mechanical")
    of_run, shown = name_codes([unit, drive, source])
    code = np.repeat(of_run, np.diff(head, append=len(readings)))
    keys = pd.DataFrame({"unit": unit[shown], "drive": drive[shown], "source": source[shown]}, dtype=object)
    day = day_numbers(readings["read_on"])
    order = in_order(code, day)
    code, day = code[order], day[order]
    first = np.searchsorted(code, np.arange(len(keys)))
    group, station, bank = _peers(keys, units)
    served, inspected, epoch = day.astype(float), np.zeros(len(day)), np.zeros(len(day), dtype=np.int64)
    value = readings["value"].to_numpy(dtype=float)[order]
    replacements = _apply_events(keys, first, day, value, served, inspected, epoch, events, stays)
    again = np.flatnonzero((code[1:] == code[:-1]) & (day[1:] == day[:-1]))
    if len(again):  # of two numbers of one day the smaller stands first
        rows = np.union1d(again, again + 1)
        number = readings["reading_id"].to_numpy()[order[rows]]
        rising = rows[np.lexsort((number, value[rows], epoch[rows], day[rows], code[rows]))]
        order[rows], value[rows], epoch[rows] = order[rising], value[rising], epoch[rising]
    return Book(
        counter=code,
        day=day,
        value=value,
        modulus=10.0 ** readings["digits"].to_numpy(dtype=float)[order],
        row=order,
        served=served,
        inspected=inspected,
        epoch=epoch,
        unit=unit[shown],
        drive=drive[shown],
        source=source[shown],
        group=group,
        station=station,
        replacements=tuple(replacements),
        bank=bank,
    )


def run_starts(columns: list[np.ndarray]) -> np.ndarray:
    """First rows of the runs of successive rows that are alike in all columns, so that names are looked up once."""
    n = len(columns[0])
    new = np.zeros(n, dtype=bool)
    new[:1] = True
    for names in columns:
        new[1:] |= names[1:] != names[:-1]
    return np.flatnonzero(new)


def name_codes(columns: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """A code for each row, in the order of the names in the first column, then the next; and a row of each code."""
    total = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        codes, names = pd.factorize(column, sort=True)
        total = total * max(len(names), 1) + codes
    _, shown, code = np.unique(total, return_index=True, return_inverse=True)
    return code, shown


def in_order(*keys: np.ndarray) -> np.ndarray:
    """Rows in the order of the first key, then the next; rows that are alike stay as they are."""
    above, level = np.zeros(max(len(keys[0]) - 1, 0), dtype=bool), True
    for key in keys:
        above |= level & (key[1:] > key[:-1])
        level = level & (key[1:] == key[:-1])
    if np.all(above | level):
        return np.arange(len(keys[0]))
    return np.lexsort(keys[::-1])


def _peers(keys: pd.DataFrame, units: pd.DataFrame) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Codes of the peer group, the station and the bank of each counter.

    A unit without a station has no neighbours; the bank is one of its station, -1 for none.
    """
    known = units.drop_duplicates("unit").set_index("unit")
    group = keys["unit"].map(known["peer_group"]).astype("object").fillna("")
    station = keys["unit"].map(known["station"]).astype("object").fillna("")
    alone = "\0" + keys["unit"].astype(str)
    place = pd.factorize(station.where(station != "", alone))[0]
    if "bank" not in known:
        return pd.factorize(group)[0], place, np.full(len(keys), -1)
    bank = keys["unit"].map(known["bank"]).astype("object").fillna("")
    named = pd.factorize(pd.Series(place).astype(str) + "\0" + bank.astype(str))[0]
    return pd.factorize(group)[0], place, np.where(bank == "", -1, named)


def _apply_events(
    keys: pd.DataFrame,
    first: np.ndarray,
    day: np.ndarray,
    value: np.ndarray,
    served: np.ndarray,
    inspected: np.ndarray,
    epoch: np.ndarray,
    events: pd.DataFrame,
    stays: pd.DataFrame,
) -> list[Replacement]:
    """Fills `served`, `inspected` and `epoch` in place for the units that have events; returns replacements."""
    end = np.r_[first[1:], len(day)].astype(np.int64)
    counters: dict[str, list[int]] = {}
    wanted = set(events["unit"]) | set(stays["unit"])
    for number, unit in enumerate(keys["unit"]):
        if unit in wanted:
            counters.setdefault(unit, []).append(number)
    idle = _idle_spans(events, stays, counters)
    drives = keys["drive"].to_numpy()
    for unit, numbers in counters.items():
        for number in numbers:
            part = slice(first[number], end[number])
            lost = np.zeros(end[number] - first[number])
            for begin, stop in _merged(idle.get((unit, ""), []) + idle.get((unit, drives[number]), [])):
                lost += np.clip(day[part] - begin, 0, max(stop - begin, 0))
            served[part] -= (1.0 - IDLE_SHARE) * lost
    checks = events[events["kind"] == "inspection"]
    for unit, on in zip(checks["unit"], day_numbers(checks["happened_on"]), strict=True):
        for number in counters.get(unit, ()):
            part = slice(first[number], end[number])
            inspected[part] += day[part] >= on
    return _apply_replacements(keys, first, end, day, value, served, epoch, events, counters)


def _apply_replacements(
    keys: pd.DataFrame,
    first: np.ndarray,
    end: np.ndarray,
    day: np.ndarray,
    value: np.ndarray,
    served: np.ndarray,
    epoch: np.ndarray,
    events: pd.DataFrame,
    counters: dict[str, list[int]],
) -> list[Replacement]:
    """Fills `epoch` in place for the counters that were exchanged; returns the exchanges, each counter's numbered."""
    found: list[Replacement] = []
    count: Counter[int] = Counter()
    swaps = events[events["kind"] == "counter_replaced"]
    swaps = swaps.assign(on=day_numbers(swaps["happened_on"])).sort_values(["unit", "on"], kind="stable")
    sources = keys["source"].to_numpy()
    drives = keys["drive"].to_numpy()
    for unit, drive, on, old, new in zip(
        swaps["unit"],
        swaps["drive"].fillna(""),
        swaps["on"],
        swaps["old_reading"].to_numpy(dtype=float),
        swaps["new_reading"].to_numpy(dtype=float),
        strict=True,
    ):
        mine = [n for n in counters.get(unit, ()) if drive in ("", drives[n]) and sources[n] != "controller"]
        if any(sources[n] == "mechanical" for n in mine):
            mine = [n for n in mine if sources[n] == "mechanical"]
        for number in mine:
            part = slice(first[number], end[number])
            after = day[part] >= on
            same = day[part] == on
            if same.any() and np.isfinite(old) and old != new:  # nearer to the old counter's last number: read before
                after &= ~(same & (abs(value[part] - old) < abs(value[part] - np.nan_to_num(new))))
            epoch[part] += after
            before = np.flatnonzero(~after)
            start = served[part][before[-1]] - day[part][before[-1]] if len(before) else 0.0
            count[number] += 1
            found.append(Replacement(number, count[number], float(on + start), float(old), float(new)))
    return found


def _idle_spans(
    events: pd.DataFrame, stays: pd.DataFrame, counters: dict[str, list[int]]
) -> dict[tuple[str, str], list[tuple[int, int]]]:
    """Day spans in which a unit, or one drive of it, stood out of service, by unit and drive ("": all of them).

    From events, and from stays in any other state.
    """
    horizon = 10**6  # a day far beyond every record
    spans: dict[tuple[str, str], list[tuple[int, int]]] = {}
    open_since: dict[tuple[str, str], int] = {}
    outages = events[events["kind"].isin(["out_of_service", "back_in_service"])]
    outages = outages.assign(on=day_numbers(outages["happened_on"])).sort_values("on", kind="stable")
    for unit, drive, kind, on in zip(
        outages["unit"], outages["drive"].fillna(""), outages["kind"], outages["on"], strict=True
    ):
        if kind == "out_of_service":
            open_since.setdefault((unit, drive), int(on))
        elif (unit, drive) in open_since:
            spans.setdefault((unit, drive), []).append((open_since.pop((unit, drive)), int(on)))
    for name, since in open_since.items():
        spans.setdefault(name, []).append((since, horizon))
    away = stays[stays["state"] != IN_SERVICE]
    until = day_numbers(away["to_on"])
    for unit, since, stop in zip(away["unit"], day_numbers(away["from_on"]), until, strict=True):
        spans.setdefault((unit, ""), []).append((int(since), int(stop) if stop > -horizon else horizon))
    return {name: parts for name, parts in spans.items() if name[0] in counters}


def _merged(spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Overlapping day spans joined."""
    joined: list[tuple[int, int]] = []
    for begin, stop in sorted(spans):
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(stop, joined[-1][1]))
        else:
            joined.append((begin, stop))
    return joined
