"""Recorded counter replacements: the readings moved so that the count runs on over them."""

from __future__ import annotations

import numpy as np

from tapwear.counts.book import Book, Replacement
from tapwear.counts.likely import expect, leg
from tapwear.counts.local import Local

ROOM = 3.0  # an unknown new counter is taken as started at 0 when it shows no more than so many times the usual
SPARE = 60.0  # plus so many operations: both our choice


def run_on(book: Book, local: Local) -> tuple[np.ndarray, np.ndarray]:
    """Readings as if no recorded replacement had happened, and how many guesses that took, one entry a reading.

    The last number of the old counter and the first of the new one are taken from the record. Where one is
    missing, the operations on that side of the exchange are those that the local rate gives; a new counter
    counts as started at 0 if what it showed next allows it.
    """
    shifted, guessed = book.value.copy(), np.zeros(len(book.day), dtype=np.int64)
    for one in book.replacements:
        begin = int(np.searchsorted(book.counter, one.counter))
        stop = int(np.searchsorted(book.counter, one.counter, side="right"))
        split = begin + int(np.searchsorted(book.epoch[begin:stop], one.epoch))
        if split in (begin, stop):
            continue  # nothing was read before it, or nothing since
        rise, new = _rise_and_start(book, local, one, split)
        shifted[split:stop] = book.value[split:stop] + shifted[split - 1] + rise - new
        guessed[split:stop] += not (np.isfinite(one.old) and np.isfinite(one.new))
    return shifted, guessed


def _rise_and_start(book: Book, local: Local, one: Replacement, split: int) -> tuple[float, float]:
    """Operations from the last reading before the exchange up to it, and the first number of the new counter."""
    last, following = book.value[split - 1], book.value[split]
    before, after = _usual_on_each_side(book, local, one, split)
    if np.isfinite(one.old):
        rise = float(np.mod(one.old - last, book.modulus[split - 1]))
        if rise > 5.0 * before + 100.0:  # the last reading was a misreading above the final number
            rise = one.old - float(last)
    else:
        rise = float(np.round(before))
    if np.isfinite(one.new):
        return rise, one.new
    return rise, 0.0 if following <= ROOM * after + SPARE else float(following - np.round(after))


def _usual_on_each_side(book: Book, local: Local, one: Replacement, split: int) -> tuple[float, float]:
    """Operations that the local rate gives from the reading before the exchange to it, and on to the next."""
    left, right = np.array([split - 1]), np.array([split])
    usual = float(leg(book, local, left, right, expect(local, np.array([one.counter]), left, right)).middle[0])
    served = max(float(book.served[split] - book.served[split - 1]), 1.0)
    share = min(max((one.served - float(book.served[split - 1])) / served, 0.0), 1.0)
    return usual * share, usual * (1.0 - share)
