"""The user's limits: which one holds, when it acts, and when it does not."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tapwear.oil.assess import assess
from tapwear.oil.limits import Limit, OverLimit, least_breakdown, limits_of, over_limits
from tapwear.oil.samples import breakdown_key
from tapwear.oil.types import GASES, OilVerdict

AS_OF = date(2026, 6, 30)
YEAR = 2026.0 - 1970.0
NINETY = {"acetylene": Limit(90.0, "our standard 7")}


def limit_rows(*rows: dict[str, Any]) -> pd.DataFrame:
    plain = {"oil_group": "R1", "technology": "", "breakdown_method": "", "breakdown_gap_mm": np.nan, "source": "us"}
    return pd.DataFrame([plain | row for row in rows])


def checked(
    values: list[float], *, step: float = 0.5, below: tuple[int, ...] = (), limit: dict[str, Limit] | None = None
) -> tuple[OverLimit, ...]:
    """Acetylene at even distances up to the beginning of 2026, newest last, as of the middle of 2026."""
    year = YEAR - step * np.arange(len(values))[::-1]
    gas = np.full((len(values), 5), np.nan)
    gas[:, 4] = values
    mark = np.zeros(gas.shape, dtype=bool)
    mark[list(below), 4] = True
    return over_limits(year, gas, mark, limit or NINETY, AS_OF)


# --- which limit holds ----------------------------------------------------------------------------------------


def test_the_own_group_goes_before_the_technology_and_both_together_before_either() -> None:
    rows = limit_rows(
        {"quantity": "acetylene", "value": 1.0, "technology": "vacuum"},
        {"quantity": "acetylene", "value": 2.0},
        {"quantity": "acetylene", "value": 3.0, "oil_group": "", "technology": "vacuum"},
        {"quantity": "acetylene", "value": 4.0, "oil_group": "", "technology": "arcing_resistor"},
        {"quantity": "ethylene", "value": 5.0, "oil_group": "R2"},
    )
    for order in (rows, rows[::-1]):
        assert limits_of(order, "R1", "vacuum") == {"acetylene": Limit(1.0, "us")}
        assert limits_of(order, "R1", "arcing_resistor") == {"acetylene": Limit(2.0, "us")}
        assert limits_of(order, "R3", "vacuum") == {"acetylene": Limit(3.0, "us")}
        assert limits_of(order, "R3", "arcing_reactor") == {}
        assert limits_of(order, "R2", "") == {"ethylene": Limit(5.0, "us")}
    assert limits_of(None, "R1") == {}


def test_a_limit_of_the_breakdown_voltage_holds_for_its_test_only() -> None:
    row = {"quantity": "breakdown_kv", "value": 30.0, "breakdown_method": "IEC 60156", "breakdown_gap_mm": 2.5}
    limits = limits_of(limit_rows(row), "R1")
    assert least_breakdown(limits, breakdown_key("iec-60156", 2.5)) == 30.0
    for method, gap in (("IEC 60156", 1.0), ("IEC 60156", float("nan")), ("ASTM D1816", 2.5), ("", 2.5)):
        assert np.isnan(least_breakdown(limits, breakdown_key(method, gap)))
    any_gap = limits_of(limit_rows(row | {"breakdown_gap_mm": np.nan}), "R1")
    assert least_breakdown(any_gap, breakdown_key("IEC 60156", 1.0)) == 30.0


# --- beyond the limit -----------------------------------------------------------------------------------------


def test_two_samples_in_a_row_beyond_the_limit_ask_for_opening_from_the_second_on() -> None:
    (one,) = checked([50, 50, 95, 97])
    assert one.finding.kind == "over limit"
    assert one.finding.words == "Acetylene is 97 ppm, over the limit of 90 ppm, in the two newest samples."
    assert (one.finding.source, one.finding.standing) == ("our standard 7", "confirmed")
    assert one.open_by == (AS_OF, AS_OF, AS_OF)  # the second sample is half a year old
    year = YEAR + np.array([0.2, 0.45])
    gas = np.full((2, 5), 97.0)
    (fresh,) = over_limits(year, gas, np.zeros((2, 5), dtype=bool), NINETY, AS_OF)
    assert fresh.open_by == tuple(date(2026, 6, 14) + timedelta(days=days) for days in (16, 45, 90))


def test_large_amounts_are_written_out() -> None:
    (one,) = checked([1210.4, 1240.2], limit={"acetylene": Limit(1200.0, "us")})
    assert one.finding.words.startswith("Acetylene is 1,240 ppm, over the limit of 1,200 ppm")


@pytest.mark.parametrize(
    ("values", "below"),
    [
        ([50, 50, 97], ()),  # one sample
        ([97], ()),
        ([97, 50, 97], ()),  # not two in a row
        ([97, 95, 97], (1,)),  # the one between lies below its detection limit
    ],
)
def test_one_sample_beyond_asks_for_another_sample_and_moves_no_date(
    values: list[float], below: tuple[int, ...]
) -> None:
    (one,) = checked(values, below=below)
    assert (one.finding.kind, one.open_by) == ("once over limit", None)
    assert one.finding.words.endswith("in the newest sample only.")


@pytest.mark.parametrize(("values", "below"), [([97, 97, 50], ()), ([50, 90], ()), ([97, 97], (0, 1)), ([], ())])
def test_a_newest_sample_that_is_not_beyond_asks_for_nothing(values: list[float], below: tuple[int, ...]) -> None:
    assert checked(values, below=below) == ()


def test_two_bottles_of_one_day_are_one_sample() -> None:
    (one,) = checked([97, 97], step=0.0)
    assert one.open_by is None


def test_a_ratio_counts_only_with_enough_gas() -> None:
    year = YEAR - np.array([0.5, 0.0])
    gas = np.full((2, 5), np.nan)
    gas[:, 3:] = (30.0, 20.0)
    none_below = np.zeros((2, 5), dtype=bool)
    limit = {"ethylene_to_acetylene": Limit(1.0, "us")}
    (one,) = over_limits(year, gas, none_below, limit, AS_OF)
    assert one.finding.words == "Ethylene over acetylene is 1.5, over the limit of 1, in the two newest samples."
    assert over_limits(year, gas / 10.0, none_below, limit, AS_OF) == ()  # 2 ppm of acetylene
    under = none_below.copy()
    under[:, 4] = True
    assert over_limits(year, gas, under, limit, AS_OF) == ()


# --- on the way to it -----------------------------------------------------------------------------------------


def test_a_straight_trend_that_meets_the_limit_within_two_years_asks_for_opening_then() -> None:
    # 10 ppm more every half year: 70 at the beginning of 2026, 90 a year later.
    (one,) = checked([20, 30, 40, 50, 60, 70])
    assert one.finding.kind == "meets limit"
    assert one.open_by is not None
    assert abs((one.open_by[1] - date(2027, 1, 1)).days) <= 2
    assert "acetylene meets the limit of 90 ppm about 2027-01-01 (" in one.finding.words


@pytest.mark.parametrize(
    "values",
    [
        [10, 15, 20, 25, 30, 35],  # 90 only in five years and a half
        [70, 70, 70, 70, 70, 70],
        [80, 75, 70, 65, 60, 55],
        [50, 65, 70, 71, 71, 72],  # fills up and levels off
        [60, 65, 70],  # too few
        [70, 20, 75, 15, 72, 30, 74, 25],  # no trend in the scatter
    ],
)
def test_what_does_not_rise_to_the_limit_in_two_years_asks_for_nothing(values: list[float]) -> None:
    assert checked([float(value) for value in values]) == ()


def test_a_trend_of_old_samples_asks_for_nothing() -> None:
    year = YEAR - 4.0 - 0.5 * np.arange(6)[::-1]
    gas = np.full((6, 5), np.nan)
    gas[:, 4] = [20, 30, 40, 50, 60, 70]
    assert over_limits(year, gas, np.zeros((6, 5), dtype=bool), NINETY, AS_OF) == ()


def test_sound_units_that_level_off_at_half_the_limit_are_hardly_ever_pulled() -> None:
    random = np.random.default_rng(5)
    pulled = 0
    for _ in range(100):
        years = np.arange(0.25, 8.0, 0.5)
        level = 45.0 * (1.0 - np.exp(-0.8 * years)) * np.exp(random.normal(0.0, 0.13, len(years)))
        gas = np.full((len(years), 5), np.nan)
        gas[:, 4] = level
        mark = np.zeros(gas.shape, dtype=bool)
        for count in range(4, len(years) + 1):
            past = YEAR - 8.0 + years[:count]
            seen = date(1970, 1, 1) + timedelta(days=round(past[-1] * 365.25) + 20)
            found = over_limits(past, gas[:count], mark[:count], NINETY, seen)
            if any(one.open_by for one in found):
                pulled += 1
                break
    assert pulled <= 3


# --- in the verdict of a unit ---------------------------------------------------------------------------------


def fleet(
    values: list[float], *, limits: pd.DataFrame | None, resets: tuple[str, ...] = (), units: int = 1, **more: Any
) -> OilVerdict:
    """The verdict on U0, whose steady oil has these amounts of acetylene half a year apart; ethylene a fifth of it."""
    rows = []
    for unit in range(units):
        for at, value in enumerate(values if unit == 0 else [40.0 + unit] * len(values)):
            day = pd.Timestamp(AS_OF) - pd.Timedelta(days=183 * (len(values) - 1 - at) + 10)
            amounts = {gas: float("nan") for gas in GASES} | {
                "hydrogen": 1.5 * value, "methane": 0.2 * value, "ethane": 0.05 * value, "ethylene": 0.2 * value,
                "acetylene": value,
            }  # fmt: skip
            row = {"sample_id": len(rows), "unit": f"U{unit}", "compartment": "", "taken_from": "compartment"}
            row |= {"sampled_on": day, "laboratory": "", "reference": "", **amounts}
            row |= {f"{gas}_below": False for gas in GASES} | {
                f"operations_{q}": np.nan for q in ("low", "mid", "high")
            }
            row |= {"moisture_mg_per_kg": np.nan, "breakdown_kv": np.nan, "breakdown_method": "", "oil_temp_c": 20.0}
            row |= {"breakdown_gap_mm": np.nan}
            rows.append(row | ({name: given[at] for name, given in more.items()} if unit == 0 else {}))
    events = pd.DataFrame(
        {
            "unit": ["U0"] * len(resets),
            "happened_on": pd.to_datetime(pd.Series(resets, dtype=object)),
            "kind": ["oil_changed"] * len(resets),
        }
    )
    register = pd.DataFrame(
        {
            "unit": [f"U{unit}" for unit in range(units)], "station": "N", "technology": "arcing_resistor",
            "breathing": "desiccant", "oil_group": "R1", "oil_volume_l": 200.0, "main_tank_volume_l": np.nan,
            "conservator": "", "rated_current_a": np.nan, "step_voltage_v": np.nan,
        }
    )  # fmt: skip
    return assess(pd.DataFrame(rows), events, register, AS_OF, limits)[0]


STEADY = [95.0, 96.0, 94.0, 95.0, 96.0, 97.0]
AT_90 = limit_rows({"quantity": "acetylene", "value": 90.0})


def kinds(verdict: OilVerdict) -> set[str]:
    return {finding.kind for finding in verdict.findings}


def test_without_a_limit_steady_gas_is_nothing_unusual_and_with_one_it_asks_for_opening() -> None:
    assert fleet(STEADY, limits=None).call == "nothing unusual"
    verdict = fleet(STEADY, limits=AT_90)
    assert (verdict.call, verdict.severe, kinds(verdict)) == ("pull forward", False, {"over limit"})
    assert verdict.open_by_early is not None
    assert verdict.open_by_late is not None
    assert AS_OF <= verdict.open_by_early <= verdict.open_by_late
    assert fleet(STEADY, limits=limit_rows({"quantity": "acetylene", "value": 90.0, "oil_group": "R2"})) == fleet(
        STEADY, limits=None
    )


def test_samples_on_the_two_sides_of_an_oil_change_never_agree() -> None:
    changed = (str(AS_OF - timedelta(days=100)),)
    values = [*STEADY[:5], 97.0]
    across = fleet(values, limits=AT_90, resets=changed)
    assert across.call != "pull forward"
    assert "over limit" not in kinds(across)
    assert fleet(values, limits=AT_90).call == "pull forward"


def test_water_and_breakdown_voltage_ask_for_oil_work_and_never_for_opening() -> None:
    water = limit_rows({"quantity": "moisture_mg_per_kg", "value": 20.0})
    wet = fleet(STEADY, limits=water, moisture_mg_per_kg=[22.0] * 6)
    assert (wet.call, [work.kind for work in wet.oil_work]) == ("nothing unusual", ["wet oil"])
    assert fleet(STEADY, limits=water, moisture_mg_per_kg=[18.0] * 6).oil_work == ()
    weak = {"quantity": "breakdown_kv", "value": 30.0, "breakdown_method": "IEC 60156", "breakdown_gap_mm": 2.5}
    tested = {"breakdown_kv": [25.0] * 6, "breakdown_method": ["IEC 60156"] * 6}
    low = fleet(STEADY, limits=limit_rows(weak), **tested, breakdown_gap_mm=[2.5] * 6)
    assert (low.call, [work.kind for work in low.oil_work]) == ("nothing unusual", ["weak oil"])
    assert fleet(STEADY, limits=limit_rows(weak), **tested, breakdown_gap_mm=[1.0] * 6).oil_work == ()


def test_one_test_of_another_gap_is_not_mixed_into_a_series() -> None:
    values = {"breakdown_kv": [60.0, 60.0, 60.0, 60.0, 30.0, 30.0], "breakdown_method": ["ASTM D1816"] * 6}
    assert [work.kind for work in fleet(STEADY, limits=None, **values, breakdown_gap_mm=[2.0] * 6).oil_work] == [
        "weak oil"
    ]
    assert fleet(STEADY, limits=None, **values, breakdown_gap_mm=[2.0] * 4 + [1.0] * 2).oil_work == ()


def test_standing_high_among_like_units_only_informs_and_gives_way_to_a_limit() -> None:
    verdict = fleet(STEADY, limits=None, units=25)
    assert (verdict.call, kinds(verdict)) == ("nothing unusual", {"above like units"})
    assert "of 25 like units" in verdict.findings[0].words
    assert kinds(fleet(STEADY, limits=None, units=8)) == set()
    room = limit_rows({"quantity": "acetylene", "value": 200.0})
    assert kinds(fleet(STEADY, limits=room, units=25)) == set()
