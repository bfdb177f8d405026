"""The most plausible chain of readings of each counter: which are right, and what went on between them.

A chain leaves out some readings as wrong and joins each right one to the right one before it. Its probability is
that of the operations made over every joint, times that of every slip it supposes. The best chain is found by
dynamic programming over "which earlier reading was the last right one", for all counters at once; summing over all
chains instead of taking the best gives each reading's probability of being right.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from tapwear.counts.likely import Leg, expect, leg, log_density, over, surprise
from tapwear.counts.weigh import Scale
from tapwear.weeks import DAYS_PER_YEAR

REACH = 5  # a right reading is sought among so many before it: up to four wrong ones in a row
RIGHT = float(np.log(0.965))  # chance that a reading is right: our choice
WRONG = float(np.log(0.035))  # chance that it is a slip, for the rough search
BURST_YEARLY = 0.01  # bursts of real operations a year: our choice
BURST_FROM, BURST_RANGE, BURST_MOST = 1.3, 4.6, 3000.0  # their size: above so many times the usual; logarithm of their
# range; no more than the usual operations of so many days (90 days at 33 times)
KNOWN_WITHIN = 0.5  # standard deviation up to which the usual operations are known well enough to be exceeded
RESET_A_YEAR = 0.004  # unrecorded resets and exchanges of a counter: our choice
SAME_DAY = float(np.log(0.01))  # another reading of one day, not taken
LATER = 1e-9  # so much likelier is it the later one of the two: of equal numbers the one entered first is taken
NEVER = -1e9
IMPOSSIBLE = 99.0  # stands for a joint that cannot be, in standard deviations
KNOWN = 0.996  # no reading is surer than this: slips in the last digits leave no trace (seen on simulated fleets)
SUSPECT, FAR_OFF = 0.9, 3.0  # standard deviations, off to opposite sides or on one side, that call for a closer look


@dataclass(frozen=True)
class Chains:
    """Which readings are right and the operations up to each, one entry a reading.

    used : bool. probability : that the reading is right. operations : since the counter's first right reading,
    NaN where not used. left, right : the right readings around it, itself included, -1 for none. reset : bool,
    the counter was reset or exchanged without a record before this reading.
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

    def moved(self, start: int) -> Chains:
        """The same as part of a book in which its first reading has the place `start`."""
        left = np.where(self.left >= 0, self.left + start, -1)
        right = np.where(self.right >= 0, self.right + start, -1)
        return Chains(self.used, self.probability, self.operations, left, right, self.reset)

    @classmethod
    def joined(cls, parts: list[Chains]) -> Chains:
        """The chains of the parts of a book, one after the other."""
        return cls(
            np.concatenate([part.used for part in parts]),
            np.concatenate([part.probability for part in parts]),
            np.concatenate([part.operations for part in parts]),
            np.concatenate([part.left for part in parts]),
            np.concatenate([part.right for part in parts]),
            np.concatenate([part.reset for part in parts]),
        )


@dataclass(frozen=True)
class Joints:
    """Pairs of readings taken as successive right ones: operations between them, log chance, reset or not.

    second, second_chance : operations and log chance if it is the other way round with the reset; -inf where that is
        out of the question
    """

    operations: np.ndarray
    log_chance: np.ndarray
    reset: np.ndarray
    leg: Leg
    second: np.ndarray
    second_chance: np.ndarray


@dataclass(frozen=True)
class Links:
    """Scores of all joints that a chain may use, for the readings in question and those beside them.

    Every chain takes all other readings, so that the stretches between them are searched each by itself.

    rows : those readings, ascending. stretch : code of the stretch of each. score, operations, reset : of its joint
    to the g-th reading before it in row g. lead, trail : log chance of leaving out all readings of the stretch before,
    or after, each of them. first : the joints of all readings to the one before them, and `right` those readings.
    """

    rows: np.ndarray
    stretch: np.ndarray
    score: np.ndarray
    operations: np.ndarray
    reset: np.ndarray
    lead: np.ndarray
    trail: np.ndarray
    right: np.ndarray
    first: Joints


class Chainer:
    """A search for the right readings of a book at given levels; it keeps nothing but what it was given."""

    def __init__(self, scale: Scale, guessed: np.ndarray):
        self.scale = scale
        self.book = scale.book
        self.guessed = guessed
        self.position, self.behind = _positions(self.book.counter)

    def joints(self, left: np.ndarray, right: np.ndarray) -> Joints:
        """Operations between the readings left and right, by the most plausible number of turns, or a reset."""
        book, shifted = self.book, self.scale.shifted
        level = expect(self.scale.local, book.counter[right], left, right)
        on = leg(book, self.scale.local, left, right, level)
        modulus, value = book.modulus[right], book.value[right]
        plain = shifted[right] - shifted[left]
        made = over(plain, modulus)
        turns = on.middle - made
        turns /= modulus
        np.maximum(np.rint(turns, out=turns), 0.0, out=turns)
        turns *= modulus
        made += turns
        guessed = self.guessed[right] != self.guessed[left]
        made[guessed & (plain < 0) & (plain > -0.5 * modulus)] = 0.0
        chance = log_density(made, on)
        self._burst(made, chance, on, left, right)
        room = 1.5 * on.middle + 50.0  # a counter set to 0 meanwhile shows no more than this
        days = book.day[right] - book.day[left]
        same = (days == 0) & (book.epoch[left] == book.epoch[right])
        most = RESET_A_YEAR * max(days.max(initial=1), 1) / DAYS_PER_YEAR
        most *= 1.0 / modulus.min(initial=np.inf) + 1.0 / 50.0
        at = np.flatnonzero(chance < np.log(most))  # the others are likelier than any reset
        at = at[book.epoch[left[at]] == book.epoch[right[at]]]
        shown = value[at] <= room[at]
        years = np.maximum(days[at], 1) / DAYS_PER_YEAR
        other = np.log(RESET_A_YEAR * years * (1.0 / modulus[at] + np.where(shown, 1.0 / room[at], 0.0)))
        better = other > chance[at]
        set_back = np.maximum(on.middle[at], np.where(shown, value[at], 0.0))
        second, second_chance = np.zeros(len(right)), np.full(len(right), -np.inf)
        second[at] = np.where(better, made[at], set_back)
        second_chance[at] = np.where(better, chance[at], other)
        made[at], chance[at] = np.where(better, set_back, made[at]), np.where(better, other, chance[at])
        reset = np.zeros(len(right), dtype=bool)
        reset[at] = better
        chance += RIGHT
        chance[same | (value >= modulus)] = NEVER
        return Joints(made, chance, reset, on, second, second_chance)

    def _burst(
        self, made: np.ndarray, chance: np.ndarray, on: Leg, left: np.ndarray, right: np.ndarray
    ) -> None:
        """Lets far more operations than usual be real ones, as a hunting regulator makes them for some weeks."""
        far = np.flatnonzero(made > BURST_FROM * on.middle)
        served = np.maximum(self.book.served[right[far]] - self.book.served[left[far]], 1.0)
        more = made[far] - on.middle[far]
        able = (more <= BURST_MOST * on.middle[far] / served) & (on.spread[far] < KNOWN_WITHIN)
        years = served / DAYS_PER_YEAR
        size = np.log(np.minimum(BURST_YEARLY * years, 0.5) / (BURST_RANGE * np.maximum(more, 1.0)))
        chance[far] = np.where(able, np.logaddexp(chance[far], size), chance[far])

    def solve(self, *, rough: bool = False) -> Chains:
        """The best chain of every counter and each reading's probability of being right.

        rough : take every slip as equally likely, without looking at the digits; quick, for first levels.
        """
        if not len(self.book.day):
            return Chains.none()
        return self._best(self._links(rough), rough)

    def _links(self, rough: bool) -> Links:
        right = np.flatnonzero(self.position >= 1)
        first = self.joints(right - 1, right)
        suspect = self._suspects(right, first)
        rows, stretch = self._stretches(suspect, right, first)
        score, made = np.full((REACH + 1, len(rows)), -np.inf), np.zeros((REACH + 1, len(rows)))
        reset = np.zeros((REACH + 1, len(rows)), dtype=bool)
        inner = np.flatnonzero(stretch[1:] == stretch[:-1]) + 1
        at = rows[inner] - self.book.counter[rows[inner]] - 1  # the place in `right`, which lacks each first reading
        score[1, inner], made[1, inner], reset[1, inner] = first.log_chance[at], first.operations[at], first.reset[at]
        ends = right
        for gap in range(2, REACH + 1):
            ends = ends[suspect[ends - gap + 1]]
            ends = ends[self.position[ends] >= gap]
            joint = self.joints(ends - gap, ends)
            skipped = ends - np.arange(1, gap)[:, None]
            chance = self._skip(ends - gap, skipped, ends, joint.operations, rough)
            at = np.searchsorted(rows, ends)
            score[gap, at] = joint.log_chance + chance
            made[gap, at], reset[gap, at] = joint.operations, joint.reset
        position, behind = _positions(stretch)
        lead = np.where(position == 0, 0.0, self._ends(suspect, self.position, -1, rough)[rows])
        trail = np.where(behind == 0, 0.0, self._ends(suspect, self.behind, 1, rough)[rows])
        return Links(rows, stretch, score, made, reset, lead, trail, right, first)

    def _stretches(self, suspect: np.ndarray, right: np.ndarray, joint: Joints) -> tuple[np.ndarray, np.ndarray]:
        """The readings in question with those beside them, and the code of the stretch that each belongs to."""
        counter, n = self.book.counter, len(suspect)
        same = counter[1:] == counter[:-1]
        near = suspect.copy()
        near[1:] |= suspect[:-1] & same
        near[:-1] |= suspect[1:] & same
        impossible = np.zeros(n, dtype=bool)
        impossible[right] = joint.log_chance <= NEVER
        for _ in range(1, REACH):
            impossible[1:] &= impossible[:-1].copy()
        if impossible.any():  # so many in a row that no chain may be possible: the counter is searched as a whole
            near |= np.isin(counter, counter[impossible])
        rows = np.flatnonzero(near)
        new = np.ones(len(rows), dtype=bool)
        new[1:] = (np.diff(rows) > 1) | (np.diff(counter[rows]) > 0)
        return rows, np.cumsum(new) - 1

    def _suspects(self, right: np.ndarray, joint: Joints) -> np.ndarray:
        """Readings worth a closer look: off to opposite sides of what was expected before and after, or far off."""
        book, n = self.book, len(self.book.day)
        off = surprise(joint.operations, joint.leg)
        off = np.where(joint.reset | (joint.log_chance <= NEVER), IMPOSSIBLE, off)
        before, after = np.zeros(n), np.zeros(n)
        before[right], after[right - 1] = off, off
        wrong = np.minimum(np.abs(before), np.abs(after)) > SUSPECT
        wrong &= (before == IMPOSSIBLE) | (after == IMPOSSIBLE) | (before * after < 0)
        wrong |= np.maximum(np.abs(before), np.abs(after)) > FAR_OFF
        wrong |= (self.position == 0) | (self.behind == 0) | (book.value >= book.modulus)
        unmoved = right[joint.operations == 0]
        wrong[unmoved] = True
        return wrong

    def _skip(
        self, left: np.ndarray, wrong: np.ndarray, right: np.ndarray, total: np.ndarray, rough: bool
    ) -> np.ndarray:
        """Log chance of all the readings `wrong` as slips of any kind, between two right readings (or one, other -1).

        left, right : (n,), wrong : (slips, n). total : operations between the two, (n,)
        """
        day, shape = self.book.day, wrong.shape
        left, wrong, right, total = (np.ravel(rows) for rows in np.broadcast_arrays(left, wrong, right, total))
        chance = WRONG - np.log(total + 1.0) if rough else self.scale.chance(left, wrong, right, total)
        for side, twice in ((left, SAME_DAY), (right, SAME_DAY - LATER)):
            twin = (side >= 0) & (day[side] == day[wrong])
            chance = np.where(twin, np.maximum(chance, twice), chance)
        return np.asarray(chance.reshape(shape).sum(axis=0))

    def _ends(self, suspect: np.ndarray, room: np.ndarray, step: int, rough: bool) -> np.ndarray:
        """Log chance of leaving out all readings before (step -1) or after (step 1) each one; 0 if there are none."""
        total = np.where(room == 0, 0.0, -np.inf)
        for many in range(1, REACH):
            some = np.flatnonzero(room == many)
            for k in range(1, many + 1):
                some = some[suspect[some + step * k]]
            none, usual = np.full(len(some), -1), np.zeros(len(some))
            left, right = (none, some) if step < 0 else (some, none)
            if rough:
                usual = self.joints(*((some + step, some) if step < 0 else (some, some + step))).leg.middle
            total[some] = self._skip(left, some + step * np.arange(1, many + 1)[:, None], right, usual, rough)
        return total

    def _best(self, links: Links, rough: bool) -> Chains:
        """Takes the best chain; the probabilities are left at 1 when rough."""
        n, counter, score, rows = len(self.book.day), self.book.counter, links.score, links.rows
        position, behind = _positions(links.stretch)
        order = np.argsort(position, kind="stable")
        starts = np.searchsorted(position[order], np.arange(int(position.max()) + 2))
        steps = [order[a:b] for a, b in pairwise(starts)]
        best, back = np.full(len(rows), NEVER), np.zeros(len(rows), dtype=np.int64)
        for k, at in enumerate(steps):
            options = np.stack([links.lead[at]] + [best[at - g] + score[g, at] for g in range(1, min(REACH, k) + 1)])
            back[at] = np.argmax(options, axis=0)
            best[at] = np.maximum(np.max(options, axis=0), NEVER)
        head = np.flatnonzero(position == 0)
        ending = best + links.trail
        top = np.maximum.reduceat(ending, head)
        pointer = np.maximum.reduceat(np.where(ending == top[links.stretch], np.arange(len(rows)), -1), head)
        used, gained, reset = np.ones(n, dtype=bool), np.zeros(n), np.zeros(n, dtype=bool)
        gained[links.right], reset[links.right] = links.first.operations, links.first.reset
        used[rows] = False
        inner = rows[position > 0]
        gained[inner], reset[inner] = 0.0, False
        while len(pointer):
            step = back[pointer]
            used[rows[pointer]] = True
            pointer, step = pointer[step > 0], step[step > 0]
            gained[rows[pointer]] = links.operations[step, pointer]
            reset[rows[pointer]] = links.reset[step, pointer]
            pointer = pointer - step
        probability = np.ones(n)
        if not rough:
            probability[rows] = _shares(links, steps, behind)
            probability = KNOWN * self._with_twins(probability)
        operations = np.cumsum(gained)
        begin = np.flatnonzero(self.position == 0)
        operations -= operations[begin][counter]
        left, right = _around(used, counter)
        return Chains(used, probability, np.where(used, operations, np.nan), left, right, reset)

    def _with_twins(self, share: np.ndarray) -> np.ndarray:
        """Equal numbers of one counter and day are right together, though a chain takes only one of them."""
        book = self.book
        twin = np.zeros(len(share), dtype=bool)
        twin[1:] = (book.counter[1:] == book.counter[:-1]) & (book.day[1:] == book.day[:-1])
        twin[:-1] |= twin[1:]
        rows = np.flatnonzero(twin)
        if not len(rows):
            return share
        rows = rows[np.lexsort((book.value[rows], book.day[rows], book.counter[rows]))]
        key = np.stack([book.counter[rows], book.day[rows], book.value[rows]])
        begin = np.flatnonzero(np.r_[True, np.any(key[:, 1:] != key[:, :-1], axis=0)])
        together = np.add.reduceat(share[rows], begin)
        share = share.copy()
        share[rows] = np.minimum(np.repeat(together, np.diff(np.r_[begin, len(rows)])), 1.0)
        return share


def _shares(links: Links, steps: list[np.ndarray], behind: np.ndarray) -> np.ndarray:
    """Each reading's share of all chains: those that lead up to it, times those that go on from it."""
    n, score = len(links.rows), links.score
    total, later = np.full(n, NEVER), np.full(n, NEVER)
    for k, at in enumerate(steps):
        total[at] = _log_sum([links.lead[at]] + [total[at - g] + score[g, at] for g in range(1, min(REACH, k) + 1)])
    for at in reversed(steps):
        sums = [links.trail[at]]
        for g in range(1, REACH + 1):
            ahead = np.minimum(at + g, n - 1)
            sums.append(np.where(behind[at] >= g, later[ahead] + score[g, ahead], -np.inf))
        later[at] = _log_sum(sums)
    whole = np.logaddexp.reduceat(total + links.trail, np.searchsorted(links.stretch, np.arange(len(steps[0]))))
    return np.asarray(np.exp(np.clip(total + later - whole[links.stretch], -700.0, 0.0)))


def _log_sum(terms: list[np.ndarray]) -> np.ndarray:
    """Logarithm of the sum of exponentials of arrays of one shape, at least NEVER."""
    top = np.maximum(np.max(np.stack(terms), axis=0), NEVER)
    whole = np.sum([np.exp(term - top) for term in terms], axis=0)
    return np.asarray(np.maximum(top + np.log(np.maximum(whole, 1e-300)), NEVER))


def _positions(counter: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How many readings of the same counter lie before, and after, each reading."""
    n = len(counter)
    if not n:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    first = np.flatnonzero(np.r_[True, counter[1:] != counter[:-1]])
    length = np.diff(np.r_[first, n])
    position = np.arange(n) - np.repeat(first, length)
    return position, np.repeat(length, length) - 1 - position


def _around(used: np.ndarray, counter: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Nearest used reading of the same counter before and after each reading, itself included; -1 for none."""
    n = len(used)
    left = np.maximum.accumulate(np.where(used, np.arange(n), 0))
    right = np.minimum.accumulate(np.where(used, np.arange(n), n - 1)[::-1])[::-1]
    left = np.where(used[left] & (counter[left] == counter), left, -1)
    right = np.where(used[right] & (counter[right] == counter), right, -1)
    return left, right
