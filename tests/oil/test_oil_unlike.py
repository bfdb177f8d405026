"""A newest sample far above its own past asks for another one, and moves no date."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
from oil_frames import AS_OF, steady

from tapwear.oil.assess import assess
from tapwear.oil.types import OilVerdict
from tapwear.oil.unlike import Jump, jumps

NO_EVENTS = pd.DataFrame({"unit": [], "happened_on": pd.to_datetime([]), "kind": []})


def jump(year: np.ndarray, gas: np.ndarray, below: np.ndarray) -> Jump | None:
    return jumps(year[None], gas[None], below[None], np.ones((1, len(year)), dtype=bool)).get(0)


def test_twice_the_highest_of_three_earlier_is_a_jump_and_less_is_none() -> None:
    year = np.array([54.0, 54.5, 55.0, 55.5])
    gas = np.full((4, 5), np.nan)
    gas[:, 4] = [40.0, 50.0, 45.0, 100.0]
    none_below = np.zeros((4, 5), dtype=bool)
    found = jump(year, gas, none_below)
    assert found is not None
    assert (found.gas, found.newest, found.times, found.earlier) == ("Acetylene", 100.0, 2.0, 3)
    gas[-1, 4] = 99.0
    assert jump(year, gas, none_below) is None


def test_two_earlier_samples_small_figures_and_limits_are_no_ground_for_a_jump() -> None:
    year = np.array([54.0, 54.5, 55.0, 55.5])
    gas = np.full((4, 5), np.nan)
    gas[:, 4] = [np.nan, 50.0, 45.0, 400.0]
    below = np.zeros((4, 5), dtype=bool)
    assert jump(year, gas, below) is None
    gas[:, 4] = [0.5, 0.5, 0.6, 4.0]
    assert jump(year, gas, below) is None
    gas[:, 4] = [1.0, 1.0, 1.0, 400.0]
    below[-1, 4] = True
    assert jump(year, gas, below) is None


def test_samples_before_the_last_reset_count_for_no_jump() -> None:
    year = np.array([[54.0, 54.5, 55.0, 55.5, 56.0]] * 2)
    gas = np.full((2, 5, 5), np.nan)
    gas[:, :, 4] = [900.0, 40.0, 50.0, 45.0, 100.0]
    since = np.array([[True] * 5, [False] + [True] * 4])
    assert list(jumps(year, gas, np.zeros(gas.shape, dtype=bool), since)) == [1]


def verdict_with(times: float, gases: list[str]) -> OilVerdict:
    samples, units = steady(8, vacuum=False)
    newest = samples["unit"].eq("T1") & samples["sampled_on"].eq(samples["sampled_on"].max())
    samples.loc[newest, gases] *= times
    return assess(samples, NO_EVENTS, units, AS_OF)[0]


def test_one_bottle_with_three_times_the_acetylene_is_to_be_taken_again_and_its_twin_is_not() -> None:
    odd, twin = verdict_with(3.0, ["acetylene"]), verdict_with(1.1, ["acetylene"])
    assert (odd.call, twin.call) == ("resample", "nothing unusual")
    assert odd.resample_by is not None
    assert (odd.open_by_early, odd.severe) == (None, False)
    (words,) = [finding.words for finding in odd.findings if finding.kind == "unlike its past"]
    assert words.startswith("Acetylene of 2,")
    assert words.endswith("of the 15 samples before it: another sample tells whether it is the oil or the bottle.")
    assert not [finding for finding in twin.findings if finding.kind == "unlike its past"]
    assert odd.last_sample_on == date(2023, 9, 1)
