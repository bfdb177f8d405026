"""Weighs the slips that may explain a reading left out of a chain, given the right readings around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.counts import slips
from tapwear.counts.book import Book
from tapwear.counts.likely import expect, leg, log_density
from tapwear.counts.local import Local

BLOCK = 20_000  # readings weighed at a time, so that the tables stay in the processor's cache
IDLE = 0.3  # fewer operations than this share of those expected: an outage explains an unmoved counter better
COPIED_WHEN_IDLE = 0.1  # a copied number is then so much less likely: our choice
SAME = 0.02  # a right number nearer to the written one than this share of the operations is none worth weighing
UNLIKELY = 30.0  # nor is one that asks for so many times the expected operations


@dataclass(frozen=True)
class Beside:
    """What stood on other counters of the station, one row a reading.

    partners, counters : numbers written for them on the same day, NaN where there are fewer, and their codes
    strangers : logarithm of the chance that one of them showed just the number written here, -inf for none
    """

    partners: np.ndarray
    counters: np.ndarray
    strangers: np.ndarray

    def part(self, readings: slice) -> Beside:
        """The same for some successive readings of the book."""
        return Beside(self.partners[readings], self.counters[readings], self.strangers[readings])


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
class Scale:
    """The book, shifted over recorded replacements, with local levels, neighbours' numbers and chances of slips."""

    book: Book
    local: Local
    shifted: np.ndarray
    beside: Beside
    chance_of: np.ndarray

    def chance(self, left: np.ndarray, wrong: np.ndarray, right: np.ndarray, total: np.ndarray) -> np.ndarray:
        """Log chance that the reading `wrong` is a slip of any kind; see `explanations`."""
        result = np.empty(len(wrong))
        for start in range(0, len(wrong), BLOCK):
            part = slice(start, start + BLOCK)
            found = self.explanations(left[part], wrong[part], right[part], total[part])
            result[part] = np.logaddexp.reduce(found.chance, axis=1)
        return result

    def explanations(self, left: np.ndarray, wrong: np.ndarray, right: np.ndarray, total: np.ndarray) -> Slips:
        """The slips that may explain the reading `wrong` between the right readings `left` and `right`.

        left, right : -1 where there is no right reading on that side (not on both)
        total : operations between the two
        """
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
        modulus = book.modulus[wrong]
        origin = np.where(has_left, self.shifted[a], self.shifted[b]) - (self.shifted[wrong] - book.value[wrong])
        origin = np.mod(origin, modulus)
        values, prior, kinds = self._candidates(wrong, np.mod(origin + guess, modulus), modulus)
        apart = values - origin[:, None]
        apart += modulus[:, None] * np.round((guess[:, None] - apart) / modulus[:, None])
        made_a = np.where(has_left[:, None], apart, 0.0)
        made_b = np.where(has_right[:, None], np.where(both, total, 0.0)[:, None] - apart, 0.0)
        size = np.maximum(usual, total)[:, None] + 10.0
        with np.errstate(invalid="ignore"):
            good = (made_a >= 0) & (made_b >= 0) & (made_a + made_b <= UNLIKELY * size)
            good &= np.abs(values - book.value[wrong][:, None]) > SAME * size
        row, column = np.nonzero(good)
        part = np.where(has_left[row], log_density(made_a[row, column], leg_a.take(row)), 0.0)
        part += np.where(has_right[row], log_density(made_b[row, column], leg_b.take(row)), 0.0)
        whole = np.where(both, log_density(total, leg(book, self.local, a, b, level)), 0.0)
        chance = np.full(values.shape, -np.inf)
        chance[row, column] = prior[row, column] + part - whole[row]
        return self._with_plain_slips(wrong, ~both | (total >= IDLE * usual), Slips(chance, values, kinds))

    def _candidates(
        self, wrong: np.ndarray, near: np.ndarray, modulus: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Right numbers that digit slips and an exchange with a neighbour would explain; log chances; kinds."""
        partners = self.beside.partners[wrong]
        digits = np.round(np.log10(modulus)).astype(int)
        width = 6 * int(digits.max(initial=1))
        shape = (len(wrong), width + partners.shape[1])
        value, chance = np.full(shape, np.nan), np.full(shape, -np.inf)
        kind = np.full(shape, slips.EXCHANGED)
        for d in np.unique(digits):
            rows = np.flatnonzero(digits == d)
            found = slips.digit_slips(self.book.value[wrong[rows]], near[rows], int(d), self.chance_of)
            many = found.value.shape[1]
            value[rows, :many], chance[rows, :many], kind[rows, :many] = found.value, found.chance, found.kind
        there = np.sum(np.isfinite(partners), axis=1)
        value[:, width:] = partners
        chance[:, width:] = np.log(self.chance_of[slips.EXCHANGED] / np.maximum(there, 1))[:, None]
        return value, chance, kind

    def _with_plain_slips(self, wrong: np.ndarray, went_on: np.ndarray, found: Slips) -> Slips:
        """Adds the slips that say nothing of the right number: copied, a neighbour's, anything else."""
        book, chance_of = self.book, self.chance_of
        copied = np.zeros(len(wrong), dtype=bool)
        for back in (1, 2):
            earlier = np.maximum(wrong - back, 0)
            same = (book.counter[earlier] == book.counter[wrong]) & (book.value[earlier] == book.value[wrong])
            copied |= same & (wrong >= back)
        log_copied = np.log(chance_of[slips.COPIED] * np.where(went_on, 1.0, COPIED_WHEN_IDLE))
        plain = np.stack(
            [
                np.where(copied, log_copied, -np.inf),
                np.log(chance_of[slips.NEIGHBOUR]) + self.beside.strangers[wrong],
                np.log(chance_of[slips.OTHER] / book.modulus[wrong]),
            ],
            axis=1,
        )
        kinds = np.broadcast_to(np.array([slips.COPIED, slips.NEIGHBOUR, slips.OTHER]), plain.shape)
        return Slips(
            np.concatenate([found.chance, plain], axis=1),
            np.concatenate([found.right, np.full(plain.shape, np.nan)], axis=1),
            np.concatenate([found.kind, kinds], axis=1),
        )
