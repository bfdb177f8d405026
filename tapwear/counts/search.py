"""Finds the right readings: local levels from what is taken as right, the best chains from those levels, again."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from tapwear.counts import slips
from tapwear.counts.book import Book
from tapwear.counts.chain import Chainer, Chains
from tapwear.counts.exchanges import run_on
from tapwear.counts.likely import over
from tapwear.counts.local import HALF, Intervals, group_levels, local_levels
from tapwear.counts.weigh import Beside, Scale, swapped
from tapwear.peers import Speakers

AT_A_TIME = 200_000  # readings searched at a time, to bound the memory
ANYWHERE, ANYWHERE_COUNTS = float(np.log(10.0)), 2.0  # operations a day of a tap changer of which nothing is known, and
# for how many counters that counts: our choice
PARTNERS = 4  # readings of other counters at a station on the same day that are compared with: our choice
STRANGERS_COUPLED = float(np.log(0.02))  # log odds that two units run in step from the same start: our choice
EQUAL_TELLS = float(np.log(0.95 / 0.003))  # for it: another number shown by both on one day
UNEQUAL_TELLS = float(np.log(0.93 / 0.07))  # against it: two numbers on one day, which two slips in a hundred make
AGREEING = 0.98  # of the slips of a reading, those that a coupled counter with the same number rules out: our choice
NEW_SHOWS, NEW_SHARE = 50.0, 0.3  # share of first readings that are those of a new counter, below so many operations


def search(book: Book, speakers: Speakers | None = None) -> Iterator[tuple[int, Chainer, Chains]]:
    """The best chains of all counters in the book: a rough search for levels, then a thorough one.

    speakers : who tells what is usual of like units; None: all do

    Gives part after part of the book: the place of its first reading, the search, and what it found.
    """
    beside = read_beside(book)
    group = credible_levels(book, speakers)
    for counters, readings in _parts(book):
        part, near = book.part(counters, readings), beside.part(readings)
        rough = chainer_at(part, raw_intervals(part), near, group[counters], rough=True).solve(rough=True)
        chainer = chainer_at(part, used_intervals(part, rough), near, group[counters])
        yield readings.start, chainer, chainer.solve()


def credible_levels(book: Book, speakers: Speakers | None = None) -> np.ndarray:
    """Level of each counter's peers [log operations a day], drawn towards what tap changers make anywhere.

    A group of a few is told by as many counters, and a wrong reading of one of them must not make it one that turns its
    wheels every year.
    """
    spans = raw_intervals(book)
    level = group_levels(spans, book.group, speakers.rows(book.unit) if speakers else None)
    told = np.unique(spans.counter)
    many = np.bincount(book.group[told], minlength=int(book.group.max(initial=0)) + 1)[book.group]
    return np.asarray((many * level + ANYWHERE_COUNTS * ANYWHERE) / (many + ANYWHERE_COUNTS))


def _parts(book: Book) -> Iterator[tuple[slice, slice]]:
    """The book cut between counters into parts of about `AT_A_TIME` readings: slices of counters and readings."""
    if not len(book.day):
        return
    first = np.searchsorted(book.counter, np.arange(len(book.unit) + 1))
    cuts = np.unique(np.searchsorted(first, np.arange(0, len(book.day), AT_A_TIME)))
    for begin, stop in pairwise([*cuts.tolist(), len(book.unit)]):
        if stop > begin:
            yield slice(begin, stop), slice(int(first[begin]), int(first[stop]))


def chainer_at(
    book: Book,
    spans: Intervals,
    beside: Beside,
    group: np.ndarray,
    chance_of: np.ndarray = slips.IN_BOOK,
    *,
    rough: bool = False,
) -> Chainer:
    """A search whose levels, seasons and noise are learnt from the intervals given."""
    local = local_levels(book, spans, group, rough=rough)
    shifted, guessed = run_on(book, local)
    mutual = swapped(book, local, shifted, beside)
    return Chainer(Scale(book, local, shifted, beside, chance_of, mutual), guessed)


def raw_intervals(book: Book) -> Intervals:
    """Intervals between successive readings as written, where nothing recorded interrupts the count."""
    right = np.flatnonzero(
        (book.counter[1:] == book.counter[:-1])
        & (book.epoch[1:] == book.epoch[:-1])
        & (book.day[1:] > book.day[:-1])
    ) + 1
    return _intervals(book, right - 1, right, over(book.value[right] - book.value[right - 1], book.modulus[right]))


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
    shape = (n, PARTNERS)
    partners, counters, rows = np.full(shape, np.nan, np.float32), np.full(shape, -1, np.int32), np.full(shape, -1)
    first = book.day.min(initial=0)
    visit = book.station[book.counter] * (book.day.max(initial=0) - first + 1) + book.day - first
    order = np.argsort(visit, kind="stable")  # by station, day and counter
    visit, counter, value = visit[order], book.counter[order], book.value[order]
    for slot in range(PARTNERS):
        step = slot // 2 + 1
        here, there = slice(0, max(n - step, 0)), slice(step, n)
        if slot % 2:
            here, there = there, here
        same = np.flatnonzero((visit[here] == visit[there]) & (counter[here] != counter[there]))
        at = order[here][same]
        partners[at, slot], counters[at, slot] = value[there][same], counter[there][same]
        rows[at, slot] = order[there][same]
    equal = partners == book.value[:, None]
    coupled = _coupled(book, counters, equal)
    alone = np.where(equal, 1.0 - coupled, 0.0).max(axis=1, initial=0.0)
    opening = np.r_[True, book.counter[1:] != book.counter[:-1]][:n] & (book.value < NEW_SHOWS)
    alone *= np.where(opening, np.minimum(NEW_SHOWS / (NEW_SHARE * book.modulus), 1.0), 1.0)
    with np.errstate(divide="ignore"):
        strangers = np.log(alone)
    together = np.where(equal, coupled, 0.0).max(axis=1, initial=0.0)
    return Beside(partners, counters, rows, strangers, np.log1p(-AGREEING * together))


def _coupled(book: Book, counters: np.ndarray, equal: np.ndarray) -> np.ndarray:
    """Chance that a counter runs with the one beside it, one a reading and slot, from all other days of the two.

    The phases of a bank, or drives in step, that were set alike show one number at every visit; two counters that have
    nothing to do with each other show one number by a slip alone. Days on which they show the same number as on another
    day count once.
    """
    out = np.zeros(equal.shape)
    at, slot = np.nonzero(equal)
    if not len(at):
        return out
    both = counters[at, slot].astype(np.int64)
    pair = np.minimum(book.counter[at], both) * len(book.unit) + np.maximum(book.counter[at], both)
    names, of = np.unique(pair, return_inverse=True)
    shown = np.unique(np.stack([of.astype(float), book.value[at]]), axis=1)
    others = np.bincount(shown[0].astype(np.int64), minlength=len(names)) - 1.0
    apart_at, apart_slot = np.nonzero((counters >= 0) & ~equal)
    there = counters[apart_at, apart_slot].astype(np.int64)
    mine = book.counter[apart_at]
    named = np.minimum(mine, there) * len(book.unit) + np.maximum(mine, there)
    found = np.minimum(np.searchsorted(names, named), len(names) - 1)
    apart = 0.5 * np.bincount(found[names[found] == named], minlength=len(names))  # each day is met from both sides
    one, other = names // len(book.unit), names % len(book.unit)
    kin = (book.unit[one] == book.unit[other]) | ((book.bank[one] == book.bank[other]) & (book.bank[one] >= 0))
    odds = np.where(kin, 0.0, STRANGERS_COUPLED) + others * EQUAL_TELLS - apart * UNEQUAL_TELLS
    out[at, slot] = (1.0 / (1.0 + np.exp(-np.clip(odds, -50.0, 50.0))))[of]
    return out
