"""Merging three clocks, against sums that can be done by hand and against brute force."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from tapwear.outlook import merge

GRID = np.arange(-10.0, 101.0)
ROW = GRID[None, :]
NEVER = np.array([np.nan])


def clock(early: float, middle: float, late: float) -> np.ndarray:
    return merge.spread(np.array([early]), np.array([middle]), np.array([late]), ROW)


def test_a_certain_day_is_its_own_early_middle_and_late_date() -> None:
    grid = merge.with_days(ROW, np.array([12.0]))
    days = merge.quantile_days(merge.certain(np.array([12.0]), grid), grid)
    assert np.allclose(days, 12.0, atol=0.001)


def test_a_clock_that_never_runs_out_has_no_dates() -> None:
    days = merge.quantile_days(merge.certain(NEVER, ROW), ROW)
    assert np.isnan(days).all()


def test_early_middle_and_late_come_back_as_given() -> None:
    days = merge.quantile_days(clock(20, 40, 70), ROW)
    assert np.allclose(days, [[20, 40, 70]], atol=0.01)


def test_calendar_cuts_the_late_end_of_the_operations_clock() -> None:
    # Operations 20 / 40 / 70; the calendar is certain on day 50: early and middle stay, late becomes day 50.
    merged = merge.earliest(clock(20, 40, 70), merge.certain(np.array([50.0]), ROW))
    assert np.allclose(merge.quantile_days(merged, ROW), [[20, 40, 50]], atol=1.0)


def test_two_even_clocks_are_due_with_three_quarters_at_their_common_middle() -> None:
    merged = merge.earliest(clock(20, 40, 60), clock(20, 40, 60))
    assert np.isclose(merged[0, GRID == 40][0], 0.75, atol=1e-3)


def test_who_runs_out_first_is_shared_by_the_chance_of_it() -> None:
    share = merge.shares(clock(20, 40, 60), clock(20, 40, 60), merge.certain(NEVER, ROW))
    assert np.allclose(share[:, 0], [0.5, 0.5, 0.0], atol=1e-3)
    # The calendar on day 40 takes what the operations leave: half.
    share = merge.shares(clock(20, 40, 60), merge.certain(np.array([40.0]), ROW))
    assert np.allclose(share[:, 0], [0.5, 0.5], atol=0.02)


def test_merged_dates_agree_with_drawing_both_clocks_a_hundred_thousand_times() -> None:
    rng = np.random.default_rng(7)
    first, second = clock(10, 45, 80), clock(5, 60, 90)

    def draw(chance: np.ndarray) -> np.ndarray:
        return np.interp(rng.random(100_000), chance[0], GRID)

    drawn = np.minimum(draw(first), draw(second))
    merged = merge.earliest(first, second)
    for day in (20, 40, 60):
        assert abs(merged[0, day == GRID][0] - (drawn <= day).mean()) < 0.005


days_in_order = st.lists(st.floats(0, 90), min_size=3, max_size=3).map(sorted)


@given(days_in_order, days_in_order)
def test_adding_a_clock_never_makes_any_date_later(one: list[float], other: list[float]) -> None:
    alone = clock(*one)
    both = merge.earliest(alone, clock(*other))
    assert (both >= alone - 1e-12).all()
    before, after = merge.quantile_days(alone, ROW), merge.quantile_days(both, ROW)
    assert (np.nan_to_num(after, nan=1e9) <= np.nan_to_num(before, nan=1e9) + 1e-6).all()
    assert (np.diff(np.nan_to_num(after, nan=1e9)) >= -1e-9).all()


@given(st.lists(st.floats(0, 95), min_size=3, max_size=3), st.lists(st.floats(1, 99), min_size=3, max_size=3))
def test_a_clock_read_off_on_more_days_says_the_same_on_the_days_it_had(own: list[float], late: list[float]) -> None:
    had = np.vstack([ROW, ROW, ROW])
    grid = merge.with_days(had, np.array(own))
    chance = np.vstack([clock(day / 3, day / 2, day)[0] for day in late])
    moved = merge.onto(chance, had, grid)
    for row in range(3):
        kept = np.isin(grid[row], GRID)
        assert np.allclose(moved[row, kept], np.interp(grid[row, kept], GRID, chance[row]))
        assert own[row] in grid[row]
        assert (np.diff(grid[row]) >= 0).all()


def test_days_to_look_at_again_lie_within_the_steps_that_hold_the_quantiles() -> None:
    chance = np.array([[0.0, 0.05, 0.6, 0.95, 1.0], [0.0, 0.0, 0.0, 0.2, 0.3]])
    grid = np.array([0.0, 30.0, 60.0, 90.0, 120.0])
    first, second = merge.between(chance, grid)
    assert first.tolist() == [37.5, 37.5, 45.0, 45.0, 52.5, 52.5, 67.5, 75.0, 82.5]
    assert second.tolist() == [67.5, 75.0, 82.5, 120.0, 120.0, 120.0, 120.0, 120.0, 120.0]


@given(st.lists(st.floats(2, 99), min_size=4, max_size=4), st.integers(-5, 99) | st.just(np.nan))
def test_the_corners_of_a_clock_say_all_that_its_days_say_beside_a_certain_one(late: list[float], day: float) -> None:
    chance = np.vstack([clock(one / 3, one / 2, one)[0] for one in late]) * np.array([[1.0], [0.95], [0.6], [0.0]])
    had, certain = np.broadcast_to(GRID, chance.shape), np.full(len(late), day)
    said = []
    for days in (had, merge.corners(chance, had)):
        grid = merge.with_days(days, certain)
        clocks = (merge.onto(chance, had, grid), merge.certain(certain, grid))
        said.append(np.column_stack([merge.quantile_days(merge.earliest(*clocks), grid), *merge.shares(*clocks)]))
        said[-1] = np.column_stack([said[-1], merge.quantile_days(clocks[0], grid)])
    assert merge.corners(chance, had).shape == (4, 8)
    assert np.allclose(*said, atol=1e-9, equal_nan=True)
