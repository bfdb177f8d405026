"""`tapwear condition`: noted, listed, closed, and beside the clocks in `due` and `why`."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from tapwear.cli.app import app
from tapwear.store.engine import create_store, open_store
from tapwear.store.entries import add_reading, add_service
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.words import stop_notice

STAMP = Stamp("Robin", datetime(2026, 10, 2, tzinfo=UTC))


@pytest.fixture
def db(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """T1 with two hundred operations a year, serviced in 2022, due in 2029 by the calendar."""
    store = create_store(tmp_path / "fleet.db")
    with store.rows(writing=True) as connection:
        values = {"unit": "T1", "station": "NORTH", "counter_digits": 6, "interval_operations": 50_000}
        unit = add_unit(connection, values | {"interval_years": 7.0}, STAMP)
        add_service(connection, unit, {"done_on": date(2022, 5, 1), "work": "overhaul"}, STAMP)
        for year in range(2022, 2027):
            add_reading(connection, unit, {"value": 200 * (year - 2020), "read_on": date(year, 6, 1)}, STAMP)
    store.close()
    for name, value in (("DB", tmp_path / "fleet.db"), ("TODAY", "2026-11-01"), ("NAME", "Robin")):
        monkeypatch.setenv(f"TAPWEAR_{name}", str(value))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "fleet.db"


def run(*words: str) -> Result:
    result = CliRunner().invoke(app, list(words))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def said(*words: str, code: int = 0) -> str:
    result = run(*words)
    assert result.exit_code == code, result.output
    return " ".join(result.output.split())


def test_an_act_by_day_leads_the_list_with_its_words_and_goes_when_closed(db: Path) -> None:
    before = json.loads(run("due", "--all", "--json").stdout)["dues"][0]
    told = said(
        "condition", "add", "T1", "motor_current", "--words", "peak odd", "--act-by", "2027-01-15", "--by", "K."
    )
    assert f"Stored: T1, motor current noted on 2026-11-01. Store: {db}" in told
    assert "STOP" not in told
    (due,) = json.loads(run("due", "--driver", "condition", "--json").stdout)["dues"]
    assert (due["early"], due["driver"], due["severe"]) == ("2027-01-15", "condition", False)
    sentence = "motor current: peak odd, noted 2026-11-01 by K. (act by 2027-01-15)"
    assert due["conditions"] == [sentence]
    assert sentence[1:] in said("due")
    page = said("why", "T1")
    assert sentence[1:] in page
    assert "The clocks of the contact service" in page
    assert "Closed on 2026-11-01: T1, motor current" in said(
        "condition", "close", "T1", "motor_current", "--words", "ok"
    )
    assert json.loads(run("due", "--all", "--json").stdout)["dues"][0] == before
    assert "The three clocks" in said("why", "T1")


def test_a_relay_trip_stops_all_suggestions_of_a_sample_or_visit(db: Path) -> None:
    assert stop_notice("T1") in said("condition", "add", "T1", "relay-trip", "--words", "surge relay")
    (due,) = json.loads(run("due", "--json").stdout)["dues"]
    assert (due["severe"], due["next_action"]) == (True, stop_notice("T1"))
    page = said("why", "T1")
    assert page.startswith(stop_notice("T1"))
    assert "Next:" not in page
    assert said("oil", "--requests").startswith(stop_notice("T1"))


def test_the_list_shows_open_ones_and_with_all_the_closed(db: Path) -> None:
    assert "Nothing noted is open" in said("condition", "list")
    said("condition", "add", "T1", "infrared", "--words", "warm", "--on", "2026-05-02", "--act-by", "2026-09-01")
    said("condition", "add", "T1", "other", "--words", "hum", "--on", "2026-05-03")
    shown = said("condition", "list", "T1")
    assert "2026-09-01 (gone by)" in shown
    said("condition", "close", "T1", "other", "--words", "fan", "--on", "2026-06-01")
    assert "hum" not in said("condition", "list")
    assert "2026-06-01: fan" in said("condition", "list", "--all")
    rows = json.loads(run("condition", "list", "--all", "--json").stdout)
    assert [(row["kind"], row["closed_on"]) for row in rows] == [("infrared", None), ("other", "2026-06-01")]


@pytest.mark.parametrize(
    ("code", "words", "told"),
    [
        (2, ("add", "T9", "infrared", "--words", "x"), "There is no unit T9"),
        (2, ("add", "T1", "smell", "--words", "x"), "KIND: 'smell' is none of the known words"),
        (2, ("add", "T1", "infrared", "--words", " "), "--words: nothing was given"),
        (2, ("add", "T1", "infrared", "--words", "x", "--on", "2027-01-01"), "lies in the future"),
        (2, ("add", "T1", "infrared", "--words", "x", "--act-by", "2020-01-01"), "lies before that on which"),
        (2, ("close", "T1", "infrared", "--words", "x"), "no open condition infrared; open: none"),
        (2, ("list", "T9"), "There is no unit T9"),
    ],
)
def test_what_cannot_be_is_refused_in_words(db: Path, code: int, words: tuple[str, ...], told: str) -> None:
    assert told in said("condition", *words, code=code)
    assert load_book(open_store(db)).conditions.empty


def test_another_one_of_the_kind_on_the_day_is_a_conflict_unless_it_corrects(db: Path) -> None:
    note = ("condition", "add", "T1", "infrared")
    said(*note, "--words", "warm")
    assert "words warm, you entered hot" in said(*note, "--words", "hot", code=3)
    said(*note, "--words", "hot", "--replace", "--because", "measured again")
    assert load_book(open_store(db)).conditions["words"].tolist() == ["hot"]
