"""Holds a counter number against the unit's past before it is written down, and says what was expected."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from tapwear.cli.entering import asked, at_a_terminal, confirmed, tell
from tapwear.errors import DataRejected, UsageError
from tapwear.weeks import age_words
from tapwear.words import as_typed

if TYPE_CHECKING:
    from tapwear.store.history import CounterPast


@dataclass(frozen=True)
class Expected:
    """What the check says of a number: the usual range on that day (None: no reading to tell from), and doubts."""

    low: int | None
    high: int | None
    questioned: bool
    reason: str
    likely: int | None
    last_doubtful: bool


def expected(past: CounterPast, on: date, value: int) -> Expected:
    """The check of a number against the readings before that day, the recorded events and the neighbours' counters.

    Raises UsageError for a number with more digits than the counter has.
    """
    if value >= 10**past.digits:
        raise UsageError(
            f"{past.unit.tag}: {value} has more digits than the counter, which has {past.digits}. Check it again; if "
            f"the counter has more digits: tapwear unit change {as_typed(past.unit.tag)} --digits N"
        )
    earlier = [one for one in past.readings if one.on < on]
    readings = [(one.on.toordinal(), one.value) for one in earlier]
    replaced = [one for one in past.replacements if one[0] <= on]
    if not readings and replaced and replaced[-1][2] is not None:  # the new counter's first number is known
        readings, replaced = [(replaced[-1][0].toordinal(), replaced[-1][2])], []
    if not readings:
        return Expected(None, None, False, "", None, False)
    from tapwear.counts.plausible import Neighbour, check_entry

    check = check_entry(
        readings,
        on.toordinal(),
        value,
        past.digits,
        replacements=[(day.toordinal(), old, new) for day, old, new in replaced],
        inspections=[day.toordinal() for day in past.inspections],
        out_of_service=[
            (since.toordinal(), None if until is None else until.toordinal()) for since, until in past.out_of_service
        ],
        neighbours=[
            Neighbour(name, [(day.toordinal(), number) for day, number in rows])
            for name, rows in past.neighbours.items()
        ],
    )
    return Expected(check.low, check.high, check.questioned, check.reason, check.likely, check.last_doubtful)


def introduce(past: CounterPast, on: date) -> None:
    """Says which unit this is and what was read on it last, so that the wrong unit is noticed before the reading."""
    drive = f", drive {past.drive}" if past.several_drives else ""
    serial = f"serial {past.serial}" if past.serial else "serial number not in the register"
    tell(f"{past.unit.tag}{drive}: {past.where.where}, {serial}")
    if past.where.state != "in service":
        tell(
            f"Mind: {past.unit.tag} is {past.where.state}"
            + (f" since {past.where.from_on}." if past.where.from_on else ".")
        )
    last = past.last_before(on)
    if last is None:
        tell("No earlier reading of this counter.")
        return
    reader = f", by {last.reader}" if last.reader else ""
    doubt = f" (doubtful: {last.doubt})" if last.doubt else ""
    service = ", at a service" if last.source == "service" else ""
    value, age = str(last.value).zfill(past.digits), age_words((on - last.on).days)
    tell(f"Last reading: {value} on {last.on}, {age} before{service}{reader}{doubt}")


def say_range(check: Expected, on: date, digits: int) -> None:
    """Says between which numbers the counter is expected to stand."""
    if check.low is None or check.high is None:
        return
    low, high = str(check.low).zfill(digits), str(check.high).zfill(digits)
    past_zero = ", having rolled over" if check.low > check.high else ""
    tell(f"Expected on {on}: {low} to {high}{past_zero}")


def doubt_kept(check: Expected, value: int, sure: str | None, *, stop: bool = True) -> str:
    """The doubt to store with a number, "" for none; asks at a terminal whether a questioned number is right.

    sure : the reason given with --sure. Raises DataRejected when the number is questioned and nobody stands by it.
    """
    if check.last_doubtful and not check.questioned:
        tell(f"Note: {check.reason}.")
        return ""
    if not check.questioned:
        return ""
    meant = f" Did you mean {check.likely}?" if check.likely is not None and check.likely != value else ""
    tell(f"Questioned: {value}: {check.reason}.{meant}")
    if sure is None and stop and at_a_terminal():
        if not confirmed(f"Check again. Does the counter show {value}?"):
            raise DataRejected("Nothing was recorded.")
        sure = asked("What explains it (may be left empty)") or "read twice"
    if sure is None and stop:
        raise DataRejected(
            f"Not recorded: {value} is not what was expected. Check it again; if it is right, add "
            "--sure REASON, and it is recorded with the doubt beside it."
        )
    return check.reason + (f"; kept: {sure.strip()}" if sure and sure.strip() else "")
