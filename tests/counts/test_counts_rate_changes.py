"""Changes of regime and steady growth: found, dated, and in words."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from rate_fleets import ahead, events, fit, steady

QUIET = steady(10, "2016-01-01", "2024-06-28")


def jumped(before: float, after: float, on: str, every: int = 30) -> list[tuple[str, float]]:
    """A counter whose rate changes on a day from one number of operations a day to another."""
    days = pd.date_range("2018-01-01", "2024-06-28", freq=f"{every}D")
    change = pd.Timestamp(on)
    out = []
    for day in days:
        first = (min(day, change) - days[0]).days
        out.append((str(day.date()), before * first + after * max((day - change).days, 0)))
    return out


def test_a_doubled_rate_is_found_dated_and_told_without_a_cause() -> None:
    model = fit({"T1": jumped(10, 20, "2023-05-10")})
    (regime,) = model.regimes("T1")
    assert regime.ratio == pytest.approx(2.0, rel=0.1)
    assert abs((pd.Timestamp(regime.on) - pd.Timestamp("2023-05-10")).days) <= 31
    assert regime.words.startswith("rate roughly doubled around ")
    assert regime.words.endswith("cause not recorded")
    assert ahead(model, "T1", 365)[1] == pytest.approx(20 * 365, rel=0.1)


def test_a_recorded_event_near_the_change_is_named_as_its_cause() -> None:
    told = events(("T1", "2023-05-10", "regulator_setting_changed"), ("T1", "2019-01-01", "paralleled"))
    (regime,) = fit({"T1": jumped(20, 10, "2023-05-10")}, told).regimes("T1")
    assert regime.words == "rate roughly halved after the regulator setting was changed on 2023-05-10"


def test_a_steady_counter_has_no_change_and_one_odd_interval_is_none() -> None:
    odd = [(day, total + (150 if day >= "2020-06-01" else 0)) for day, total in QUIET]
    model = fit({"T1": QUIET, "T2": odd})
    assert model.regimes("T1") == ()
    assert model.regimes("T2") == ()


def test_two_readings_and_a_thousand_are_searched_alike() -> None:
    days = pd.date_range("2020-01-01", periods=1000)
    many = [(str(day.date()), 10.0 * i + 10.0 * max(i - 700, 0)) for i, day in enumerate(days)]
    model = fit({"T1": [("2024-01-01", 0), ("2024-06-01", 100)], "T2": many})
    assert model.regimes("T1") == ()
    assert [regime.words[:22] for regime in model.regimes("T2")] == ["rate roughly doubled a"]


def test_growth_is_used_where_the_readings_show_it_and_only_there() -> None:
    days = pd.date_range("2014-01-01", "2024-06-28", freq="30D")
    years = (days - days[0]).days.to_numpy() / 365.25
    grown = 3652.5 * np.expm1(0.1 * years) / 0.1
    growing = [(str(day.date()), total) for day, total in zip(days, grown, strict=True)]
    model = fit({"grows": growing, "quiet": QUIET, "jumped": jumped(10, 20, "2021-05-10")})
    growth = dict(zip(model.series.unit, model.mean[model.series.place, 3], strict=True))
    assert 0.01 < growth["grows"] <= 0.1
    assert abs(growth["quiet"]) < 0.005
    assert abs(growth["jumped"]) < 0.035  # of a doubling half way, which a straight line calls 16 % a year
    assert any("a year" in words and "grows" in words for words in model.rate_words("grows"))
    last_year = grown[-1] - np.interp(years[-1] - 1, years, grown)
    assert ahead(model, "grows", 730)[1] > 2.05 * last_year


def test_rate_words_say_the_rate_and_that_a_unit_is_out_of_service() -> None:
    words = fit({"T1": QUIET}, events(("T1", "2024-06-20", "out_of_service"))).rate_words("T1")
    assert words[0].startswith("about 3,6")
    assert any("out of service at present" in word for word in words)
