"""Says plainly what is thought of each reading that was not taken."""

from __future__ import annotations

import numpy as np

from tapwear.counts import slips
from tapwear.counts.chain import Chainer, Chains


def untaken(chainer: Chainer, chains: Chains, units: np.ndarray) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Readings that were not taken as right: their rows in the book, whether superseded, and the reasons in words.

    Superseded is a reading whose counter was read again on the same day, where the other reading was taken;
    the others are doubtful. units : unit names of all counters of the whole book, for the names of neighbours.
    """
    book = chainer.book
    rows = np.flatnonzero(~chains.used)
    if not len(rows):
        return rows, rows > 0, []
    left, right = chains.left[rows], chains.right[rows]
    between = (left >= 0) & (right >= 0)
    total = np.where(between, chains.operations[right] - chains.operations[left], 0.0)
    found = chainer.scale.explanations(left, rows, right, total)
    top = np.argmax(found.chance, axis=1)
    place = np.arange(len(rows))
    kinds, meant = found.kind[place, top], found.right[place, top]
    superseded = np.zeros(len(rows), dtype=bool)
    words: list[str] = []
    for i, row in enumerate(rows):
        twins = [side for side in (left[i], right[i]) if side >= 0 and book.day[side] == book.day[row]]
        written = int(book.value[row])
        if twins:
            superseded[i] = True
            words.append(_same_day(written, int(book.value[twins[0]])))
        elif written >= book.modulus[row]:
            words.append("more digits than the counter has")
        else:
            name = _neighbour(chainer, units, int(row), int(kinds[i]), float(meant[i]))
            words.append(slips.in_words(int(kinds[i]), written, float(meant[i]), name))
    return rows, superseded, words


def _same_day(written: int, taken: int) -> str:
    if written == taken:
        return "entered twice"
    return f"another reading of that day, {taken}, fits better"


def _neighbour(chainer: Chainer, units: np.ndarray, row: int, kind: int, meant: float) -> str:
    """Name of the unit whose number this is taken for; "" where no one is."""
    if kind not in (slips.EXCHANGED, slips.NEIGHBOUR):
        return ""
    beside = chainer.scale.beside
    number = meant if kind == slips.EXCHANGED else chainer.book.value[row]
    slots = np.flatnonzero(beside.partners[row] == number)
    return str(units[beside.counters[row, slots[0]]]) if len(slots) else ""
