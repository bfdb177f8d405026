"""Years ahead on screens of any width."""

from __future__ import annotations

from datetime import date

import pytest

from tapwear.plan.ahead import Ahead, Figure, YearAhead
from tapwear.report.plan_ahead import ahead_lines

FIGURE = Figure(12.0, 11.0, 13.0)


def ahead(years: int) -> Ahead:
    kits = {"contact and gasket set X": FIGURE, "oil": FIGURE}
    rows = tuple(
        YearAhead(2027 + at, date(2027 + at, 1, 1), FIGURE, FIGURE, {"North": FIGURE}, kits) for at in range(years)
    )
    return Ahead(date(2027, 1, 1), rows, 57, tuple(f"UNIT-{at}" for at in range(9)), 100, 1)


@pytest.mark.parametrize("width", [60, 80, 120])
def test_nothing_runs_past_the_screen_and_every_year_of_a_kit_is_there(width: int) -> None:
    lines = ahead_lines(ahead(6), width)
    assert max(map(len, lines)) <= width
    assert sum(line.count("12.0 (11-13)") for line in lines) == 12
    for year in range(2027, 2033):
        assert sum(line.startswith("kit") and str(year) in line for line in lines) == 1


def test_for_a_pipe_every_sentence_and_table_is_one() -> None:
    lines = ahead_lines(ahead(6))
    assert sum(line.startswith("kit") for line in lines) == 1
    assert any(line.endswith("the next interval after each included.") for line in lines)
