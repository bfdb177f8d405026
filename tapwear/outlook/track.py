"""Dates as they were told, held against what happened since: where the limit was reached, what moved and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from datetime import date
from typing import Any, Literal

import numpy as np

from tapwear.counts.rate import RateModel
from tapwear.oil.types import OilVerdict
from tapwear.outlook.clocks import series_rows
from tapwear.outlook.rules import MAIN_TASK
from tapwear.outlook.types import Outlook
from tapwear.weeks import add_years
from tapwear.words import OIL_CALLS

SNAPSHOT_SCHEMA = "tapwear.snapshot/1"
MOVED_DAYS = 14  # a date that moved by fewer days is not worth a line (our choice)
Place = Literal["before", "within", "after"]


@dataclass(frozen=True)
class Told:
    """One due as it was told: its dates and what they rested on. Without a date: known is False."""

    unit: str
    task: str
    as_of: date
    early: date | None
    middle: date | None
    late: date | None
    known: bool
    overdue: bool
    driver: str
    last_service_on: date | None
    interval_operations: int | None
    interval_years: float | None
    weighted: bool
    last_reading_on: date | None
    readings_doubtful: int
    last_sample_on: date | None
    oil_call: str
    severe: bool


_DATES = tuple(field.name for field in fields(Told) if "date" in str(field.type))


@dataclass(frozen=True)
class Moved:
    """One due then and now. days : by which the early date moved, later ones positive; None where either is missing."""

    unit: str
    task: str
    then: Told | None
    now: Told | None
    days: int | None
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Outcome:
    """What became of one told date. reached_on : the day on which its limit was reached, read off count and calendar;
    None: not by the last reading. place : of that day among early and late; None: cannot be judged yet, or never."""

    told: Told
    reached_on: date | None
    place: Place | None


@dataclass(frozen=True)
class Score:
    """How told ranges held. Only dates count whose late date has passed, and that were not certain or past already."""

    before: int
    within: int
    after: int

    @property
    def judged(self) -> int:
        return self.before + self.within + self.after


def told(outlook: Outlook, verdicts: Mapping[str, OilVerdict]) -> tuple[Told, ...]:
    """The dues of an outlook, as they are kept."""
    return tuple(
        Told(
            unit=due.unit,
            task=due.task,
            as_of=due.as_of,
            early=due.early,
            middle=due.middle,
            late=due.late,
            known=due.known,
            overdue=due.overdue,
            driver=due.driver,
            last_service_on=due.last_service_on,
            interval_operations=due.interval_operations,
            interval_years=due.interval_years,
            weighted=due.weighted is not None,
            last_reading_on=due.last_reading_on,
            readings_doubtful=due.readings_doubtful,
            last_sample_on=due.last_sample_on,
            oil_call=verdicts[due.unit].call if due.unit in verdicts else "",
            severe=due.severe,
        )
        for due in outlook.dues
    )


def to_document(dues: Sequence[Told]) -> dict[str, Any]:
    """The kept dues as plain values for JSON."""
    rows = [
        {name: value.isoformat() if isinstance(value, date) else value for name, value in asdict(one).items()}
        for one in dues
    ]
    return {"schema": SNAPSHOT_SCHEMA, "dues": rows}


def from_document(document: Mapping[str, Any]) -> tuple[Told, ...]:
    """The kept dues out of a document. Raises ValueError for another schema."""
    if document.get("schema") != SNAPSHOT_SCHEMA:
        raise ValueError(f"a snapshot of {SNAPSHOT_SCHEMA} is needed, found {document.get('schema')!r}")
    return tuple(Told(**_values(row)) for row in document["dues"])


def _values(row: Mapping[str, Any]) -> dict[str, Any]:
    return {name: date.fromisoformat(value) if name in _DATES and value else value for name, value in row.items()}


def compare(then: Sequence[Told], now: Sequence[Told]) -> tuple[Moved, ...]:
    """Every due of either, the earliest of today's dates first, with how far it moved and why."""
    before = {(one.unit, one.task): one for one in then}
    after = {(one.unit, one.task): one for one in now}
    rows = []
    for key in dict.fromkeys([*after, *before]):
        was, is_now = before.get(key), after.get(key)
        days = None
        if was is not None and is_now is not None and was.early is not None and is_now.early is not None:
            days = 0 if _asked_now(is_now) and was.early <= is_now.early else (is_now.early - was.early).days
        rows.append(Moved(*key, was, is_now, days, _reasons(was, is_now)))
    far = date.max
    return tuple(sorted(rows, key=lambda row: ((row.now.early or far) if row.now else far, row.unit, row.task)))


def _asked_now(one: Told) -> bool:
    """Whether the oil or a condition asks for the work on the very day: once it has come, such a date moves along with
    the days."""
    return one.early == one.as_of and one.driver in ("oil", "condition")


def moved(row: Moved) -> bool:
    """Whether a comparison is worth a line: moved by MOVED_DAYS, or came, went, became known or unknown."""
    if row.days is not None:
        return abs(row.days) >= MOVED_DAYS
    if row.then is None or row.now is None:
        return True
    return (row.then.early is None) != (row.now.early is None) or row.then.known != row.now.known


def _reasons(then: Told | None, now: Told | None) -> tuple[str, ...]:
    """What is new since then for one due and can move its date; a new service says it all."""
    if then is None or now is None:
        return ("new on the list",) if then is None else ("no longer on the list",)
    said = []
    if now.last_service_on != then.last_service_on:
        said.append(f"{now.task} of {now.last_service_on} recorded" if now.last_service_on else "service taken back")
    if now.interval_operations != then.interval_operations:
        before, after = (_number(one.interval_operations) for one in (then, now))
        said.append(f"rule changed: {before} to {after} operations")
    if now.interval_years != then.interval_years:
        before, after = (_number(one.interval_years) for one in (then, now))
        said.append(f"rule changed: {before} to {after} years")
    if now.last_service_on != then.last_service_on:
        return tuple(said)
    if now.severe != then.severe:
        said.append("stopped" if now.severe else "its stop was cleared")
    if now.driver == "condition" != then.driver:
        said.append("a noted condition with a day to act by")
    if then.driver == "condition" != now.driver:
        said.append("no noted condition with a day to act by any more")
    if now.last_reading_on and now.last_reading_on != then.last_reading_on:
        said.append(f"new reading of {now.last_reading_on}")
    if now.readings_doubtful > then.readings_doubtful:
        more = now.readings_doubtful - then.readings_doubtful
        said.append(f"{more} more reading{'s' if more != 1 else ''} doubtful")
    main = now.task == MAIN_TASK  # what the oil says moves no other task
    if main and now.last_sample_on and now.last_sample_on != then.last_sample_on:
        said.append(f"new sample of {now.last_sample_on}")
    if main and now.oil_call != then.oil_call:
        said.append(f"oil: {_call(then)}, now {_call(now)}")
    return tuple(said) or ("nothing new, only time has passed",)


def _call(one: Told) -> str:
    return OIL_CALLS.get(one.oil_call, one.oil_call)


def _number(value: float | None) -> str:
    return "no" if value is None else f"{value:,g}" if value < 1000 else f"{value:,.0f}"


def outcomes(then: Sequence[Told], model: RateModel) -> tuple[Outcome, ...]:
    """What became of each told date by model.as_of, in the order given.

    The day is read off the count: the day by which, more likely than not, the interval's operations had been made since
    the service that was known then; or the end of the interval in years. What the oil asked for is not judged, nor
    operations weighted by current.
    """
    today = model.as_of
    found = []
    for one, (by_count, read_until) in zip(then, _crossings(then, model), strict=True):
        days = [by_count] if by_count is not None else []
        if one.last_service_on is not None and one.interval_years is not None:
            end = add_years(one.last_service_on, one.interval_years)
            days += [end] if end <= today else []
        reached = min(days, default=None)
        known_until = read_until if one.interval_operations is not None else today
        found.append(Outcome(one, reached, _place(one, reached, known_until)))
    return tuple(found)


def _place(one: Told, reached: date | None, known_until: date | None) -> Place | None:
    """Where the day lies; only for a date that was a real forecast, and whose late date lies within what is known."""
    if not one.known or one.weighted or one.driver in ("oil", "condition", "unknown"):
        return None
    if one.early is None or one.late is None or one.early == one.late or one.early <= one.as_of:
        return None
    if known_until is None or one.late > known_until:
        return None
    if reached is None or reached > one.late:
        return "after"
    return "before" if reached < one.early else "within"


def _crossings(then: Sequence[Told], model: RateModel) -> list[tuple[date | None, date | None]]:
    """For each due the day by which its operations were made, of the drive that was first, and until when it was read.

    The day is None where they were not made by the last visit; the second is None where operations do not count.
    """
    days: list[tuple[date | None, date | None]] = [(None, None)] * len(then)
    if not then:
        return days
    question, series = series_rows(model, [one.unit for one in then])
    asked = np.array(
        [bool(then[q].last_service_on and then[q].interval_operations and not then[q].weighted) for q in question], bool
    )
    question, series = question[asked], series[asked]
    if not len(question):
        return days
    start = np.array([then[q].last_service_on for q in question], "datetime64[D]")
    needed = np.array([then[q].interval_operations for q in question], float)
    reached = model.crossing_dates(series, start, needed, np.array([0.5]))[:, 0]
    last = np.nan_to_num(model.last_day[series], nan=0.0).astype(np.int64).astype("datetime64[D]")
    for q, day, visit in zip(map(int, question), reached, last, strict=True):
        former, read = days[q]
        until: date = visit.item()
        until = until if read is None else min(read, until)
        crossed: date | None = day.item() if not np.isnat(day) and day <= visit else None
        days[q] = (min((one for one in (former, crossed) if one is not None), default=None), until)
    return days


def score(found: Sequence[Outcome]) -> Score:
    """How many of the judged dates were reached before early, within the range, and after late."""
    places = [one.place for one in found]
    return Score(places.count("before"), places.count("within"), places.count("after"))
