"""`tapwear limits`: shown, set after a look at whose dates would move, exported and taken back in."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from tapwear.cli import limits as limits_command
from tapwear.cli.app import app
from tapwear.store.engine import create_store, open_store
from tapwear.store.entries import add_sample, add_service
from tapwear.store.limits import list_limits
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit

STAMP = Stamp("Robin", datetime(2026, 10, 2, tzinfo=UTC))
TODAY = date(2026, 11, 1)
WHY = ("--because", "our standard 7")


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """T1 to T22 of group R1 with steady acetylene of 41 to 62 ppm, and a vacuum unit V1; all due in 2029."""
    path = tmp_path_factory.mktemp("limits") / "fleet.db"
    store = create_store(path)
    with store.rows(writing=True) as connection:
        for number in range(1, 24):
            tag, kind, group = (f"T{number}", "arcing_resistor", "R1") if number < 23 else ("V1", "vacuum", "VV")
            values = {"unit": tag, "station": "NORTH", "counter_digits": 6, "technology": kind, "oil_group": group}
            values |= {"interval_years": 7.0, "oil_volume_l": 200.0, "breathing": "desiccant"}
            unit = add_unit(connection, values, STAMP)
            add_service(connection, unit, {"done_on": date(2022, 5, 1), "work": "overhaul"}, STAMP)
            level = 40.0 + number if number < 23 else 2.0
            for back in range(5):
                gases = {"hydrogen": 1.5, "methane": 0.2, "ethane": 0.05, "ethylene": 0.2, "acetylene": 1.0}
                sample = {f"{gas}_ul_per_l": level * part for gas, part in gases.items()}
                sample |= {"sampled_on": TODAY - timedelta(days=20 + 183 * back), "moisture_mg_per_kg": 12.0}
                add_sample(connection, unit, sample, STAMP)
    store.close()
    return path


@pytest.fixture
def db(template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = Path(shutil.copy(template, tmp_path / "fleet.db"))
    for name, value in (("DB", path), ("TODAY", TODAY), ("NAME", "Robin")):
        monkeypatch.setenv(f"TAPWEAR_{name}", str(value))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.chdir(tmp_path)
    return path


def run(*words: str, typed: str = "") -> Result:
    result = CliRunner().invoke(app, ["limits", *words], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def said(*words: str, code: int = 0, typed: str = "") -> str:
    result = run(*words, typed=typed)
    assert result.exit_code == code, result.output
    return " ".join(result.output.split())


def held(db: Path) -> list[tuple[str, str, str, float]]:
    with open_store(db).rows() as connection:
        return [(r["group"], r["technology"], r["quantity"], r["value"]) for r in list_limits(connection)]


def test_none_is_set_at_first_and_like_units_are_shown_with_how_many_they_are(db: Path) -> None:
    result = run("show")
    assert result.stdout.startswith("No limit is set.")
    # 22 values, 41 to 62: the 90 % point lies 0.9 x 21 = 18.9 steps above the lowest, the 95 % point 19.95.
    row = next(line for line in result.stdout.splitlines() if " acetylene " in line)
    assert row.split()[-3:] == ["22", "59.9", "60.9" if "60.9" in row else "61"]
    assert "Fewer than 20 compartments" in result.stdout
    assert "VV, vacuum, desiccant (1)" in result.stdout
    page = json.loads(run("show", "--json").stdout)
    assert page["limits"] == []
    assert page["like_units"][0]["quantities"]["acetylene"][0] == 22


def test_setting_shows_whose_dates_would_move_and_stores_nothing_without_yes(db: Path) -> None:
    result = run("set", "R1", "acetylene", "60.5", *WHY)
    assert result.exit_code == 2
    lines = [line.split("  ") for line in result.stdout.splitlines() if "->" in line]
    assert [line[0] for line in lines] == ["T21", "T22"]
    assert all("nothing unusual -> pull forward" in " ".join(line) for line in lines)
    assert all("2029-05-01 -> 2026-11" in " ".join(line) for line in lines)
    assert "Nothing was set. To set it without a question, add --yes." in result.output
    assert held(db) == []


def test_with_yes_it_is_set_and_moves_the_dates(db: Path) -> None:
    told = said("set", "R1", "acetylene", "60.5", *WHY, "--yes")
    assert "2 units would change" in told
    assert f"Set: limit of acetylene_ul_per_l for R1, 60.5. Store: {db}" in told
    assert held(db) == [("R1", "", "acetylene_ul_per_l", 60.5)]
    dues = json.loads(CliRunner().invoke(app, ["due", "--all", "--json"]).stdout)["dues"]
    assert sorted(due["unit"] for due in dues if due["driver"] == "oil") == ["T21", "T22"]
    assert "R1 acetylene 60.5 ppm our standard 7" in said("show")
    told = said("set", "R1", "acetylene", "none", "--because", "withdrawn by the engineer", "--yes")
    assert "pull forward -> nothing unusual" in told
    assert "Taken back" in told
    assert held(db) == []


def test_at_a_terminal_the_person_is_asked(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits_command, "at_a_terminal", lambda: True)
    assert "Set this limit? (y/N): Nothing was set." in said(
        "set", "R1", "acetylene", "60.5", *WHY, code=3, typed="n\n"
    )
    assert held(db) == []
    said("set", "R1", "acetylene", "60.5", *WHY, typed="y\n")
    assert held(db) == [("R1", "", "acetylene_ul_per_l", 60.5)]


def test_a_limit_that_moves_nothing_says_so(db: Path) -> None:
    told = said("set", "arcing_resistor", "acetylene", "500", *WHY, "--yes")
    assert "No unit's oil call and no date would change." in told
    assert held(db) == [("", "arcing_resistor", "acetylene_ul_per_l", 500.0)]


def test_a_limit_of_one_technology_leaves_the_others_alone(db: Path) -> None:
    told = said("set", "vacuum", "acetylene", "1", *WHY, "--yes")
    assert "1 unit would change" in told
    assert "V1" in told


def test_moisture_asks_for_oil_work_and_moves_no_date(db: Path) -> None:
    assert "No unit's oil call and no date would change." in said("set", "R1", "moisture", "10", *WHY, "--yes")
    page = json.loads(CliRunner().invoke(app, ["why", "T1", "--json"]).stdout)
    assert [work["kind"] for work in page["oil"]["oil_work"]] == ["wet oil"]
    assert page["oil"]["call"] == "nothing unusual"


def test_what_is_exported_comes_back_in(db: Path, tmp_path: Path, template: Path) -> None:
    said("set", "R1", "acetylene", "60.5", "--because", "=our, standard", "--yes", code=2)
    said("set", "R1", "acetylene", "60.5", "--because", "our, standard", "--yes")
    said("set", "R1", "breakdown", "30", "--method", "IEC 60156", "--gap", "2.5", *WHY, "--yes")
    said("export", "--out", "limits.csv")
    assert run("export").stdout == Path("limits.csv").read_text(encoding="utf-8")
    other = shutil.copy(template, tmp_path / "other.db")
    result = CliRunner().invoke(app, ["--db", str(other), "import", "limits.csv"])
    assert result.exit_code == 0, result.output
    assert held(Path(other)) == held(db)
    again = CliRunner().invoke(app, ["--db", str(db), "import", "limits.csv"])
    assert "limits       0              2" in again.stdout


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("R9", "acetylene", "60"), "No unit is of an oil group R9. Did you mean R1?"),
        (("R1", "colour", "60"), "QUANTITY: there is no limit of 'colour'; write one of: hydrogen"),
        (("R1", "acetylene", "<5"), "is no limit; write the number alone"),
        (("R1", "acetylene", "5 umol/mol"), "VALUE: "),
        (("R1", "breakdown", "30"), "needs its test method"),
        (("R1", "acetylene", "30", "--method", "IEC 60156"), "goes with breakdown_kv only"),
        (("vacuum", "acetylene", "30", "--technology", "arcing_resistor"), "is a technology itself"),
        (("R1", "acetylene", "0"), "value"),
        (("R1", "acetylene", "none"), "There is no limit of acetylene_ul_per_l for R1"),
    ],
)
def test_what_cannot_be_a_limit_is_refused_in_words(db: Path, words: tuple[str, ...], told: str) -> None:
    assert told in said("set", *words, *WHY, "--yes", code=2)
    assert held(db) == []


def test_a_group_of_vacuum_and_other_units_needs_its_technology(db: Path) -> None:
    CliRunner().invoke(app, ["unit", "change", "V1", "--oil-group", "R1"])
    assert "add --technology" in said("set", "R1", "acetylene", "60", *WHY, "--yes", code=2)
    said("set", "R1", "acetylene", "60", *WHY, "--technology", "vacuum", "--yes")
    assert held(db) == [("R1", "vacuum", "acetylene_ul_per_l", 60.0)]
