"""Water and breakdown voltage: oil work, by sentences that a sound twin does not get."""

from __future__ import annotations

import numpy as np
import pytest
from oil_frames import no_events, steady, verdict_on, words_of

from tapwear.oil.quality import oil_quality

YEAR = 50.0 + 0.5 * np.arange(6)
NOTHING = np.full(6, np.nan)
ONE_METHOD = np.zeros(6, dtype=np.int64)
NONE = float("nan")


def told(moisture: list[float] | None = None, kilovolt: list[float] | None = None, **given: object) -> str:
    found = oil_quality(
        YEAR[None],
        np.array([NOTHING if moisture is None else moisture]),
        np.array([NOTHING if kilovolt is None else kilovolt]),
        np.array([given.get("method", ONE_METHOD)]),
        np.array([given.get("most_water", NONE)], dtype=float),
        np.array([given.get("least_kv", NONE)], dtype=float),
    )
    return "\n".join(f.words for f in found.get(0, []))


def test_water_that_doubles_in_two_samples_asks_for_oil_work() -> None:
    words = told([10.0, 11.0, 9.0, 10.0, 20.0, 24.0])
    assert "Water rose from the usual 10 to 20 and 24 mg/kg" in words
    assert "the oil, not the mechanism, asks for work" in words


@pytest.mark.parametrize("moisture", [[10.0] * 6, [10.0] * 5 + [24.0], [np.nan] * 4 + [20.0, 24.0]])
def test_steady_water_one_wet_sample_or_no_past_asks_for_nothing(moisture: list[float]) -> None:
    assert told(moisture) == ""


def test_a_breakdown_voltage_that_falls_twice_asks_for_oil_work() -> None:
    assert "Breakdown voltage fell from the usual 50 to 30 and 28 kV" in told(
        None, [50.0, 52.0, 48.0, 50.0, 30.0, 28.0]
    )


def test_two_test_methods_are_never_compared() -> None:
    kilovolt = [50.0, 52.0, 48.0, 50.0, 30.0, 28.0]
    assert told(None, kilovolt, method=np.array([0, 0, 0, 0, 1, 1])) == ""
    assert told(None, [50.0] * 6) == ""


def test_the_users_limits_come_first() -> None:
    assert "over the limit of 18 mg/kg" in told([10.0] * 4 + [20.0, 24.0], most_water=18.0)
    assert told([10.0] * 4 + [20.0, 17.0], most_water=18.0) == ""
    assert "under the limit of 32 kV" in told(None, [36.0] * 4 + [30.0, 31.0], least_kv=32.0)
    assert told(None, [36.0] * 6, least_kv=32.0) == ""


def test_one_sample_is_over_no_limit() -> None:
    for width in (1, 2):
        wet, none = np.full((1, width), np.nan), np.full((1, width), -1)
        wet[0, -1] = 90.0
        assert oil_quality(YEAR[None, -width:], wet, wet / 10, none, np.array([18.0]), np.array([32.0])) == {}


def test_wet_oil_asks_for_oil_work_and_never_for_an_overhaul() -> None:
    samples, units = steady(4, vacuum=False)
    mine = (samples["unit"] == "T1").to_numpy()
    samples.loc[mine, "moisture_mg_per_kg"] = [10.0] * 14 + [40.0, 45.0]
    samples.loc[mine, "breakdown_kv"] = [50.0] * 14 + [20.0, 18.0]
    samples.loc[mine, "breakdown_method"] = "IEC 60156"
    verdict = verdict_on(samples, units, "T1", events=no_events())
    assert verdict.call == "nothing unusual"
    assert {f.kind for f in verdict.oil_work} == {"wet oil", "weak oil"}
    assert words_of(verdict_on(samples, units, "T2")) == ""
