"""Sound units whose oil is disturbed by something else than a fault are hardly ever pulled forward."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


def script() -> ModuleType:
    path = Path(__file__).parents[1] / "bench" / "oil_confounders.py"
    spec = importlib.util.spec_from_file_location("oil_confounders", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["oil_confounders"] = module
    spec.loader.exec_module(module)
    return module


TWINS = script()


@pytest.fixture(scope="module")
def undisturbed() -> float:
    return TWINS.pulled(TWINS.simulate("nothing", 200, 5))[0]


@pytest.mark.slow
@pytest.mark.parametrize("kind", [k for k in TWINS.CONFOUNDERS if k != "nothing"])
def test_at_most_one_sound_twin_more_in_a_hundred_is_pulled_forward(kind: str, undisturbed: float) -> None:
    pull, _ = TWINS.pulled(TWINS.simulate(kind, 200, 5))
    assert pull <= 0.03
    assert pull - undisturbed <= 0.01
    assert undisturbed <= 0.01


def test_sound_twins_that_change_their_rate_are_not_pulled_forward() -> None:
    fleet = TWINS.simulate("rate changed", 60, 9)
    as_of = (TWINS.START + TWINS.pd.DateOffset(months=TWINS.DISTURBED_AT + 12)).date()
    found = TWINS.assess(fleet.samples, fleet.events, fleet.units, as_of)
    assert sum(v.call == "pull forward" for v in found) <= 1
