"""The guided visit: the right unit first, every answer held against the past, all stored at the end or nothing."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cli.visit_store import ENV, guided, make_store, own_copy
from cli.visit_store import in_one_line as said
from typer.testing import CliRunner, Result

from tapwear.cli import visit_asking
from tapwear.cli.app import app
from tapwear.cli.visit_draft import Draft, draft_path, load_draft, save_draft
from tapwear.errors import UsageError
from tapwear.report import terminal
from tapwear.store.conditions import add_condition
from tapwear.store.engine import open_store
from tapwear.store.find import find_unit
from tapwear.store.observations import list_observations
from tapwear.store.recording import Stamp
from tapwear.words import CAUTIONS, stop_notice

# Answers in the order of the questions for T1, a sealed unit.
PLACE, SERIAL, COUNTER = "y", "s1042", "11110"
POSITIONS = ["5L", "9L", "2R", "y"]
OIL = ["normal", "41", "38", "44"]
GAS = ["4", "8800"]
REST = ["none", "w", "usual", "sound", "", "all quiet"]
WHOLE = [PLACE, SERIAL, COUNTER, *POSITIONS, *OIL, *GAS, *REST, "n", "y"]


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_store(tmp_path_factory.mktemp("visiting"))


@pytest.fixture
def db(template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return own_copy(template, tmp_path, monkeypatch)


def visit(db: Path, *words: str, typed: list[str] | None = None) -> Result:
    return guided("visit", *words, typed=typed)


def stored(db: Path, unit: str = "T1") -> dict[str, Any]:
    """What the book holds of today's visit: readings by value with their doubt, observations by quantity."""
    store = open_store(db)
    with store.rows() as connection:
        key = find_unit(connection, unit)
        rows = [row for row in list_observations(connection, key) if str(row.observed_on) == ENV["TAPWEAR_TODAY"]]
        readings = connection.exec_driver_sql(
            "SELECT value, doubt FROM reading WHERE read_on = '2026-11-01' ORDER BY id"
        ).fetchall()
        visits = connection.exec_driver_sql("SELECT count(*) FROM visit").scalar()
    store.close()
    seen = {row.quantity: row.words if row.value is None else row.value for row in rows}
    return {"readings": [tuple(row) for row in readings], "seen": seen, "visits": visits}


NOTHING = {"readings": [], "seen": {}, "visits": 0}


def draft_of(db: Path, unit: str = "T1") -> Path:
    return draft_path(db.parent, db.name, unit)


# --- a whole visit --------------------------------------------------------------------------------------------


def test_a_visit_typed_in_is_stored_whole_and_its_draft_is_gone(db: Path) -> None:
    text = said(visit(db, "T1", typed=WHOLE))
    assert "Are you at NORTH, bank B1, unit T1" in text
    assert "Visit to T1 on 2026-11-01 saved (" in text
    assert stored(db) == {
        "readings": [(11_110, "")],
        "seen": {
            "position": "5L", "position_low": "9L", "position_high": "2R", "drag_hands_reset": "yes",
            "oil_level": "normal", "oil_temp_c": 41.0, "compartment_temp_c": 38.0, "main_tank_temp_c": 44.0,
            "pressure_kpa": 4.0, "gas_bottle_kpa": 8_800.0, "seepage": "none", "heater": "working",
            "noise": "usual", "coating": "sound", "remark": "all quiet",
        },
        "visits": 1,
    }  # fmt: skip
    assert not list(db.parent.glob("*visit*"))
    assert "200 kPa used in 31 days, since 9000 kPa on 2026-10-01" in text


def test_the_same_visit_is_given_by_options_alone(db: Path) -> None:
    words = ["--station", "north", "--bank", "B1", "--serial", "S-1042", "--counter", "11110", "--position", "5L"]
    words += ["--drag-low", "9L", "--drag-high", "2R", "--drag-reset", "--oil-level", "normal"]
    words += ["--oil-temperature", "41", "--compartment-temperature", "38", "--main-tank-temperature", "44"]
    words += ["--pressure", "4", "--gas-bottle", "8800", "--seepage", "none", "--heater", "working"]
    words += ["--noise", "usual", "--coating", "sound", "--remark", "all quiet", "--no-sample"]
    result = visit(db, "T1", *words)
    assert " saved (" in said(result)
    assert result.stdout == ""
    by_options = stored(db)
    visit(db, "T1", "--on", "2026-10-31", *words)
    assert by_options["readings"] == [(11_110, "")]
    assert (by_options["seen"]["position_low"], by_options["seen"]["drag_hands_reset"]) == ("9L", "yes")
    assert len(by_options["seen"]) == 15


def test_three_drives_are_asked_one_by_one_and_given_by_name(db: Path) -> None:
    words = ["--counter", "A=1200", "--counter", "B=1204", "--counter", "C=1199", "--controller", "B=77"]
    assert "saved (4 entries)" in said(visit(db, "T3", *words))
    assert sorted(value for value, _ in stored(db, "T3")["readings"]) == [77, 1_199, 1_200, 1_204]
    assert "say which drive, like A=1200" in said(visit(db, "T3", "--counter", "1200"), 2)
    text = visit(db, "T3", typed=["y", ""]).output
    assert "Counter, drive A" in text


def test_units_of_measure_are_those_that_were_set(db: Path) -> None:
    (db.parent / "tapwear.toml").write_text('units = "us"\n', encoding="utf-8")
    words = ["--oil-temperature", "105", "--pressure", "1", "--main-tank-temperature", "41C"]
    said(visit(db, "T1", *words))
    seen = stored(db)["seen"]
    assert seen["oil_temp_c"] == pytest.approx(40.5556, abs=1e-4)
    assert seen["pressure_kpa"] == pytest.approx(6.894757)
    assert seen["main_tank_temp_c"] == 41.0
    text = visit(db, "T1", typed=[PLACE, SERIAL, COUNTER, "", "", "", "normal", ""]).output
    assert "Oil temperature, °F (last 95 °F on 2026-10-01)" in text
    assert "no system of units" in said(visit(db, "T1", "--units", "old"), 2)


def test_a_visit_can_be_undone_as_one_entry(db: Path) -> None:
    said(visit(db, "T1", typed=WHOLE))
    undone = CliRunner().invoke(app, ["--db", str(db), "undo", "--because", "practice"])
    assert "Taken back: 17 rows" in undone.output
    assert stored(db)["seen"] == {}


def test_positions_are_taken_in_the_units_own_writing(db: Path) -> None:
    assert CliRunner().invoke(app, ["--db", str(db), "unit", "change", "T1", "--positions", "1-9abc-17"]).exit_code == 0
    assert "is not how this unit's positions are written" in said(visit(db, "T1", "--position", "9"), 2)
    said(visit(db, "T1", "--position", "9B", "--drag-low", "8", "--drag-high", "9c"))
    assert stored(db)["seen"] == {"position": "9b", "position_low": "8", "position_high": "9c"}


def test_a_second_number_for_the_day_is_told_before_and_after_and_both_are_kept(db: Path) -> None:
    CliRunner().invoke(app, ["--db", str(db), "log", "T1", "11108"])
    text = said(visit(db, "T1", "--counter", "11110"), 3)
    assert "The book has 11108 of 2026-11-01 already, by Kim" in text
    assert "both are kept; decide which is right: tapwear resolve" in text
    assert [value for value, _ in stored(db)["readings"]] == [11_108, 11_110]


def test_an_observation_is_corrected_by_what_it_is_about(db: Path) -> None:
    said(visit(db, "T1", "--oil-temperature", "105", "--oil-level", "low", "--sure", "x"))
    words = ["--db", str(db), "amend", "T1", "observation", "--on", "2026-11-01", "--because", "was in F"]
    result = CliRunner().invoke(app, [*words, "--set", "oil_temp_c=105F"])
    assert "oil temperature 105 °C -> oil temperature 40.5556 °C" in result.output
    assert "say which with --on DATE or --number N" in CliRunner().invoke(app, [*words, "--withdraw"]).output
    assert "write one of: low, normal, high" in CliRunner().invoke(app, [*words, "--set", "oil_level=full"]).output


# --- the right unit -------------------------------------------------------------------------------------------


def test_the_neighbours_serial_number_stops_and_names_the_unit(db: Path) -> None:
    text = said(visit(db, "T1", "--serial", "S9020", "--counter", "11110"), 2)
    assert "T1 has serial number S-1042, you read S9020. That is T2: you seem to stand before it" in text
    assert "tapwear visit T2" in text
    text = said(visit(db, "T1", typed=[PLACE, "S-9020", "s"]), 2)
    assert "That is T2" in text
    assert stored(db) == NOTHING
    assert not draft_of(db).exists()


def test_a_serial_number_misread_is_read_again(db: Path) -> None:
    text = said(visit(db, "T1", typed=[PLACE, "S-1044", "a", *WHOLE[1:]]))
    assert "They come near each other: read it again" in text
    assert stored(db)["readings"] == [(11_110, "")]


def test_another_unit_that_stands_here_is_recorded_with_its_serial_and_nothing_else(db: Path) -> None:
    said(visit(db, "T1", typed=[PLACE, "X-1", "o", "new plate", "y"]))
    shown = CliRunner().invoke(app, ["--db", str(db), "condition", "list"]).output
    assert "Another unit stands here: the nameplate says serial number X-1" in " ".join(shown.split())
    assert stored(db)["readings"] == []
    assert "is nowhere in the register" in said(visit(db, "T2", "--serial", "X-1", "--counter", "54000"), 2)
    said(visit(db, "T2", "--serial", "X-1", "--another-unit"))


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--station", "SOUTH", "--counter", "1"], "T1 stands at NORTH, bank B1; you entered station SOUTH"),
        (["--bank", "B2", "--counter", "1"], "you entered bank B2"),
        (["--counter", "1234567"], "more digits than the counter"),
        (["--counter", "Z=5"], "say which drive"),
        (["--position", "17R"], "lies outside this unit's positions"),
        (["--position", "12"], "is not how this unit's positions are written"),
        (["--drag-low", "5R", "--drag-high", "2L"], "drag hands from 5R up to 2L"),
        (["--oil-level", "fine"], "write one of: low, normal, high"),
        (["--oil-temperature", "warm"], "is not a number"),
        (["--pressure", "-200"], "lies below"),
        (["--on", "2027-01-01"], "lies in the future"),
        ([], "holds nothing"),
        (["--resume"], "There is no unfinished visit to T1"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_nothing_is_stored(db: Path, words: list[str], told: str) -> None:
    assert told in said(visit(db, "T1", *words), 2)
    assert stored(db) == NOTHING


# --- what is odd ----------------------------------------------------------------------------------------------


def test_a_counter_is_checked_as_it_is_typed_and_asked_once(db: Path) -> None:
    text = said(visit(db, "T1", typed=[PLACE, SERIAL, "11101", *WHOLE[3:]]))
    assert "Check" not in text
    text = said(visit(db, "T2", typed=["y", "S-9020", "55011", "n", "55110", *[""] * 17, "y"]))
    assert text.count("Check: ") == 1
    assert "far fewer operations than usual since 2026-10-01: 11 against about 101" in text
    assert "digits transposed? 55011 instead of 55101" in text
    assert stored(db, "T2")["readings"][-1] == (55_110, "")


def test_the_neighbours_counter_is_recognised(db: Path) -> None:
    text = said(visit(db, "T1", "--counter", "55102"), 3)
    assert "T2" in text.split("Check:")[1]
    assert "--sure REASON" in text
    assert stored(db) == NOTHING
    said(visit(db, "T1", "--counter", "55102", "--sure", "counter exchanged"))
    ((value, doubt),) = stored(db)["readings"]
    assert value == 55_102
    assert doubt.endswith("kept: counter exchanged")


def test_the_same_odd_number_typed_twice_is_kept_with_its_mark(db: Path) -> None:
    said(visit(db, "T1", typed=[PLACE, SERIAL, "10110", "n", "10110", *WHOLE[3:]]))
    ((value, doubt),) = stored(db)["readings"]
    assert (value, doubt.endswith("kept: typed twice")) == (10_110, True)


def test_an_odd_observation_is_kept_with_its_mark_in_the_remark(db: Path) -> None:
    words = ["--oil-temperature", "105"]
    assert "oil temperature 105 °C is unusual; is the unit of measure right?" in said(visit(db, "T1", *words), 3)
    words += ["--position", "9R", "--drag-low", "1L", "--drag-high", "2R"]
    assert stored(db) == NOTHING
    said(visit(db, "T1", *words, "--sure", "bypassed cooler", "--remark", "hot"))
    seen = stored(db)["seen"]
    assert seen["oil_temp_c"] == 105.0
    assert seen["remark"].startswith("hot; Questioned: ")
    assert "position 9R lies above the highest drag hand, 2R" in seen["remark"]
    assert seen["remark"].count("kept: bypassed cooler") == 2


def test_a_compartment_hotter_than_its_tank_is_told_as_advice(db: Path) -> None:
    text = said(visit(db, "T1", "--compartment-temperature", "48", "--main-tank-temperature", "44"))
    assert "hotter than the main tank: tell the engineer" in text


# --- samples, and who must not be sampled ---------------------------------------------------------------------


def test_a_sample_prints_the_label_on_standard_output(db: Path) -> None:
    result = visit(db, "T1", "--serial", "S-1042", "--counter", "11110", "--oil-temperature", "41", "--sample")
    assert "unit     T1" in result.stdout
    assert "serial   S-1042" in result.stdout
    assert "date     2026-11-01     oil temperature 41 °C" in result.stdout
    assert "counter  11110   taken by Kim" in result.stdout
    assert CAUTIONS[2] in result.stderr


def test_under_negative_pressure_no_sample_is_taken_from_an_energised_unit(db: Path) -> None:
    words = ["--pressure", "-5", "--sure", "vacuum since the refill"]
    text = said(visit(db, "T1", *words, "--sample"), 2)
    assert CAUTIONS[2] in text
    assert "--de-energised" in text
    assert stored(db) == NOTHING
    assert "unit     T1" in visit(db, "T1", *words, "--sample", "--de-energised").stdout
    answers = [*WHOLE[:11], "-5", "y", "", "8800", *REST, "n", "y"]
    result = visit(db, "T1", "--anew", typed=answers)
    assert result.output.count("Is the unit de-energised") == 1
    assert "Was an oil sample taken" not in result.output


def test_oil_that_is_sampled_only_in_an_outage_is_not_sampled_in_service(db: Path) -> None:
    CliRunner().invoke(app, ["--db", str(db), "unit", "change", "T1", "--sampling-needs-outage"])
    text = said(visit(db, "T1", "--counter", "11110", "--sample"), 2)
    assert "can be sampled only when it is out of service" in text
    assert stored(db) == NOTHING
    assert "unit     T1" in visit(db, "T1", "--counter", "11110", "--sample", "--de-energised").stdout


def severe(db: Path) -> None:
    store = open_store(db)
    with store.rows(writing=True) as connection:
        from datetime import UTC, date, datetime

        from tapwear.store.conditions import severe_condition
        from tapwear.store.stops import open_stop

        values = {"noted_on": date(2026, 10, 20), "kind": "relay_trip", "words": "surge relay"}
        stamp = Stamp("Robin", datetime(2026, 10, 20, tzinfo=UTC))
        unit = find_unit(connection, "T1")
        add_condition(connection, unit, values, stamp)
        open_stop(connection, unit, severe_condition(unit, {"author": "Robin", **values}), stamp)
    store.close()


def test_at_a_severe_unit_its_words_come_first_and_only_what_was_read_is_asked(db: Path) -> None:
    severe(db)
    result = visit(db, "T1", typed=["y", PLACE, SERIAL, COUNTER, "", "y"])
    assert result.stderr.startswith(stop_notice("T1"))
    text = said(result)
    assert stored(db)["readings"] == [(11_110, "")]
    for word in ("sample", "Drag hands", "Position", "Oil level"):
        assert word not in text.replace(stop_notice("T1"), "")
    assert "Nothing was recorded" in said(visit(db, "T1", typed=["n"]), 2)


def test_a_severe_finding_of_the_oil_stops_as_well(db: Path) -> None:
    from datetime import UTC, date, datetime

    from tapwear.store.stops import Severe, open_stop

    assert "STOP" not in visit(db, "T1", "--counter", "11110").output
    store = open_store(db)
    with store.rows(writing=True) as connection:
        found = Severe("T1", date(2026, 6, 1), "oil", "Ethylene rose.")
        open_stop(connection, find_unit(connection, "T1"), found, Stamp("R", datetime(2026, 6, 1, tzinfo=UTC)))
    store.close()
    result = visit(db, "T1", "--remark", "x", "--sample")
    assert result.stderr.startswith(stop_notice("T1"))
    assert "Ethylene rose." in result.stderr
    assert result.stdout == ""


# --- drafts ---------------------------------------------------------------------------------------------------


class Stopping:
    """Types answers like a person, and stops with Ctrl-C at one prompt."""

    def __init__(self, answers: list[str], stop_at: int) -> None:
        self.answers: Iterator[str] = iter(answers)
        self.left = stop_at
        self.prompts = 0

    def input(self, prompt: Any) -> str:
        self.prompts += 1
        if self.left == 0:
            raise KeyboardInterrupt
        self.left -= 1
        return next(self.answers)


@pytest.mark.parametrize("at", range(len(WHOLE)))
def test_ctrl_c_at_any_prompt_leaves_the_store_alone_and_the_draft_goes_on(
    db: Path, at: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = db.read_bytes()
    monkeypatch.setattr(visit_asking.Asking, "console", Stopping(WHOLE, at))
    text = said(visit(db, "T1", typed=[]), 130)
    assert db.read_bytes() == before
    if at == 0:
        assert "Stopped; nothing was recorded" in text
        assert not draft_of(db).exists()
        return
    assert "tapwear visit T1 --resume" in text
    assert draft_of(db).stat().st_mode & 0o077 == 0
    monkeypatch.setattr(visit_asking.Asking, "console", Stopping(WHOLE[at:], len(WHOLE)))
    assert " saved (" in said(visit(db, "T1", "--resume", typed=[]))
    assert stored(db)["seen"]["remark"] == "all quiet"
    assert stored(db)["readings"] == [(11_110, "")]
    assert not draft_of(db).exists()


def test_an_unfinished_visit_is_not_begun_a_second_time_by_accident(db: Path) -> None:
    assert visit(db, "T1", typed=[PLACE, SERIAL, "11110"]).exit_code == 130  # the input ends: like a closed terminal
    text = said(visit(db, "T1", typed=[PLACE]), 2)
    assert "was left unfinished after 3 answers" in text
    assert "--resume; or drop it and begin again: --anew" in text
    assert "is missing" not in text
    said(visit(db, "T1", "--counter", "11110"))  # a visit by options alone touches no draft
    assert draft_of(db).exists()
    said(visit(db, "T1", "--anew", typed=WHOLE))


def test_a_visit_killed_after_it_was_stored_is_not_stored_twice(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from tapwear.cli import visit_flow

    with monkeypatch.context() as patch:
        patch.setattr(visit_flow, "remove_draft", lambda path: None)
        said(visit(db, "T1", typed=WHOLE))
    first = stored(db)
    assert "is in the book already" in said(visit(db, "T1", "--resume", typed=["y"]))
    assert stored(db) == first


def test_going_back_asks_the_question_before_again(db: Path) -> None:
    said(visit(db, "T1", typed=[PLACE, SERIAL, "11110", "<", "11112", *WHOLE[3:]]))
    assert stored(db)["readings"] == [(11_112, "")]


def test_a_question_mark_explains_and_a_wrong_word_is_asked_again(db: Path) -> None:
    answers = [*WHOLE[:7], "?", "middling", *WHOLE[7:]]
    text = said(visit(db, "T1", typed=answers))
    assert "one of: low, normal, high (the first letters are enough)" in text
    assert "'middling' is none of the known words" in text


def test_a_draft_is_replaced_in_one_move_and_a_damaged_one_is_refused(tmp_path: Path, db: Path) -> None:
    path = draft_of(db)
    from datetime import date

    draft = Draft("T1", date(2026, 11, 1), "Kim", counters={"1/mechanical": {"value": 5, "doubt": ""}})
    save_draft(path, draft)
    assert load_draft(path, "T1") == draft
    (path.parent / (path.name + ".new")).write_text("half", encoding="utf-8")  # a kill while it was written
    save_draft(path, draft)
    assert load_draft(path, "T1") == draft
    for text in ("half {", "[]", json.dumps({"schema": "other", "unit": "T1"}), '{"unit": "T1"}'):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(UsageError, match="--anew"):
            load_draft(path, "T1")
    assert load_draft(tmp_path / "none.json", "T1") is None


def test_tags_with_odd_letters_have_drafts_of_their_own(tmp_path: Path) -> None:
    names = {draft_path(tmp_path, "fleet.db", tag).name for tag in ("A/1", "A 1", "A-1", "../A-1", "Ä")}
    assert len(names) == 5
    assert all("/" not in name for name in names)


def test_the_questions_go_to_standard_error(db: Path) -> None:
    assert visit(db, "T1", typed=WHOLE).stdout == ""
    assert terminal.make_console(error=True).stderr
