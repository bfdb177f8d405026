"""What technicians note beside the counter: asked where it makes sense, questioned where it cannot go together."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from cli.visit_store import ENV, guided, in_one_line, make_store, own_copy
from typer.testing import CliRunner

from tapwear.cli.app import app
from tapwear.store.engine import open_store
from tapwear.store.find import find_unit
from tapwear.store.observations import list_observations

UNIT = ["y", "s1042"]
REST = ["", "", "", "", "", "", "", ""]  # walls, pressure, gas, seepage, heater, noise, coating


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_store(tmp_path_factory.mktemp("notes"))


@pytest.fixture
def db(template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return own_copy(template, tmp_path, monkeypatch)


def visit(db: Path, *words: str, typed: list[str] | None = None, code: int = 0) -> str:
    return in_one_line(guided("visit", *words, typed=typed), code)


def seen(db: Path) -> dict[str, object]:
    store = open_store(db)
    with store.rows() as connection:
        rows = list_observations(connection, find_unit(connection, "T1"))
    store.close()
    today = [row for row in rows if str(row.observed_on) == ENV["TAPWEAR_TODAY"]]
    return {row.quantity: row.words if row.value is None else row.value for row in today}


def test_a_counter_that_gives_no_number_is_asked_about_and_kept_as_a_fact(db: Path) -> None:
    text = visit(db, "T1", typed=[*UNIT, "", "unr", "", "", "", "", "", *REST, "", "", "n", "y"])
    assert "Counter: running, unreadable, standing still" in text
    assert seen(db) == {"counter_state": "unreadable"}
    listed = CliRunner().invoke(app, ["--db", str(db), "followups"]).output
    assert "counter unreadable" in listed


def test_a_counter_that_was_read_is_not_asked_about(db: Path) -> None:
    text = visit(db, "T1", typed=[*UNIT, "11110", "", "", "", "", "", *REST, "", "", "n", "y"])
    assert "unreadable" not in text
    visit(db, "T1", "--counter", "11110", "--counter-state", "standing still")
    assert seen(db)["counter_state"] == "standing still"


def test_more_to_note_is_asked_only_of_the_groups_that_are_named(db: Path) -> None:
    drive = ["good", "worn", "f", "w", "n"]
    typed = [*UNIT, "11110", "", "", "", "", "", *REST, "everything", "dr, ph", *drive, "IMG 7; IMG 8", "", "n", "y"]
    text = visit(db, "T1", typed=typed)
    assert "Type one or more of drive, regulator" in text
    assert "Filter" not in text
    assert seen(db) == {
        "drive_oil": "good", "drive_gear": "worn", "end_stops": "faulty", "crank_interlock": "working",
        "moves_by_hand": "no", "photo_numbers": "IMG 7; IMG 8",
    }  # fmt: skip


def test_all_of_it_can_be_given_by_options_and_is_shown_again_before_it_is_stored(db: Path) -> None:
    words = ["--regulator-mode", "auto", "--relay-window", "gas", "--filter-pressure", "20psi"]
    words += ["--photo", "7", "--photo", "8"]
    words += ["--filter-hours", "1200", "--desiccant-colour", "green", "--desiccant-share", "60"]
    visit(db, "T1", *words, "--ambient-temperature", "-5", "--drive-oil", "low", "--does-not-move")
    found = seen(db)
    assert found["filter_pressure_kpa"] == pytest.approx(137.895, abs=1e-3)
    assert {name: found[name] for name in found if name != "filter_pressure_kpa"} == {
        "regulator_mode": "automatic", "relay_window": "gas seen", "filter_hours": 1_200.0, "breather_colour": "green",
        "breather_share_percent": 60.0, "ambient_temp_c": -5.0, "photo_numbers": "7; 8",
        "drive_oil": "low", "moves_by_hand": "no",
    }  # fmt: skip
    listed = CliRunner().invoke(app, ["--db", str(db), "followups"]).output
    assert "relay window gas seen" in listed
    assert "drive oil low" in listed
    typed = [*UNIT, "11120", "", "", "", "", "", *REST, "fil", "", "1300", "", "n", "y"]
    text = visit(db, "T1", "--on", "2026-11-01", typed=typed)
    assert "hours of the filter 1,300 h" in text
    assert "25:10" in visit(db, "T1", "--at", "25:10", code=2)
    assert "lies above 100" in visit(db, "T1", "--desiccant-share", "160", code=2)


def test_the_bottles_number_is_asked_with_the_sample_and_stands_on_the_label(db: Path) -> None:
    text = visit(db, "T1", typed=[*UNIT, "11110", "", "", "", "", "", *REST, "", "", "y", "B-17", "y"])
    assert "bottle B-17" in text
    assert seen(db) == {"bottle_number": "B-17"}
    assert "bottle ________________" in visit(db, "T2", "--sample")


def test_a_level_that_is_not_normal_is_asked_its_temperature_until_it_is_given(db: Path) -> None:
    typed = [*UNIT, "11110", "", "", "", "high", "", "", "41", *REST, "", "", "n", "y"]
    text = visit(db, "T1", typed=typed)
    assert text.count("The oil level is high: a level is judged by the oil temperature") == 2
    assert seen(db)["oil_temp_c"] == 41.0
    typed = [*UNIT, "11110", "", "", "", "low", "-", *REST, "", "", "n", "y"]
    assert "Type - where it cannot be read" not in visit(db, "T1", typed=typed)
    alone = visit(db, "T1", "--oil-level", "high")
    assert "The oil level is high, and no oil temperature was given: it cannot be judged" in alone


def test_oil_that_is_low_when_hot_or_high_when_cold_is_questioned(db: Path) -> None:
    hot = visit(db, "T1", "--oil-level", "low", "--oil-temperature", "85", code=3)
    assert "oil level low at 85 °C" in hot
    cold = visit(db, "T1", "--oil-level", "high", "--oil-temperature", "5F", "--units", "us", code=3)
    assert "oil level high at 5 °F" in cold
    assert seen(db) == {}
    typed = [*UNIT, "11110", "", "", "", "high", "-15", "n", "15", *REST, "", "", "n", "y"]
    visit(db, "T1", typed=typed)
    assert (seen(db)["oil_level"], seen(db)["oil_temp_c"]) == ("high", 15.0)


def test_low_oil_is_told_as_it_is_noted_and_with_noise_nothing_more_is_asked(db: Path) -> None:
    noise = ["", "", "", "", "", "", "unu"]  # walls, pressure, gas, seepage, heater, then noise
    text = visit(db, "T1", typed=[*UNIT, "11110", "", "", "", "low", "-", *noise, "left the cabinet", "y"])
    low, stop = text.index("T1: Oil level low. Leave the cabinet"), text.index("STOP: possible arcing")
    assert low < text.index("Oil temperature, °C") < stop < text.index("Remark")
    for question in ("Coating", "More to note", "Was an oil sample taken"):
        assert question not in text


def test_what_is_open_at_the_unit_is_said_to_whoever_shows_visits_or_services_it(db: Path) -> None:
    def done(*words: str) -> None:
        result = CliRunner().invoke(app, ["--db", str(db), *words])
        assert result.exit_code == 0, result.output

    done("condition", "add", "T1", "motor_current", "--words", "peak odd.", "--act-by", "2027-03-31")
    done("condition", "add", "T2", "motor_current", "--words", "of another unit")
    visit(db, "T1", "--seepage", "drain valve; lid", "--on", "2026-10-20")
    done("followups", "close", "T1", "seepage", "--which", "lid", "--words", "tightened", "--on", "2026-10-25")
    condition = "Motor current: peak odd, noted 2026-11-01 by Kim (act by 2027-03-31)."
    seepage = "Seepage: drain valve; seen 2026-10-20."
    text = visit(db, "T1", typed=["n"], code=2)
    assert text.index(f"Open at T1: {condition} Open at T1: {seepage}") < text.index("Are you at")
    assert "lid" not in text
    assert "another unit" not in text
    service = CliRunner().invoke(app, ["--db", str(db), "service", "T1", "--ask"], input="")
    assert f"Open at T1: {seepage}" in " ".join(service.output.split())
    shown = CliRunner().invoke(app, ["--db", str(db), "unit", "show", "T1"]).output
    assert f"Open\n  -  {condition}\n  -  {seepage}\n" in shown
    listed = CliRunner().invoke(app, ["--db", str(db), "unit", "show", "T1", "--json"]).stdout
    assert json.loads(listed)["open"] == [condition, seepage]


def test_a_number_of_a_counter_that_stands_still_is_no_count_of_operations(db: Path) -> None:
    def page(*words: str) -> str:
        result = CliRunner().invoke(app, ["--db", str(db), *words])
        return " ".join(result.output.split())

    before = page("why", "T1", "--as-of", "2026-12-31")
    words = ("--counter", "11014", "--counter-state", "standing still", "--on", "2026-10-15")
    visit(db, "T1", *words, "--sure", "seen twice")
    after = page("why", "T1", "--as-of", "2026-12-31")
    assert "the visit noted the counter as unreadable or standing still" in after
    rate = re.compile(r"About ([\d,]+) operations a year at present")
    assert rate.findall(after) == rate.findall(before) != []
    text = page("log", "T1", "11110")
    assert "Last reading: 011014 on 2026-10-15, 17 days before, by Kim (doubtful: counter noted as standing" in text
    assert "Stored: T1, reading 11110 of 2026-11-01" in text
