"""Is a counter entry plausible at the moment of typing? Judged from one unit's earlier rows; quick to import.

The same search as for whole histories is made over the earlier readings with the new one at their end, so that an
entry is judged by the chance that it is right, and a wrong reading before it is named instead of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from tapwear.counts import slips
from tapwear.counts.book import Book, Replacement
from tapwear.counts.chain import Chainer, Chains
from tapwear.counts.likely import usual_range
from tapwear.counts.local import group_levels
from tapwear.counts.search import chainer_at, read_beside, search, used_intervals

EPOCH = date(1970, 1, 1).toordinal()
QUESTION_BELOW = 0.91  # an entry less likely right than this is questioned: our choice, about 1 in 70 right ones
DOUBT_LAST_BELOW = 0.5  # the last reading in the book is named when less likely right than this


@dataclass(frozen=True)
class Neighbour:
    """Another counter at the station: its name, and its readings as (day, value), days as date ordinals."""

    name: str
    readings: Sequence[tuple[int, int]]


@dataclass(frozen=True)
class EntryCheck:
    """Whether to ask back before an entry is taken.

    questioned : ask back. reason : plain words, "" when there is nothing to say. likely : the number that was
    probably meant, None if unknown. last_doubtful : the last reading in the book looks wrong, not this entry.
    low, high : the counter is expected to show between these [as on its digits; low > high across a rollover].
    probability : that the entry is right.
    """

    questioned: bool
    reason: str
    likely: int | None
    last_doubtful: bool
    low: int
    high: int
    probability: float


def check_entry(
    readings: Sequence[tuple[int, int]],
    on: int,
    value: int,
    digits: int,
    *,
    replacements: Sequence[tuple[int, float | None, float | None]] = (),
    inspections: Sequence[int] = (),
    out_of_service: Sequence[tuple[int, int | None]] = (),
    neighbours: Sequence[Neighbour] = (),
) -> EntryCheck:
    """The check of one would-be counter entry against what the book held before it.

    readings : earlier readings of the same counter as (day, value), days as date ordinals, any order
    on, value : day [date ordinal] and number of the entry; digits : places of the counter
    replacements : recorded exchanges as (day, last number of the old counter, first number of the new one),
        None where not written down
    inspections : days of recorded inspections. out_of_service : (first day, last day or None if still out)
    neighbours : other counters at the station. Rows dated after `on` are not looked at.
    """
    book = _book(readings, on, value, digits, replacements, inspections, out_of_service)
    strangers = _strangers(neighbours, on, value)
    chainer, chains = _chains(book, max((chance for chance, _ in strangers), default=-np.inf))
    return _verdict(chainer, chains, digits, strangers)


def _book(
    readings: Sequence[tuple[int, int]],
    on: int,
    value: int,
    digits: int,
    replacements: Sequence[tuple[int, float | None, float | None]],
    inspections: Sequence[int],
    out_of_service: Sequence[tuple[int, int | None]],
) -> Book:
    """A book of one counter that ends with the entry."""
    earlier = sorted(row for row in readings if row[0] <= on)
    day = np.array([row[0] for row in earlier] + [on], dtype=np.int64)
    served = day.astype(float)
    for begin, stop in out_of_service:
        served -= 0.98 * np.clip(day - begin, 0, max((stop or on) - begin, 0))
    epoch = np.zeros(len(day), dtype=np.int64)
    exchanges = []
    for number, (when, old, new) in enumerate(sorted(r for r in replacements if r[0] <= on), start=1):
        epoch += day >= when
        exchanges.append(
            Replacement(
                counter=0,
                epoch=number,
                served=float(np.interp(when, day, served)),
                old=np.nan if old is None else float(old),
                new=np.nan if new is None else float(new),
            )
        )
    inspected = np.sum(day[:, None] >= np.array(inspections, dtype=np.int64)[None, :], axis=1)
    one = np.zeros(1, dtype=np.int64)
    name = np.array([""], dtype=object)
    return Book(
        counter=np.zeros(len(day), dtype=np.int64),
        day=day - EPOCH,
        value=np.array([row[1] for row in earlier] + [value], dtype=float),
        modulus=np.full(len(day), 10.0**digits),
        row=np.arange(len(day)),
        served=served,
        inspected=inspected.astype(float),
        epoch=epoch,
        unit=name,
        drive=name,
        source=name,
        group=one,
        station=one,
        replacements=tuple(exchanges),
    )


def _strangers(neighbours: Sequence[Neighbour], on: int, value: int) -> list[tuple[float, str]]:
    """How likely each neighbour's counter shows just this number [log chance], and its name."""
    found = []
    for one in neighbours:
        rows = sorted(row for row in one.readings if row[0] <= on)
        if not rows:
            continue
        last_day, last = rows[-1]
        first_day, first = rows[max(len(rows) - 6, 0)]
        rise = value - last
        if last_day == on:
            found.append((0.0 if rise == 0 else -np.inf, one.name))
            continue
        rate = (last - first) / (last_day - first_day) if last > first else 2.0
        usual = max(rate * (on - last_day), 1.0)
        if rise < 0:
            continue
        off = np.log((rise + 0.5) / usual)
        found.append((float(-0.5 * (off / 0.5) ** 2 - np.log(0.5 * 2.5066 * (rise + 0.5))), one.name))
    return found


def _chains(book: Book, stranger: float) -> tuple[Chainer, Chains]:
    """The best chain that ends with the entry, with levels, season and noise learnt from the readings before it."""
    n = len(book.day)
    spans = used_intervals(book, Chains.none())
    for _, _, before in search(book.part(slice(0, 1), slice(0, n - 1))):
        spans = used_intervals(book, before)
    beside = read_beside(book)
    beside.strangers[-1] = stranger
    chainer = chainer_at(book, spans, beside, group_levels(spans, book.group), slips.AS_TYPED)
    return chainer, chainer.solve()


def _verdict(chainer: Chainer, chains: Chains, digits: int, strangers: list[tuple[float, str]]) -> EntryCheck:
    book = chainer.book
    last = len(book.day) - 1
    value = int(book.value[last])
    probability = float(chains.probability[last])
    fits = value < 10**digits
    if last == 0:
        reason = "" if fits else f"more than {digits} digits"
        return EntryCheck(not fits, reason, None, False, 0, 10**digits - 1, float(fits))
    before = chains.left[last - 1]
    anchor = int(before) if before >= 0 else last - 1
    ends = np.array([anchor]), np.array([last])
    low, high = _range(chainer, *ends)
    questioned = probability < QUESTION_BELOW or not fits or bool(chains.reset[last])
    previous_wrong = float(chains.probability[last - 1]) < DOUBT_LAST_BELOW
    if not questioned:
        if not previous_wrong:
            return EntryCheck(False, "", None, False, low, high, probability)
        written, on = int(book.value[last - 1]), date.fromordinal(int(book.day[last - 1]) + EPOCH)
        reason = f"the last reading in the book, {written} of {on}, looks wrong, not this one"
        return EntryCheck(False, reason, None, True, low, high, probability)
    if not fits:
        return EntryCheck(True, f"more than {digits} digits", None, previous_wrong, low, high, 0.0)
    nothing = np.array([-1])
    found = chainer.scale.explanations(ends[0], ends[1], nothing, np.zeros(1))
    top = int(np.argmax(found.chance[0]))
    kind, meant = int(found.kind[0, top]), found.right[0, top]
    likely = int(meant) if np.isfinite(meant) else None
    name = max(strangers)[1] if strangers else ""
    if kind == slips.OTHER or chains.reset[last]:
        joint = chainer.joints(*ends)
        likely = None
        reason = _off_in_words(book, anchor, last, float(joint.operations[0]), float(joint.leg.middle[0]))
    else:
        reason = slips.in_words(kind, value, float(meant), name)
    return EntryCheck(True, reason, likely, previous_wrong, low, high, probability)


def _off_in_words(book: Book, anchor: int, last: int, made: float, usual: float) -> str:
    on = date.fromordinal(int(book.day[anchor]) + EPOCH)
    written = int(book.value[anchor])
    if book.value[last] < written and book.epoch[anchor] == book.epoch[last]:
        return f"below the last reading, {written} of {on}: a counter set back or exchanged has to be recorded"
    more = "more" if made > usual else "fewer"
    return f"far {more} operations than usual since {on}: {made:.0f} against about {usual:.0f}"


def _range(chainer: Chainer, left: np.ndarray, right: np.ndarray) -> tuple[int, int]:
    """Numbers between which the counter is expected to stand, as on its digits."""
    book = chainer.book
    low, high = usual_range(chainer.joints(left, right).leg)
    shifted = chainer.scale.shifted
    start = book.value[right] - shifted[right] + shifted[left]
    modulus = book.modulus[right]
    return int(np.mod(start + np.floor(low), modulus)[0]), int(np.mod(start + np.ceil(high), modulus)[0])
