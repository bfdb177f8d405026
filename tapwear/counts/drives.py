"""From counters to drives: raise and lower counts added, a controller's count only where nothing better is.

A drive's mechanical counter governs. Where it was not read (before its first reading and after its last), the
sum of raise and lower counters stands in, and where those are missing the controller's own count, each joined on
with its own offset at the day where the better one ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.counts.book import Book
from tapwear.counts.chain import Chains
from tapwear.counts.series import in_order

RANK = ("mechanical", "raise and lower", "controller")


@dataclass(frozen=True)
class Track:
    """Operations of one drive from one source: days, cumulative operations, probabilities, readings they rest on."""

    day: np.ndarray
    operations: np.ndarray
    probability: np.ndarray
    rows: list[tuple[int, ...]]


@dataclass(frozen=True)
class Drives:
    """Operations of all drives.

    unit, drive : one entry a series. series, day, operations, probability : one entry a point.
    status, reason, reading_operations : one entry a reading of the book.
    of_counter : series of each counter.
    """

    unit: np.ndarray
    drive: np.ndarray
    series: np.ndarray
    day: np.ndarray
    operations: np.ndarray
    probability: np.ndarray
    status: np.ndarray
    reason: np.ndarray
    reading_operations: np.ndarray
    of_counter: np.ndarray


def join_counters(book: Book, chains: Chains, status: np.ndarray, reason: np.ndarray) -> Drives:
    """Drives from counters; `status` and `reason` of the readings so far are copied and completed."""
    unit, drive, source = book.unit, book.drive, book.source
    n_counters = len(unit)
    new = np.ones(n_counters, dtype=bool)
    if n_counters:
        new[1:] = (unit[1:] != unit[:-1]) | (drive[1:] != drive[:-1])
    of_counter = np.cumsum(new) - 1
    status, reason = status.copy(), reason.copy()
    operations = np.where(chains.used, chains.operations, np.nan)
    plain = np.bincount(of_counter, minlength=int(new.sum())) == 1 if n_counters else np.zeros(0, dtype=bool)
    if n_counters:
        plain &= np.isin(source, ["mechanical", "controller"])[np.flatnonzero(new)]
    mine = of_counter[book.counter] if n_counters else np.zeros(0, dtype=np.int64)
    simple = chains.used & (plain[mine] if n_counters else True)
    series = [mine[simple]]
    day, made, probability = [book.day[simple]], [operations[simple]], [chains.probability[simple]]
    for number in np.flatnonzero(~plain):
        track = _one_drive(book, chains, np.flatnonzero(of_counter == number), status, reason, operations)
        series.append(np.full(len(track.day), number))
        day.append(track.day)
        made.append(track.operations)
        probability.append(track.probability)
    all_series, all_day = np.concatenate(series).astype(np.int64), np.concatenate(day).astype(np.int64)
    order = in_order(all_series, all_day)
    mixed = np.flatnonzero(~plain[mine]) if n_counters else mine
    operations[mixed[status[mixed] != "used"]] = np.nan
    return Drives(
        unit=unit[new],
        drive=drive[new],
        series=all_series[order],
        day=all_day[order],
        operations=np.concatenate(made)[order],
        probability=np.concatenate(probability)[order],
        status=status,
        reason=reason,
        reading_operations=operations,
        of_counter=of_counter,
    )


def _one_drive(
    book: Book,
    chains: Chains,
    counters: np.ndarray,
    status: np.ndarray,
    reason: np.ndarray,
    operations: np.ndarray,
) -> Track:
    """The operations of a drive that has more than one counter; fills status, reason and operations in place."""
    sources = book.source[counters]
    by_source = {
        source: _track(book, chains, counter) for source, counter in zip(sources, counters, strict=True)
    }
    tracks = [
        by_source.get("mechanical"),
        _sum(by_source.get("raise"), by_source.get("lower"), status, reason),
        by_source.get("controller"),
    ]
    governing: Track | None = None
    for name, track in zip(RANK, tracks, strict=True):
        if track is None or not len(track.day):
            continue
        if governing is None:
            governing = track
            _record(track, np.ones(len(track.day), dtype=bool), track.operations, operations)
            continue
        kept, moved = _outside(governing, track)
        words = f"{name} count, where a better one was not read"
        for rows, keep in zip(track.rows, kept, strict=True):
            for row in rows:
                status[row] = "used" if keep else "left aside"
                reason[row] = words if keep else "another counter of this drive governs"
        _record(track, kept, moved, operations)
        governing = _merged(governing, track, kept, moved)
    if governing is None:
        nothing = np.zeros(0)
        return Track(nothing.astype(np.int64), nothing, nothing, [])
    start = governing.operations[0]
    for rows in governing.rows:
        for row in rows:
            operations[row] -= start
    return Track(governing.day, governing.operations - start, governing.probability, governing.rows)


def _track(book: Book, chains: Chains, counter: int) -> Track:
    rows = np.flatnonzero((book.counter == counter) & chains.used)
    return Track(book.day[rows], chains.operations[rows], chains.probability[rows], [(int(r),) for r in rows])


def _sum(up: Track | None, down: Track | None, status: np.ndarray, reason: np.ndarray) -> Track | None:
    """Raise and lower counts added, on the days when both were read; the other readings are left aside."""
    if up is None and down is None:
        return None
    nobody = Track(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), [])
    up, down = up or nobody, down or nobody
    common, a, b = np.intersect1d(up.day, down.day, return_indices=True)
    for track, other in ((up, "lower"), (down, "raise")):
        for day, rows in zip(track.day, track.rows, strict=True):
            if day not in common:
                status[rows[0]] = "left aside"
                reason[rows[0]] = f"no usable {other} count of the same day"
    return Track(
        common,
        up.operations[a] + down.operations[b],
        up.probability[a] * down.probability[b],
        [up.rows[i] + down.rows[j] for i, j in zip(a, b, strict=True)],
    )


def _outside(governing: Track, other: Track) -> tuple[np.ndarray, np.ndarray]:
    """Points of `other` before and after those of `governing`, and its operations moved to join on there."""
    first, last = governing.day[0], governing.day[-1]
    kept = np.zeros(len(other.day), dtype=bool)
    moved = other.operations.astype(float).copy()
    if other.day[0] <= last:
        here = float(np.interp(last, other.day, other.operations))
        after = other.day > last
        moved[after] += governing.operations[-1] - here
        kept |= after
    if other.day[-1] >= first:
        here = float(np.interp(first, other.day, other.operations))
        before = other.day < first
        moved[before] += governing.operations[0] - here
        kept |= before
    return kept, moved


def _merged(governing: Track, other: Track, kept: np.ndarray, moved: np.ndarray) -> Track:
    day = np.concatenate([governing.day, other.day[kept]])
    order = np.argsort(day, kind="stable")
    rows = governing.rows + [rows for rows, keep in zip(other.rows, kept, strict=True) if keep]
    return Track(
        day[order],
        np.concatenate([governing.operations, moved[kept]])[order],
        np.concatenate([governing.probability, other.probability[kept]])[order],
        [rows[i] for i in order],
    )


def _record(track: Track, kept: np.ndarray, moved: np.ndarray, operations: np.ndarray) -> None:
    """Writes the drive's operations beside each reading that makes a point."""
    for rows, keep, value in zip(track.rows, kept, moved, strict=True):
        if keep:
            for row in rows:
                operations[row] = value
