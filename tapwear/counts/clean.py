"""Counter readings and events in; operations, with every reading explained, out."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from tapwear.counts.book import Book
from tapwear.counts.chain import Chains
from tapwear.counts.drives import Drives, join_counters
from tapwear.counts.ends import OpenEnds, open_ends, open_spans
from tapwear.counts.explain import untaken
from tapwear.counts.search import search
from tapwear.counts.series import day_numbers, in_order, make_book, name_codes, run_starts
from tapwear.counts.types import CounterHistory
from tapwear.peers import PEERS, Speakers
from tapwear.words import COUNTER_AT_FAULT

ASIDE = (
    "",
    "no date",
    "dated after {}",
    "no usable number",
    "digits of the counter unknown",
    "written on an oil sample, where counter readings are often miswritten",
    "the visit noted the counter as unreadable or standing still",
)
"""Why a reading is not looked at."""

SET_BACK = "the counter seems to have been set back or exchanged before this reading, without a record"


def read_counters(
    units: pd.DataFrame,
    readings: pd.DataFrame,
    events: pd.DataFrame,
    stays: pd.DataFrame,
    as_of: date,
) -> CounterHistory:
    """The operations that the counters show, with every reading explained.

    units, readings, events, stays : frames as described in `tapwear.counts.types`; empty ones are allowed
    as_of : only what is dated on or before this day is used

    Counters written on oil samples are left aside: they are often miswritten. So are numbers of a counter that the
    visit noted as unreadable or standing still.
    Never raises on odd data: future, negative or unreadable entries are left aside and say why.
    """
    given = readings[["reading_id", "unit", "drive", "source", "read_on", "value", "digits"]].reset_index(drop=True)
    aside = _left_aside(readings, as_of)
    keep = np.flatnonzero(aside == 0)
    known_events = events[pd.to_datetime(events["happened_on"]) <= pd.Timestamp(as_of)]
    known_stays = stays[pd.to_datetime(stays["from_on"]) <= pd.Timestamp(as_of)]
    kept = given if len(keep) == len(given) else given.iloc[keep].reset_index(drop=True)
    book = make_book(units, kept, known_events, known_stays)
    status, reason = (np.repeat(np.array([word], dtype=object), len(keep)) for word in ("used", ""))
    found, ends, spans = [Chains.none()], [OpenEnds.none()], [OpenEnds.none()]
    for start, chainer, chains in search(book, Speakers.of(units, PEERS)):
        rows, superseded, words = untaken(chainer, chains, book.unit)
        status[start + rows] = np.where(superseded, "superseded", "doubtful")
        reason[start + rows] = words
        reason[start + np.flatnonzero(chains.reset)] = SET_BACK
        found.append(chains.moved(start))
        ends.append(open_ends(chainer, chains).moved(start))
        spans.append(open_spans(chainer, chains).moved(start))
    whole = Chains.joined(found)
    drives = join_counters(book, whole, status, reason)
    table = _readings(given, aside, as_of, keep[book.row], whole, drives)
    left_open = (_open_ends(book, OpenEnds.joined(some), whole, drives) for some in (ends, spans))
    return CounterHistory(table, _points(drives), *left_open)


def _left_aside(readings: pd.DataFrame, as_of: date) -> np.ndarray:
    """Number of the reason why a reading is not looked at (see `ASIDE`), 0 for those that are; one a reading."""
    on = pd.to_datetime(readings["read_on"]).to_numpy()
    value = pd.to_numeric(readings["value"], errors="coerce").to_numpy(dtype=float)
    digits = pd.to_numeric(readings["digits"], errors="coerce").to_numpy(dtype=float)
    aside = np.zeros(len(readings), dtype=np.int64)
    source = readings["source"].to_numpy(dtype=object)
    head = run_starts([source])
    aside[np.repeat(source[head] == "sample", np.diff(head, append=len(source)))] = 5
    if "doubt" in readings:
        doubted = np.flatnonzero(readings["doubt"].to_numpy(dtype=object) != "")
        said = readings["doubt"].iloc[doubted].astype(str)
        aside[doubted[said.str.startswith(COUNTER_AT_FAULT).to_numpy(dtype=bool)]] = 6
    aside[~(digits >= 1)] = 4
    aside[~((value >= 0) & np.isfinite(value))] = 3
    aside[on > np.datetime64(as_of)] = 2
    aside[np.isnat(on)] = 1
    return aside


def _readings(
    given: pd.DataFrame, aside: np.ndarray, as_of: date, rows: np.ndarray, chains: Chains, drives: Drives
) -> pd.DataFrame:
    """The readings given, in order, with what is thought of each."""
    n = len(given)
    reason = np.array([words.format(as_of) for words in ASIDE], dtype=object)[aside]
    status = np.repeat(np.array(["left aside"], dtype=object), n)
    probability, operations = np.full(n, np.nan), np.full(n, np.nan)
    status[rows], reason[rows] = drives.status, drives.reason
    probability[rows], operations[rows] = chains.probability, drives.reading_operations
    table = given[["reading_id", "unit", "drive", "source", "read_on", "value"]].assign(
        status=status, reason=reason, probability=probability, operations=operations
    )
    columns = [table[name].to_numpy(dtype=object) for name in ("unit", "drive")]
    head = run_starts(columns)
    of_run, _ = name_codes([column[head] for column in columns])
    of_drive = np.repeat(of_run, np.diff(head, append=n))
    order = in_order(of_drive, day_numbers(table["read_on"]), table["reading_id"].to_numpy())
    if not np.array_equal(order, np.arange(n)):
        table = table.iloc[order].reset_index(drop=True)
    return table


def _points(drives: Drives) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "series": drives.series,
            "unit": pd.Series(drives.unit).array.take(drives.series),
            "drive": pd.Series(drives.drive).array.take(drives.series),
            "on": _dates(drives.day),
            "operations": drives.operations,
            "probability": drives.probability,
        }
    )


def _open_ends(book: Book, ends: OpenEnds, chains: Chains, drives: Drives) -> pd.DataFrame:
    """Second explanations of latest readings, counted from the drive's first point."""
    row = ends.row
    series = drives.of_counter[book.counter[row]]
    # a counter's own operations differ from its drive's by what other counters gave before its first reading
    anchor = chains.left[row - 1]
    apart = drives.reading_operations[anchor] - chains.operations[anchor]
    keep = np.isfinite(apart)
    return pd.DataFrame(
        {
            "series": series[keep],
            "unit": drives.unit[series[keep]],
            "on": _dates(book.day[row[keep]]),
            "operations": (ends.operations + apart)[keep],
            "probability": ends.probability[keep],
            "words": ends.words[keep],
        }
    )


def _dates(day: np.ndarray) -> np.ndarray:
    return day.astype("datetime64[D]").astype("datetime64[us]")
