"""What surrounds a counter entry, as plain numbers, and the operations to expect between two moments.

`tapwear.counts.judge` holds an entry against this. Plain arithmetic only: a page does the same without a network. The
formulas are those of `tapwear.counts.likely` and `tapwear.counts.chain` for one counter.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from datetime import date
from math import cos, exp, inf, log, pi, sin, sqrt
from typing import Any

from tapwear.counts import slips

NOTHING = -1e9  # stands for the logarithm of no chance at all
QUESTION_BELOW = 0.92  # an entry less likely right than this is questioned: our choice, about 1 in 60 right ones
RESET_A_YEAR = 0.004  # unrecorded resets and exchanges of a counter: our choice
HALF = 0.5  # added to counts before logarithms are taken
DAYS_PER_YEAR = 365.25
ANGLE = 2.0 * pi / DAYS_PER_YEAR
EPOCH = date(1970, 1, 1).toordinal()
MINUTES = 1440.0
ROOT_TAU = sqrt(2.0 * pi)
TAILS = ((0.930, 1.0), (0.065, 2.5), (0.005, 6.0))  # (weight, widening) of the density, as in tapwear.counts.likely
INSPECTION_OPERATIONS = 40.0
OUT_OF_SERVICE, STILL_WHEN_OUT, STILL_UNRECORDED, OUT_SPREAD = 0.2, 0.5, 0.002, 1.0
OUT_SHARE = 0.98  # of a day out of service is not served
WIDEST = 1.5
MANY_A_DAY, MANY_SPREAD = 300.0, 0.7  # more operations a day are unlikely, by this scatter of the logarithm: our choice
ROOM, SPARE = 3.0, 60.0  # as in tapwear.counts.exchanges


@dataclass(frozen=True)
class Known:
    """A reading that the book has of the counter.

    day : date ordinal. minute : of the day, None where not known. value : as written; count : the same on one running
    scale over exchanges of the counter. exchanges : recorded before it. lead, trail, slip : logarithms of the weight of
    the chains of right readings up to it, of those from it on, and of its being a slip.
    """

    day: int
    minute: int | None
    value: int
    count: float
    exchanges: int
    lead: float
    trail: float
    slip: float

    @property
    def at(self) -> float:
        return moment(self.day, self.minute)


@dataclass(frozen=True)
class Exchange:
    """A recorded exchange of the counter: `offset` is added to a number read after it to have it on the running scale.

    sure : the last number of the old counter and the first of the new one are both recorded.
    """

    day: int
    offset: float
    sure: bool


@dataclass(frozen=True)
class Beside:
    """Another counter of the station: its last reading, and its usual operations a day."""

    name: str
    day: int
    value: int
    rate: float


@dataclass(frozen=True)
class Limits:
    """What one counter's entries are held against.

    digits : places of the counter. known, exchanges : in order of time
    rate_low, rate_high : natural logarithm of the operations a day in service, any rate between the two is as likely;
        rate_variance : of that logarithm
    noise : scatter of the logarithm over an interval of `usual_days`
    season : how the logarithm goes with the year: of cos, sin, cos 2, sin 2 of the angle of the day
    out_of_service : (first day, last day or None) as date ordinals; inspections : days of recorded ones
    """

    digits: int
    known: tuple[Known, ...] = ()
    exchanges: tuple[Exchange, ...] = ()
    rate_low: float = log(2.0)
    rate_high: float = log(2.0)
    rate_variance: float = 1.7
    noise: float = 0.18
    usual_days: float = 90.0
    season: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    out_of_service: tuple[tuple[int, int | None], ...] = ()
    inspections: tuple[int, ...] = ()
    neighbours: tuple[Beside, ...] = ()
    question_below: float = QUESTION_BELOW
    slip_chances: tuple[float, ...] = field(default_factory=lambda: tuple(map(float, slips.AS_TYPED)))

    def as_plain(self) -> dict[str, Any]:
        """The same as JSON has it."""
        return asdict(self)


@dataclass(frozen=True)
class Leg:
    """What is to be expected between two moments; see tapwear.counts.likely.Leg."""

    low: float
    high: float
    spread: float
    still: float
    middle: float


def moment(day: int, minute: int | None) -> float:
    """A day and the time of day as one number [days]; noon where the time is not known."""
    return day + (0.5 if minute is None else minute / MINUTES)


def leg(limits: Limits, begin: float, stop: float) -> Leg:
    days = stop - begin
    served = days - OUT_SHARE * sum(
        max(min(stop, inf if last is None else last + 0.5) - max(begin, first + 0.5), 0.0)
        for first, last in limits.out_of_service
    )
    out = served < OUT_OF_SERVICE * days
    offset = (_wave(limits, stop) - _wave(limits, begin)) / max(days, 1.0) + log(max(served, HALF))
    least, most = (exp(min(max(rate + offset, -20.0), 20.0)) for rate in (limits.rate_low, limits.rate_high))
    middle = sqrt(least * most)
    shorter = min(max(limits.usual_days / max(served, 1.0), 0.25), 8.0)
    variance = limits.noise**2 * sqrt(shorter) + limits.rate_variance + 1.0 / (middle + 1.0) + OUT_SPREAD**2 * out
    inspected = sum(begin < one + 0.5 <= stop for one in limits.inspections)
    return Leg(
        low=log(least + HALF),
        high=log(most + HALF + INSPECTION_OPERATIONS * inspected),
        spread=sqrt(min(variance, WIDEST**2)),
        still=STILL_WHEN_OUT if out else STILL_UNRECORDED,
        middle=middle,
    )


def _wave(limits: Limits, at: float) -> float:
    """Integral of the season up to a moment."""
    day, (c1, s1, c2, s2) = at - EPOCH - 0.5, limits.season
    return (
        c1 * sin(ANGLE * day) - s1 * cos(ANGLE * day) + (c2 * sin(2 * ANGLE * day) - s2 * cos(2 * ANGLE * day)) / 2.0
    ) / ANGLE


def log_density(operations: float, on: Leg) -> float:
    """Logarithm of the probability of exactly that many operations on a leg."""
    if operations < 0:
        return NOTHING
    found = log(operations + HALF)
    z = min((max(on.low - found, found - on.high, 0.0) / on.spread) ** 2, 600.0)
    total = sum(weight / factor * exp(-0.5 * z / factor**2) for weight, factor in TAILS)
    total /= (operations + HALF) * (ROOT_TAU * on.spread + on.high - on.low)
    return log((1.0 - on.still) * total + on.still * (operations == 0) + 1e-300)


def rise(
    limits: Limits, begin: float, stop: float, plain: float, shown: int, guessed: bool, one_counter: bool
) -> tuple[float, bool]:
    """Log density of a rise of the counter by `plain`, or by that and some turns, or of its having been set back."""
    modulus = 10.0**limits.digits
    on = leg(limits, begin, stop)
    made = made_between(plain, on.middle, modulus)
    if guessed and (-0.5 * modulus < plain < 0.0 or made > ROOM * on.middle + SPARE):
        made = on.middle
    a_day = (made + HALF) / max(stop - begin, HALF)
    chance = log_density(made, on) - 0.5 * (max(log(a_day / MANY_A_DAY), 0.0) / MANY_SPREAD) ** 2
    if not one_counter:
        return chance, False
    room = 1.5 * on.middle + 50.0
    years = max(stop - begin, 1.0) / DAYS_PER_YEAR
    other = log(RESET_A_YEAR * years * (1.0 / modulus + (1.0 / room if shown <= room else 0.0)))
    return (other, True) if other > chance else (chance, False)


def made_between(plain: float, usual: float, modulus: float) -> float:
    """Operations behind a rise of the counter, with the most plausible number of turns."""
    made = plain % modulus
    return made + max(round((usual - made) / modulus), 0) * modulus


def usual_between(on: Leg) -> tuple[float, float]:
    """Operations between which about 19 in 20 right readings lie."""
    return max(exp(on.low - 2.0 * on.spread) - HALF, 0.0), exp(on.high + 2.0 * on.spread) - HALF
