"""Counter readings and events in; operations, with every reading explained, out."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from tapwear.counts import slips
from tapwear.counts.chain import Chainer, Chains
from tapwear.counts.likely import expect, expected_operations
from tapwear.counts.local import HALF, Intervals, Local, local_levels
from tapwear.counts.series import Book, day_numbers, make_book
from tapwear.counts.types import CounterHistory

SEARCHES = 2  # the search for right readings is repeated with the levels that the first one found
PARTNERS = 4  # readings of other counters at a station on the same day that are compared with: our choice


def read_counters(
    units: pd.DataFrame,
    readings: pd.DataFrame,
    events: pd.DataFrame,
    stays: pd.DataFrame,
    as_of: date,
    *,
    use_sample_readings: bool = False,
) -> CounterHistory:
    """The operations that the counters show, with every reading explained.

    units, readings, events, stays : frames as described in `tapwear.counts.types`; empty ones are allowed
    as_of : only what is dated on or before this day is used
    use_sample_readings : take counter readings written on oil samples as well (they are often miswritten)

    Never raises on odd data: future, negative or unreadable entries are left aside and say why.
    """
    given = readings.reset_index(drop=True)
    reason = _left_aside(given, as_of, use_sample_readings)
    keep = np.flatnonzero(reason == "")
    known_events = events[pd.to_datetime(events["happened_on"]) <= pd.Timestamp(as_of)]
    known_stays = stays[pd.to_datetime(stays["from_on"]) <= pd.Timestamp(as_of)]
    book = make_book(units, given.iloc[keep].reset_index(drop=True), known_events, known_stays)
    chainer, chains = search(book)
    return _history(given, reason, keep, book, chainer, chains)


def search(book: Book) -> tuple[Chainer, Chains]:
    """The best chains of all counters in the book, found with levels, seasons and noise of their own."""
    n = len(book.day)
    group = book.keys["group"].to_numpy()
    partners = _partners(book)
    spans = _raw_intervals(book)
    for _ in range(SEARCHES):
        rough = local_levels(spans, book.day, book.counter, group, None)
        local = local_levels(spans, book.day, book.counter, group, rough.season)
        shifted, guessed = _shifts(book, local)
        chainer = Chainer(book, local, shifted, guessed, partners)
        if n == 0:
            return chainer, Chains(*(np.zeros(0) for _ in range(6)))
        chains = chainer.solve()
        spans = _used_intervals(book, chains)
    return chainer, chains


def _left_aside(readings: pd.DataFrame, as_of: date, use_sample_readings: bool) -> np.ndarray:
    """Why each reading is not looked at; "" for those that are."""
    on = pd.to_datetime(readings["read_on"])
    value = pd.to_numeric(readings["value"], errors="coerce")
    digits = pd.to_numeric(readings["digits"], errors="coerce")
    return np.select(
        [
            on.isna(),
            on > pd.Timestamp(as_of),
            value.isna() | (value < 0) | ~np.isfinite(value.astype(float)),
            digits.isna() | (digits < 1),
            (readings["source"] == "sample") & (not use_sample_readings),
        ],
        [
            "no date",
            f"dated after {as_of}",
            "no usable number",
            "digits of the counter unknown",
            "written on an oil sample, where counter readings are often miswritten",
        ],
        "",
    ).astype(object)


def _raw_intervals(book: Book) -> Intervals:
    """Intervals between successive readings as written, where nothing recorded interrupts the count."""
    right = np.flatnonzero(
        (book.counter[1:] == book.counter[:-1])
        & (book.epoch[1:] == book.epoch[:-1])
        & (book.day[1:] > book.day[:-1])
    ) + 1
    return _intervals(book, right - 1, right, np.mod(book.value[right] - book.value[right - 1], book.modulus[right]))


def _used_intervals(book: Book, chains: Chains) -> Intervals:
    used = np.flatnonzero(chains.used)
    left, right = used[:-1], used[1:]
    good = (book.counter[left] == book.counter[right]) & ~chains.reset[right]
    good &= book.epoch[left] == book.epoch[right]
    left, right = left[good], right[good]
    return _intervals(book, left, right, chains.operations[right] - chains.operations[left])


def _intervals(book: Book, left: np.ndarray, right: np.ndarray, operations: np.ndarray) -> Intervals:
    served = np.maximum(book.served[right] - book.served[left], HALF)
    return Intervals(book.counter[right], left, right, served, operations)


def _partners(book: Book) -> np.ndarray:
    """Numbers written for other counters of the same station on the same day; NaN fills up to PARTNERS."""
    n = len(book.day)
    partners = np.full((n, PARTNERS), np.nan)
    station = book.keys["station"].to_numpy()[book.counter] if n else np.zeros(0, dtype=np.int64)
    order = np.lexsort((book.counter, book.day, station))
    for step in [k for d in range(1, PARTNERS // 2 + 1) for k in (d, -d)]:
        slot = 2 * (abs(step) - 1) + (step < 0)
        here = order[max(0, -step) : n - max(0, step)]
        there = order[max(0, step) : n + min(0, step)]
        same = (station[here] == station[there]) & (book.day[here] == book.day[there])
        same &= book.counter[here] != book.counter[there]
        partners[here[same], slot] = book.value[there[same]]
    return partners


def _shifts(book: Book, local: Local) -> tuple[np.ndarray, np.ndarray]:
    """Readings moved so that the count runs on over recorded replacements, and how many guesses that took."""
    shifted, guessed = book.value.copy(), np.zeros(len(book.day), dtype=np.int64)
    for one in book.replacements:
        begin = int(np.searchsorted(book.counter, one.counter))
        stop = int(np.searchsorted(book.counter, one.counter, side="right"))
        split = begin + int(np.searchsorted(book.epoch[begin:stop], one.epoch))
        if split in (begin, stop):
            continue
        left, right = split - 1, split
        modulus = book.modulus[left]
        pair = np.array([left]), np.array([right])
        expected = expect(local, np.array([one.counter]), *pair)
        gone, to_come = one.served - book.served[left], book.served[right] - one.served
        day = book.day.astype(float)
        middle = day[left] + max(gone, 0.0)
        made = [
            float(expected_operations(np.array([part]), np.array([a]), np.array([b]), expected)[0])
            for part, a, b in ((gone, day[left], middle), (to_come, middle, day[right]))
        ]
        old, new = one.old, one.new
        if np.isfinite(old):
            rise = np.mod(old - book.value[left], modulus)
            rise = rise if rise <= 5.0 * made[0] + 100.0 else old - book.value[left]
        else:
            rise = np.round(made[0])
        if not np.isfinite(new):
            new = 0.0 if book.value[right] <= 3.0 * made[1] + 60.0 else book.value[right] - np.round(made[1])
        move = shifted[left] + rise - new
        shifted[split:stop] = book.value[split:stop] + move
        guessed[split:stop] += not (np.isfinite(one.old) and np.isfinite(one.new))
    return shifted, guessed


def _history(
    given: pd.DataFrame, reason: np.ndarray, keep: np.ndarray, book: Book, chainer: Chainer, chains: Chains
) -> CounterHistory:
    table = given[["reading_id", "unit", "drive", "source", "read_on", "value"]].copy()
    n = len(table)
    status = np.full(n, "left aside", dtype=object)
    probability, operations = np.full(n, np.nan), np.full(n, np.nan)
    rows = keep[book.row]
    status[rows] = np.where(chains.used, "used", "doubtful")
    reason = reason.copy()
    reason[rows] = _reasons(book, chainer, chains)
    probability[rows] = chains.probability
    operations[rows] = chains.operations
    table = table.assign(status=status, reason=reason, probability=probability, operations=operations)
    order = np.lexsort((table["reading_id"], day_numbers(table["read_on"]), *_codes(table, ["drive", "unit"])))
    used = chains.used.astype(bool)
    unit = book.keys["unit"].to_numpy()[book.counter[used]] if n else []
    drive = book.keys["drive"].to_numpy()[book.counter[used]] if n else []
    points = pd.DataFrame(
        {
            "series": book.counter[used],
            "unit": unit,
            "drive": drive,
            "on": given["read_on"].to_numpy()[rows[used]],
            "operations": chains.operations[used],
            "probability": chains.probability[used],
        }
    )
    open_ends = pd.DataFrame(
        {"series": [], "unit": [], "on": [], "operations": [], "probability": [], "words": []}
    )
    return CounterHistory(table.iloc[order].reset_index(drop=True), points, open_ends)


def _codes(table: pd.DataFrame, columns: list[str]) -> list[np.ndarray]:
    return [pd.factorize(table[column], sort=True)[0] for column in columns]


def _reasons(book: Book, chainer: Chainer, chains: Chains) -> np.ndarray:
    """Plain words for each doubtful reading; "" for the others."""
    words = np.full(len(book.day), "", dtype=object)
    wrong = np.flatnonzero(~chains.used.astype(bool))
    if not len(wrong):
        return words
    left, right = chains.left[wrong], chains.right[wrong]
    total = np.where((left >= 0) & (right >= 0), chains.operations[right] - chains.operations[left], 0.0)
    chance, values, kinds = chainer.slip_chances(left, wrong, right, total)
    top = np.argmax(chance, axis=1)
    rows = np.arange(len(wrong))
    for row, kind, value in zip(wrong, kinds[rows, top], values[rows, top], strict=True):
        words[row] = slips.in_words(int(kind), int(book.value[row]), float(value), "")
    return words
