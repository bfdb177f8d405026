"""Holds a counter number against the unit's past before it is written down, and says what was expected."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from tapwear.cli.entering import asked, at_a_terminal, confirmed, tell, value_of
from tapwear.errors import DataRejected, UsageError
from tapwear.visits.fields import READINGS
from tapwear.weeks import age_words
from tapwear.words import as_typed

if TYPE_CHECKING:
    from tapwear.counts.judge import Judgement
    from tapwear.counts.limits import Limits
    from tapwear.store.history import CounterPast, PastReading


def limits_for(past: CounterPast, on: date) -> Limits:
    """What entries of this counter are held against, on that day or some time after it; see tapwear.counts.judge."""
    from tapwear.counts.plausible import Neighbour, limits_of

    return limits_of(
        [(one.on.toordinal(), one.value, one.minute) for one in past.counting if one.value < 10**past.digits],
        on.toordinal(),
        past.digits,
        replacements=[(day.toordinal(), old, new) for day, old, new in past.replacements],
        inspections=[day.toordinal() for day in past.inspections],
        out_of_service=[
            (since.toordinal(), None if until is None else until.toordinal()) for since, until in past.out_of_service
        ],
        neighbours=[
            Neighbour(name, [(day.toordinal(), number) for day, number in rows])
            for name, rows in past.neighbours.items()
        ],
    )


def expected(past: CounterPast, on: date, value: int, minute: int | None = None) -> Judgement:
    """The judgement of a number against the readings before and after, recorded events, the neighbours' counters.

    minute : of the day, None where not known. Raises UsageError for a number with more digits than the counter has.
    """
    if value >= 10**past.digits:
        raise UsageError(
            f"{past.unit.tag}: {value} has more digits than the counter, which has {past.digits}. Check it again; if "
            f"the counter has more digits: tapwear unit change {as_typed(past.unit.tag)} --digits N"
        )
    from tapwear.counts.judge import judge

    return judge(limits_for(past, on), on.toordinal(), value, minute)


def question_words(past: CounterPast, on: date, value: int, minute: int | None) -> str:
    """Why a number is questioned, "" for nothing: the judgement as an import takes it."""
    check = expected(past, on, value, minute)
    return check.reason if check.questioned else ""


def introduce(past: CounterPast, on: date, minute: int | None = None) -> None:
    """Says which unit this is and what was read on it last, so that the wrong unit is noticed before the reading."""
    drive = f", drive {past.drive}" if past.several_drives else ""
    serial = f"serial {past.serial}" if past.serial else "serial number not in the register"
    tell(f"{past.unit.tag}{drive}: {past.where.where}, {serial}")
    if past.where.state != "in service":
        tell(
            f"Mind: {past.unit.tag} is {past.where.state}"
            + (f" since {past.where.from_on}." if past.where.from_on else ".")
        )
    last, following = past.last_before(on, minute), past.next_after(on)
    if last is None:
        tell("No earlier reading of this counter.")
    else:
        tell(f"Last reading: {_reading_words(past, last, on)}")
    exchanged = [(day, new) for day, _, new in past.replacements if day <= on and (last is None or last.on <= day)]
    if exchanged:
        day, new = exchanged[-1]
        begun = "" if new is None else f"; the new one began at {str(new).zfill(past.digits)}"
        tell(f"Since then the counter was exchanged, on {day}{begun}.")
    for one in past.readings:
        if one.on == on and one is not last:
            tell(f"In the log of that day already: {_reading_words(past, one, on)}")
    if following is not None:
        tell(f"Next reading: {str(following.value).zfill(past.digits)} on {following.on}")


def _reading_words(past: CounterPast, last: PastReading, on: date) -> str:
    reader = f", by {last.reader}" if last.reader else ""
    doubt = f" (doubtful: {last.doubt})" if last.doubt else ""
    service = ", at a service" if last.source == "service" else ""
    value, days = str(last.value).zfill(past.digits), (on - last.on).days
    when = f"{age_words(days)} before" if days else "the same day" + (f" at {last.time}" if last.time else "")
    return f"{value} on {last.on}, {when}{service}{reader}{doubt}"


def say_range(check: Judgement, on: date, digits: int) -> None:
    """Says between which numbers the counter is expected to stand."""
    if check.low is None or check.high is None:
        return
    low, high = str(check.low).zfill(digits), str(check.high).zfill(digits)
    past_zero = ", having rolled over" if check.low > check.high else ""
    tell(f"Expected on {on}: {low} to {high}{past_zero}")


def number_kept(
    past: CounterPast, on: date, value: int, sure: str | None, minute: int | None = None
) -> tuple[int, str]:
    """The number to record and the doubt to store with it; a number typed where it is questioned takes its place.

    Raises as `expected` and `doubt_kept` do.
    """
    while True:
        check = expected(past, on, value, minute)
        say_range(check, on, past.digits)
        if not check.questioned or sure is not None or not at_a_terminal():
            return value, doubt_kept(check, value, sure)
        say_questioned(check, value)
        answer = asked(f"Read it again. Does the counter show {value}? (y, n, or what it shows)")
        if answer == "?":
            tell("y keeps it with the doubt beside it, n records nothing; or type what the counter really shows.")
        elif answer.casefold() in ("y", "yes"):
            return value, kept_with(check.reason, asked("What explains it (may be left empty)"))
        elif answer.casefold() in ("", "n", "no"):
            raise DataRejected("Nothing was recorded.")
        else:
            try:
                value = value_of(READINGS.field("value"), answer, "The counter")
            except UsageError as error:
                tell(str(error))


def doubt_kept(check: Judgement, value: int, sure: str | None, *, stop: bool = True) -> str:
    """The doubt to store with a number, "" for none; asks at a terminal whether a questioned number is right.

    sure : the reason given with --sure. Raises DataRejected when the number is questioned and nobody stands by it.
    """
    if not check.questioned:
        if check.reason:
            tell(f"Note: {ended(check.reason)}")
        return ""
    say_questioned(check, value)
    if sure is None and stop and at_a_terminal():
        if not confirmed(f"Read it again. Does the counter show {value}?"):
            raise DataRejected("Nothing was recorded.")
        sure = asked("What explains it (may be left empty)")
    if sure is None and stop:
        raise DataRejected(
            f"Not recorded: {value} is not what was expected. Check it again; if it is right, add "
            "--sure REASON, and it is recorded with the doubt beside it."
        )
    return kept_with(check.reason, sure)


def say_questioned(check: Judgement, value: int) -> None:
    """Says why a number is questioned, and which may have been meant."""
    named = check.likely is None or check.likely == value or str(check.likely) in check.reason
    meant = "" if named else f" Did you mean {check.likely}?"
    tell(f"Check: {value}: {ended(check.reason)}{meant}")


def kept_with(reason: str, said: str | None) -> str:
    """The doubt that is stored with a number: why it was questioned, and what the person said, if anything."""
    return reason + (f"; kept: {said.strip()}" if said and said.strip() else "")


def ended(sentence: str) -> str:
    """The sentence with one mark at its end."""
    return sentence if sentence.endswith(("?", ".")) else f"{sentence}."
