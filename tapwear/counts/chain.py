"""The most plausible chain of readings of each counter: which are right, and what went on between them.

A chain leaves out some readings as wrong and joins each right one to the right one before it. Its probability is
that of the operations made over every joint, times that of every slip it supposes. The best chain is found by
dynamic programming over "which earlier reading was the last right one", for all counters at once; summing over all
chains instead of taking the best gives each reading's probability of being right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.counts import slips
from tapwear.counts.book import Book
from tapwear.counts.likely import Expectation, expect, expected_operations, log_density, surprise
from tapwear.counts.local import Local

REACH = 5  # a right reading is sought among so many before it: up to four wrong ones in a row
RIGHT = float(np.log(0.965))  # chance that a reading is right: our choice
RESET = float(np.log(0.0006))  # chance of an unrecorded reset or exchange between two readings: our choice
SAME_DAY = float(np.log(0.01))  # another reading of one day, not taken
NEVER = -1e9
IDLE = 0.3  # fewer operations than this share of those expected: an outage explains an unmoved counter better
DOUBT = 1.2  # a reading is looked at closely when it lies this many standard deviations off


@dataclass(frozen=True)
class Chains:
    """Which readings are right and the operations up to each.

    used : bool, one a reading. probability : that the reading is right. operations : since the counter's first
    right reading, NaN where not used. left, right : the right readings around each reading that is not used
    (-1: none). reset : bool, the counter was reset or exchanged unrecorded before this reading.
    """

    used: np.ndarray
    probability: np.ndarray
    operations: np.ndarray
    left: np.ndarray
    right: np.ndarray
    reset: np.ndarray

    @classmethod
    def none(cls) -> Chains:
        """The chains of a book without readings."""
        nothing, nowhere = np.zeros(0), np.zeros(0, dtype=np.int64)
        return cls(nowhere > 0, nothing, nothing, nowhere, nowhere, nowhere > 0)


@dataclass(frozen=True)
class Joints:
    """Pairs of readings taken as successive right ones, with the operations between them."""

    left: np.ndarray
    right: np.ndarray
    operations: np.ndarray
    log_chance: np.ndarray
    reset: np.ndarray
    expected: Expectation


@dataclass(frozen=True)
class Beside:
    """What stood on other counters of the station, one row a reading.

    partners : numbers written for them on the same day, NaN where there are fewer
    strangers : logarithm of the chance that one of them showed just the number written here, -inf for none
    """

    partners: np.ndarray
    strangers: np.ndarray


class Chainer:
    """Holds what one search for chains needs: the book, local levels, shifts of exchanged counters, partners."""

    def __init__(self, book: Book, local: Local, shifted: np.ndarray, guessed: np.ndarray, beside: Beside):
        self.book = book
        self.local = local
        self.shifted = shifted
        self.guessed = guessed
        self.partners = beside.partners
        self.strangers = beside.strangers
        self.size = len(book.day)
        self.right_chance = RIGHT
        self.position = _positions(book.counter)
        counts = np.bincount(book.counter, minlength=len(book.unit)) if self.size else np.zeros(0, dtype=int)
        self.behind = counts[book.counter] - 1 - self.position if self.size else self.position

    def joints(self, left: np.ndarray, right: np.ndarray) -> Joints:
        """Operations between the readings left and right, by the most plausible number of turns, or a reset."""
        book = self.book
        expected = expect(self.local, book.counter[right], left, right)
        served = book.served[right] - book.served[left]
        begin, end = book.day[left].astype(float), book.day[right].astype(float)
        visits = book.inspected[right] - book.inspected[left]
        middle = expected_operations(served, begin, end, expected)
        modulus = book.modulus[right]
        plain = self.shifted[right] - self.shifted[left]
        made = np.mod(plain, modulus)
        made += modulus * np.maximum(np.round((middle - made) / modulus), 0.0)
        loose = self.guessed[right] != self.guessed[left]
        made = np.where(loose & (plain < 0) & (plain > -0.5 * modulus), 0.0, made)
        chance = log_density(made, served, begin, end, visits, expected)
        value = book.value[right]
        from_nought = np.where(value <= 1.5 * middle + 50.0, -np.log(1.5 * middle + 50.0), -np.inf)
        other = np.logaddexp(from_nought, -np.log(modulus)) + RESET
        reset = (other > chance) & (book.epoch[left] == book.epoch[right])
        made = np.where(reset, np.maximum(middle, np.where(np.isfinite(from_nought), value, 0.0)), made)
        log_chance = np.where(reset, other, chance) + RIGHT
        log_chance = np.where(book.day[left] == book.day[right], NEVER, log_chance)
        log_chance = np.where(value >= modulus, NEVER, log_chance)
        return Joints(left, right, made, log_chance, reset, expected)

    def usual(self, left: np.ndarray, right: np.ndarray) -> np.ndarray:
        """Operations to expect between two readings from the levels around them."""
        book = self.book
        expected = expect(self.local, book.counter[right], left, right)
        day = book.day.astype(float)
        return expected_operations(book.served[right] - book.served[left], day[left], day[right], expected)

    def doubted(self, one: Joints) -> np.ndarray:
        """Readings that lie off on either side, or at least as low as the one before: worth a closer look."""
        book = self.book
        served = book.served[one.right] - book.served[one.left]
        begin, end = book.day[one.left].astype(float), book.day[one.right].astype(float)
        visits = book.inspected[one.right] - book.inspected[one.left]
        off = surprise(one.operations, served, begin, end, visits, one.expected)
        off = np.where(one.reset | (one.log_chance <= NEVER), 9.0, off)
        flag = np.zeros(self.size, dtype=bool)
        odd = np.abs(off) > DOUBT
        flag[one.right[odd]] = True
        flag[one.left[odd]] = True
        flag |= book.value >= book.modulus
        return flag

    def slip_chances(
        self, left: np.ndarray, wrong: np.ndarray, right: np.ndarray, total: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Chance of each slip that may explain the reading `wrong` between the right ones `left` and `right`.

        total : operations between left and right. -1 stands for no reading on that side (not on both).
        Returns log chances, right values (NaN: unknown) and kinds, of shapes (n, c), (n, c), (n, c).
        """
        book = self.book
        n = len(wrong)
        has_left, has_right = left >= 0, right >= 0
        a, b = np.where(has_left, left, wrong), np.where(has_right, right, wrong)
        expected = expect(self.local, book.counter[wrong], left, right)
        day = book.day.astype(float)
        served_a, served_b = book.served[wrong] - book.served[a], book.served[b] - book.served[wrong]
        before = expected_operations(served_a, day[a], day[wrong], expected)
        after = expected_operations(served_b, day[wrong], day[b], expected)
        both = has_left & has_right
        share = np.where(both, before / np.maximum(before + after, 1e-9), 0.0)
        guess = np.where(both, share * total, np.where(has_left, before, -after))
        origin = np.where(has_left, self.shifted[a], self.shifted[b]) - (self.shifted[wrong] - book.value[wrong])
        modulus = book.modulus[wrong]
        near = np.mod(origin + guess, modulus)
        written = book.value[wrong]
        candidates = _digit_candidates(written, near, modulus)
        values = np.concatenate([candidates.value, self.partners[wrong]], axis=1)
        n_partners = self.partners.shape[1]
        there = np.maximum(np.sum(np.isfinite(self.partners[wrong]), axis=1), 1)
        partner_chance = np.log(slips.CHANCE[slips.EXCHANGED]) - np.log(there)
        prior = np.concatenate([candidates.chance, np.repeat(partner_chance[:, None], n_partners, axis=1)], axis=1)
        kinds = np.concatenate([candidates.kind, np.full((n, n_partners), slips.EXCHANGED)], axis=1)
        apart = values - np.mod(origin, modulus)[:, None]
        apart += modulus[:, None] * np.round((guess[:, None] - apart) / modulus[:, None])
        made_a = np.where(has_left[:, None], apart, 0.0)
        made_b = np.where(both[:, None], total[:, None] - apart, np.where(has_left[:, None], 0.0, -apart))
        with np.errstate(invalid="ignore"):
            good = (made_a >= 0) & (made_b >= 0)
            good &= (made_a < 12.0 * (before[:, None] + 20.0)) | (total[:, None] > 0)
        row, column = np.nonzero(good)
        chance = np.full(values.shape, -np.inf)
        if len(row):
            visits = book.inspected
            wide = expected.take(row)
            w, p, q = wrong[row], a[row], b[row]
            log_a = log_density(made_a[row, column], served_a[row], day[p], day[w], visits[w] - visits[p], wide)
            log_b = log_density(made_b[row, column], served_b[row], day[w], day[q], visits[q] - visits[w], wide)
            whole = log_density(total[row], (served_a + served_b)[row], day[p], day[q], visits[q] - visits[p], wide)
            part = np.where(has_left[row], log_a, 0.0) + np.where(has_right[row], log_b, 0.0)
            chance[row, column] = prior[row, column] + part - np.where(both[row], whole, 0.0)
        went_on = np.where(both, total >= IDLE * (before + after), True)
        return self._with_plain_slips(wrong, went_on, chance, values, kinds)

    def _with_plain_slips(
        self, wrong: np.ndarray, went_on: np.ndarray, chance: np.ndarray, values: np.ndarray, kinds: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Adds the slips that say nothing of the right number: copied, a neighbour's, anything else."""
        book = self.book
        written = book.value[wrong]
        copied = np.zeros(len(wrong), dtype=bool)
        for back in (1, 2):
            earlier = np.maximum(wrong - back, 0)
            copied |= (self.position[wrong] >= back) & (book.value[earlier] == written)
        plain = np.stack(
            [
                np.where(copied, np.log(slips.CHANCE[slips.COPIED] * np.where(went_on, 1.0, 0.1)), -np.inf),
                np.log(slips.CHANCE[slips.NEIGHBOUR]) + self.strangers[wrong],
                np.log(slips.CHANCE[slips.OTHER]) - np.log(book.modulus[wrong]),
            ],
            axis=1,
        )
        extra = np.broadcast_to(np.array([slips.COPIED, slips.NEIGHBOUR, slips.OTHER]), plain.shape)
        return (
            np.concatenate([chance, plain], axis=1),
            np.concatenate([values, np.full(plain.shape, np.nan)], axis=1),
            np.concatenate([kinds, extra], axis=1),
        )

    def solve(self) -> Chains:
        """The best chain of every counter and each reading's probability of being right."""
        book, n = self.book, self.size
        if n == 0:
            return Chains.none()
        score = np.full((REACH + 1, n), -np.inf)  # row g: joint to the reading g places earlier
        made = np.zeros((REACH + 1, n))
        reset = np.zeros((REACH + 1, n), dtype=bool)
        everyone = np.arange(n)
        right = everyone[self.position >= 1]
        one = self.joints(right - 1, right)
        score[1, right], made[1, right], reset[1, right] = one.log_chance, one.operations, one.reset
        flag = self.doubted(one)
        twin = np.zeros(n, dtype=bool)
        same = (book.day[right] == book.day[right - 1]) if n else np.zeros(0, dtype=bool)
        twin[right[same]] = True
        twin[right[same] - 1] = True
        flag |= twin
        for gap in range(2, REACH + 1):
            ends = everyone[self.position >= gap]
            if not len(ends):
                break
            skippable = np.ones(len(ends), dtype=bool)
            for back in range(1, gap):
                skippable &= flag[ends - back]
            ends = ends[skippable]
            joint = self.joints(ends - gap, ends)
            total = joint.log_chance
            for back in range(1, gap):
                total = total + self._skip(ends - gap, ends - back, ends, joint.operations)
            score[gap, ends], made[gap, ends], reset[gap, ends] = total, joint.operations, joint.reset
        lead = self._ends(flag, leading=True)
        trail = self._ends(flag, leading=False)
        return self._dynamic(score, made, reset, lead, trail)

    def _skip(self, left: np.ndarray, wrong: np.ndarray, right: np.ndarray, total: np.ndarray) -> np.ndarray:
        """Log chance of the reading `wrong` as a slip of any kind, between two right readings (or one)."""
        chance, _, _ = self.slip_chances(left, wrong, right, total)
        result = np.logaddexp.reduce(chance, axis=1)
        for side in (left, right):
            twin = (side >= 0) & (self.book.day[side] == self.book.day[wrong])
            result = np.where(twin, np.maximum(result, SAME_DAY), result)
        return result

    def _ends(self, flag: np.ndarray, *, leading: bool) -> np.ndarray:
        """Log chance of leaving out every reading before (leading) or after each reading; 0 where there is none."""
        room = self.position if leading else self.behind
        step = -1 if leading else 1
        total = np.where(room == 0, 0.0, -np.inf)
        for many in range(1, REACH):
            some = np.flatnonzero(room == many)
            open_ = np.ones(len(some), dtype=bool)
            for k in range(1, many + 1):
                open_ &= flag[some + step * k]
            some = some[open_]
            if not len(some):
                continue
            value = np.zeros(len(some))
            none = np.full(len(some), -1)
            for k in range(1, many + 1):
                wrong = some + step * k
                left, right = (none, some) if leading else (some, none)
                value += self._skip(left, wrong, right, np.zeros(len(some)))
            total[some] = value
        return total

    def _dynamic(
        self, score: np.ndarray, made: np.ndarray, reset: np.ndarray, lead: np.ndarray, trail: np.ndarray
    ) -> Chains:
        n, n_counters = self.size, len(self.book.unit)
        order = np.argsort(self.position, kind="stable")
        starts = np.searchsorted(self.position[order], np.arange(int(self.position.max(initial=-1)) + 2))
        best, total = np.full(n, NEVER), np.full(n, NEVER)
        back = np.zeros(n, dtype=np.int64)
        for k in range(len(starts) - 1):
            at = order[starts[k] : starts[k + 1]]
            reach = min(REACH, k)
            options = np.full((reach + 1, len(at)), NEVER)
            sums = np.full((reach + 1, len(at)), NEVER)
            options[0] = sums[0] = lead[at]
            for g in range(1, reach + 1):
                options[g] = best[at - g] + score[g, at]
                sums[g] = total[at - g] + score[g, at]
            back[at] = np.argmax(options, axis=0)
            best[at] = np.maximum(np.max(options, axis=0), NEVER)
            total[at] = np.maximum(np.logaddexp.reduce(sums, axis=0), NEVER)
        later = np.full(n, NEVER)
        for k in range(len(starts) - 2, -1, -1):
            at = order[starts[k] : starts[k + 1]]
            sums = [trail[at]]
            for g in range(1, REACH + 1):
                ahead = np.minimum(at + g, n - 1)
                there = self.behind[at] >= g
                sums.append(np.where(there, later[ahead] + score[g, ahead], -np.inf))
            later[at] = np.maximum(np.logaddexp.reduce(np.stack(sums), axis=0), NEVER)
        first = np.flatnonzero(self.position == 0)
        ending = best + trail
        top = np.maximum.reduceat(ending, first) if n else np.zeros(0)
        final = np.where(ending == top[self.book.counter], np.arange(n), -1)
        pointer = np.maximum.reduceat(final, first) if n else np.zeros(0, dtype=np.int64)
        whole = np.logaddexp.reduceat(total + trail, first) if n else np.zeros(0)
        used, gained, was_reset = np.zeros(n, dtype=bool), np.zeros(n), np.zeros(n, dtype=bool)
        alive = np.arange(n_counters)
        while len(alive):
            here = pointer[alive]
            used[here] = True
            g = back[here]
            gained[here] = np.where(g > 0, made[g, here], 0.0)
            was_reset[here] = (g > 0) & reset[g, here]
            pointer[alive] = here - g
            alive = alive[g > 0]
        probability = np.exp(np.clip(total + later - whole[self.book.counter], -700.0, 0.0))
        operations = np.cumsum(gained)
        if n:
            operations = operations - (operations[first] - gained[first])[self.book.counter]
        left, right = _around(used, self.book.counter)
        return Chains(used, probability, np.where(used, operations, np.nan), left, right, was_reset)


def _digit_candidates(written: np.ndarray, near: np.ndarray, modulus: np.ndarray) -> slips.Candidates:
    """Candidates for readings of counters with various numbers of digits, in one array."""
    digits = np.round(np.log10(modulus)).astype(int)
    parts = {int(d): digits == d for d in np.unique(digits)}
    width = max((6 * d for d in parts), default=0)
    value, chance = np.full((len(written), width), np.nan), np.full((len(written), width), -np.inf)
    kind = np.zeros((len(written), width), dtype=np.int64)
    for d, rows in parts.items():
        found = slips.digit_slips(written[rows], near[rows], d)
        value[rows, : found.value.shape[1]] = found.value
        chance[rows, : found.value.shape[1]] = found.chance
        kind[rows, : found.value.shape[1]] = found.kind
    return slips.Candidates(value, chance, kind)


def _positions(counter: np.ndarray) -> np.ndarray:
    """Place of each reading within its counter: 0, 1, 2, ..."""
    if not len(counter):
        return np.zeros(0, dtype=np.int64)
    first = np.flatnonzero(np.r_[True, counter[1:] != counter[:-1]])
    return np.arange(len(counter)) - np.repeat(first, np.diff(np.r_[first, len(counter)]))


def _around(used: np.ndarray, counter: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Nearest used reading of the same counter before and after each reading, itself included; -1 for none."""
    n = len(used)
    index = np.where(used, np.arange(n), -1)
    left = np.maximum.accumulate(index) if n else index
    right = np.minimum.accumulate(np.where(used, np.arange(n), n)[::-1])[::-1] if n else index
    left = np.where((left >= 0) & (counter[np.maximum(left, 0)] == counter), left, -1)
    right = np.where((right < n) & (counter[np.minimum(right, max(n - 1, 0))] == counter), right, -1)
    return left, right
