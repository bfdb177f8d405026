"""Two numbers of one counter on one day are weighed alike, whichever came into the book first."""

from __future__ import annotations

import pandas as pd
import pytest
from clean_frames import Row, clean, monthly, steady, total

BEFORE = monthly("T1", steady(1000, 300, 12))
LAST = BEFORE[-1][2]
DAY = "2021-01-09"  # thirty days after the last


def judged(first: int, second: int) -> dict[int, str]:
    rows: list[Row] = [*BEFORE, ("T1", DAY, first), ("T1", DAY, second)]
    table = clean(rows).readings
    mine = table[table["read_on"] == pd.Timestamp(DAY)]
    return dict(zip(mine["value"], mine["status"], strict=True))


@pytest.mark.parametrize(("right", "slip"), [(LAST + 300, LAST + 3000), (LAST + 300, LAST - 30)])
def test_the_number_that_fits_is_used_and_the_other_is_not_in_either_order(right: int, slip: int) -> None:
    assert judged(right, slip) == judged(slip, right) == {right: "used", slip: "superseded"}


def test_of_two_numbers_that_both_fit_one_is_used_the_same_in_either_order() -> None:
    one, other = (clean([*BEFORE, *(("T1", DAY, LAST + more) for more in both)]) for both in ((296, 303), (303, 296)))
    assert total(one) == total(other)
    chances = [history.readings.set_index("value")["probability"].to_dict() for history in (one, other)]
    assert chances[0] == chances[1]
