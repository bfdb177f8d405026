"""The parts under the verdicts: arrays of samples, resets, discounted operations, usual levels, densities."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest
from oil_frames import ARCING_GAS, SAMPLES, changed, no_events, rows, steady
from scipy import integrate, stats

from tapwear.oil.baseline import LikeUnits, own_level, pooled, usual_level
from tapwear.oil.dates import as_date, date_range
from tapwear.oil.density import bent_log, log_product, misfit_of, power_of
from tapwear.oil.exposure import discounted, losses
from tapwear.oil.growth import at, newest_columns
from tapwear.oil.heating import carried_gas, hot_mix
from tapwear.oil.laboratories import compare_laboratories
from tapwear.oil.resets import find_resets
from tapwear.oil.samples import SampleGrid, read_grid, years_since_epoch
from tapwear.oil.settings import C2H2, OilSettings
from tapwear.oil.swaps import exchanged


def one(gas: np.ndarray) -> SampleGrid:
    return read_grid(rows("T1", gas), "compartment", 60)


def none(grid: SampleGrid) -> np.ndarray:
    return np.zeros(grid.year.shape, dtype=bool)


# --- samples --------------------------------------------------------------------------------------------------


def test_the_newest_sample_stands_at_the_right_end_and_only_so_many_are_kept() -> None:
    samples = pd.concat([rows("T1", np.tile(ARCING_GAS, (5, 1))), rows("T2", np.tile(ARCING_GAS * 2, (2, 1)))])
    grid = read_grid(samples, "compartment", 4)
    assert grid.unit == ("T1", "T2")
    assert grid.year.shape == (2, 4)
    assert grid.taken.tolist() == [[True] * 4, [False, False, True, True]]
    assert (np.diff(grid.year[0]) > 0).all()
    assert grid.gas[1, -1, C2H2] == 1600.0
    assert read_grid(samples, "main_tank", 4).unit == ()


def test_a_value_below_the_limit_keeps_its_limit_and_a_mark() -> None:
    grid = one(np.array([[500.0, 100.0, 40.0, 240.0, 0.2]]))
    assert grid.gas[0, -1, C2H2] == 0.5
    assert grid.below[0, -1].tolist() == [False, False, False, False, True]


def test_a_report_without_ethylene_or_acetylene_is_kept_and_not_usable() -> None:
    grid = one(np.array([[500.0, 100.0, 40.0, np.nan, 800.0], [500.0, 100.0, 40.0, 240.0, 800.0]]))
    assert grid.taken[0].tolist() == [True, True]
    assert grid.usable[0].tolist() == [False, True]


# --- resets ---------------------------------------------------------------------------------------------------


def test_a_fall_of_every_gas_is_a_reset_half_way_between_the_samples() -> None:
    gas = np.tile(ARCING_GAS, (6, 1))
    gas[4:] *= 0.3
    grid = one(gas)
    found = find_resets(grid, no_events(), none(grid))
    assert found.year[0].tolist() == [pytest.approx((grid.year[0, 3] + grid.year[0, 4]) / 2)]
    assert not found.recorded.any()
    assert not found.odd.any()


@pytest.mark.parametrize("factor", [0.6, 1.0, 3.0])
def test_a_mild_fall_or_a_rise_is_no_reset(factor: float) -> None:
    gas = np.tile(ARCING_GAS, (6, 1))
    gas[4:] *= factor
    grid = one(gas)
    assert find_resets(grid, no_events(), none(grid)).year.shape == (1, 0)


def test_a_fall_of_some_gases_only_is_no_reset() -> None:
    gas = np.tile(ARCING_GAS, (6, 1))
    gas[4:, :2] *= 0.2  # an air-exposed sample loses hydrogen and methane
    grid = one(gas)
    assert find_resets(grid, no_events(), none(grid)).year.shape == (1, 0)


def test_a_recorded_oil_change_is_not_found_a_second_time() -> None:
    gas = np.tile(ARCING_GAS, (6, 1))
    gas[4:] *= 0.3
    grid = one(gas)
    day = as_date(float(grid.year[0, 3]) + 0.1)
    events = no_events(oil_changed=[("T1", str(day)), ("T9", "2020-01-01")], breather_changed=[("T1", "2019-01-01")])
    found = find_resets(grid, events, none(grid))
    assert found.recorded[0].tolist() == [True]
    assert not found.overhaul.any()


@pytest.mark.parametrize(("days", "moved"), [(-1, True), (0, True), (20, True), (44, True), (50, False)])
@pytest.mark.parametrize("end", ["before", "after"])
def test_a_record_dated_a_little_outside_the_fall_is_the_record_of_it(days: int, moved: bool, end: str) -> None:
    gas = np.tile(ARCING_GAS, (6, 1))
    gas[4:] *= 0.3
    grid = one(gas)
    first, last = grid.year[0, 3], grid.year[0, 4]
    when = first - days / 365.25 if end == "before" else last + days / 365.25
    found = find_resets(grid, no_events(overhaul=[("T1", str(as_date(float(when))))]), none(grid))
    assert found.year.shape == (1, 1 if moved else 2)
    if moved:
        assert first < found.year[0, 0] < last
        assert found.overhaul.tolist() == [[True]]


def test_a_sample_that_the_next_contradicts_is_odd_and_no_reset() -> None:
    for factor in (0.2, 5.0):
        gas = np.tile(ARCING_GAS, (6, 1))
        gas[3] *= factor
        grid = one(gas)
        found = find_resets(grid, no_events(), none(grid))
        assert found.odd[0].tolist() == [False, False, False, True, False, False]
        assert found.year.shape == (1, 0)


# --- discounted operations ------------------------------------------------------------------------------------


def test_steady_operations_with_a_steady_loss_stand_for_rate_over_loss() -> None:
    grid = one(np.tile(ARCING_GAS, (8, 1)))
    loss = np.full((1, 5), 0.8)
    found = discounted(grid, find_resets(grid, no_events(), none(grid)), loss, OilSettings())
    assert found.amount[0, :, C2H2] == pytest.approx(6.0 / 0.8, rel=0.01)
    assert found.counted.tolist() == [True]


def test_discounted_operations_agree_with_the_integral_across_a_reset() -> None:
    samples = rows("T1", np.tile(ARCING_GAS, (6, 1)))
    made = np.array([0.0, 1000.0, 6000.0, 7000.0, 12000.0, 20000.0])
    for name in ("operations_low", "operations_mid", "operations_high"):
        samples[name] = made
    grid = read_grid(samples, "compartment", 60)
    loss, settings = 0.5, OilSettings()
    when = float(grid.year[0, 2]) + 0.2
    events = no_events(oil_changed=[("T1", str(as_date(when)))])
    reset = float(years_since_epoch(pd.Series([pd.Timestamp(as_date(when))]))[0])
    found = discounted(grid, find_resets(grid, events, none(grid)), np.full((1, 5), loss), settings)
    year = grid.year[0]
    rate = np.diff(made / 1000.0) / np.diff(year)

    def busy(t: float) -> float:
        return float(rate[min(np.searchsorted(year, t, side="left") - 1, len(rate) - 1)])

    def gained(a: float, b: float) -> float:
        breaks = [float(y) for y in year if a < y < b]
        return float(integrate.quad(lambda t: busy(t) * np.exp(-loss * (b - t)), a, b, points=breaks or None)[0])

    start = rate[0] / loss
    at_reset = start * np.exp(-loss * (reset - year[0])) + gained(year[0] + 1e-9, reset)
    after = settings.residual_share * at_reset
    expected = after * np.exp(-loss * (year[-1] - reset)) + gained(reset, float(year[-1]))
    assert found.amount[0, -1, C2H2] == pytest.approx(expected, rel=1e-4)
    assert found.last_reset[0, -1] == pytest.approx(reset)
    assert np.isnan(found.last_reset[0, 0])


def test_a_sealed_compartment_loses_less_and_hydrogen_goes_first() -> None:
    found = losses(["free", "sealed", "", "no such breather"], np.array([False, False, False, False]), OilSettings())
    assert (found[1] < found[0]).all()
    assert found[2].tolist() == found[3].tolist()
    assert found[0].argmax() == 0
    assert found[0].argmin() == 2  # ethane stays longest


# --- usual levels ---------------------------------------------------------------------------------------------


def test_the_level_of_a_group_is_the_median_of_those_who_speak_for_it() -> None:
    rng = np.random.default_rng(2)
    values, sd = rng.normal(0.0, 1.0, (40, 1)), np.full((40, 1), 0.2)
    use = rng.random((40, 1)) < 0.9
    group, narrow = np.repeat([1, 0], 20), np.repeat([3, 0, 1, 2], [4, 12, 12, 12])
    speak = tuple(rng.random(40) < share for share in (0.7, 0.7, 0.5))
    like = LikeUnits((narrow, group, np.zeros(40, dtype=np.int64)), speak)
    own = own_level(values, sd, use)
    got = pooled(own, like)
    chosen = set()
    for row in range(40):
        pairs = zip(like.codes, like.speak, strict=True)
        told = [values[(codes == codes[row]) & who & use[:, 0], 0] for codes, who in pairs]
        number, used = next((n, each) for n, each in enumerate(told) if len(each) >= 5 or n == 2)
        chosen.add(number)
        assert got.group_size[row] == len(used)
        assert got.group_mean[row] == np.median(used)
        around = 1.4826 * np.median(np.abs(used - np.median(used)))
        assert got.group_spread[row] == pytest.approx(max(np.sqrt(max(around**2 - 0.04, 0.0)), 0.1))
    assert chosen == {0, 1}
    rows = np.array([33, 2, 17])
    part = pooled(own, like, rows=rows)
    assert part.mean.tolist() == got.mean[rows].tolist()
    assert part.own.tolist() == got.own[rows].tolist()


def levels(values: list[list[float]]) -> np.ndarray:
    width = max(map(len, values))
    return np.array([[np.nan] * (width - len(v)) + v for v in values])


def _all_speak(group: np.ndarray) -> LikeUnits:
    """Two groupings, the given one and everyone, in which every row speaks."""
    everyone = np.ones(len(group), dtype=bool)
    return LikeUnits((group, np.zeros(len(group), dtype=np.int64)), (everyone, everyone))


def test_ten_samples_stand_on_themselves_and_one_leans_on_its_group() -> None:
    values = levels([[0.0] * 10, [0.1] * 10, [-0.1] * 10, [0.05] * 10, [-0.05] * 10, [2.0] * 10, [2.0]])
    group = np.zeros(7, dtype=np.int64)
    level = usual_level(values, np.full(values.shape, 0.2), np.isfinite(values), _all_speak(group))
    assert level.mean[5] > 1.0
    assert level.mean[6] < 0.7
    assert level.sd[5] < level.sd[6]
    assert level.own.tolist() == [10] * 6 + [1]


def test_one_wild_sample_hardly_moves_the_usual_level() -> None:
    values = levels([[0.0] * 9 + [3.0], *[[0.0] * 10] * 5])
    group = np.zeros(6, dtype=np.int64)
    level = usual_level(values, np.full(values.shape, 0.2), np.isfinite(values), _all_speak(group))
    assert abs(level.mean[0]) < 0.1


def test_a_compartment_without_a_past_takes_the_level_of_its_group() -> None:
    values = levels([[1.0] * 5, [1.1] * 5, [0.9] * 5, [1.0] * 5, [1.0] * 5, [np.nan] * 5])
    group = np.zeros(6, dtype=np.int64)
    level = usual_level(values, np.full(values.shape, 0.2), np.isfinite(values), _all_speak(group))
    assert level.mean[5] == pytest.approx(1.0, abs=0.05)
    assert level.own[5] == 0
    assert level.sd[5] == pytest.approx(level.group_spread[5])


# --- densities ------------------------------------------------------------------------------------------------


def _log_density(residuals: list[np.ndarray], precisions: list[np.ndarray], shared_sd: float) -> float:
    settings = OilSettings()
    misfit = misfit_of(list(map(np.atleast_1d, residuals)), precisions, np.array(shared_sd), settings)
    power = power_of(np.atleast_1d(np.sum([p > 0 for p in precisions], axis=0)), settings)
    return float(log_product(misfit[None, None], power[None])[0, 0])


def test_the_density_of_a_sample_is_a_multivariate_t_with_own_and_shared_errors() -> None:
    own, shared = np.array([0.1, 0.2, 0.3]), 0.15
    t = stats.multivariate_t(np.zeros(3), np.diag(own**2) + shared**2, df=OilSettings().tails)
    near, far = np.array([0.05, -0.1, 0.2]), np.array([0.6, 0.5, 0.9])
    got = [_log_density(list(r), list(own**-2), shared) for r in (near, far)]
    assert got[0] - got[1] == pytest.approx(t.logpdf(near) - t.logpdf(far))


def test_gases_that_were_not_reported_drop_out_of_the_density() -> None:
    residual, precision = np.array([0.3]), np.array([100.0])
    part = _log_density([residual, np.array([0.8])], [precision, np.zeros(1)], 0.1)
    alone = _log_density([residual], [precision], 0.1)
    assert part == pytest.approx(alone)
    assert alone != pytest.approx(_log_density([residual, residual], [precision, precision], 0.1))


def test_samples_without_a_gas_say_nothing_and_others_by_the_number_of_their_gases() -> None:
    misfit = np.array([[1.0, 1.0, 3.0], [2.0, 5.0, 1.5]])[:, :, None]  # two stories, three samples
    whole = np.log(misfit[..., 0])
    alike = power_of(np.array([[0], [3], [3]]), OilSettings(tails=4.0))
    assert log_product(misfit.copy(), alike)[0, 0] == pytest.approx(-3.5 * whole[0].sum())
    mixed = power_of(np.array([[1], [3], [2]]), OilSettings(tails=4.0))
    assert log_product(misfit.copy(), mixed)[:, 0] == pytest.approx(whole @ np.array([-2.5, -3.5, -3.0]))


def test_the_bent_logarithm_is_a_logarithm_high_up_and_a_straight_line_near_the_limit() -> None:
    bend = np.array(1.0)
    assert bent_log(np.array(1000.0), bend) == pytest.approx(np.log(1000.0), abs=1e-5)
    low = bent_log(np.array([0.0, 0.01, 0.02]), bend)
    assert np.diff(low) == pytest.approx([0.01, 0.01], rel=1e-3)


def test_newest_columns_name_the_newest_samples_in_order() -> None:
    mask = np.array([[True, True, False, True], [False, False, False, True]])
    column, real = newest_columns(mask, 2)
    assert column.tolist() == [[1, 3], [-1, 3]]
    assert real.tolist() == [[True, True], [False, True]]
    assert at(np.arange(8).reshape(2, 4), column)[0].tolist() == [1, 3]


def test_the_hotter_the_more_ethylene() -> None:
    cool, hot = hot_mix(np.array(0.1)), hot_mix(np.array(1.0))
    assert (cool[:2] > hot[:2]).all()
    assert cool[2] == hot[2] == 1.0


def test_gas_left_after_a_repair_is_what_the_first_sample_shows_and_nothing_without_a_repair() -> None:
    year = np.array([[50.0, 50.5, 51.0, 51.6, 52.0]])
    surplus = np.array([[0.0, 200.0, 900.0, 150.0, 160.0]])
    usual = np.full(year.shape, 100.0)
    repaired = carried_gas(year, surplus, usual, np.array([[51.2]]), 0.2)
    assert repaired[0, :3].tolist() == [0.0, 0.0, 0.0]
    assert (repaired[0, 3:] >= 160.0).all()
    assert not carried_gas(year, surplus, usual, np.array([[np.nan]]), 0.2).any()


# --- exchanged labels -----------------------------------------------------------------------------------------


def test_a_pair_is_suspected_only_at_one_station_on_one_day_and_only_when_both_fit_the_other() -> None:
    samples, _ = steady(2, vacuum=False)
    samples = changed(samples, "T1", lambda gas, before: gas * 3.0)
    gases = ["hydrogen", "methane", "ethane", "ethylene", "acetylene"]
    a, b = (samples[samples["unit"] == u].index[-1] for u in ("T1", "T2"))
    plain = exchanged(read_grid(samples, "compartment", 60), ["S0", "S0"])[0]
    assert not plain.any()
    samples.loc[[a, b], gases] = samples.loc[[b, a], gases].to_numpy()
    grid = read_grid(samples, "compartment", 60)
    suspected, partner = exchanged(grid, ["S0", "S0"])
    assert suspected.sum() == 2
    assert suspected[:, -1].all()
    assert partner[:, -1].tolist() == [1, 0]
    assert not exchanged(grid, ["S0", "S1"])[0].any()
    assert not exchanged(grid, ["", ""])[0].any()
    samples.loc[b, "sampled_on"] += pd.Timedelta(days=1)
    assert not exchanged(read_grid(samples, "compartment", 60), ["S0", "S0"])[0].any()


# --- dates ----------------------------------------------------------------------------------------------------


def test_the_range_of_one_normal_story_has_its_own_quantiles() -> None:
    early, middle, late = date_range(np.array([56.0]), np.array([0.5]), np.array([1.0]), date(2024, 1, 1))
    assert abs((middle - as_date(56.0)).days) <= 4
    assert abs((early - as_date(56.0 - 0.5 * 1.2816)).days) <= 4
    assert abs((late - as_date(56.0 + 0.5 * 1.2816)).days) <= 4


def test_no_date_of_a_range_lies_before_the_day_it_is_told() -> None:
    as_of = date(2024, 1, 1)
    assert date_range(np.array([40.0]), np.array([0.2]), np.array([1.0]), as_of) == (as_of, as_of, as_of)


def test_two_stories_share_the_range() -> None:
    found = date_range(np.array([55.0, 57.0]), np.array([0.05, 0.05]), np.array([0.3, 0.7]), date(2024, 1, 1))
    assert found[0] < as_date(55.2)
    assert found[1] > as_date(56.8)


def test_every_unit_has_as_many_samples_as_the_frames_say() -> None:
    samples, units = steady(3, vacuum=True)
    grid = read_grid(samples, "compartment", 60)
    assert grid.taken.sum(axis=1).tolist() == [SAMPLES] * len(units)


# --- laboratories ---------------------------------------------------------------------------------------------


def compared(samples: pd.DataFrame) -> tuple[SampleGrid, np.ndarray, np.ndarray]:
    grid = read_grid(samples, "compartment", 60)
    resets = find_resets(grid, no_events(), none(grid))
    loss = np.full((len(grid.unit), 5), 0.8)
    settings = OilSettings()
    found = compare_laboratories(
        grid, discounted(grid, resets, loss, settings), resets, np.ones(len(grid.unit), dtype=bool), settings
    )
    return grid, found.shift, found.sd


def test_a_laboratory_that_reads_higher_is_found_from_units_that_changed_to_it() -> None:
    samples, _ = steady(20, vacuum=False)
    late = (samples["sampled_on"] >= "2020-01-01").to_numpy()
    samples.loc[late, "laboratory"] = "South"
    samples.loc[late, "ethylene"] *= 1.3
    grid, shift, sd = compared(samples)
    south = grid.laboratory == grid.laboratory[:, [-1]]
    difference = shift[:, :, 3][south].mean() - shift[:, :, 3][~south].mean()
    assert difference == pytest.approx(np.log(1.3), abs=0.05)
    assert abs(shift[:, :, 4]).max() < 0.05
    assert sd.max() < OilSettings().laboratory_sd_between


def test_laboratories_that_no_unit_has_in_common_are_not_compared() -> None:
    samples, _ = steady(6, vacuum=False)
    other = samples["unit"].isin(["T4", "T5", "T6"])
    samples.loc[other, "laboratory"] = "South"
    samples.loc[other, "ethylene"] *= 1.5
    _, shift, sd = compared(samples)
    assert abs(shift).max() < 1e-9
    assert sd == pytest.approx(OilSettings().laboratory_sd_between)
    _, alone, _ = compared(samples[~other])
    assert not alone.any()
