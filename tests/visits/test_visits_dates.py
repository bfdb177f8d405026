"""Dates as people write them: what a stated format takes and what it does not."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapwear.visits.dates import EARLIEST, date_parser, strptime_pattern


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (None, "2024-03-04"),
        ("YYYY-MM-DD", "2024-03-04"),
        (None, "2024-03-04T07:30"),
        (None, "2024-03-04 07:30:15.250"),
        ("DD/MM/YYYY", "04/03/2024"),
        ("DD/MM/YYYY", "4/3/2024"),
        ("MM/DD/YYYY", "03/04/2024"),
        ("MM/DD/YY", "03/04/24"),
        ("dd.mm.yyyy", "04.03.2024"),
        ("DD-MON-YYYY", "04-Mar-2024"),
        ("YYYYMMDD", "20240304"),
        ("%d.%m.%y", "04.03.24"),
        ("%Y/%j", "2024/064"),
    ],
)
def test_the_fourth_of_march_is_read_in_every_stated_format(words: str | None, text: str) -> None:
    assert date_parser(words)(text) == date(2024, 3, 4)


@pytest.mark.parametrize(
    ("words", "text", "said"),
    [
        (None, "04/03/2024", "is not a date written as YYYY-MM-DD"),
        (None, "2024-3-4", "is not a date written as YYYY-MM-DD"),
        (None, "20240304", "is not a date written as YYYY-MM-DD"),
        (None, "2024-02-30", "is not a day of the calendar"),
        (None, "2023-02-29", "is not a day of the calendar"),
        (None, "0000-01-01", "is not a day of the calendar"),
        (None, "1899-12-31", "lies before 1900"),
        (None, "45355", "is not a date"),  # a spreadsheet's day number
        (None, "\u0662\u0660\u0662\u0664-03-04", "is not a date"),
        ("DD/MM/YYYY", "2024-03-04", "is not a date written as DD/MM/YYYY"),
        ("DD/MM/YYYY", "03/14/2024", "is not a date written as DD/MM/YYYY"),
        ("DD/MM/YYYY", "04/03/0024", "lies before 1900"),
        ("DD/MM/YYYY", "04/03/2024 07:30", "is not a date written as DD/MM/YYYY"),
    ],
)
def test_anything_else_is_explained_and_never_guessed(words: str | None, text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        date_parser(words)(text)


@pytest.mark.parametrize("words", ["DD/MM/YYYY", "MM-DD-YYYY", "YYYYMMDD", "DD MON YYYY", "YYYY-MM-DD"])
@given(days=st.integers(0, 60_000))
def test_every_day_survives_being_written_and_read(words: str, days: int) -> None:
    day = EARLIEST + timedelta(days=days)
    assert date_parser(words)(day.strftime(strptime_pattern(words))) == day
