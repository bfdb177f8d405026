"""Dates as people write them: year-month-day, or another format that somebody states; never guessed."""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from datetime import date

from tapwear.errors import UsageError

ISO_WORDS = "YYYY-MM-DD"
EARLIEST = date(1900, 1, 1)  # our choice: no tap changer under load is older, so an earlier year is a slip
_ISO = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})(?:[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?)?")
_WORDS = (("YYYY", "%Y"), ("YY", "%y"), ("MON", "%b"), ("MM", "%m"), ("DD", "%d"))
_TRIAL = date(1997, 11, 23)  # a day on which no two parts of the date can be taken for each other

DateParser = Callable[[str], date]


def strptime_pattern(words: str) -> str:
    """The pattern for `time.strptime` of a format given in words (`DD/MM/YYYY`) or as such a pattern (`%d.%m.%y`).

    Raises UsageError when it does not hold a day, a month and a year.
    """
    pattern = words.strip()
    if "%" not in pattern:
        pattern = pattern.upper()
        for word, code in _WORDS:
            pattern = pattern.replace(word, code)
    try:
        shown = _TRIAL.strftime(pattern)  # Python warns of patterns without a year
        back = date(*time.strptime(shown, pattern)[:3]) if "97" in shown else None
    except (ValueError, re.error):
        back = None
    if back != _TRIAL:
        raise UsageError(
            f"A date format holds day, month and year, e.g. DD/MM/YYYY, MM/DD/YY, DD-MON-YYYY or %d.%m.%Y; "
            f"found {words!r}. Write one of these, or leave it out for {ISO_WORDS}."
        )
    return pattern


def date_parser(words: str | None) -> DateParser:
    """A function that turns text into a date; it raises ValueError with what is wrong, in words.

    None stands for ISO 8601, YYYY-MM-DD; a time of day behind it is read over. Other formats are taken to the letter.
    """
    if words is None or words.strip().upper() == ISO_WORDS:
        return _iso
    pattern = strptime_pattern(words)

    def stated(text: str) -> date:
        try:
            year, month, day = time.strptime(text, pattern)[:3]
        except ValueError:
            raise ValueError(f"{text!r} is not a date written as {words}") from None
        return _in_range(date(year, month, day), text)

    return stated


def _iso(text: str) -> date:
    match = _ISO.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is not a date written as {ISO_WORDS}")
    try:
        day = date(int(match[1]), int(match[2]), int(match[3]))
    except ValueError:
        raise ValueError(f"{text!r} is not a day of the calendar") from None
    return _in_range(day, text)


def _in_range(day: date, text: str) -> date:
    if day < EARLIEST:
        raise ValueError(f"{text!r} lies before {EARLIEST.year}")
    return day
