"""What the outlook gives back: one `Due` per unit and service rule, with everything a reader needs to trust it."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from tapwear.words import stop_short

Driver = Literal["operations", "calendar", "oil", "condition", "unknown"]

# Dates beyond the end of the year that lies so far ahead are said as "after YEAR". Our choice.
HORIZON_YEARS = 15


def horizon(as_of: date) -> date:
    """The last day that is said as a date."""
    return date(as_of.year + HORIZON_YEARS, 12, 31)


@dataclass(frozen=True, slots=True)
class Clock:
    """One of the clocks of one rule: the three, and a noted condition's act-by day where there is one. Dates are the
    days by which it has run out with 10, 50 and 90 %; None means later than the horizon, or not known (then `words`
    says so)."""

    driver: Driver
    early: date | None
    middle: date | None
    late: date | None
    words: str


@dataclass(frozen=True, slots=True)
class Weighted:
    """For a rule whose operations are weighted by the current broken: how its weighted count stands to the plain one.

    exponent    : k in (current / rated current)^k
    plain_since : operations since the last service as counted, best estimate on as_of; None: service unknown
    plain_limit : plain operations since then at which the interval is used up; None: not known, or never
    ahead       : what one operation to come counts as
    """

    exponent: float
    plain_since: float | None
    plain_limit: float | None
    ahead: float

    @property
    def words(self) -> str:
        """`weighted by current, exponent 1.5`."""
        return f"weighted by current, exponent {self.exponent:g}"


@dataclass(frozen=True, slots=True)
class Due:
    """When one task of one unit becomes due, what drives it and what it rests on, as of a date."""

    unit: str
    station: str
    region: str
    bank: str
    phase: str
    state: str
    task: str
    as_of: date

    # what is known of the last service and the interval
    last_service_on: date | None
    last_service_counter: int | None
    interval_operations: int | None
    interval_years: float | None
    operations_since: float | None  # best estimate on as_of [operations; weighted ones where `weighted` is given]
    operations_since_low: float | None  # 10 %
    operations_since_high: float | None  # 90 %
    operations_per_year: float | None  # present rate of the place [operations per year]

    # the merged date: by which day the task has become due with 10, 50, 90 %; None: beyond the horizon or unknown
    early: date | None
    middle: date | None
    late: date | None
    known: bool  # False: no date can be given (last service unknown, no rule, no readings)
    overdue: bool  # the limit in operations or years was passed, more likely than not, by as_of
    driver: Driver
    driver_share: dict[str, float] = field(default_factory=dict)  # chance that each clock runs out first
    clocks: tuple[Clock, ...] = ()
    conditions: tuple[str, ...] = ()  # open ones that people noted, as sentences; also among the doubts
    observed: tuple[str, ...] = ()  # what visits showed, for the engineer, as sentences; also among the doubts
    oil_findings: tuple[str, ...] = ()  # what the oil shows where it calls for something, at the contact service
    oil_moved_days: int = 0  # how much earlier the oil makes the middle date
    bounds: tuple[date | None, date | None] = (None, None)  # where unknown: earliest, latest it could be
    bounds_words: str = ""

    # what it rests on
    readings_used: int = 0
    readings_doubtful: int = 0
    last_reading_on: date | None = None
    last_reading_value: int | None = None
    last_sample_on: date | None = None
    severe: bool = False  # a stop is open at the unit, by whatever raised it
    stop_since: date | None = None  # day of its first evidence
    stop_words: tuple[str, ...] = ()  # its evidence, as sentences
    release: str = ""  # an engineer's release for work de-energised, as words; "": nobody may work on it
    work_from: date | None = None  # first day of that work
    alarms: tuple[str, ...] = ()  # what the engineer has to decide today, below a stop; also among the doubts
    bank_stop: str = ""  # that another unit of its bank is stopped, as sentences; also among the alarms
    doubts: tuple[str, ...] = ()  # plain sentences
    next_action: str = ""
    deferral: str = ""  # a recorded deferral in force, as words; also among the doubts
    deferred_until: date | None = None  # its last day

    weighted: Weighted | None = None  # where the rule weighs operations by the current broken

    # for the plan
    duration_days: float | None = None
    crew_hours: float | None = None
    kit: str = ""
    lead_time_weeks: float | None = None

    @property
    def must_stop(self) -> bool:
        """Whether the unit's stop stands, without an engineer's release for work."""
        return self.severe and not self.release

    @property
    def stop(self) -> str:
        """What stands first in the unit's row of every list: `STOP since 2026-05-26`; "" where nothing stands."""
        return stop_short(self.stop_since or self.as_of, bool(self.release)) if self.severe else ""


@dataclass(frozen=True)
class Outlook:
    """All dues of a fleet, sorted by what a scheduler should act on first."""

    as_of: date
    dues: tuple[Due, ...]

    def of_unit(self, unit: str) -> tuple[Due, ...]:
        """The dues of one unit, most pressing first."""
        return tuple(due for due in self.dues if due.unit == unit)
