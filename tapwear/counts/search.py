"""Finds the right readings: local levels from what is taken as right, the best chains from those levels, again."""

from __future__ import annotations

import numpy as np

from tapwear.counts import slips
from tapwear.counts.book import Book
from tapwear.counts.chain import Chainer, Chains
from tapwear.counts.exchanges import run_on
from tapwear.counts.local import HALF, Intervals, local_levels
from tapwear.counts.weigh import Beside, Scale

PARTNERS = 4  # readings of other counters at a station on the same day that are compared with: our choice


def search(book: Book) -> tuple[Chainer, Chains]:
    """The best chains of all counters in the book: a rough search for levels, then a thorough one."""
    beside = read_beside(book)
    rough = chainer_at(book, _raw_intervals(book), beside).solve(rough=True)
    chainer = chainer_at(book, used_intervals(book, rough), beside)
    return chainer, chainer.solve()


def chainer_at(
    book: Book, spans: Intervals, beside: Beside, chance_of: np.ndarray = slips.IN_BOOK
) -> Chainer:
    """A search whose levels, seasons and noise are learnt from the intervals given."""
    local = local_levels(book, spans)
    shifted, guessed = run_on(book, local)
    return Chainer(Scale(book, local, shifted, beside, chance_of), guessed)


def _raw_intervals(book: Book) -> Intervals:
    """Intervals between successive readings as written, where nothing recorded interrupts the count."""
    right = np.flatnonzero(
        (book.counter[1:] == book.counter[:-1])
        & (book.epoch[1:] == book.epoch[:-1])
        & (book.day[1:] > book.day[:-1])
    ) + 1
    return _intervals(book, right - 1, right, np.mod(book.value[right] - book.value[right - 1], book.modulus[right]))


def used_intervals(book: Book, chains: Chains) -> Intervals:
    """Intervals between successive right readings, where nothing interrupts the count."""
    used = np.flatnonzero(chains.used)
    left, right = used[:-1], used[1:]
    good = (book.counter[left] == book.counter[right]) & ~chains.reset[right]
    good &= book.epoch[left] == book.epoch[right]
    left, right = left[good], right[good]
    return _intervals(book, left, right, chains.operations[right] - chains.operations[left])


def _intervals(book: Book, left: np.ndarray, right: np.ndarray, operations: np.ndarray) -> Intervals:
    served = np.maximum(book.served[right] - book.served[left], HALF)
    return Intervals(book.counter[right], left, right, served, operations)


def read_beside(book: Book) -> Beside:
    """What was written for other counters of the same station on the same day."""
    n = len(book.day)
    partners = np.full((n, PARTNERS), np.nan)
    station = book.station[book.counter]
    order = np.lexsort((book.counter, book.day, station))
    for step in [k for d in range(1, PARTNERS // 2 + 1) for k in (d, -d)]:
        slot = 2 * (abs(step) - 1) + (step < 0)
        here = order[max(0, -step) : n - max(0, step)]
        there = order[max(0, step) : n + min(0, step)]
        same = (station[here] == station[there]) & (book.day[here] == book.day[there])
        same &= book.counter[here] != book.counter[there]
        partners[here[same], slot] = book.value[there[same]]
    same_number = np.any(partners == book.value[:, None], axis=1)
    return Beside(partners, np.where(same_number, 0.0, -np.inf))
