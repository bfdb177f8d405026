"""Counter readings and events in; operations, with every reading explained, out."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from tapwear.counts import slips
from tapwear.counts.book import Book
from tapwear.counts.chain import Chainer, Chains
from tapwear.counts.drives import Drives, join_counters
from tapwear.counts.ends import open_ends
from tapwear.counts.search import search
from tapwear.counts.series import day_numbers, make_book
from tapwear.counts.types import CounterHistory


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


def _history(
    given: pd.DataFrame, reason: np.ndarray, keep: np.ndarray, book: Book, chainer: Chainer, chains: Chains
) -> CounterHistory:
    n = len(given)
    status, words = _explained(book, chainer, chains)
    drives = join_counters(book, chains, status, words)
    rows = keep[book.row]
    all_status, all_words = np.full(n, "left aside", dtype=object), reason.copy()
    probability, operations = np.full(n, np.nan), np.full(n, np.nan)
    all_status[rows], all_words[rows] = drives.status, drives.reason
    probability[rows], operations[rows] = chains.probability, drives.reading_operations
    table = given[["reading_id", "unit", "drive", "source", "read_on", "value"]].assign(
        status=all_status, reason=all_words, probability=probability, operations=operations
    )
    codes = [pd.factorize(table[column], sort=True)[0] for column in ("drive", "unit")]
    order = np.lexsort((table["reading_id"].to_numpy(), day_numbers(table["read_on"]), *codes))
    points = pd.DataFrame(
        {
            "series": drives.series,
            "unit": drives.unit[drives.series],
            "drive": drives.drive[drives.series],
            "on": _dates(drives.day),
            "operations": drives.operations,
            "probability": drives.probability,
        }
    )
    return CounterHistory(table.iloc[order].reset_index(drop=True), points, _open_ends(book, chainer, chains, drives))


def _open_ends(book: Book, chainer: Chainer, chains: Chains, drives: Drives) -> pd.DataFrame:
    """Second explanations of latest readings, counted from the drive's first point."""
    ends = open_ends(chainer, chains)
    row = ends.row
    series = drives.of_counter[book.counter[row]] if len(row) else row
    # the counter's own operations and the drive's differ by what other counters gave before its first reading
    anchor = chains.left[row - 1] if len(row) else row
    apart = drives.reading_operations[anchor] - chains.operations[anchor]
    keep = np.isfinite(apart)
    return pd.DataFrame(
        {
            "series": series[keep],
            "unit": drives.unit[series[keep]],
            "on": _dates(book.day[row[keep]]),
            "operations": (ends.operations + apart)[keep],
            "probability": ends.probability[keep],
            "words": [word for word, kept in zip(ends.words, keep, strict=True) if kept],
        }
    )


def _dates(day: np.ndarray) -> np.ndarray:
    return day.astype("datetime64[D]").astype("datetime64[us]")


def _explained(book: Book, chainer: Chainer, chains: Chains) -> tuple[np.ndarray, np.ndarray]:
    """Status and reason of each reading of the book."""
    status = np.where(chains.used, "used", "doubtful").astype(object)
    words = _reasons(book, chainer, chains)
    for side in (chains.left, chains.right):
        twin = ~chains.used & (side >= 0)
        twin[twin] = book.day[side[twin]] == book.day[twin]
        for row in np.flatnonzero(twin):
            other = book.value[side[row]]
            status[row] = "superseded"
            again = other == book.value[row]
            words[row] = "entered twice" if again else f"another reading of that day, {other:.0f}, fits better"
    return status, words


def _reasons(book: Book, chainer: Chainer, chains: Chains) -> np.ndarray:
    """Plain words for each doubtful reading; "" for the others."""
    words = np.full(len(book.day), "", dtype=object)
    wrong = np.flatnonzero(~chains.used.astype(bool))
    if not len(wrong):
        return words
    left, right = chains.left[wrong], chains.right[wrong]
    total = np.where((left >= 0) & (right >= 0), chains.operations[right] - chains.operations[left], 0.0)
    found = chainer.scale.explanations(left, wrong, right, total)
    top = np.argmax(found.chance, axis=1)
    rows = np.arange(len(wrong))
    for row, kind, value in zip(wrong, found.kind[rows, top], found.right[rows, top], strict=True):
        words[row] = slips.in_words(int(kind), int(book.value[row]), float(value), "")
    return words
