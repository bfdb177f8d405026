"""A period as people write it on the command line, turned into its last day."""

from __future__ import annotations

import calendar
import re
from datetime import date, timedelta

from tapwear.errors import UsageError

MONTHS = {"month": 1, "months": 1, "year": 12, "years": 12}
DAYS = {"": 1, "day": 1, "days": 1, "week": 7, "weeks": 7}


def last_day(text: str, start: date) -> date:
    """The day that lies a period such as `18 months`, `2 years`, `90 days` or `365` after `start`.

    Months keep the day of the month, or end on the last one of a shorter month. Raises UsageError.
    """
    match = re.fullmatch(r"\s*(\d{1,4})\s*([a-z]*)\s*", text.lower())
    number, measure = (int(match[1]), match[2]) if match else (0, "?")
    if measure in DAYS:
        return start + timedelta(days=number * DAYS[measure])
    months = start.month - 1 + number * MONTHS.get(measure, 0)
    year, month = start.year + months // 12, months % 12 + 1
    if measure not in MONTHS or year > date.max.year:
        raise UsageError(
            f"--within: a period is written like '18 months', '2 years', '90 days' or 365, found {text!r}."
        )
    return date(year, month, min(start.day, calendar.monthrange(year, month)[1]))
