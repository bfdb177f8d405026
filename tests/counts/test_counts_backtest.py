"""Forecasts at past dates, and how they are judged."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from rate_fleets import events, stays, units

from tapwear.counts.backtest import backtest, forecast_origins, known_on, past_dates
from tapwear.counts.plain import PLAIN, fared, loss, verdict, with_plain_bands


def readings(names: int = 12, until: str = "2024-06-15") -> pd.DataFrame:
    """Counters read monthly that make from 5 to 16 operations a day, about."""
    rng = np.random.default_rng(7)
    days = pd.date_range("2018-01-15", until, freq="30D")
    frames = []
    for i in range(names):
        made = rng.poisson((5 + i) * 30.0 * np.exp(rng.normal(0, 0.1, len(days))))
        frames.append(pd.DataFrame({"unit": f"T{i:02}", "read_on": days, "value": 1000 + np.cumsum(made)}))
    out = pd.concat(frames, ignore_index=True)
    return out.assign(reading_id=np.arange(len(out)), drive="1", source="mechanical", digits=6)


NAMES = [f"T{i:02}" for i in range(12)]
ASKED = pd.DataFrame(
    {
        "unit_id": ["T03", "T01", "T03"],
        "origin": ["2022-03-31", "2021-12-31", "2021-12-31"],
        "horizon_days": [365, 90, 730],
    }
)


def test_forecasts_come_back_in_the_order_asked_and_about_right() -> None:
    got = forecast_origins(units(NAMES), readings(), events(), stays(), ASKED)
    assert got["unit_id"].tolist() == ["T03", "T01", "T03"]
    assert got["p50"].tolist() == pytest.approx([8 * 380, 6 * 105, 8 * 745], rel=0.15)
    assert (got["p10"] < got["p50"]).all()
    assert (got["p50"] < got["p90"]).all()
    assert (got["mean"] > got["p10"]).all()


def test_nothing_dated_after_an_origin_changes_its_forecast() -> None:
    full = readings()
    poisoned = full.assign(value=full["value"].where(full["read_on"] <= "2022-03-31", 5))
    later = events(("T03", "2022-04-01", "out_of_service"), ("T01", "2023-01-01", "load_transferred"))
    one = forecast_origins(units(NAMES), full, events(), stays(), ASKED)
    two = forecast_origins(units(NAMES), poisoned, later, stays(), ASKED)
    pd.testing.assert_frame_equal(one, two)


def test_a_forecast_counts_from_the_anchor_given_or_from_the_last_reading() -> None:
    last = pd.Timestamp("2022-03-25")
    asked = ASKED.iloc[:1].assign(anchor_date=last - pd.Timedelta(days=365))
    early = forecast_origins(units(NAMES), readings(), events(), stays(), asked)["p50"].iloc[0]
    assert early == pytest.approx(8 * 737, rel=0.1)


def test_a_stay_that_ended_later_was_still_open() -> None:
    stood = stays(("T1", "A", "2018-01-01", "2023-01-01", "in service"), ("T1", "B", "2023-01-01", None, "in service"))
    _, _, then = known_on(readings(1), events(), stood, pd.Timestamp("2022-01-01"))
    assert then["place"].tolist() == ["A"]
    assert then["to_on"].isna().all()


def test_past_dates_are_quarter_ends_well_inside_the_history_and_not_too_many() -> None:
    visits = pd.DataFrame({"on": pd.to_datetime(["2010-02-01", "2024-01-01"])})
    days = past_dates(visits, dt.date(2024, 6, 30), 90)
    assert len(days) == 12
    assert days[0] == pd.Timestamp("2011-03-31")
    assert days[-1] == pd.Timestamp("2024-03-31")
    assert past_dates(visits.iloc[:0], dt.date(2024, 6, 30), 90) == []


def test_a_backtest_compares_with_later_readings_and_with_plain_averages() -> None:
    told: list[tuple[int, int]] = []
    got = backtest(
        units(NAMES), readings(), events(), stays(), dt.date(2024, 6, 30), progress=lambda i, n: told.append((i, n))
    )
    row = got.table.iloc[0]
    assert row["part"] == "all"
    assert row["forecasts"] == len(got.forecasts) > 200
    assert row["units"] == 12
    assert 0.7 < row["coverage"] <= 1.0
    assert row["loss"] < row["loss_last_two"]
    assert got.forecasts.notna().all(axis=None)
    assert told[-1][0] == told[-1][1] == len(told)
    assert "80 % bands held" in got.verdict
    # counters with a season of none and a steady rate are what the regression was made for: close to ours, not absurd
    assert 0.8 < row["loss_regression"] / row["loss_beside"] < 2.5
    assert "The negative-binomial regression of each counter lost" in got.verdict


def test_the_regression_is_beaten_after_a_change_of_rate_and_says_where() -> None:
    changed = readings()
    late = changed["read_on"] > "2021-06-01"
    start = changed["unit"].map(changed[~late].groupby("unit")["value"].max())
    changed["value"] = changed["value"].where(~late, (start + 3 * (changed["value"] - start)).round().astype("int64"))
    got = backtest(units(NAMES), changed, events(), stays(), dt.date(2024, 6, 30))
    row = got.table.iloc[0]
    assert row["loss_regression"] > 1.1 * row["loss_beside"]
    assert " % more" in got.verdict


def test_a_backtest_without_enough_history_gives_no_verdict() -> None:
    got = backtest(units(NAMES), readings().iloc[:0], events(), stays(), dt.date(2024, 6, 30))
    assert len(got.forecasts) == 0
    assert got.verdict.startswith("Too little history for a verdict: 0 past forecasts")


def forecast(unit: str, made: float, band: tuple[float, float, float], plain: float) -> dict[str, object]:
    """One row of a backtest in which every plain average says the same."""
    row: dict[str, object] = {
        "unit": unit, "cadence": "monthly", "origin": pd.Timestamp("2020-12-31"), "horizon_days": 365, "made": made,
        "to_on": pd.Timestamp("2021-12-31"), "p10": band[0], "p50": band[1], "p90": band[2],
    }  # fmt: skip
    return row | dict.fromkeys(PLAIN, plain)


def test_loss_coverage_and_bias_by_hand() -> None:
    assert loss(np.array([10.0]), np.array([[5.0, 12.0, 20.0]])) == pytest.approx([(0.5 + 1.0 + 1.0) / 3])
    rows = [forecast("T1", 100, (90, 105, 120), 50), forecast("T2", 200, (90, 105, 120), 50)]
    table = fared(with_plain_bands(pd.DataFrame(rows)))
    row = table.set_index("part").loc["all"]
    assert row["coverage"] == 0.5
    # T1: (1 + 2.5 + 2) / 3 of 100; T2: (11 + 47.5 + 72) / 3 of 200
    assert row["loss"] == pytest.approx((5.5 / 300 + 130.5 / 600) / 2)
    # plain: 50 with 25 and 85; T1: (7.5 + 25 + 13.5) / 3 of 100; T2: (17.5 + 75 + 103.5) / 3 of 200
    assert row["loss_last_year"] == pytest.approx((46 / 300 + 196 / 600) / 2)
    assert table["part"].tolist() == ["all", "365 days", "monthly", "monthly, 365 days"]


def test_the_verdict_says_so_when_bands_are_too_narrow_or_the_average_wins() -> None:
    rng = np.random.default_rng(8)
    made = rng.uniform(50, 150, 200)
    rows = [forecast(f"T{i}", value, (99, 100, 101), 100) for i, value in enumerate(made)]
    words = verdict(fared(with_plain_bands(pd.DataFrame(rows))))
    assert "did not beat" in words
    assert "too narrow" in words
    wide = [forecast(f"T{i}", value, (10, 100, 200), 500) for i, value in enumerate(made)]
    words = verdict(fared(with_plain_bands(pd.DataFrame(wide))))
    assert "held 100 %" in words
    assert "wider than needed" in words
    assert "beat" in words
