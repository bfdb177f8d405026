"""Ways in which a right number becomes a wrong one in the book, each with its chance and its words.

The chances are our choice: about three in a hundred entries in a book are wrong, and simulated and remembered slips
share them out roughly like this. Only their order of magnitude matters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

TRANSPOSED, DROPPED, MISTYPED, EXTRA, EXCHANGED, COPIED, NEIGHBOUR, OTHER = range(8)
IN_BOOK = np.array([0.020, 0.005, 0.003, 0.001, 0.005, 0.009, 0.002, 0.002])
"""Chance of each kind of slip for a number that stands in the book, in the order of the kinds above."""

AS_TYPED = np.array([0.012, 0.005, 0.015, 0.001, 0.005, 0.009, 0.002, 0.010])
"""The same for a number just typed, before anybody has asked back: more digits mistyped, more other units' numbers."""


@dataclass(frozen=True)
class Candidates:
    """Right numbers from which each written one may have come; arrays of shape (readings, candidates).

    value : the right number, NaN where there is none. chance : logarithm of the chance of that slip.
    kind : kind of slip, one a column.
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
    for k in range(digits - 1):  # places counted from the right
        unit = 10.0**k
        low, high = _digit(written, k), _digit(written, k + 1)
        exchanged = written + (low - high) * 9.0 * unit
        values.append(np.where(low == high, np.nan, exchanged))
        chances.append(chance_of[TRANSPOSED] / (digits - 1))
        kinds.append(TRANSPOSED)
    for k in range(digits):
        unit = 10.0**k
        head, tail = np.floor(written / unit), np.mod(written, unit)
        shorter = written < 10.0 ** (digits - 1)
        base = head * 10.0 * unit + tail
        for value in _two_digits(base, near, unit):
            values.append(np.where(shorter, value, np.nan))
            chances.append(chance_of[DROPPED] / digits)
            kinds.append(DROPPED)
    for k in range(digits):
        unit = 10.0**k
        base = written - _digit(written, k) * unit
        for value in _two_digits(base, near, unit):
            values.append(np.where(value == written, np.nan, value))
            chances.append(chance_of[MISTYPED] / digits / 9.0)
            kinds.append(MISTYPED)
    for k in range(digits + 1):
        unit = 10.0**k
        longer = np.floor(written / (10.0 * unit)) * unit + np.mod(written, unit)
        values.append(np.where(written >= 10.0 * unit, longer, np.nan))
        chances.append(chance_of[EXTRA] / digits)
        kinds.append(EXTRA)
    value = np.stack(values, axis=1)
    value[value >= 10.0**digits] = np.nan
    chance = np.broadcast_to(np.log(np.array(chances)), value.shape)
    return Candidates(value, chance, np.array(kinds))


def _digit(number: np.ndarray, place: int) -> np.ndarray:
    return np.mod(np.floor(number / 10.0**place), 10.0)


def _two_digits(base: np.ndarray, near: np.ndarray, unit: float) -> tuple[np.ndarray, np.ndarray]:
    """`base` plus the two digits at that place that bring it nearest to `near` from below and above."""
    digit = np.clip(np.floor((near - base) / unit), 0.0, 8.0)
    return base + digit * unit, base + (digit + 1.0) * unit


def in_words(kind: int, written: int, right: float, source: str) -> str:
    """The slip said plainly, for the reason beside a doubtful reading."""
    if kind == TRANSPOSED:
        return f"two digits exchanged? {written} for {right:.0f}"
    if kind == DROPPED:
        return f"a digit left out? {written} for {right:.0f}"
    if kind == MISTYPED:
        return f"one digit mistyped? {written} for {right:.0f}"
    if kind == EXTRA:
        return f"a digit too many? {written} for {right:.0f}"
    if kind in (EXCHANGED, NEIGHBOUR):
        return f"looks like the counter of {source}" if source else "looks like a neighbour's counter"
    if kind == COPIED:
        return "same number as last time, though operations went on"
    return "fits neither the readings before it nor those after it"
