"""Ways in which a right number becomes a wrong one in the book, each with its chance and its words.

The chances are our choice: about three in a hundred entries in a book are wrong, and simulated and remembered slips
share them out roughly like this. Only their order of magnitude matters.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import floor

import numpy as np

TRANSPOSED, DROPPED, MISTYPED, EXTRA, EXCHANGED, COPIED, NEIGHBOUR, OTHER = range(8)
IN_BOOK = np.array([0.020, 0.005, 0.003, 0.001, 0.005, 0.009, 0.002, 0.002])
"""Chance of each kind of slip for a number that stands in the book, in the order of the kinds above."""

AS_TYPED = np.array([0.012, 0.005, 0.015, 0.001, 0.005, 0.009, 0.002, 0.010])
"""The same for a number just typed, before anybody has asked back: more digits mistyped, more other units' numbers."""


@dataclass(frozen=True)
class Candidates:
    """Right numbers from which each written one may have come.

    value : the right numbers, shape (candidates, readings); NaN, or the written number itself, where there is none
    chance : logarithm of the chance of that slip, kind : kind of slip; one a candidate
    """

    value: np.ndarray
    chance: np.ndarray
    kind: np.ndarray


def digit_slips(written: np.ndarray, near: np.ndarray, digits: int, chance_of: np.ndarray) -> Candidates:
    """Right numbers behind the `written` ones, where digits went wrong; `near` is about where they should lie.

    digits : number of places of the counter. chance_of : chance of each kind of slip. Of the numbers that differ
    from the written one in one place only the two nearest to `near` are given for each place.
    """
    values: list[np.ndarray] = []
    chances: list[float] = []
    kinds: list[int] = []

    def add(kind: int, share: float, *found: np.ndarray) -> None:
        values.extend(found)
        chances.extend([chance_of[kind] * share] * len(found))
        kinds.extend([kind] * len(found))

    heads = [_whole(written / 10.0**k) for k in range(digits + 2)]  # places are counted from the right
    digit = [head - 10.0 * higher for head, higher in pairwise(heads)]
    tails = [written - head * 10.0**k for k, head in enumerate(heads)]
    for k in range(digits - 1):
        add(TRANSPOSED, 1.0 / (digits - 1), written + (digit[k] - digit[k + 1]) * 9.0 * 10.0**k)
    for k in range(digits):  # a longer number with a digit more is one that the counter cannot show
        add(DROPPED, 1.0 / digits, *_two_digits(heads[k] * 10.0 ** (k + 1) + tails[k], near, 10.0**k))
    for k in range(digits):
        add(MISTYPED, 1.0 / digits / 9.0, *_two_digits(written - digit[k] * 10.0**k, near, 10.0**k))
    for k in range(digits + 1):
        add(EXTRA, 1.0 / digits, np.where(heads[k + 1] > 0, heads[k + 1] * 10.0**k + tails[k], np.nan))
    value = np.stack(values)
    np.putmask(value, value >= 10.0**digits, np.nan)
    return Candidates(value, np.log(np.array(chances)), np.array(kinds))


def one_by_one(
    value: int, near: float, digits: int, chance_of: Sequence[float]
) -> Iterator[tuple[float, int, float]]:
    """Right numbers behind one whose digits went wrong, as (chance, kind, right number); see `digit_slips`."""
    modulus = 10**digits
    heads = [value // 10**k for k in range(digits + 2)]
    found: list[tuple[float, int, float]] = []
    for k in range(digits - 1):
        low, high = heads[k] % 10, heads[k + 1] % 10
        found.append((chance_of[TRANSPOSED] / (digits - 1), TRANSPOSED, value + (low - high) * 9 * 10**k))
    for k in range(digits):
        dropped = heads[k] * 10 ** (k + 1) + value % 10**k
        mistyped = value - heads[k] % 10 * 10**k
        for base, kind, share in ((dropped, DROPPED, 1.0), (mistyped, MISTYPED, 1.0 / 9.0)):
            digit = min(max(floor((near - base) / 10**k), 0), 8)
            chance = chance_of[kind] * share / digits
            found += [(chance, kind, base + digit * 10**k), (chance, kind, base + (digit + 1) * 10**k)]
    for k in range(digits + 1):
        if heads[k + 1] > 0:
            found.append((chance_of[EXTRA] / digits, EXTRA, heads[k + 1] * 10**k + value % 10**k))
    yield from ((chance, kind, float(meant)) for chance, kind, meant in found if meant < modulus)


def _two_digits(base: np.ndarray, near: np.ndarray, unit: float) -> tuple[np.ndarray, np.ndarray]:
    """`base` plus the two digits at that place that bring it nearest to `near` from below and above."""
    digit = np.clip(_whole((near - base) / unit), 0.0, 8.0)
    return base + digit * unit, base + (digit + 1.0) * unit


def _whole(number: np.ndarray) -> np.ndarray:
    """np.floor, in a fraction of its time."""
    near: np.ndarray = np.rint(number)
    near -= near > number
    return near


def in_words(kind: int, written: int, right: float, source: str) -> str:
    """The slip said plainly, for the reason beside a doubtful reading."""
    if kind == TRANSPOSED:
        return f"digits transposed? {written} instead of {right:.0f}"
    if kind == DROPPED:
        return f"a digit left out? {written} instead of {right:.0f}"
    if kind == MISTYPED:
        return f"one digit mistyped? {written} instead of {right:.0f}"
    if kind == EXTRA:
        return f"a digit too many? {written} instead of {right:.0f}"
    if kind in (EXCHANGED, NEIGHBOUR):
        return f"looks like the counter of {source}" if source else "looks like a neighbour's counter"
    if kind == COPIED:
        return "same number as last time, though operations went on"
    return "fits neither the readings before it nor those after it"
