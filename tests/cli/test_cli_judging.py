"""Entries as people type them, judged alike at `log`, at a visit and in an import; what is odd is told and kept."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cli.visit_store import ENV, own_copy, said
from typer.testing import CliRunner

from tapwear.cli import counter_check
from tapwear.cli.app import app


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A young store: U1 of six digits with three readings, U2 beside it with none."""
    path = tmp_path_factory.mktemp("judging") / "fleet.db"
    env = {**ENV, "TAPWEAR_DB": str(path)}
    for words in (
        ("init",),
        ("unit", "add", "U1", "--station", "AH", "--digits", "6", "--serial", "D99148-1"),
        ("unit", "add", "U2", "--station", "AH", "--digits", "6"),
        ("log", "U1", "123000", "--on", "2026-08-30"),
        ("log", "U1", "123400", "--on", "2026-09-30"),
        ("log", "U1", "123456", "--on", "2026-10-31"),
    ):
        result = CliRunner().invoke(app, words, env=env)
        assert result.exit_code == 0, result.output
    return path


@pytest.fixture
def db(template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return own_copy(template, tmp_path, monkeypatch)


def readings(unit: str = "U1") -> list[tuple[str, int]]:
    rows = json.loads(CliRunner().invoke(app, ["history", unit, "--kind", "reading", "--json"]).stdout)
    rows = rows["rows"] if isinstance(rows, dict) else rows
    return sorted((str(row["says"]["read_on"]), int(row["says"]["value"])) for row in rows if row["stands"])


# --- the judge at the commands --------------------------------------------------------------------------------


def test_a_backdated_slip_is_refused_and_what_follows_is_judged_by_the_right_readings(db: Path) -> None:
    words = said("log", "U1", "130000", "--on", "2026-09-15", code=3)
    assert "Next reading: 123400 on 2026-09-30" in words
    assert "Check: 130000: above the next reading, 123400 of 2026-09-30" in words
    assert "above the next reading, 123000" in said("log", "U1", "123999", "--on", "2026-08-01", code=3)
    said("log", "U1", "130000", "--on", "2026-09-15", "--sure", "as it was written")
    assert "Stored" in said("log", "U1", "123457")


def test_far_too_many_operations_are_called_too_many(db: Path) -> None:
    words = said("log", "U1", "999000", code=3)
    assert "far more operations than usual" in words
    assert "fewer" not in words


def test_a_number_typed_at_the_question_is_the_correction(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(counter_check, "at_a_terminal", lambda: True)
    words = said("log", "U1", "999000", typed="?\n123 458\n")
    assert "or type what the counter really shows" in words
    assert "Stored: U1, reading 123458" in words
    assert ("2026-11-01", 123_458) in readings()


def test_a_reason_that_nobody_gave_is_not_stored(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(counter_check, "at_a_terminal", lambda: True)
    said("log", "U1", "999000", typed="y\n\n")
    words = said("unit", "show", "U1")
    assert "last reading 999000 on 2026-11-01" in words
    assert "(doubtful: far more operations than usual since 2026-10-31" in words
    assert "read twice" not in words


# --- several a day --------------------------------------------------------------------------------------------


def test_two_visits_on_one_day_are_no_conflict_when_times_tell_them_apart(db: Path) -> None:
    said("visit", "U1", "--no-ask", "--counter", "123458", "--at", "7:30")
    said("visit", "U1", "--no-ask", "--counter", "123460", "--at", "16:30")
    assert said("resolve") == "No counter has two numbers for one day."
    assert "last reading 123460 on 2026-11-01" in said("unit", "show", "U1")
    said("log", "U1", "123461", "--at", "18:00")
    assert [value for day, value in readings() if day == "2026-11-01"] == [123_458, 123_460, 123_461]
    assert "below the last reading" in said("log", "U1", "123400", "--at", "19:00", code=3)
    assert "no time of day" in said("log", "U1", "123461", "--at", "25:00", code=2)


def test_after_an_exchange_the_new_counters_first_number_of_that_day_is_stored(db: Path) -> None:
    said("log", "U1", "123458")
    said("event", "U1", "counter_replaced", "--old", "123458", "--new", "0")
    words = said("log", "U1", "4")
    assert "Check" not in words
    assert [value for day, value in readings() if day == "2026-11-01"] == [4, 123_458]
    assert said("resolve") == "No counter has two numbers for one day."
    assert "last reading 4 on" in said("unit", "show", "U1")


def test_a_dispute_about_the_last_number_is_said_beside_it(db: Path) -> None:
    said("visit", "U1", "--no-ask", "--counter", "123458", "--by", "Kim")
    said("visit", "U1", "--no-ask", "--counter", "123472", "--by", "Pat", code=3)
    assert "disputed: the book has 123458 of that day too" in said("unit", "show", "U1")


# --- imports --------------------------------------------------------------------------------------------------


def test_an_import_keeps_an_odd_number_with_its_doubt_and_tells_it(db: Path, tmp_path: Path) -> None:
    rows = "unit,read_on,value\nU1,2026-10-15,132460\nU1,2026-11-01,123458\n"
    (tmp_path / "readings.csv").write_text(rows, encoding="utf-8")
    words = said("import", "readings.csv")
    assert "readings.csv:2 value: U1 on 2026-10-15: 132460: above the next reading, 123456 of 2026-10-31" in words
    assert "it is stored with this doubt" in words
    assert words.count("note: ") == 1
    assert ("2026-10-15", 132_460) in readings()
    assert "above the next reading" in said("history", "U1", "--kind", "reading")


def test_a_visit_file_is_judged_too(db: Path, tmp_path: Path) -> None:
    visit = {"id": "0b6e" * 8, "unit": "U1", "visited_on": "2026-11-01", "counters": [{"value": 8320}]}
    (tmp_path / "round.json").write_text(json.dumps({"tapwear_visits": 1, "visits": [visit]}), encoding="utf-8")
    words = said("import", "round.json")
    assert "8320: below the last reading, 123456 of 2026-10-31" in words
    assert "(doubtful: below the last reading" in said("unit", "show", "U1")


# --- as people type -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", ["123 458", "123'458", "123\u2019458", "123\u00a0458"])
def test_thousands_may_be_set_apart(db: Path, value: str) -> None:
    assert "Stored: U1, reading 123458" in said("log", "U1", value)


def test_days_and_decimals_are_taken_as_they_are_typed(db: Path, tmp_path: Path) -> None:
    assert "reading 123456 of 2026-10-31" in said("log", "U1", "123456", "--on", "yesterday")
    assert "write it like 2026-06-30, or yesterday" in said("log", "U1", "123458", "--on", "31.10.2026", code=2)
    (tmp_path / "tapwear.toml").write_text('dates = "DD.MM.YYYY"\n', encoding="utf-8")
    assert "reading 123457 of 2026-11-01" in said("log", "U1", "123457", "--on", "01.11.2026")
    said("visit", "U1", "--no-ask", "--oil-temperature", "41,5")
    assert "41.5" in said("history", "U1", "--kind", "observation")
    assert "12.5 ppm" in said("sample", "U1", "--acetylene", "12,5", "--on", "today")


def test_a_question_mark_explains_at_every_prompt_of_a_visit(db: Path) -> None:
    typed = "?\ny\n?\nD99184-1\n?\na\nD99148-1\n?\n999000\n?\n123458\n" + "\n" * 16 + "?\nn\n?\ny\n"
    words = said("visit", "U1", "--ask", typed=typed)
    assert "The station and unit on the sign" in words
    assert "not the transformer's, which is on the tank" in words
    assert "records that another unit stands here" in words
    assert "all 6 digits as they stand" in words
    assert "or type what it really shows" in words
    assert "a bottle or syringe" in words
    assert "Visit to U1 on 2026-11-01 saved (" in words
    assert ("2026-11-01", 123_458) in readings()


def test_an_amount_is_no_second_place_of_seepage(db: Path) -> None:
    said("visit", "U1", "--no-ask", "--seepage", "drain valve, 2 drops/min")
    words = said("followups")
    assert "1 open." in words
    assert "seepage: drain valve, 2 drops/min" in words


def test_an_oil_level_that_does_not_go_with_its_temperature_is_questioned(db: Path) -> None:
    words = said("visit", "U1", "--no-ask", "--oil-level", "low", "--oil-temperature", "85", code=3)
    assert "oil level low at 85 °C: warm oil stands higher" in words
