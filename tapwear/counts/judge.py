"""The judge of one counter entry: is the number plausible, and if not, what is odd about it first of all?

`limits_of` (tapwear.counts.plausible) looks at the book once and says what surrounds an entry: the readings before and
after, each with its weight, the expected rate, recorded exchanges, and what the other counters of the station show.
`judge` holds one number against that. It uses nothing but plain arithmetic, so that a page can do the same without a
network; whoever writes it a second time takes the numbers of `Limits` from `as_plain` and follows these steps:

1. Places. The entry stands after all readings of earlier days and before those of later ones. Among readings of
   its own day its place follows the times of day where both are known, and is tried everywhere where one is not;
   so is the side of an exchange recorded for that day. The place with the highest probability counts.
2. Before and after the place up to `REACH` readings each are taken as the last right one (a) and the next right
   one (b). The weight of a is its `lead` plus the `slip` of all readings between it and the entry; that of b its
   `trail` likewise.
3. The operations between two moments are expected by `leg`: rate, season and days in service; their density by
   `log_density`. A counter may roll over, and may have been set back without a record (questioned).
4. Right: the sum over a and b of weight x density(a to entry) x density(entry to b). Wrong: weight x density(a to b)
   x the chances of all slips: digits (`slips.one_by_one`), copied, a neighbour's number, anything else.
5. Questioned where right / (right + wrong) lies below `question_below`, or where the counter must have been set
   back. A number that the book has of that day, or that the counter has shown twice before, is not. The words say
   first what can be seen (below the last reading, above the next one, far more or fewer operations), then the
   likely slip.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from math import exp, floor, inf, isfinite, log

from tapwear.counts import slips
from tapwear.counts.limits import (
    HALF,
    NOTHING,
    ROOT_TAU,
    Exchange,
    Known,
    Limits,
    leg,
    log_density,
    made_between,
    moment,
    rise,
    usual_between,
)

REACH = 5  # a right reading is sought among so many before and after: up to four wrong ones in a row
DOUBT_LAST_BELOW = 0.5  # the last reading in the book is named when less likely right than this
RIGHT = log(0.965)  # chance that a reading is right: our choice
KNOWN = 0.996  # no number is surer than this: slips in the last digits leave no trace (seen on simulated fleets)
WEIGHTLESS = 14.0  # readings that are e^14 times less likely the last right one are not looked at
IDLE, COPIED_WHEN_IDLE, SAME, UNLIKELY = 0.3, 0.1, 0.02, 30.0  # as in tapwear.counts.weigh


@dataclass(frozen=True)
class Judgement:
    """Whether to ask back before an entry is taken.

    questioned : ask back. reason : plain words, "" when there is nothing to say. likely : the number that was
    probably meant, None if unknown. last_doubtful : the last reading in the book looks wrong, not this entry.
    low, high : the counter is expected to show between these [as on its digits; low > high across a rollover], None
    where the book has no reading. probability : that the entry is right.
    """

    questioned: bool
    reason: str
    likely: int | None
    last_doubtful: bool
    low: int | None
    high: int | None
    probability: float


@dataclass(frozen=True)
class _Place:
    """Where an entry stands: how many known readings and exchanges lie before it, its moment, and its offset."""

    behind: int
    exchanges: int
    at: float
    offset: float


_Side = tuple[Known | None, float]  # a reading that may be the right one beside the entry, and its log weight


@dataclass(frozen=True)
class _Weighed:
    """What speaks for and against an entry at a place. slip : its likeliest explanation as (kind, right number)."""

    place: _Place
    right: float
    wrong: float
    last_right: float
    next_right: float
    before: Known | None
    after: Known | None
    reset: bool
    slip: tuple[int, float, str]

    @property
    def probability(self) -> float:
        return KNOWN * self.right / max(self.right + self.wrong, 1e-300)


def judge(limits: Limits, day: int, value: int, minute: int | None = None) -> Judgement:
    """Whether `value`, read on `day` [date ordinal] at `minute` of the day (None: not known), is plausible."""
    fits = value < 10**limits.digits
    if not limits.known:
        return Judgement(not fits, "" if fits else _too_long(limits), None, False, None, None, float(fits))
    best = max((_weigh(limits, one, value) for one in _places(limits, day, minute)), key=lambda one: one.probability)
    low, high = _range(limits, best)
    if not fits:
        return Judgement(True, _too_long(limits), None, False, low, high, 0.0)
    twin = any(one.day == day and one.value == value and None in (minute, one.minute) for one in limits.known)
    stands = _stands_since(limits, best.place, value)
    probability = KNOWN if twin or stands else best.probability
    if stands and not twin:
        words = f"the counter has shown {value} since {date.fromordinal(stands)}: does it stand still?"
        return Judgement(False, words, None, False, low, high, probability)
    if not twin and (probability < limits.question_below or best.reset):
        reason, likely = _words(limits, best, value)
        return Judgement(True, reason, likely, best.last_right < DOUBT_LAST_BELOW, low, high, probability)
    for side, share, name in ((-1, best.last_right, "last"), (0, best.next_right, "next")):
        if share < DOUBT_LAST_BELOW and not twin:
            beside = limits.known[best.place.behind + side]
            written = f"{beside.value} of {date.fromordinal(beside.day)}"
            reason = f"the {name} reading in the book, {written}, looks wrong, not this one"
            return Judgement(False, reason, None, True, low, high, probability)
    return Judgement(False, "", None, False, low, high, probability)


def expected_range(limits: Limits, day: int, minute: int | None = None) -> tuple[int, int] | None:
    """Between which numbers the counter is expected to stand on a day, None where nothing is known."""
    if not limits.known:
        return None
    place = list(_places(limits, day, minute))[-1]
    found = _range(limits, _weigh(limits, place, limits.known[max(place.behind - 1, 0)].value))
    return None if found[0] is None or found[1] is None else (found[0], found[1])


def _stands_since(limits: Limits, place: _Place, value: int) -> int:
    """Since which day the counter shows just this number, if it was read at least twice and nothing else since; or 0.

    A single odd reading between does not count: who reads the old number again has seen the counter standing.
    """
    same = [one for one in limits.known[max(place.behind - 3, 0) : place.behind] if one.value == value]
    return same[0].day if len({one.day for one in same}) > 1 else 0


# --- places and weights ---------------------------------------------------------------------------------------


def _places(limits: Limits, day: int, minute: int | None) -> Iterator[_Place]:
    """Where the entry may stand among the known readings and recorded exchanges."""
    first, last = (
        sum(_before(one, day, minute, sure) for one in limits.known) for sure in (True, False)
    )
    least, most = (sum(_before(one, day, minute, sure) for one in limits.exchanges) for sure in (True, False))
    for behind in range(first, last + 1):
        low = max(least, limits.known[behind - 1].exchanges if behind else 0)
        high = min(most, limits.known[behind].exchanges if behind < len(limits.known) else most)
        for passed in range(low, high + 1):
            offset = limits.exchanges[passed - 1].offset if passed else 0.0
            yield _Place(behind, passed, moment(day, minute), offset)


def _before(one: Known | Exchange, day: int, minute: int | None, sure: bool) -> bool:
    """Whether something known is (surely, or possibly) before the entry."""
    known = one.minute if isinstance(one, Known) else None
    if one.day != day or known is None or minute is None:
        return one.day < day or (one.day == day and not sure)
    return known < minute or (known == minute and not sure)


def _sides(limits: Limits, behind: int) -> tuple[list[_Side], list[_Side]]:
    """The readings before and after a place that may be the last and the next right one, nearest first, weighted.

    None stands for no right one on that side: all of fewer than `REACH` readings are slips.
    """
    before: list[_Side] = []
    after: list[_Side] = []
    for side, rows in ((before, limits.known[:behind][::-1]), (after, limits.known[behind:])):
        lost = 0.0
        for one in rows[:REACH]:
            side.append((one, (one.lead if side is before else one.trail) + lost))
            lost += one.slip
        if len(rows) < REACH:
            side.append((None, lost))
    return _weighty(before), _weighty(after)


def _weighty(side: list[_Side]) -> list[_Side]:
    top = max(weight for _, weight in side)
    return [(one, weight - top) for one, weight in side if weight > top - WEIGHTLESS]


def _weigh(limits: Limits, place: _Place, value: int) -> _Weighed:
    """The chances that the number is right and that it is a slip, at this place."""
    before, after = _sides(limits, place.behind)
    count, modulus = value + place.offset, 10.0**limits.digits
    fits = value < modulus
    stranger, name = _stranger(limits, place.at, value)
    right = wrong = last = following = 0.0
    best: tuple[float, bool] = (-inf, False)
    kinds: dict[tuple[int, float], float] = {}
    for a, weight_a in before:
        there = _joint(limits, a, place, value, count) if a is not None else (0.0, False)
        for b, weight_b in after:
            if a is None and b is None and max(len(before), len(after)) > 1:
                continue
            weight = weight_a + weight_b
            back = _joint_after(limits, place, b, value, count) if b is not None else (0.0, False)
            for_it = weight + there[0] + back[0] + RIGHT if fits else NOTHING
            slips_of = list(_slips(limits, place, a, b, value, stranger))
            base = weight + (_density_between(limits, a, b) if a is not None and b is not None else 0.0)
            against = exp(base) * sum(chance for chance, _, _ in slips_of)
            right += exp(max(for_it, -700.0))
            wrong += against
            share = exp(max(for_it, -700.0)) + against
            last += share * (place.behind == 0 or a is limits.known[place.behind - 1])
            following += share * (place.behind == len(limits.known) or b is limits.known[place.behind])
            if for_it > best[0]:
                best = for_it, there[1] or back[1]
            for chance, kind, meant in slips_of:
                kinds[kind, meant] = kinds.get((kind, meant), 0.0) + exp(base) * chance
    (kind, meant), _ = max(kinds.items(), key=lambda one: one[1])
    total = max(right + wrong, 1e-300)
    nearest_a, nearest_b = (max(side, key=lambda one: one[1])[0] for side in (before, after))
    return _Weighed(
        place, right, wrong, last / total, following / total, nearest_a, nearest_b, best[1], (kind, meant, name)
    )


def _joint(limits: Limits, a: Known, place: _Place, value: int, count: float) -> tuple[float, bool]:
    """Log density of the operations from a known reading to the entry, and whether the counter was set back between."""
    guessed = any(not one.sure for one in limits.exchanges[a.exchanges : place.exchanges])
    return rise(limits, a.at, place.at, count - a.count, value, guessed, a.exchanges == place.exchanges)


def _joint_after(limits: Limits, place: _Place, b: Known, value: int, count: float) -> tuple[float, bool]:
    guessed = any(not one.sure for one in limits.exchanges[place.exchanges : b.exchanges])
    return rise(limits, place.at, b.at, b.count - count, b.value, guessed, b.exchanges == place.exchanges)


def _density_between(limits: Limits, a: Known, b: Known) -> float:
    guessed = any(not one.sure for one in limits.exchanges[a.exchanges : b.exchanges])
    return rise(limits, a.at, b.at, b.count - a.count, b.value, guessed, a.exchanges == b.exchanges)[0]


# --- slips ----------------------------------------------------------------------------------------------------


def _slips(
    limits: Limits, place: _Place, a: Known | None, b: Known | None, value: int, stranger: float
) -> Iterator[tuple[float, int, float]]:
    """Explanations of the number as a slip between the right readings a and b: (chance, kind, right number or NaN)."""
    modulus, chance_of = 10.0**limits.digits, limits.slip_chances
    leg_a = leg(limits, a.at, place.at) if a is not None else None
    leg_b = leg(limits, place.at, b.at) if b is not None else None
    before, after = leg_a.middle if leg_a else 0.0, leg_b.middle if leg_b else 0.0
    usual = before + after
    total = 0.0
    if a is not None and b is not None:
        total = made_between(b.count - a.count, usual, modulus)
        whole = log_density(total, leg(limits, a.at, b.at))
        guess = total * before / max(usual, 1e-9)
    else:
        whole, guess = 0.0, before if a is not None else -after
    start = a.count if a is not None else b.count if b is not None else 0.0
    origin = (start - place.offset) % modulus
    size = max(usual, total) + 10.0
    for chance, kind, meant in slips.one_by_one(value, (origin + guess) % modulus, limits.digits, chance_of):
        apart = meant - origin
        apart += round((guess - apart) / modulus) * modulus
        if abs(meant - value) <= SAME * size:
            continue
        if not (0.0 if a is not None else -UNLIKELY * size) <= apart <= (
            total if a is not None and b is not None else UNLIKELY * size if a is not None else 0.0
        ):
            continue
        fit = log_density(apart, leg_a) if leg_a else 0.0
        if leg_b:
            fit += log_density(total - apart if leg_a else -apart, leg_b)
        yield chance * exp(max(fit - whole, -700.0)), kind, meant
    went_on = a is None or b is None or total >= IDLE * usual
    if any(one.value == value for one in limits.known[max(place.behind - 2, 0) : place.behind]):
        yield chance_of[slips.COPIED] * (1.0 if went_on else COPIED_WHEN_IDLE), slips.COPIED, inf
    yield chance_of[slips.NEIGHBOUR] * stranger, slips.NEIGHBOUR, inf
    yield chance_of[slips.OTHER] / modulus, slips.OTHER, inf


def _stranger(limits: Limits, at: float, value: int) -> tuple[float, str]:
    """How likely one of the neighbours' counters shows just this number, and which."""
    best, name = 0.0, ""
    for one in limits.neighbours:
        days, rise = floor(at) - one.day, value - one.value
        if rise < 0 or days < 0:
            continue
        if days == 0:
            chance = float(rise == 0)
        else:
            off = log((rise + HALF) / max(one.rate * days, 1.0)) / 0.5
            chance = exp(max(-0.5 * off * off, -700.0)) / (0.5 * ROOT_TAU * (rise + HALF))
        if chance > best:
            best, name = chance, one.name
    return best, name


# --- words ----------------------------------------------------------------------------------------------------


def _too_long(limits: Limits) -> str:
    return f"more than {limits.digits} digits"


def _words(limits: Limits, found: _Weighed, value: int) -> tuple[str, int | None]:
    """What is odd about a number: what can be seen first, then the likely slip; and the number probably meant."""
    kind, meant, name = found.slip
    fact, explains = _fact(limits, found, value)
    if kind == slips.COPIED:
        return slips.in_words(kind, value, meant, name), None
    if kind == slips.OTHER or (found.reset and found.right > found.wrong):
        return fact + explains, None
    words = slips.in_words(kind, value, meant, name)
    return f"{fact}; {words}" if fact else words, int(meant) if isfinite(meant) else None


def _fact(limits: Limits, found: _Weighed, value: int) -> tuple[str, str]:
    """What anybody sees without knowing of slips, "" for nothing; and what it asks for where no slip explains it."""
    place, modulus = found.place, 10.0**limits.digits
    last, following = found.before, found.after
    one_counter = last is not None and last.exchanges == place.exchanges
    if last is not None and one_counter and value < last.value and not _may_roll(limits, found, value):
        words = f"below the last reading, {last.value} of {date.fromordinal(last.day)}"
        return words, ": a counter set back or exchanged has to be recorded"
    if following is not None and following.exchanges == place.exchanges and value > following.value:
        return f"above the next reading, {following.value} of {date.fromordinal(following.day)}", ""
    for one, begin, stop, sign in ((last, None, place.at, 1.0), (following, place.at, None, -1.0)):
        if one is None:
            continue
        on = leg(limits, one.at if begin is None else begin, one.at if stop is None else stop)
        made = made_between(sign * (value + place.offset - one.count), on.middle, modulus)
        off = log(made + HALF)
        if on.low - 2.0 * on.spread <= off <= on.high + 2.0 * on.spread:
            continue
        more = "more" if off > on.high else "fewer"
        since = "since" if sign > 0 else "up to the next reading, of"
        day = date.fromordinal(one.day)
        return f"far {more} operations than usual {since} {day}: {made:.0f} against about {on.middle:.0f}", ""
    return "", slips.in_words(slips.OTHER, value, inf, "")


def _may_roll(limits: Limits, found: _Weighed, value: int) -> bool:
    """Whether the counter may have passed its highest number since the last reading."""
    last, modulus = found.before, 10.0**limits.digits
    if last is None:
        return False
    on = leg(limits, last.at, found.place.at)
    return (value - last.value) % modulus <= exp(on.high + 3.0 * on.spread)


def _range(limits: Limits, found: _Weighed) -> tuple[int | None, int | None]:
    """Numbers between which the counter is expected to stand, as on its digits."""
    place, modulus = found.place, 10.0**limits.digits
    if found.before is None and found.after is None:
        return None, None
    low = high = 0.0
    if found.before is not None and found.after is not None:
        before, after = leg(limits, found.before.at, place.at), leg(limits, place.at, found.after.at)
        usual = before.middle + after.middle
        total = made_between(found.after.count - found.before.count, usual, modulus)
        share = before.middle / max(usual, 1e-9)
        low = found.before.count + floor(total * share * exp(-2.0 * before.spread))
        high = found.before.count + total - floor(total * (1.0 - share) * exp(-2.0 * after.spread))
    elif found.before is not None:
        least, most = usual_between(leg(limits, found.before.at, place.at))
        low, high = found.before.count + floor(least), found.before.count - floor(-most)
    elif found.after is not None:
        least, most = usual_between(leg(limits, place.at, found.after.at))
        low, high = found.after.count + floor(-most), found.after.count - floor(least)
    return int((low - place.offset) % modulus), int((high - place.offset) % modulus)
