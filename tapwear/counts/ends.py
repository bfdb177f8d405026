"""The latest reading of a counter cannot yet be told apart: its second explanation, while it is plausible."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.counts import slips
from tapwear.counts.chain import KNOWN_WITHIN, RIGHT, Chainer, Chains
from tapwear.counts.likely import log_density

PLAUSIBLE = 0.05  # a second explanation is kept from this probability on: our choice


@dataclass(frozen=True)
class OpenEnds:
    """Second explanations: reading (row of the book), operations of its counter under it, probability, words."""

    row: np.ndarray
    operations: np.ndarray
    probability: np.ndarray
    words: np.ndarray

    @classmethod
    def none(cls) -> OpenEnds:
        """No second explanations."""
        return cls(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0), np.zeros(0, dtype=object))

    def moved(self, start: int) -> OpenEnds:
        """The same as part of a book in which its first reading has the place `start`."""
        return OpenEnds(self.row + start, self.operations, self.probability, self.words)

    @classmethod
    def joined(cls, parts: list[OpenEnds]) -> OpenEnds:
        """Those of the parts of a book, one after the other."""
        return cls(
            np.concatenate([part.row for part in parts]),
            np.concatenate([part.operations for part in parts]),
            np.concatenate([part.probability for part in parts]),
            np.concatenate([part.words for part in parts]),
        )


def open_spans(chainer: Chainer, chains: Chains) -> OpenEnds:
    """Where the counter was perhaps exchanged without a record, or perhaps not: the operations the other way round."""
    book = chainer.book
    right = np.flatnonzero(chains.used)
    left = right[:-1]
    right = right[1:]
    same = book.counter[left] == book.counter[right]
    left, right = left[same], right[same]
    joint = chainer.joints(left, right)
    share = 1.0 / (1.0 + np.exp(np.clip(joint.log_chance - RIGHT - joint.second_chance, -50.0, 50.0)))
    told = (joint.leg.spread < KNOWN_WITHIN) & (np.abs(joint.second - joint.operations) > 1.0)
    some = np.flatnonzero((share >= PLAUSIBLE) & told)
    words = [
        f"{max(made, other):,.0f} operations between {_on(book.day[a])} and {_on(book.day[b])}, or about "
        f"{_about(min(made, other))} with the counter exchanged or set back: made, or counter exchanged?"
        for made, other, a, b in zip(
            joint.operations[some], joint.second[some], left[some], right[some], strict=True
        )
    ]
    moved = chains.operations[right[some]] + joint.second[some] - joint.operations[some]
    return OpenEnds(right[some], moved, share[some], np.array(words, dtype=object))


def _on(day: np.int64) -> str:
    return str(np.datetime64(int(day), "D"))


def _about(operations: float) -> str:
    """A guessed number of operations, to two figures."""
    unit = 10 ** max(int(np.log10(max(operations, 1.0))) - 1, 0)
    return f"{round(operations / unit) * unit:,}"


def open_ends(chainer: Chainer, chains: Chains) -> OpenEnds:
    """Second explanation of each counter's latest reading, where its probability is at least `PLAUSIBLE`."""
    book = chainer.book
    last = np.flatnonzero(chainer.behind == 0)
    taken = chains.used[last]
    doubtful = _if_right(chainer, chains, last[~taken])
    previous = np.zeros(len(last), dtype=np.int64) - 1
    some = last > 0
    previous[some] = np.where(
        book.counter[last[some] - 1] == book.counter[last[some]], chains.left[last[some] - 1], -1
    )
    follows = taken & (previous >= 0)
    previous, last = previous[follows], last[follows]
    turned, by_turns = _turns(chainer, chains, previous, last)
    slipped = 1.0 - chains.probability[last]
    slip = np.flatnonzero((slipped >= by_turns) & (slipped >= PLAUSIBLE))
    turn = np.flatnonzero((by_turns > slipped) & (by_turns >= PLAUSIBLE))
    found = [one for one in doubtful if one[2] >= PLAUSIBLE]
    found += _if_slipped(chainer, chains, previous[slip], last[slip])
    found += _if_turned(chains, previous[turn], last[turn], turned[turn], by_turns[turn])
    found.sort()
    return OpenEnds(
        row=np.array([one[0] for one in found], dtype=np.int64),
        operations=np.array([one[1] for one in found], dtype=float),
        probability=np.array([one[2] for one in found], dtype=float),
        words=np.array([one[3] for one in found], dtype=object),
    )


Explanation = tuple[int, float, float, str]


def _if_right(chainer: Chainer, chains: Chains, last: np.ndarray) -> list[Explanation]:
    """The latest reading is marked doubtful: the operations if it is right after all."""
    last = last[chains.left[last] >= 0]
    joint = chainer.joints(chains.left[last], last)
    total = chains.operations[chains.left[last]] + joint.operations
    words = "if the latest reading is right after all, {:.0f} operations were made since the one before it, {}"
    found: list[Explanation] = []
    for i, row in enumerate(last):
        made = float(joint.operations[i])
        more = made > joint.leg.middle[i]
        than_usual = "more than usual: the explanation to act on" if more else "fewer than usual"
        found.append(
            (int(row), float(total[i]), float(chains.probability[row]), words.format(made, than_usual))
        )
    return found


def _if_slipped(
    chainer: Chainer, chains: Chains, previous: np.ndarray, last: np.ndarray
) -> list[Explanation]:
    """The latest reading is taken as right: the operations if it is a slip, the likeliest one."""
    nothing = np.full(len(last), -1)
    found_slips = chainer.scale.explanations(previous, last, nothing, np.zeros(len(last)))
    top = np.argmax(found_slips.chance, axis=1)
    rows = np.arange(len(last))
    right, kind = found_slips.right[rows, top], found_slips.kind[rows, top]
    joint = chainer.joints(previous, last)
    usual = joint.leg.middle
    book = chainer.book
    apart = np.mod(right - book.value[last] + joint.operations, book.modulus[last])
    made = np.where(np.isfinite(right), apart, usual)
    given = chains.operations[last] - chains.operations[previous]
    found: list[Explanation] = []
    for i in rows:
        reason = slips.in_words(int(kind[i]), int(book.value[last[i]]), float(right[i]), "")
        found.append(
            (
                int(last[i]),
                float(chains.operations[previous[i]] + made[i]),
                float(1.0 - chains.probability[last[i]]),
                f"the latest reading may be wrong ({reason}): then {_compared(made[i], given[i])}",
            )
        )
    return found


def _turns(
    chainer: Chainer, chains: Chains, previous: np.ndarray, last: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Operations between right readings if the counter ran through once more or less, and the probability of that."""
    joint = chainer.joints(previous, last)
    given = chains.operations[last] - chains.operations[previous]
    modulus = chainer.book.modulus[last]
    best = np.full(len(last), -np.inf)
    made = given.copy()
    for turn in (-1.0, 1.0):
        other = given + turn * modulus
        chance = log_density(other, joint.leg)
        made = np.where(chance > best, other, made)
        best = np.maximum(chance, best)
    share = 1.0 / (1.0 + np.exp(np.clip(joint.log_chance - RIGHT - best, -50.0, 50.0)))
    return made, share * chains.probability[last]


def _if_turned(
    chains: Chains, previous: np.ndarray, last: np.ndarray, made: np.ndarray, probability: np.ndarray
) -> list[Explanation]:
    """The latest reading is taken as right: the operations if the counter ran through once more, or once less."""
    given = chains.operations[last] - chains.operations[previous]
    words = "the counter may have run through its digits {} since the reading before: then {}"
    return [
        (
            int(row),
            float(chains.operations[p] + m),
            float(chance),
            words.format("once more" if m > g else "once less", _compared(m, g)),
        )
        for row, p, m, g, chance in zip(last, previous, made, given, probability, strict=True)
    ]


def _compared(made: float, given: float) -> str:
    if made >= given:
        return f"{made - given:.0f} operations more were made: the explanation to act on"
    return f"{given - made:.0f} operations fewer were made; to act on: the reading as it stands"
