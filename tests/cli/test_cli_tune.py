"""`tapwear tune`: a fleet's own settings of the rate model, shown, kept, said everywhere and taken back."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from desk_store import run

from tapwear.counts import tune
from tapwear.counts.settings import RateSettings
from tapwear.store.engine import create_store, open_store
from tapwear.store.recording import Stamp
from tapwear.store.tuning import keep_settings

TODAY = "2026-06-30"


@pytest.fixture(scope="module")
def fleet(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Twelve units, read every quarter for eight years, whose rates hardly drift and are even from day to day."""
    folder = tmp_path_factory.mktemp("tune")
    drawn = np.random.default_rng(3)
    units, readings = ["unit,station,counter_digits,peer_group"], ["unit,read_on,value"]
    for number in range(1, 13):
        units.append(f"AU-T{number},AU,6,main")
        count, rate = 1_000.0 * number, 5.0 + number
        for quarter in range(32):
            day = date(2018, 7, 3) + timedelta(days=90 * quarter + int(drawn.integers(0, 3)))
            count += drawn.poisson(90 * rate)
            readings.append(f"AU-T{number},{day},{int(count)}")
    for name, lines in (("units", units), ("readings", readings)):
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    db = folder / "fleet.db"
    create_store(db).close()
    assert run(db, "import", str(folder / "units.csv"), str(folder / "readings.csv"), today=TODAY).exit_code == 0
    return db


@pytest.mark.slow
def test_an_even_fleet_gets_smaller_spreads_which_are_said_wherever_they_act(fleet: Path) -> None:
    before = run(fleet, "why", "AU-T5", "--json", today=TODAY)
    assert "fleet's own, of" not in before.output

    looked = run(fleet, "tune", "--json", today=TODAY)
    told = json.loads(looked.stdout)
    settings = {row["parameter"]: row for row in told["settings"]}
    assert settings["weather"]["estimate"] < settings["weather"]["start"] / 2
    assert settings["drift"]["estimate"] < settings["drift"]["start"] / 2
    assert all(0 < row["log_se"] < 1.1 for row in told["settings"])  # a prior of 1, or what the readings tell
    assert told["held_out_gain_percent"] > 5
    assert told["held_out_forecasts"] >= 36
    assert run(fleet, "why", "AU-T5", "--json", today=TODAY).stdout == before.stdout  # looking stores nothing

    kept = run(fleet, "tune", "--keep", "--because", "an even fleet", today=TODAY)
    assert kept.exit_code == 0, kept.output
    for words in (["due"], ["why", "AU-T5"], ["next"]):
        assert "settings are this fleet's own, of 2026-06-30" in run(fleet, *words, today=TODAY).output
    own = json.loads(run(fleet, "why", "AU-T5", "--json", today=TODAY).stdout)
    assert "settings are this fleet's own" in own["bands"]["words"]

    assert run(fleet, "undo", "--because", "tried", today=TODAY).exit_code == 0  # all seven in one step
    assert run(fleet, "why", "AU-T5", "--json", today=TODAY).stdout == before.stdout


def test_own_settings_move_the_dates_until_they_are_taken_back(fleet: Path) -> None:
    before = run(fleet, "why", "AU-T5", "--json", today=TODAY).stdout
    row = {"name": "weather", "value": 90.0, "log_se": 0.1, "tuned_on": date(2026, 6, 1), "intervals": 200}
    with open_store(fleet).rows(writing=True) as connection:
        keep_settings(connection, [{**row, "gain_percent": None}], Stamp("Kim", datetime(2026, 6, 1, tzinfo=UTC)))
    kept = run(fleet, "why", "AU-T5", "--json", today=TODAY).stdout
    assert kept != before
    assert "of 2026-06-01, from 200 reading intervals, kept by Kim." in kept
    back = run(fleet, "tune", "--shipped", "--because", "tried", today=TODAY)
    assert "shipped settings hold again" in back.output
    assert run(fleet, "why", "AU-T5", "--json", today=TODAY).stdout == before
    assert "hold already" in run(fleet, "tune", "--shipped", "--because", "x", today=TODAY).output


def test_settings_that_would_have_done_worse_are_kept_only_when_insisted_on(
    fleet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = pd.DataFrame({"parameter": ["weather"], "start": [1.4], "estimate": [0.5], "log_se": [0.1]})
    found = tune.Tuned(RateSettings(weather=0.5), table, 12.0, 384, True)
    monkeypatch.setattr(tune, "tuned", lambda *_: found)
    monkeypatch.setattr(tune, "held_out_gain", lambda *_: (-9.0, 120))
    done = run(fleet, "tune", "--keep", "--because", "likelier", today=TODAY)
    assert done.exit_code == 3
    assert "would have lost 9.0 % MORE than the shipped ones on 120 forecasts" in done.output
    assert "fleet's own, of" not in run(fleet, "due", today=TODAY).output
    assert run(fleet, "tune", "--keep", "--anyway", "--because", "likelier", today=TODAY).exit_code == 0
    assert "held-out gain -9.0 %" in run(fleet, "due", today=TODAY).output
    assert run(fleet, "tune", "--shipped", "--because", "enough", today=TODAY).exit_code == 0


def test_a_young_fleet_keeps_the_shipped_ones(tmp_path: Path) -> None:
    db = tmp_path / "fleet.db"
    create_store(db).close()
    assert run(db, "unit", "add", "T1", "--station", "AU", "--digits", "6", today=TODAY).exit_code == 0
    done = run(db, "tune", "--keep", "--because", "x", today=TODAY)
    assert done.exit_code == 3
    assert "0 reading intervals; 100 are needed" in done.output


def test_keeping_asks_for_a_reason_and_not_for_both(fleet: Path) -> None:
    assert "--because" in run(fleet, "tune", "--keep", today=TODAY).output
    assert run(fleet, "tune", "--keep", "--shipped", "--because", "x", today=TODAY).exit_code == 2
