"""`tapwear oil` and `tapwear backtest oil`, through all layers, on a fleet of three units that the test writes down."""

from __future__ import annotations

import csv
import json
from datetime import date
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from tapwear.cli.app import app
from tapwear.cli.backtest_oil import Question, read_questions
from tapwear.errors import UsageError
from tapwear.store.engine import create_store
from tapwear.words import CAUTIONS, stop_notice

DAY = "2026-06-30"
# Ethylene of each half year from 2018 on, beside 300 µL/L of acetylene: sound, heating since 2024, heating fast.
SOUND = [60.0] * 17
SLOW = [60.0] * 12 + [75.0, 95.0, 130.0, 190.0, 280.0]
FAST = [60.0] * 14 + [120.0, 700.0, 4000.0]
FLEET = {"AH-T1": SOUND, "AH-T2": SLOW, "BW-T1": FAST}
HALF_YEARS = [f"{year}-{month}" for year in range(2018, 2027) for month in ("01-15", "06-15")][:17]


def write(path: Path, headings: str, rows: list[list[object]]) -> Path:
    with path.open("w", newline="") as file:
        csv.writer(file).writerows([headings.split(), *rows])
    return path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with the three units, read and sampled twice a year, on a steady 6,000 operations a year."""
    path = tmp_path_factory.mktemp("oil")
    units = [[tag, tag[:2], 6, "arcing_resistor", "desiccant", 300, "town", f"S-{tag}"] for tag in FLEET]
    readings = [[tag, on, 10_000 + 3_000 * i] for tag in FLEET for i, on in enumerate(HALF_YEARS)]
    samples = []
    for tag, ethylene in FLEET.items():
        for on, hot in zip(HALF_YEARS, ethylene, strict=True):
            extra = hot - 60.0
            gases = [90, round(30 + 0.45 * extra, 1), round(12 + 0.25 * extra, 1), hot, 300]
            samples.append([tag, on, "compartment", "North lab", *gases])
    files = [
        write(
            path / "units.csv", "unit station counter_digits technology breathing oil_volume_l oil_group serial", units
        ),
        write(path / "readings.csv", "unit read_on value", readings),
        write(
            path / "samples.csv",
            "unit sampled_on taken_from laboratory hydrogen_ul_per_l methane_ul_per_l ethane_ul_per_l "
            "ethylene_ul_per_l acetylene_ul_per_l",
            samples,
        ),
    ]
    create_store(path / "fleet.db").close()
    done = run(path, "import", *map(str, files), "--by", "test")
    assert done.exit_code == 0, done.stderr
    return path


def run(folder: Path, *words: str) -> Result:
    env = {"NO_COLOR": "1", "COLUMNS": "100", "TAPWEAR_TODAY": DAY}
    return CliRunner(env=env).invoke(app, ["--db", str(folder / "fleet.db"), *words])


def test_a_sound_unit_shows_its_samples_and_the_next_one_as_advice(folder: Path) -> None:
    done = run(folder, "oil", "AH-T1")
    assert done.exit_code == 0
    assert "No abnormal result in 17 samples." in done.stdout
    assert "Next sample, as advice: routine, every 6 to 12 months: between 2026-07-17 and 2027-01-15." in done.stdout
    assert "neither a switching permit nor a diagnosis" in done.stderr
    assert "STOP" not in done.stdout


def test_a_heating_unit_says_so_with_figures_and_chart(folder: Path) -> None:
    done = run(folder, "oil", "AH-T2")
    assert done.stdout.startswith("AH-T2   AH")
    assert "suggests heating" in done.stdout
    assert "Acetylene and ethylene in the compartment [ppm]" in done.stdout


def test_a_severe_unit_opens_with_the_warning_and_suggests_no_sample_anywhere(folder: Path) -> None:
    page = run(folder, "oil", "BW-T1").stdout
    assert page.startswith(stop_notice("BW-T1"))
    assert "Next sample" not in page
    assert run(folder, "oil", "--fleet").stdout.startswith(stop_notice("BW-T1"))
    # A year on, every routine sample is overdue, and the severe unit is still on no list.
    late = run(folder, "oil", "--requests", "--as-of", "2027-06-30", "--json")
    page = json.loads(late.stdout)
    assert [(one["unit"], one["why"]) for one in page["requests"]] == [("AH-T2", "alarm"), ("AH-T1", "routine")]
    assert page["left_out"]["severe"] == ["BW-T1"]


def test_requests_go_to_a_file_with_the_caution(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "samples.txt"
    done = run(folder, "oil", "--requests", "--as-of", "2027-06-30", "--out", str(out))
    assert done.stdout == ""
    assert f"2 units to sample, written to {out}" in done.stderr
    text = out.read_text(encoding="utf-8")
    assert CAUTIONS[2] in text
    assert "unit     AH-T1\n" in text


def test_json_of_a_unit_and_of_the_fleet_agree(folder: Path) -> None:
    one = json.loads(run(folder, "oil", "AH-T2", "--json").stdout)["unit"]
    fleet = json.loads(run(folder, "oil", "--fleet", "--json").stdout)
    assert one in [member for group in fleet["groups"] for member in group["members"]]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), "Name one unit, or give --fleet or --requests"),
        (("AH-T1", "--fleet"), "Name one unit, or give --fleet or --requests"),
        (("--fleet", "--out", "x"), "--out goes with --requests"),
        (("AH-T9",), "AH-T9"),
        (("AH-T1", "--as-of", "soon"), "a date is written like"),
    ],
)
def test_oil_explains_what_it_did_not_understand(folder: Path, words: tuple[str, ...], message: str) -> None:
    done = run(folder, "oil", *words)
    assert done.exit_code == 2
    assert message in done.stderr
    assert done.stdout == ""


def backtest(folder: Path, tmp_path: Path, rows: list[list[object]]) -> tuple[Result, list[dict[str, str]]]:
    asked, out = write(tmp_path / "asof.csv", "unit_id as_of", rows), tmp_path / "calls.csv"
    done = run(folder, "backtest", "oil", "--asof", str(asked), "--out", str(out))
    return done, list(csv.DictReader(out.read_text(encoding="utf-8").splitlines()))


def test_past_calls_use_only_what_was_dated_by_then_and_every_pull_has_a_date(folder: Path, tmp_path: Path) -> None:
    days = ["2026-06-30", "2023-12-31", "2025-03-31"]
    done, rows = backtest(folder, tmp_path, [[tag, day] for day in days for tag in FLEET])
    assert done.exit_code == 0
    assert "9 calls written to" in done.stderr
    assert [(row["unit_id"], row["as_of"]) for row in rows] == [(tag, day) for day in days for tag in FLEET]
    calls = {(row["unit_id"], row["as_of"]): row["call"] for row in rows}
    assert calls["BW-T1", "2026-06-30"] == "pull"
    assert {calls["AH-T1", day] for day in days} == {"none"}
    assert {calls[tag, "2023-12-31"] for tag in FLEET} == {"none"}
    for row in rows:
        assert bool(row["open_by"]) == (row["call"] == "pull")
        assert not row["open_by"] or date.fromisoformat(row["open_by"]) >= date.fromisoformat(row["as_of"])


def test_the_past_call_is_the_one_that_the_page_of_that_day_gives(folder: Path, tmp_path: Path) -> None:
    _, (row,) = backtest(folder, tmp_path, [["AH-T2", "2026-03-31"]])
    page = json.loads(run(folder, "oil", "AH-T2", "--as-of", "2026-03-31", "--json").stdout)["unit"]
    assert {"pull": "pull forward"}.get(row["call"], row["call"]) == page["call"]
    assert (row["open_by"] or None) == page["open_by_early"]


def test_questions_that_cannot_be_answered_are_findings_and_the_others_are_answered(
    folder: Path, tmp_path: Path
) -> None:
    done, rows = backtest(folder, tmp_path, [["ZZ-T1", DAY], ["AH-T1", "30.06.2026"], ["AH-T1", DAY]])
    assert done.exit_code == 3
    assert "asof.csv:2 unit_id: found 'ZZ-T1'" in done.stderr
    assert "asof.csv:3 as_of: found '30.06.2026' -> give a date like 2024-12-31" in done.stderr
    assert [row["unit_id"] for row in rows] == ["AH-T1"]


def test_a_file_of_questions_names_the_column_that_it_lacks(tmp_path: Path) -> None:
    asked = write(tmp_path / "asof.csv", "unit day", [["AH-T1", DAY]])
    with pytest.raises(UsageError, match="has no column as_of"):
        read_questions(asked, ["AH-T1"])
    with pytest.raises(UsageError, match="cannot be read"):
        read_questions(tmp_path / "none.csv", [])
    good = write(tmp_path / "good.csv", "unit as_of", [["AH-T1", DAY]])
    assert read_questions(good, ["AH-T1"]) == ([Question("AH-T1", date(2026, 6, 30))], [])
