"""Bands scaled by past errors."""

from __future__ import annotations

import numpy as np
import pytest
from rate_fleets import fit, steady

from tapwear.counts.ahead import PastErrors
from tapwear.counts.calibrate import (
    CADENCES,
    HORIZONS,
    OUTER,
    PAST_SHORTFALL,
    Calibration,
    cadence_of,
    from_errors,
    shipped,
)


def errors(z: np.ndarray, place: np.ndarray, horizon: int) -> PastErrors:
    """Past errors with a spread of 0.2 each."""
    n = len(z)
    return PastErrors(
        place, np.full(n, horizon), np.full(n, 19000.0), np.full(n, HORIZONS[horizon]), 0.2 * z, np.full(n, 0.2)
    )


def test_a_fleet_without_past_errors_gets_the_shipped_values_and_says_so() -> None:
    nothing = from_errors(errors(np.zeros(0), np.zeros(0, np.int64), 0), np.zeros(0, np.int64))
    assert nothing.high == pytest.approx(shipped().high)
    assert "shipped" in nothing.source
    assert "shipped" in fit({"T1": [("2024-01-01", 0)]}, calibration=None).calibration.source
    assert "past errors" in fit({"T1": steady(9, "2018-01-01", "2024-06-01")}, calibration=None).calibration.source


def test_a_large_fleet_is_scaled_by_its_own_errors_and_a_small_one_hardly() -> None:
    z = np.tile([-2.0, -1.0, 0.0, 1.0, 2.0], 40000)
    many = from_errors(errors(z, np.arange(len(z)), 3), np.zeros(len(z), np.int64))
    # the 90 % point of the five equally likely values is 2
    assert many.high[0, 3] == pytest.approx(2.0 * PAST_SHORTFALL / OUTER, rel=0.02)
    few = from_errors(errors(z[:5], np.arange(5), 3), np.zeros(5, np.int64))
    assert few.high[0, 3] == pytest.approx(shipped().high[0, 3], rel=0.05)
    assert many.cases[0, 3] == len(z)


def test_a_place_read_often_counts_no_more_than_one_read_seldom() -> None:
    z = np.concatenate([np.full(900, 3.0), np.linspace(-1, 1, 999)])
    place = np.concatenate([np.zeros(900, np.int64), np.arange(1, 1000)])
    alike = from_errors(errors(z, place, 3), np.zeros(1000, np.int64))
    alone = from_errors(errors(z[900:], place[900:], 3), np.zeros(1000, np.int64))
    assert alike.high[0, 3] == pytest.approx(alone.high[0, 3], rel=0.01)


def test_between_horizons_the_scale_is_interpolated_and_beyond_them_it_stays() -> None:
    high = np.tile(np.arange(1.0, 7.0), (len(CADENCES), 1))
    scale = Calibration(0 * high, high, high, np.zeros(high.shape, np.int64), "")
    row = np.zeros(4, np.int64)
    _, _, got = scale.at(row, np.array([1.0, 45.0, np.sqrt(45.0 * 90.0), 9999.0]))
    assert got == pytest.approx([1.0, 1.0, 1.5, 6.0])


def test_cadences_part_by_the_usual_days_between_visits() -> None:
    assert cadence_of(np.array([30.0, 91.0, 182.0, 365.0, np.nan])).tolist() == [0, 1, 2, 3, 3]
