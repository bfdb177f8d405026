"""Weeks and years: ISO weeks, dates far ahead, ages, all without asking the clock."""

from __future__ import annotations

import re
from datetime import date, timedelta

DAYS_PER_YEAR = 365.25


def iso_week(day: date) -> str:
    """`2027-W05` for a day of that ISO 8601 week."""
    year, week, _ = day.isocalendar()
    return f"{year}-W{week:02d}"


def monday(week: str) -> date:
    """The Monday of `2027-W05`. Raises ValueError when there is no such week."""
    year, _, number = week.strip().upper().partition("-W")
    if len(year) != 4 or not year.isdigit() or not number.isdigit():
        raise ValueError(f"a week is written like 2027-W05, found {week!r}")
    try:
        return date.fromisocalendar(int(year), int(number), 1)
    except ValueError:
        if not int(year):
            raise
        raise ValueError(f"the weeks of {year} run from W01 to W{_last_week(int(year))}, found {week!r}") from None


def weeks_of_year(year: int) -> list[str]:
    """All ISO weeks of a year, 52 or 53 of them."""
    return [f"{year}-W{week:02d}" for week in range(1, _last_week(year) + 1)]


def _last_week(year: int) -> int:
    return date(year, 12, 28).isocalendar().week


def add_years(day: date, years: float) -> date:
    """The day that many years later; whole years keep day and month (29 February becomes 28)."""
    whole = int(years)
    rest = timedelta(days=round((years - whole) * DAYS_PER_YEAR))
    if day.year + whole > date.max.year - 1:
        return date(date.max.year - 1, 12, 31)
    try:
        moved = day.replace(year=day.year + whole)
    except ValueError:
        moved = day.replace(year=day.year + whole, day=28)
    return moved + rest


def age_words(days: int) -> str:
    """`today`, `12 days`, `14 months`, `6 years`: how a crew says how long ago something was."""
    if days <= 0:
        return "today" if days == 0 else f"{-days} days ahead"
    if days < 60:
        return f"{days} day{'s' if days != 1 else ''}"
    if days < 730:
        return f"{round(days / 30.44)} months"
    return f"{round(days / DAYS_PER_YEAR)} years"


def two_ages(age: int, other: int) -> tuple[str, str]:
    """Two ages as in age_words; in days where those would read the same and are not."""
    words = age_words(age), age_words(other)
    return words if age == other or len(set(words)) == 2 else (f"{age:,} days", f"{other:,} days")


def week_runs(text: str) -> list[tuple[str, str]]:
    """First and last week of each run in `2027-W20..2027-W36 2027-W50`. Raises ValueError saying what is wrong."""
    runs = []
    for part in text.split():
        first, _, last = part.partition("..")
        begin, end = monday(first), monday(last or first)
        if end < begin:
            raise ValueError(f"{part} runs backwards")
        if end.year >= date.max.year:
            raise ValueError(f"{part} lies beyond the calendar")
        runs.append((iso_week(begin), iso_week(end)))
    return runs


def weeks_between(first: str, last: str) -> list[str]:
    """All ISO weeks from the first to the last."""
    begin, end = monday(first), monday(last)
    return [iso_week(begin + timedelta(weeks=ahead)) for ahead in range((end - begin).days // 7 + 1)]


def week_numbers(text: str) -> list[tuple[int, int]]:
    """First and last number of each run in `W24..W35 W49..W05`, weeks of every year. Raises ValueError."""
    runs = []
    for part in text.upper().split():
        ends = [number.removeprefix("W") for number in part.split("..")]
        if len(ends) > 2 or not part.startswith("W") or not all(n.isdigit() and 1 <= int(n) <= 53 for n in ends):
            raise ValueError(f"weeks of every year are written like W24..W35, found {part!r}")
        runs.append((int(ends[0]), int(ends[-1])))
    return runs


# How often, in words -> days.
_WORDS = {
    "daily": 1.0,
    "weekly": 7.0,
    "fortnightly": 14.0,
    "monthly": 30.4,
    "quarterly": 91.3,
    "half-yearly": 182.6,
    "twice a year": 182.6,
    "yearly": 365.25,
    "annual": 365.25,
    "annually": 365.25,
}
_UNITS = {"day": 1.0, "week": 7.0, "month": 30.44, "year": DAYS_PER_YEAR}


def cadence_days(words: str) -> float | None:
    """`quarterly`, `every 3 months`, `2 weeks` in days; None for what is not understood."""
    text = " ".join(words.casefold().split())
    if text in _WORDS:
        return _WORDS[text]
    match = re.fullmatch(r"(?:every )?(\d{1,4} )?(day|week|month|year)s?", text)
    if match is None:
        return None
    return float(match[1] or 1) * _UNITS[match[2]] or None
