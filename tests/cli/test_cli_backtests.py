"""`tapwear backtest counts` on a small store of its own, through all layers."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from desk_store import make_desk, run


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three units read every quarter from January 2020, two of them to June 2026, at an even pace."""
    return make_desk(tmp_path_factory.mktemp("desk"))


def test_the_page_has_a_verdict_a_chart_and_what_the_bands_rest_on(desk: Path) -> None:
    done = run(desk, "backtest", "counts")
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0] == "Past forecasts of operations   as of 2026-06-30"
    assert "The 80 % bands held" in lines[1]
    for heading in ("What the bands rest on today", "How often the 80 % bands held"):
        assert heading in lines
    assert "this fleet's own past errors" in done.stdout
    assert done.stderr == ""


def test_json_says_the_same_for_the_horizons_asked_for_ascending_and_once(desk: Path) -> None:
    told = json.loads(run(desk, "backtest", "counts", "--json", "--horizons", "365, 180,365").stdout)
    assert (told["schema"], told["horizons"]) == ("tapwear.backtest-counts/1", [180, 365])
    # All three units are read quarterly and evenly: the middle figure is all but right.
    whole = told["parts"][0]
    assert (whole["cadence"], whole["horizon_days"], whole["units"]) == (None, None, 3)
    assert [(part["cadence"], part["horizon_days"]) for part in told["parts"][3:]] == [
        ("quarterly", None),
        ("quarterly", 180),
        ("quarterly", 365),
    ]
    assert abs(whole["bias"]) < 0.05
    assert whole["forecasts"] == told["parts"][1]["forecasts"] + told["parts"][2]["forecasts"]
    assert told["bands"]["past_errors"] > 0


def test_nothing_dated_after_as_of_is_used(desk: Path) -> None:
    told = json.loads(run(desk, "backtest", "counts", "--json", "--as-of", "2023-06-30").stdout)
    assert told["as_of"] == "2023-06-30"
    assert max(told["origins"]) <= "2023-04-01"


def test_a_fleet_without_enough_history_is_told_so_and_what_would_help(desk: Path) -> None:
    done = run(desk, "backtest", "counts", "--as-of", "2020-12-31")
    assert done.exit_code == 0
    assert "Too little history for a verdict: 0 past forecasts" in done.stdout
    assert "Earlier readings, imported, count at once." in done.stdout
    assert "How often" not in done.stdout


def test_why_says_what_the_bands_rest_on(desk: Path) -> None:
    assert "scaled by this fleet's own past errors" in run(desk, "why", "AH-T1").stdout
    assert "The bands rest on shipped values" in run(desk, "why", "AH-T1", "--as-of", "2020-05-31").stdout


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--horizons", "90;365"), "days are written like 90,365,730, found '90;365'"),
        (("--horizons", "0,90"), "give between 1 and 7320 days"),
        (("--horizons", "90,99999"), "give between 1 and 7320 days"),
        (("--as-of", "30.6.2026"), "a date is written like 2026-06-30"),
        (("--origins", "origins.csv"), "--origins and --out go together"),
        (("--out", "out.csv"), "--origins and --out go together"),
        (("--origins", "origins.csv", "--out", "out.csv", "--json"), "do not go with --origins"),
        (("--origins", "origins.csv", "--out", "out.csv", "--as-of", "2025-01-01"), "do not go with --origins"),
    ],
)
def test_what_was_not_understood_is_explained(desk: Path, words: tuple[str, ...], message: str) -> None:
    done = run(desk, "backtest", "counts", *words)
    assert done.exit_code == 2
    assert message in done.stderr
    assert done.stdout == ""
