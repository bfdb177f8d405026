"""Weighs the slips that may explain a reading left out of a chain, given the right readings around it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tapwear.counts import slips
from tapwear.counts.book import Book
from tapwear.counts.likely import expect, leg, log_density, over
from tapwear.counts.local import Local

BLOCK = 4_000  # readings weighed at a time, so that the tables stay in the processor's cache
IDLE = 0.3  # fewer operations than this share of those expected: an outage explains an unmoved counter better
COPIED_WHEN_IDLE = 0.1  # a copied number is then so much less likely: our choice
SAME = 0.02  # a right number nearer to the written one than this share of the operations is none worth weighing
UNLIKELY = 30.0  # nor is one that asks for so many times the expected operations


@dataclass(frozen=True)
class Beside:
    """What stood on other counters of the station, one row a reading.

    partners, counters, rows : numbers written for them on the same day, NaN where there are fewer, their codes, and
        the places of their readings in the book, -1 where outside it
    strangers : logarithm of the chance that one of them showed just the number written here, -inf for none
    agree : logarithm of the factor on the chance of any slip, below 0 where a coupled counter shows the same number
    """

    partners: np.ndarray
    counters: np.ndarray
    rows: np.ndarray
    strangers: np.ndarray
    agree: np.ndarray

    def part(self, readings: slice) -> Beside:
        """The same for some successive readings of the book."""
        rows = self.rows[readings] - readings.start
        rows = np.where((self.rows[readings] >= 0) & (rows >= 0) & (rows < readings.stop - readings.start), rows, -1)
        names = self.partners[readings], self.counters[readings]
        return Beside(*names, rows, self.strangers[readings], self.agree[readings])


SWAPPED_LEAST, SWAPPED_MOST = -30.0, 3.0  # the other's number may be a slip of its own: our choice


def swapped(book: Book, local: Local, shifted: np.ndarray, beside: Beside) -> np.ndarray:
    """How much likelier each counter beside shows the number written here than its own, as in `Scale`.

    Two numbers that were exchanged have to fit both counters; the one beside is asked by its reading before, or by the
    one after where there is none.
    """
    out = np.zeros(beside.partners.shape)
    mine, slot = np.nonzero(beside.rows >= 0)
    there = beside.rows[mine, slot].astype(np.int64)
    counter, n = book.counter, len(book.day)
    for step in (1, -1):
        near = there - step
        known = (near >= 0) & (near < n)
        known &= counter[np.clip(near, 0, max(n - 1, 0))] == counter[there] if n else known
        if step < 0:
            known &= (there == 0) | (counter[np.maximum(there - 1, 0)] != counter[there])
        at = np.flatnonzero(known)
        if not len(at):
            continue
        here, other = there[at], near[at]
        left, right = (other, here) if step > 0 else (here, other)
        on = leg(book, local, left, right, expect(local, counter[here], left, right))
        modulus, moved = book.modulus[here], shifted[here] - book.value[here]
        own, told = (
            log_density(over(step * (number + moved - shifted[other]), modulus), on)
            for number in (book.value[here], book.value[mine[at]])
        )
        out[mine[at], slot[at]] = np.clip(told - own, SWAPPED_LEAST, SWAPPED_MOST)
    return out


@dataclass(frozen=True)
class Slips:
    """Explanations of some readings as slips; arrays of shape (readings, explanations).

    chance : logarithm of the chance, relative to what is known of the operations between the right readings
    right : the right number, NaN where the slip does not tell. kind : see `slips`.
    """

    chance: np.ndarray
    right: np.ndarray
    kind: np.ndarray


@dataclass(frozen=True)
class Weighed:
    """What was weighed for some readings of counters with equally many digits.

    right, kind : right numbers, shape (explanations, readings), and kinds of slip of those that tell one
    column, row, chance : of those worth weighing, their place in `right` and the logarithm of their chance
    plain : chances of the slips that say nothing of the right number, in the order of PLAIN, shape (3, readings)
    """

    right: np.ndarray
    kind: np.ndarray
    column: np.ndarray
    row: np.ndarray
    chance: np.ndarray
    plain: np.ndarray


PLAIN = np.array([slips.COPIED, slips.NEIGHBOUR, slips.OTHER])


@dataclass(frozen=True)
class Scale:
    """The book, shifted over recorded replacements, with local levels, neighbours' numbers and chances of slips.

    swapped : log of how much likelier the other counter of each slot of `beside` shows the number written here than
        its own
    """

    book: Book
    local: Local
    shifted: np.ndarray
    beside: Beside
    chance_of: np.ndarray
    swapped: np.ndarray

    def chance(self, left: np.ndarray, wrong: np.ndarray, right: np.ndarray, total: np.ndarray) -> np.ndarray:
        """Log chance that the reading `wrong` is a slip of any kind; see `explanations`."""
        result = np.empty(len(wrong))
        for at, found in self._weighed(left, wrong, right, total):
            whole = np.bincount(found.row, np.exp(found.chance), len(at)) + found.plain.sum(axis=0)
            result[at] = np.log(whole)
        return np.asarray(result + self.beside.agree[wrong])

    def explanations(self, left: np.ndarray, wrong: np.ndarray, right: np.ndarray, total: np.ndarray) -> Slips:
        """The slips that may explain the reading `wrong` between the right readings `left` and `right`.

        left, right : -1 where there is no right reading on that side (not on both)
        total : operations between the two
        """
        parts = list(self._weighed(left, wrong, right, total))
        width = max((len(found.kind) for _, found in parts), default=0)
        shape = (len(wrong), width + len(PLAIN))
        chance, number = np.full(shape, -np.inf), np.full(shape, np.nan)
        kind = np.full(shape, slips.OTHER)
        kind[:, width:] = PLAIN
        for at, found in parts:
            many = len(found.kind)
            chance[at[found.row], found.column] = found.chance
            number[at, :many], kind[at, :many] = found.right.T, found.kind
            with np.errstate(divide="ignore"):
                chance[at, width:] = np.log(found.plain.T)
        return Slips(chance, number, kind)

    def _weighed(
        self, left: np.ndarray, wrong: np.ndarray, right: np.ndarray, total: np.ndarray
    ) -> Iterator[tuple[np.ndarray, Weighed]]:
        """The explanations of some of the readings `wrong` after the other, with their places in it."""
        digits = np.round(np.log10(self.book.modulus[wrong])).astype(int)
        for d in np.unique(digits).tolist():
            alike = np.flatnonzero(digits == d)
            for start in range(0, len(alike), BLOCK):
                at = alike[start : start + BLOCK]
                yield at, self._weigh(left[at], wrong[at], right[at], total[at], d)

    def _weigh(
        self, left: np.ndarray, wrong: np.ndarray, right: np.ndarray, total: np.ndarray, digits: int
    ) -> Weighed:
        """The explanations of readings of counters with so many digits."""
        book = self.book
        has_left, has_right = left >= 0, right >= 0
        both = has_left & has_right
        a, b = np.where(has_left, left, wrong), np.where(has_right, right, wrong)
        level = expect(self.local, book.counter[wrong], left, right)
        leg_a, leg_b = leg(book, self.local, a, wrong, level), leg(book, self.local, wrong, b, level)
        before = np.where(has_left, leg_a.middle, 0.0)
        after = np.where(has_right, leg_b.middle, 0.0)
        usual = before + after
        guess = np.where(both, total * before / np.maximum(usual, 1e-9), np.where(has_left, before, -after))
        modulus, written = 10.0**digits, book.value[wrong]
        origin = np.where(has_left, self.shifted[a], self.shifted[b]) - (self.shifted[wrong] - written)
        origin = over(origin, modulus)
        found = slips.digit_slips(written, over(origin + guess, modulus), digits, self.chance_of)
        partners = self.beside.partners[wrong].T
        right_number = np.concatenate([found.value, partners])
        kind = np.concatenate([found.kind, np.full(len(partners), slips.EXCHANGED)])
        size = np.maximum(usual, total) + 10.0
        apart = right_number - origin  # operations from the reading on the left, or to that on the right
        turns = guess - apart
        turns /= modulus
        np.rint(turns, out=turns)
        turns *= modulus
        apart += turns
        good = apart >= np.where(has_left, 0.0, -UNLIKELY * size)
        good &= apart <= np.where(both, total, np.where(has_left, UNLIKELY * size, 0.0))
        np.subtract(right_number, written, out=turns)
        good &= np.abs(turns, out=turns) > SAME * size
        column = np.repeat(np.arange(len(good)), np.count_nonzero(good, axis=1))
        flat = np.flatnonzero(good)
        row, made = flat - column * len(wrong), apart.ravel()[flat]
        there = np.maximum(sum(np.isfinite(number).astype(float) for number in partners), 1.0)
        exchanged = np.log(self.chance_of[slips.EXCHANGED] / there) + self.swapped[wrong].T
        many = len(found.kind)
        slot = np.maximum(column - many, 0)
        chance = np.where(column < many, found.chance[np.minimum(column, many - 1)], exchanged[slot, row])
        chance += np.where(has_left[row], log_density(made, leg_a.take(row)), 0.0)
        chance += np.where(has_right[row], log_density(np.where(both, total, 0.0)[row] - made, leg_b.take(row)), 0.0)
        chance -= np.where(both, log_density(total, leg(book, self.local, a, b, level)), 0.0)[row]
        went_on = ~both | (total >= IDLE * usual)
        return Weighed(right_number, kind, column, row, chance, self._plain(wrong, went_on))

    def _plain(self, wrong: np.ndarray, went_on: np.ndarray) -> np.ndarray:
        """Chances of the slips that say nothing of the right number: copied, a neighbour's, anything else."""
        book, chance_of = self.book, self.chance_of
        copied = np.zeros(len(wrong), dtype=bool)
        for back in (1, 2):
            earlier = np.maximum(wrong - back, 0)
            same = (book.counter[earlier] == book.counter[wrong]) & (book.value[earlier] == book.value[wrong])
            copied |= same & (wrong >= back)
        return np.stack(
            [
                chance_of[slips.COPIED] * np.where(went_on, 1.0, COPIED_WHEN_IDLE) * copied,
                chance_of[slips.NEIGHBOUR] * np.exp(self.beside.strangers[wrong]),
                chance_of[slips.OTHER] / book.modulus[wrong],
            ]
        )
