"""Verdicts: what each sentence needs, and that a sound twin does not get it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oil_frames import (
    AS_OF,
    SAMPLES,
    changed,
    heated,
    no_events,
    rows,
    steady,
    verdict_on,
    words_of,
)

from tapwear.oil.assess import assess
from tapwear.oil.settings import READ_GASES, OilSettings
from tapwear.oil.types import OilVerdict
from tapwear.words import stop_notice

ARCING, ARCING_UNITS = steady(24, vacuum=False)
VACUUM, VACUUM_UNITS = steady(24, vacuum=True)
TANK = rows("T1", np.full((SAMPLES, 5), [20.0, 20.0, 30.0, 20.0, 0.3]), "main_tank")
WITH_TANK = pd.concat([ARCING, TANK], ignore_index=True)


def worn(gas: np.ndarray, before: np.ndarray) -> np.ndarray:
    """More of every gas, growing over the last year and a half."""
    return gas * (1.0 + np.maximum(1.6 - before, 0.0) ** 1.2)[:, None]


def leaking_vacuum(gas: np.ndarray, before: np.ndarray) -> np.ndarray:
    return gas + (40.0 * 0.5 ** (before / 0.25))[:, None] * np.array([1.0, 0.1, 0.05, 0.1, 1.0])


def arriving_acetylene(gas: np.ndarray, before: np.ndarray) -> np.ndarray:
    return gas + (30.0 * 0.5 ** (before / 0.3))[:, None] * np.array([0.0, 0.0, 0.0, 0.0, 1.0])


def kinds(verdict: OilVerdict) -> set[str]:
    return {f.kind for f in verdict.findings}


# --- sound units ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("samples", "units"), [(ARCING, ARCING_UNITS), (VACUUM, VACUUM_UNITS), (WITH_TANK, ARCING_UNITS)]
)
def test_steady_units_show_nothing_unusual_and_get_no_sentence_of_a_fault(
    samples: pd.DataFrame, units: pd.DataFrame
) -> None:
    faults = {"heating", "arcing", "vacuum acetylene", "main tank acetylene", "severe", "one sample", "stands"}
    faults |= {"withdrawn", "exchanged labels", "left aside", "unrecorded reset"}
    for verdict in assess(samples, no_events(), units, AS_OF):
        assert verdict.call == "nothing unusual", verdict
        assert not kinds(verdict) & faults
        assert verdict.open_by_middle is None
        assert verdict.samples_used == SAMPLES


# --- the signatures -------------------------------------------------------------------------------------------


def test_ethylene_that_grows_against_acetylene_over_several_samples_pulls_forward() -> None:
    verdict = verdict_on(changed(ARCING, "T1", heated(0.5, 600.0)), ARCING_UNITS, "T1")
    assert verdict.call == "pull forward"
    assert "Ethylene rose from the usual 0.31 to 1.1 times acetylene" in words_of(verdict)
    assert "suggests heating" in words_of(verdict)
    assert verdict.open_by_early is not None
    assert verdict.open_by_middle is not None
    assert verdict.open_by_late is not None
    assert AS_OF <= verdict.open_by_early < verdict.open_by_middle < verdict.open_by_late
    finding = next(f for f in verdict.findings if f.kind == "heating")
    assert finding.figures["samples for it"] >= 2
    assert finding.figures["ethylene of hot oil, mL"] == pytest.approx(600 * 300 / 1000, rel=0.25)
    assert (finding.source, finding.standing) != ("", "")


def test_faster_growth_and_more_gas_bring_an_earlier_date() -> None:
    late = verdict_on(changed(ARCING, "T1", heated(0.8, 300.0)), ARCING_UNITS, "T1")
    soon = verdict_on(changed(ARCING, "T1", heated(0.5, 900.0)), ARCING_UNITS, "T1")
    assert late.open_by_middle is not None
    assert soon.open_by_middle is not None
    assert soon.open_by_middle < late.open_by_middle


def test_hydrocarbons_that_grow_in_a_vacuum_unit_suggest_heating() -> None:
    verdict = verdict_on(changed(VACUUM, "T1", heated(0.5, 120.0)), VACUUM_UNITS, "T1")
    assert verdict.call == "pull forward"
    assert "ppm, more than its own past and its operations explain, which suggests heating" in words_of(verdict)


def test_a_vacuum_unit_that_works_less_and_makes_as_much_gas_as_before_is_not_pulled() -> None:
    samples = VACUUM.copy()
    mine = (samples["unit"] == "T1").to_numpy()
    years = (samples.loc[mine, "sampled_on"] - samples.loc[mine, "sampled_on"].min()).dt.days.to_numpy() / 365.25
    for name in ("operations_low", "operations_mid", "operations_high"):
        samples.loc[mine, name] = 6000.0 * (np.minimum(years, 5.5) + 0.3 * np.maximum(years - 5.5, 0.0))
    assert verdict_on(samples, VACUUM_UNITS, "T1").call == "nothing unusual"
    growing = changed(samples, "T1", heated(0.5, 120.0))
    assert verdict_on(growing, VACUUM_UNITS, "T1").call == "pull forward"


def test_methane_and_ethane_without_ethylene_are_never_said_to_be_a_rise_of_ethylene() -> None:
    def light(gas: np.ndarray, before: np.ndarray) -> np.ndarray:
        return gas + (300.0 * 0.5 ** (before / 0.5))[:, None] * np.array([0.0, 0.55, 0.4, 0.0, 0.0])

    verdict = verdict_on(changed(ARCING, "T1", light), ARCING_UNITS, "T1")
    assert verdict.call == "nothing unusual"
    assert "Ethylene rose" not in words_of(verdict)


def test_more_gas_per_operation_with_the_same_ratios_suggests_worn_contacts() -> None:
    verdict = verdict_on(changed(ARCING, "T1", worn), ARCING_UNITS, "T1")
    assert verdict.call == "pull forward"
    assert "times the usual" in words_of(verdict)
    assert "worn contacts or weak springs" in words_of(verdict)
    assert "heating" not in words_of(verdict)


def test_the_same_rise_explained_by_more_operations_pulls_nothing() -> None:
    samples = changed(ARCING, "T1", worn)
    mine = (samples["unit"] == "T1").to_numpy()
    before = (samples.loc[mine, "sampled_on"].max() - samples.loc[mine, "sampled_on"]).dt.days.to_numpy() / 365.25
    gap = np.diff(before, prepend=before[0] + 0.5) * -1.0
    busy = 6000.0 * (1.0 + np.maximum(1.6 - before, 0.0) * 2.2)
    for name in ("operations_low", "operations_mid", "operations_high"):
        samples.loc[mine, name] = np.cumsum(busy * gap)
    assert verdict_on(samples, ARCING_UNITS, "T1").call == "nothing unusual"


def test_acetylene_above_the_baseline_of_a_vacuum_unit_pulls_forward() -> None:
    verdict = verdict_on(changed(VACUUM, "T1", leaking_vacuum), VACUUM_UNITS, "T1")
    assert verdict.call == "pull forward"
    assert "Acetylene rose from the own baseline of" in words_of(verdict)
    assert "to 40.5 ppm" in words_of(verdict)


def test_acetylene_that_arrives_in_the_main_tank_suggests_a_leak_and_excludes_nothing() -> None:
    verdict = verdict_on(changed(WITH_TANK, "T1", arriving_acetylene, "main_tank"), ARCING_UNITS, "T1")
    assert verdict.call == "pull forward"
    assert "It suggests a leak from the compartment and never excludes arcing in the main tank" in words_of(verdict)


def test_a_main_tank_that_shares_the_conservator_may_always_have_held_some_acetylene() -> None:
    units = ARCING_UNITS.assign(conservator="common")
    samples = changed(WITH_TANK, "T1", lambda gas, before: gas + np.array([0.0, 0, 0, 0, 25.0]), "main_tank")
    assert verdict_on(samples, units, "T1").call == "nothing unusual"


# --- one sample, and severe ones ------------------------------------------------------------------------------


def only_last(extra: np.ndarray):  # type: ignore[no-untyped-def]
    return lambda gas, before: gas + np.where(before < 0.1, 1.0, 0.0)[:, None] * extra


def test_one_odd_sample_asks_for_another_and_moves_no_date() -> None:
    odd = only_last(np.array([0.0, 70.0, 60.0, 150.0, 0.0]))
    verdict = verdict_on(changed(ARCING, "T1", odd), ARCING_UNITS, "T1", as_of=date(2023, 9, 10))
    assert verdict.call == "resample"
    assert verdict.open_by_middle is None
    assert verdict.resample_by == date(2023, 9, 29)  # four weeks after the sample of 2023-09-01
    assert "Only the sample of 2023-09-01 speaks of heating" in words_of(verdict)


def test_a_jump_far_beyond_the_usual_is_severe_and_suggests_no_sample_visit_or_oil_work() -> None:
    jump = only_last(np.array([500.0, 700.0, 400.0, 1500.0, 0.0]))
    samples = changed(ARCING, "T1", jump)
    wet = (samples["unit"] == "T1").to_numpy()
    samples.loc[wet, "moisture_mg_per_kg"] = [10.0] * 14 + [40.0, 40.0]
    verdict = verdict_on(samples, ARCING_UNITS, "T1")
    assert (verdict.call, verdict.severe) == ("pull forward", True)
    assert stop_notice() in words_of(verdict)
    assert verdict.resample_by is None
    assert verdict.oil_work == ()
    for word in ("resample", "take ", "needed", "visit", "exercise"):
        assert word not in words_of(verdict)
    calm = verdict_on(ARCING, ARCING_UNITS, "T1")
    assert not calm.severe
    assert stop_notice() not in words_of(calm)


def test_a_slow_fault_that_two_samples_agree_on_is_not_severe() -> None:
    verdict = verdict_on(changed(ARCING, "T1", heated(0.5, 600.0)), ARCING_UNITS, "T1")
    assert not verdict.severe
    assert stop_notice() not in words_of(verdict)


# --- a call stands, or is withdrawn ---------------------------------------------------------------------------


def test_a_call_stands_when_the_next_sample_is_weaker_but_does_not_contradict_it() -> None:
    weaker = np.array([0.0, 0.5, 0.3, 1.0, 0.0])
    samples = changed(
        ARCING,
        "T1",
        lambda gas, b: gas + np.select([b < 0.1, b < 0.6, b < 1.2], [82.0, 200.0, 80.0], 0.0)[:, None] * weaker,
    )
    verdict = verdict_on(samples, ARCING_UNITS, "T1")
    assert verdict.call == "pull forward"
    assert "the sample of 2023-09-01 does not contradict it, so it stands" in words_of(verdict)


def test_a_call_is_withdrawn_in_words_when_the_next_sample_contradicts_it() -> None:
    samples = changed(ARCING, "T1", heated(0.5, 600.0))
    before = verdict_on(samples, ARCING_UNITS, "T1", as_of=date(2023, 6, 1))
    assert before.call == "pull forward"
    sound = ARCING[(ARCING["unit"] == "T1")].iloc[-1]
    last = samples[samples["unit"] == "T1"].index[-1]
    samples.loc[last, list(READ_GASES)] = sound[list(READ_GASES)].to_numpy()
    verdict = verdict_on(samples, ARCING_UNITS, "T1")
    assert verdict.call == "nothing unusual"
    assert "the sample of 2023-09-01 contradicts it, so it is withdrawn" in words_of(verdict)


def test_a_unit_asked_for_alone_gets_the_verdict_that_it_gets_among_all() -> None:
    samples = changed(changed(ARCING, "T1", heated(0.5, 600.0)), "T2", heated(1.0, 200.0))
    sound = ARCING[(ARCING["unit"] == "T1")].iloc[-1]
    samples.loc[samples[samples["unit"] == "T1"].index[-1], list(READ_GASES)] = sound[list(READ_GASES)].to_numpy()
    among_all = assess(samples, no_events(), ARCING_UNITS, AS_OF)
    assert {"withdrawn"} == {f.kind for f in among_all[0].findings}
    alone = [assess(samples, no_events(), ARCING_UNITS, AS_OF, wanted={unit}) for unit in ARCING_UNITS["unit"]]
    assert [(v.call, words_of(v)) for (v,) in alone] == [(v.call, words_of(v)) for v in among_all]


def test_an_overhaul_ends_a_call_and_the_gas_it_leaves_behind_starts_no_new_one() -> None:
    samples = changed(ARCING, "T1", heated(0.5, 600.0))
    overhaul = no_events(overhaul=[("T1", "2023-10-01")])
    assert verdict_on(samples, ARCING_UNITS, "T1", events=overhaul).call == "nothing unusual"
    later = samples[samples["unit"] == "T1"].iloc[[-1]].copy()
    later["sampled_on"] = pd.Timestamp("2023-12-01")
    later["sample_id"] = 9999
    gas = later[list(READ_GASES)].to_numpy() * 0.15
    later[list(READ_GASES)] = gas
    after = pd.concat([samples, later], ignore_index=True)
    assert verdict_on(after, ARCING_UNITS, "T1", events=overhaul).call == "nothing unusual"


# --- samples that do not count --------------------------------------------------------------------------------


def test_exchanged_labels_are_named_and_pull_neither_unit() -> None:
    samples = changed(ARCING, "T1", lambda gas, before: gas * 3.0)
    gases = list(READ_GASES)
    one, two = (samples[samples["unit"] == unit].index[-1] for unit in ("T1", "T2"))
    samples.loc[[one, two], gases] = samples.loc[[two, one], gases].to_numpy()
    for unit, other in (("T1", "T2"), ("T2", "T1")):
        verdict = verdict_on(samples, ARCING_UNITS, unit)
        assert verdict.call == "resample"
        assert f"The samples of this unit and of {other} of 2023-09-01 look exchanged" in words_of(verdict)
        assert "take both again" in words_of(verdict)
    assert "exchanged" not in words_of(verdict_on(samples, ARCING_UNITS, "T3"))


def test_a_sample_far_from_both_its_neighbours_is_left_aside() -> None:
    odd = changed(ARCING, "T1", lambda gas, b: gas * np.where((b > 0.3) & (b < 0.7), 0.2, 1.0)[:, None])
    verdict = verdict_on(odd, ARCING_UNITS, "T1")
    assert verdict.call == "nothing unusual"
    assert "The sample of 2023-03-01 is far from the ones before and after it, so it is left aside." in words_of(
        verdict
    )
    assert verdict.samples_used == SAMPLES - 1


def test_an_oil_change_that_nobody_wrote_down_is_seen_and_pulls_nothing() -> None:
    fallen = changed(ARCING, "T1", lambda gas, b: gas * np.where(b < 1.2, 0.3, 1.0)[:, None])
    verdict = verdict_on(fallen, ARCING_UNITS, "T1")
    assert verdict.call == "nothing unusual"
    assert "Every gas fell by about half or more between 2022-03-01 and 2022-09-01" in words_of(verdict)
    assert verdict.samples_used == 3
    written = no_events(oil_changed=[("T1", "2022-06-01")])
    told = verdict_on(fallen, ARCING_UNITS, "T1", events=written)
    assert "without a recorded oil change" not in words_of(told)
    assert told.evidence_since == date(2022, 6, 1)


def test_a_change_of_laboratory_of_the_whole_fleet_pulls_nothing() -> None:
    samples = ARCING.copy()
    late = (samples["sampled_on"] >= "2023-01-01").to_numpy()
    samples.loc[late, "laboratory"] = "South"
    samples.loc[late, ["methane", "ethane", "ethylene"]] *= 1.35
    assert {v.call for v in assess(samples, no_events(), ARCING_UNITS, AS_OF)} == {"nothing unusual"}


def test_a_recorded_change_of_the_breather_explains_more_gas_per_operation() -> None:
    risen = changed(ARCING, "T1", lambda gas, b: gas * (1.0 + 0.4 * np.clip(1.6 - b, 0.0, 1.6))[:, None])
    assert verdict_on(risen, ARCING_UNITS, "T1").call == "pull forward"
    written = no_events(breather_changed=[("T1", "2022-01-20")])
    assert verdict_on(risen, ARCING_UNITS, "T1", events=written).call != "pull forward"


def test_gas_that_rises_to_a_new_level_as_after_another_breather_pulls_nothing_and_further_growth_does() -> None:
    def kept(gas: np.ndarray, before: np.ndarray) -> np.ndarray:
        return gas * (1.0 - 0.5 * np.expm1(-1.5 * np.maximum(2.0 - before, 0.0)))[:, None]

    assert verdict_on(changed(ARCING, "T1", kept), ARCING_UNITS, "T1").call != "pull forward"
    growing = changed(ARCING, "T1", lambda gas, before: worn(kept(gas, before), before))
    assert verdict_on(growing, ARCING_UNITS, "T1").call == "pull forward"


# --- among like units -----------------------------------------------------------------------------------------


def test_high_acetylene_among_enough_like_units_is_said_and_pulls_nothing() -> None:
    samples = changed(ARCING, "T1", lambda gas, before: gas * 2.0)
    verdict = verdict_on(samples, ARCING_UNITS, "T1")
    assert verdict.call == "nothing unusual"
    assert "is above 95 in 100 of 24 like units" in words_of(verdict)
    middling = [v for v in assess(samples, no_events(), ARCING_UNITS, AS_OF) if "like units" in words_of(v)]
    assert len(middling) <= 3
    few = samples[samples["unit"].isin(["T1", "T2", "T3"])]
    assert "like units" not in words_of(verdict_on(few, ARCING_UNITS[:3], "T1"))


# --- time, order and gaps -------------------------------------------------------------------------------------


def test_no_sample_for_long_is_no_evidence_and_never_nothing_unusual() -> None:
    late = verdict_on(ARCING, ARCING_UNITS, "T1", as_of=date(2026, 6, 1))
    assert (late.call, late.last_sample_on) == ("no oil evidence", date(2023, 9, 1))
    none = verdict_on(ARCING[ARCING["unit"] != "T1"], ARCING_UNITS, "T1")
    assert (none.call, none.last_sample_on, none.samples_used) == ("no oil evidence", None, 0)


def test_a_call_stands_however_old_its_sample_grows() -> None:
    samples = changed(ARCING, "T1", heated(0.5, 600.0))
    assert verdict_on(samples, ARCING_UNITS, "T1", as_of=date(2027, 1, 1)).call == "pull forward"


def test_rows_dated_later_change_nothing() -> None:
    samples = changed(ARCING, "T1", heated(0.5, 600.0))
    events = no_events(oil_changed=[("T3", "2021-05-05")], overhaul=[("T1", "2023-08-01")])
    as_of = date(2022, 10, 1)
    cut = samples[samples["sampled_on"] <= pd.Timestamp(as_of)]
    known = events[events["happened_on"] <= pd.Timestamp(as_of)]
    assert assess(samples, events, ARCING_UNITS, as_of) == assess(cut, known, ARCING_UNITS, as_of)


@settings(max_examples=8, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_the_order_of_the_rows_does_not_matter(seed: int) -> None:
    samples = changed(ARCING, "T1", heated(0.5, 600.0))
    mixed = samples.sample(frac=1.0, random_state=seed)
    assert assess(mixed, no_events(), ARCING_UNITS, AS_OF) == assess(samples, no_events(), ARCING_UNITS, AS_OF)


@settings(max_examples=10, deadline=None)
@given(st.floats(0.3, 5.0), st.integers(0, 10_000))
def test_a_steady_unit_of_any_size_is_not_pulled(factor: float, seed: int) -> None:
    samples, units = steady(12, vacuum=False, seed=seed)
    samples = changed(samples, "T1", lambda gas, before: gas * factor)
    assert verdict_on(samples, units, "T1").call != "pull forward"


def test_units_without_a_count_a_volume_or_a_type_still_get_a_verdict() -> None:
    samples = changed(ARCING, "T1", heated(0.5, 600.0))
    samples[["operations_low", "operations_mid", "operations_high"]] = np.nan
    units = ARCING_UNITS.assign(technology="", breathing="", oil_group="", conservator="", oil_volume_l=np.nan)
    verdict = verdict_on(samples, units, "T1")
    assert verdict.call == "pull forward"
    assert "suggests heating" in words_of(verdict)
    assert verdict.trend is not None
    assert verdict.trend.ml_per_1000_operations is None


def test_an_empty_fleet_and_an_empty_book_are_answered() -> None:
    assert assess(ARCING.iloc[:0], no_events(), ARCING_UNITS.iloc[:0], AS_OF) == ()
    found = assess(ARCING.iloc[:0], no_events(), ARCING_UNITS, AS_OF)
    assert {v.call for v in found} == {"no oil evidence"}


def test_compartments_of_one_unit_are_read_apart_and_the_worse_one_speaks() -> None:
    second = changed(ARCING[ARCING["unit"] == "T1"].copy(), "T1", heated(0.5, 600.0)).assign(compartment="B")
    second["sample_id"] += 500_000
    verdict = verdict_on(pd.concat([ARCING, second], ignore_index=True), ARCING_UNITS, "T1")
    assert verdict.call == "pull forward"
    assert verdict.samples_used == 2 * verdict_on(ARCING, ARCING_UNITS, "T1").samples_used


def test_other_choices_may_be_handed_in() -> None:
    strict = replace(OilSettings(), pull_probability=1.1, resample_probability=1.1)
    found = assess(changed(ARCING, "T1", heated(0.5, 600.0)), no_events(), ARCING_UNITS, AS_OF, settings=strict)
    assert found[0].call == "nothing unusual"


def test_agreeing_samples_of_a_fault_that_has_hardly_begun_ask_for_one_more() -> None:
    verdict = verdict_on(changed(VACUUM, "T1", heated(0.5, 12.8)), VACUUM_UNITS, "T1")
    assert verdict.call == "resample"
    assert "hint at heating, too weakly or too early to move a date: one more is needed" in words_of(verdict)
