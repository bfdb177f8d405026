"""The page and the JSON about past forecasts, from a table of figures written down by hand."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pandas as pd
import pytest

from tapwear.counts.backtest import Backtest
from tapwear.counts.calibrate import shipped
from tapwear.counts.plain import verdict
from tapwear.report.backtest_data import (
    BACKTEST_SCHEMA,
    PART_FIELDS,
    PastForecasts,
    backtest_json,
    past_forecasts,
)
from tapwear.report.backtest_view import backtest_page
from tapwear.report.page import page_plain
from tapwear.report.why_count import bands_words

AS_OF = date(2026, 6, 30)


def row(part: str, forecasts: int, coverage: float, se: float, **changed: float) -> dict[str, Any]:
    """Ours 0.06, the last-year average 0.075, which is the best of the three, the others 0.08 and 0.1."""
    figures = {"loss": 0.06, "loss_life_average": 0.08, "loss_last_year": 0.075, "loss_last_two": 0.1, "bias": 0.012}
    return {
        "part": part,
        "forecasts": forecasts,
        "units": max(forecasts // 10, 1),
        "coverage": coverage,
        "coverage_se": se,
        **figures,
        **changed,
    }


ROWS = [
    row("all", 400, 0.79, 0.02),
    row("90 days", 300, 0.8, 0.025),
    row("1000 days", 100, 0.76, 0.05, loss=0.09),
    row("monthly", 350, 0.8, 0.025),
    row("yearly or rarer", 50, 0.4, 0.05, bias=-0.0004),
    row("monthly, 90 days", 260, 0.8, 0.03),
    row("monthly, 1000 days", 90, 0.8, 0.05),
    row("yearly or rarer, 90 days", 40, 1.0, 0.0),
    row("yearly or rarer, 1000 days", 10, 0.5, float("nan")),
]


def past(rows: list[dict[str, Any]], past_errors: int = 1_234) -> PastForecasts:
    """The rows as a backtest gave them, forecast from two past dates."""
    table = pd.DataFrame(rows)
    origins = pd.to_datetime(["2024-03-31", "2023-03-31", "2024-03-31"]).astype("datetime64[us]")
    forecasts = pd.DataFrame({"origin": origins if int(table["forecasts"].iloc[0]) else origins[:0]})
    return past_forecasts(Backtest(forecasts, table, verdict(table)), AS_OF, (90, 1000), past_errors)


def page(told: PastForecasts, **looks: Any) -> list[str]:
    return page_plain(backtest_page(told, **looks))


def test_the_page_leads_with_the_verdict_and_says_what_it_was_made_from() -> None:
    lines = page(past(ROWS))
    assert lines[0] == "Past forecasts of operations   as of 2026-06-30"
    assert lines[1] == (
        "  The 80 % bands held 79 % of the time (400 forecasts, 40 units); forecasts beat the last-year average by "
        "20 %, the best of the plain averages."
    )
    assert "from 2 past dates, 2023-03-31 to 2024-03-31" in lines[2]
    assert "for 90 and 1,000 days ahead" in lines[2]
    assert "own past errors (1,234 forecasts)" in lines[5]


def test_horizons_stand_under_all_and_under_each_cadence_the_most_often_read_first() -> None:
    lines = page(past(ROWS))
    names = [line[2:24].rstrip() for line in lines[lines.index("How often the 80 % bands held") + 2 :][:9]]
    both = ["  90 days", "  1,000 days"]
    assert names == ["all", *both, "read monthly", *both, "read yearly or rarer", *both]


def test_coverage_is_drawn_on_a_scale_with_twice_its_standard_error() -> None:
    # At 79 columns the scale has 21 cells from 50 to 100 %, 2.5 % each: 80 % is the cell after the first 12. What lies
    # left of the scale stands in its first cell; no spread is drawn where all outcomes fell on one side.
    lines = page(past(ROWS), width=79)
    first = lines.index("How often the 80 % bands held") + 1
    scale = lines[first].index("50 %")
    assert lines[first][scale:] == "50 %      80 %  100 %"
    drawn = [line[scale:] for line in lines[first + 1 : first + 10]]
    assert drawn[0] == " " * 10 + "──●─"
    assert drawn[2] == " " * 6 + "────●────"
    assert drawn[6] == "●" + " " * 11 + "┊"
    assert drawn[7] == " " * 12 + "┊" + " " * 7 + "●"
    assert drawn[8] == "●" + " " * 11 + "┊"


def test_figures_stand_in_percent_and_no_minus_before_a_zero() -> None:
    lines = page(past(ROWS))
    first = lines.index("How often the 80 % bands held") + 2
    assert lines[first].split()[:6] == ["all", "400", "40", "79", "4", "+1.2"]
    assert lines[first + 6].split()[4:9] == ["50", "5", "40", "10", "+0.0"]
    assert lines[first + 7].split()[2:6] == ["40", "4", "100", "+1.2"]
    losses = lines.index("How far off, beside plain averages") + 2
    assert lines[losses].split() == ["all", "6.0", "8.0", "7.5", "10.0", "20", "%"]
    assert lines[losses + 2].split()[-2:] == ["-20", "%"]


def test_letters_stand_for_the_chart_where_the_encoding_has_no_dots() -> None:
    text = "\n".join(page(past(ROWS), ascii_only=True))
    assert not set(text) & set("●─┊")
    assert "drawn o" in text


def test_a_narrow_screen_leaves_the_scale_out() -> None:
    lines = page(past(ROWS), width=60)
    assert "50 %" not in lines[lines.index("How often the 80 % bands held") + 1]
    assert "drawn" not in "\n".join(lines)


def test_one_horizon_of_one_cadence_is_said_once() -> None:
    rows = [row(part, 400, 0.79, 0.02) for part in ("all", "90 days", "monthly", "monthly, 90 days")]
    lines = page(past(rows))
    first = lines.index("How often the 80 % bands held") + 2
    assert lines[first].startswith("  all")
    assert lines[first + 1] == ""


@pytest.mark.parametrize("forecasts", [0, 29])
def test_too_little_history_gives_a_sentence_and_no_tables(forecasts: int) -> None:
    told = past([row("all", forecasts, float("nan") if forecasts == 0 else 0.8, float("nan"))], past_errors=0)
    lines = page(told)
    assert len(lines) == 3
    assert f"Too little history for a verdict: {forecasts} past forecasts" in lines[1]
    assert "Earlier readings, imported, count at once." in lines[2]
    assert json.loads(backtest_json(told))["enough"] is False


def test_json_carries_its_schema_and_every_part() -> None:
    told = json.loads(backtest_json(past(ROWS)))
    assert told["schema"] == BACKTEST_SCHEMA == "tapwear.backtest-counts/1"
    assert (told["as_of"], told["horizons"], told["origins"]) == (
        "2026-06-30",
        [90, 1000],
        ["2023-03-31", "2024-03-31"],
    )
    assert told["enough"] is True
    assert told["bands"]["past_errors"] == 1_234
    assert all(list(part) == list(PART_FIELDS) for part in told["parts"])
    assert [(part["cadence"], part["horizon_days"]) for part in told["parts"]] == [
        (cadence, days) for cadence in (None, "monthly", "yearly or rarer") for days in (None, 90, 1000)
    ]
    assert told["parts"][0]["gain"] == pytest.approx(0.2)
    assert told["parts"][0]["pinball_plain"] == {"life_average": 0.08, "last_year": 0.075, "last_two": 0.1}
    assert told["parts"][-1]["coverage_se"] is None


def test_what_the_bands_rest_on_is_labelled() -> None:
    assert int(shipped().cases.sum()) == 0
    assert "rest on shipped values: this fleet has too little history" in bands_words(0)
    assert "own past errors (1,000 forecasts)" in bands_words(1_000)
    assert "shipped values, which count as much as 400 places" in bands_words(1_000)
