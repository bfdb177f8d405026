"""Operations weighted by current, worked by hand on counters whose visits fall on round days."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rate_fleets import AS_OF, FLAT, PROBS, events, fit, history, points, stays, steady, units

from tapwear.counts.current import Currents, known_currents, plain_operations, unit_weights, weighted_operations
from tapwear.counts.dates import crossing_chance, day_grid
from tapwear.counts.rate import RateModel, fit_rates

RATED = 400.0
# Three visits, 1,000 operations in each of two intervals; the last visit is 30 days before as_of.
VISITS = [("2024-01-01", 0.0), ("2024-04-01", 1000.0), ("2024-05-31", 2000.0)]


def currents(rows: list[tuple[str, str, float]], rated: float = RATED, source: str = "mechanical") -> Currents:
    """Known currents from readings given as (unit, day, current)."""
    frame = pd.DataFrame(rows, columns=["unit", "read_on", "current_a"])
    frame = frame.assign(read_on=pd.to_datetime(frame["read_on"]), drive="1", source=source)
    return known_currents(frame, pd.DataFrame({"unit": sorted(set(frame["unit"])), "rated_current_a": rated}), AS_OF)


def of_visits(*amperes: float) -> Currents:
    """One current for each of VISITS."""
    return currents([("T1", day, current) for (day, _), current in zip(VISITS, amperes, strict=True)])


def down(model: RateModel, known: Currents, start: str, exponent: float, weighted: float) -> float:
    at = np.array([start], "datetime64[D]")
    return float(plain_operations(model, known, np.array([0]), at, np.array([exponent]), np.array([weighted]))[0])


def up(model: RateModel, known: Currents, start: str, exponent: float, *plain: float) -> list[float]:
    at = np.array([start], "datetime64[D]")
    made = weighted_operations(model, known, np.array([0]), at, np.array([exponent]), np.array([plain], float))
    return [float(value) for value in made[0]]


def test_the_weight_of_an_interval_is_its_current_over_the_rated_one_to_the_power_asked_for() -> None:
    known = of_visits(math.nan, 200.0, 800.0)
    assert unit_weights(fit({"T1": VISITS}), known, "T1", 1.0).intervals[0].tolist() == [0.5, 2.0]
    assert unit_weights(fit({"T1": VISITS}), known, "T1", 2.0).intervals[0].tolist() == [0.25, 4.0]
    assert unit_weights(fit({"T1": VISITS}), known, "T1", 0.0).intervals[0].tolist() == [1.0, 1.0]


def test_an_interval_without_a_current_has_the_units_own_mean_by_operations() -> None:
    # 3,000 operations at weight 0.5 and 1,000 at weight 2: (1,500 + 2,000) / 4,000 = 0.875.
    visits = [("2020-01-01", 0.0), ("2021-01-01", 3000.0), ("2022-01-01", 4000.0), ("2023-01-01", 4500.0)]
    rows = [("2020-01-01", math.nan), ("2021-01-01", 200.0), ("2022-01-01", 800.0), ("2023-01-01", math.nan)]
    known = currents([("T1", *row) for row in rows])
    weights = unit_weights(fit({"T1": visits}), known, "T1", 1.0)
    assert weights.intervals[0].tolist() == [0.5, 2.0, 0.875]
    assert (weights.elsewhere, weights.known, weights.of) == (0.875, 2, 3)


def test_operations_to_come_weigh_as_those_of_the_last_two_years() -> None:
    visits = [("2021-01-01", 0.0), ("2022-01-01", 1000.0), ("2023-01-01", 4000.0), ("2024-01-01", 5000.0)]
    rows = [("2021-01-01", 0.0), ("2022-01-01", 40.0), ("2023-01-01", 200.0), ("2024-01-01", 600.0)]
    weights = unit_weights(fit({"T1": visits}), currents([("T1", *row) for row in rows]), "T1", 1.0)
    assert weights.ahead == pytest.approx((3000 * 0.5 + 1000 * 1.5) / 4000)  # 2022 ended before the two years


def test_where_nothing_is_known_of_late_the_units_own_mean_is_carried_on() -> None:
    visits = [("2018-01-01", 0.0), ("2019-01-01", 1000.0), ("2024-01-01", 6000.0)]
    rows = [("2018-01-01", math.nan), ("2019-01-01", 100.0), ("2024-01-01", math.nan)]
    assert unit_weights(fit({"T1": visits}), currents([("T1", *row) for row in rows]), "T1", 1.0).ahead == 0.25


def test_without_any_current_or_rated_current_every_operation_counts_as_one() -> None:
    model = fit({"T1": VISITS})
    for known in (of_visits(math.nan, math.nan, math.nan), currents([("T1", "2024-01-01", 1.0)], rated=math.nan)):
        weights = unit_weights(model, known, "T1", 1.5)
        assert (weights.elsewhere, weights.ahead, weights.known, weights.of) == (1.0, 1.0, 0, 2)
        assert down(model, known, "2024-01-01", 1.5, 5000.0) == pytest.approx(5000.0)
    assert of_visits(1.0, 1.0, 1.0).rated == {"T1"}
    assert currents([("T1", "2024-01-01", 1.0)], rated=0.0).rated == frozenset()


def test_a_doubtful_reading_between_two_visits_lends_its_current_by_days() -> None:
    # The reading of 2024-01-31 is no visit: 30 days at 0.25 and 60 days at 1 make (30 x 0.25 + 60 x 1) / 90.
    rows = [("2024-01-01", math.nan), ("2024-01-31", 100.0), ("2024-03-31", 400.0), ("2024-05-30", math.nan)]
    visits = [("2024-01-01", 0.0), ("2024-03-31", 900.0), ("2024-05-30", 1500.0)]
    weights = unit_weights(fit({"T1": visits}), currents([("T1", *row) for row in rows]), "T1", 1.0)
    assert weights.intervals[0][0] == pytest.approx(0.75)


def test_a_current_counts_from_the_reading_before_of_the_same_counter_and_never_from_after_as_of() -> None:
    frame = pd.DataFrame(
        [
            ("T1", "A", "mechanical", "2024-01-01", math.nan),
            ("T1", "A", "sample", "2024-02-01", math.nan),
            ("T1", "A", "controller", "2024-02-15", 100.0),
            ("T1", "A", "mechanical", "2024-03-01", 200.0),
            ("T1", "B", "mechanical", "2024-03-01", 300.0),
            ("T1", "A", "mechanical", "2024-08-01", 400.0),
            ("T2", "1", "mechanical", "2024-03-01", 200.0),
        ],
        columns=["unit", "drive", "source", "read_on", "current_a"],
    )
    frame["read_on"] = pd.to_datetime(frame["read_on"])
    known = known_currents(frame, pd.DataFrame({"unit": ["T1"], "rated_current_a": [RATED]}), AS_OF)
    assert list(known.spans) == [("T1", "A")]
    day = [float(np.datetime64(one, "D").astype(int)) for one in ("2024-02-01", "2024-03-01")]
    assert known.spans["T1", "A"].tolist() == [[*day, 0.5]]


def test_weighted_operations_bend_at_each_visit_and_go_on_at_the_weight_to_come() -> None:
    # 1,000 at 0.5, 1,000 at 2, then (500 + 2,000) / 2,000 = 1.25 each.
    model, known = fit({"T1": VISITS}), of_visits(math.nan, 200.0, 800.0)
    assert up(model, known, "2024-01-01", 1.0, 0, 400, 1000, 1500, 2000, 2400) == pytest.approx(
        [0, 200, 500, 1500, 2500, 3000]
    )
    for weighted, plain in ((200, 400), (500, 1000), (1500, 1500), (2500, 2000), (3000, 2400)):
        assert down(model, known, "2024-01-01", 1.0, weighted) == pytest.approx(plain)
    # With exponent 2: 1,000 at 0.25, 1,000 at 4, then 2.125.
    assert up(model, known, "2024-01-01", 2.0, 1000, 2000, 3000) == pytest.approx([250, 4250, 6375])
    assert down(model, known, "2024-01-01", 2.0, 6375) == pytest.approx(3000)


def test_a_service_between_two_visits_begins_at_the_weight_of_that_interval() -> None:
    model, known = fit({"T1": VISITS}), of_visits(math.nan, 200.0, 800.0)
    start = np.array(["2024-05-01"], "datetime64[D]")
    left = float(model.operations(np.array([0]), start, np.array(["2024-05-31"], "datetime64[D]"), PROBS[1:2])[0, 0])
    assert 400 < left < 600  # about half of the second thousand
    assert up(model, known, "2024-05-01", 1.0, left) == pytest.approx([2 * left])


def test_a_service_after_the_last_visit_or_before_the_first_is_weighted_too() -> None:
    model, known = fit({"T1": VISITS}), of_visits(math.nan, 200.0, 800.0)
    assert down(model, known, "2024-06-15", 1.0, 1250.0) == pytest.approx(1000.0)
    start = np.array(["2023-10-01"], "datetime64[D]")
    before = float(model.operations(np.array([0]), start, np.array(["2024-01-01"], "datetime64[D]"), PROBS[1:2])[0, 0])
    assert before > 0
    assert up(model, known, "2023-10-01", 1.0, before, before + 1000) == pytest.approx(
        [1.25 * before, 1.25 * before + 500]
    )


def test_operations_without_load_wear_nothing_and_never_use_the_interval_up() -> None:
    model, known = fit({"T1": VISITS}), of_visits(math.nan, 400.0, 0.0)
    assert up(model, known, "2024-01-01", 1.0, 1500, 2000) == pytest.approx([1000, 1000])
    idle = of_visits(math.nan, 0.0, 0.0)
    assert down(model, idle, "2024-01-01", 1.0, 10.0) == math.inf
    chance = crossing_chance(model, np.array([0]), np.array([19_723.0]), np.array([math.inf]), day_grid())  # 2024
    assert (chance == 0).all()


def test_exponent_nought_gives_the_very_number_back() -> None:
    model, known = fit({"T1": VISITS}), of_visits(math.nan, 200.0, 800.0)
    assert down(model, known, "2024-01-01", 0.0, 1 / 3) == 1 / 3
    assert up(model, known, "2024-01-01", 0.0, 1 / 3, 2500.1) == [1 / 3, 2500.1]


def test_half_of_the_rated_current_doubles_the_plain_operations_to_the_interval() -> None:
    days = [day for day, _ in steady(10, "2020-01-01", "2024-06-28")]
    model = fit({"T1": steady(10, "2020-01-01", "2024-06-28")})
    known = currents([("T1", day, 200.0) for day in days])
    for start in ("2019-06-01", "2020-01-01", "2022-02-02", "2024-06-29"):
        assert down(model, known, start, 1.0, 10_000.0) == pytest.approx(20_000.0)
        assert down(model, known, start, 2.0, 10_000.0) == pytest.approx(40_000.0)


def test_each_drive_has_its_own_currents_and_borrows_the_units_mean() -> None:
    visits = pd.concat([points({"T1": VISITS}, "A"), points({"T1": VISITS}, "B").assign(series=1)])
    two = fit_rates(history(visits), units(["T1"]), events(), stays(), AS_OF, calibration=FLAT)
    frame = pd.DataFrame(
        {
            "unit": "T1",
            "drive": "A",
            "source": "mechanical",
            "read_on": pd.to_datetime([day for day, _ in VISITS]),
            "current_a": [math.nan, 200.0, 800.0],
        }
    )
    known = known_currents(frame, pd.DataFrame({"unit": ["T1"], "rated_current_a": [RATED]}), AS_OF)
    weights = unit_weights(two, known, "T1", 1.0)
    by_drive = {str(two.series.drive[row]): own.tolist() for row, own in weights.intervals.items()}
    assert by_drive == {"A": [0.5, 2.0], "B": [1.25, 1.25]}


def test_a_unit_that_was_never_read_is_weighted_by_one() -> None:
    model = fit({"T1": VISITS}, fleet=units(["T1", "T2"]))
    start, row = np.array(["2024-01-01"], "datetime64[D]"), np.array([int(model.governing()["T2"])])
    known = of_visits(math.nan, 200.0, 800.0)
    assert plain_operations(model, known, row, start, np.array([1.0]), np.array([700.0])).tolist() == [700.0]


counters = st.lists(st.tuples(st.integers(5, 400), st.integers(0, 20_000)), min_size=1, max_size=12)


@settings(max_examples=60, deadline=None)
@given(counters, st.integers(0, 3000), st.sampled_from([0.5, 1.0, 1.5, 2.0]), st.floats(1.0, 2e5))
def test_rated_current_throughout_changes_nothing(
    steps: list[tuple[int, int]], back: int, exponent: float, weighted: float
) -> None:
    gaps = [gap for gap, _ in steps]
    days = np.datetime64("2024-06-01") - np.concatenate([np.cumsum(gaps[::-1])[::-1], [0]])
    totals = np.concatenate([[0], np.cumsum([made for _, made in steps])]).astype(float)
    model = fit({"T1": list(zip(map(str, days), totals.tolist(), strict=True))})
    known = currents([("T1", str(day), RATED) for day in days])
    start = str(np.datetime64("2024-06-30") - np.timedelta64(back, "D"))
    assert down(model, known, start, exponent, weighted) == pytest.approx(weighted, rel=1e-9)
    assert up(model, known, start, exponent, weighted) == pytest.approx([weighted], rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(5, 400), st.integers(0, 5000), st.floats(0.0, 900.0)), min_size=1, max_size=12),
    st.floats(0.1, 2.0),
    st.floats(1.0, 2e5),
)
def test_there_and_back_is_where_one_was(
    steps: list[tuple[int, int, float]], exponent: float, weighted: float
) -> None:
    gaps = [gap for gap, _, _ in steps]
    days = np.datetime64("2024-06-01") - np.concatenate([np.cumsum(gaps[::-1])[::-1], [0]])
    totals = np.concatenate([[0], np.cumsum([made for _, made, _ in steps])]).astype(float)
    model = fit({"T1": list(zip(map(str, days), totals.tolist(), strict=True))})
    amperes = [math.nan, *(current for _, _, current in steps)]
    known = currents([("T1", str(day), current) for day, current in zip(days, amperes, strict=True)])
    plain = down(model, known, str(days[0]), exponent, weighted)
    assert plain >= 0
    if math.isfinite(plain) and plain < 1e12:
        assert up(model, known, str(days[0]), exponent, plain) == pytest.approx([weighted], rel=1e-6)
