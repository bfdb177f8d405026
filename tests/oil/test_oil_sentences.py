"""Sentences: the wordings that only some cases get, and figures that anybody can read."""

from __future__ import annotations

import pytest
from oil_frames import changed, heated, steady, verdict_on, words_of

from tapwear.oil.limits import amount
from tapwear.oil.sentences import rank_finding
from tapwear.oil.settings import READ_GASES

ARCING, ARCING_UNITS = steady(24, vacuum=False)
VACUUM, VACUUM_UNITS = steady(24, vacuum=True)


@pytest.mark.parametrize(
    ("value", "figures", "said"),
    [
        (13_300.0, 3, "13,300"),
        (99.96, 3, "100"),
        (0.3125, 2, "0.31"),
        (128.0, 2, "128"),
        (9.96, 2, "10"),
        (0.0, 3, "0"),
    ],
)
def test_amounts_are_written_out_and_never_as_a_power_of_ten(value: float, figures: int, said: str) -> None:
    assert amount(value, figures) == said


def test_very_much_gas_is_written_out_in_every_sentence() -> None:
    for samples, units in ((ARCING, ARCING_UNITS), (VACUUM, VACUUM_UNITS)):
        words = words_of(verdict_on(changed(samples, "T1", heated(0.3, 180_000.0)), units, "T1"))
        assert "suggests heating" in words
        assert "e+" not in words
    assert "180,01" in words  # ppm of the vacuum unit, with its own twelve


def test_only_the_highest_of_enough_like_units_stands_above_nine_in_ten() -> None:
    highest, high = rank_finding(1240.0, 0.96, 24), rank_finding(97.0, 0.92, 24)
    assert highest is not None
    assert high is not None
    assert highest.words == "Acetylene of 1,240 ppm is above 95 in 100 of 24 like units."
    assert high.words == "Acetylene of 97 ppm is above 9 in 10 of 24 like units."
    assert rank_finding(97.0, 0.89, 24) is None


def test_exchanged_labels_of_an_earlier_day_are_named_and_nothing_is_asked_for() -> None:
    samples = changed(ARCING, "T1", lambda gas, before: gas * 3.0)
    gases = list(READ_GASES)
    one, two = (samples[samples["unit"] == unit].index[-2] for unit in ("T1", "T2"))
    samples.loc[[one, two], gases] = samples.loc[[two, one], gases].to_numpy()
    verdict = verdict_on(samples, ARCING_UNITS, "T1")
    assert verdict.call == "nothing unusual"
    assert "so both are left aside." in words_of(verdict)
    assert "take both again" not in words_of(verdict)
    assert "exchanged" not in words_of(verdict_on(changed(ARCING, "T1", lambda gas, _: gas * 3.0), ARCING_UNITS, "T1"))


def test_what_is_usual_is_told_as_the_laboratory_of_the_sample_would_have_it() -> None:
    samples = VACUUM.copy()
    late = (samples["sampled_on"] >= "2020-01-01").to_numpy()
    samples.loc[late, "laboratory"] = "South"
    samples.loc[late, "ethylene"] *= 1.3
    samples = changed(samples, "T1", heated(0.5, 120.0))
    here, plain = (
        words_of(verdict_on(one, VACUUM_UNITS, "T1")).split("Ethylene rose from the usual ")[1].split(" ")[0]
        for one in (samples, changed(VACUUM, "T1", heated(0.5, 120.0)))
    )
    assert float(here) / float(plain) == pytest.approx(1.3, abs=0.1)
