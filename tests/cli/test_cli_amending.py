"""Corrections at the command line: amend, undo and history; work that ends an overdue task needs its proof."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cli.desk_store import make_desk, run
from typer.testing import CliRunner

from tapwear.cli import on_visit_amend, on_visit_history, on_visit_service
from tapwear.cli.app import app
from tapwear.store.engine import open_store
from tapwear.store.loading import load_book

LATER = "2029-09-01"  # by then AH-T1 has made more than its 60,000 operations since 2020


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_desk(tmp_path_factory.mktemp("amending"))


@pytest.fixture
def db(desk: Path, tmp_path: Path) -> Path:
    """A copy of the small store: AH-T1 and AH-T2 were last read on 2026-03-30."""
    path = tmp_path / "fleet.db"
    path.write_bytes(desk.read_bytes())
    return path


def said(db: Path, *words: str, code: int = 0, today: str = "2026-06-30") -> str:
    result = run(db, *words, today=today)
    assert result.exit_code == code, result.output
    return " ".join(result.output.split())


def readings(db: Path, unit: str = "AH-T1") -> dict[str, int]:
    rows = load_book(open_store(db)).readings
    mine = rows[rows["unit"] == unit]
    return {f"{day:%Y-%m-%d}": int(value) for day, value in zip(mine["read_on"], mine["value"], strict=True)}


# --- amend ----------------------------------------------------------------------------------------------------


def test_a_reading_is_corrected_by_its_day_with_reason_and_name(db: Path) -> None:
    said(db, "log", "AH-T1", "48320")
    words = ["amend", "AH-T1", "reading", "--on", "2026-06-30", "--set", "value=48220", "--because", "misread"]
    told = said(db, *words, "--by", "Ann")
    assert "of 2026-06-30: value 48320 -> 48220. What was there before is kept" in told
    assert readings(db)["2026-06-30"] == 48_220
    shown = said(db, "history", "AH-T1", "--since", "2026-07-01")
    assert "48320, reader Kim. Replaced by" in shown
    assert "of Ann" in shown
    assert "value 48320 -> 48220; misread" in shown


def test_a_corrected_number_is_held_against_the_past_like_a_new_one(db: Path) -> None:
    said(db, "log", "AH-T1", "48320")
    words = ["amend", "AH-T1", "reading", "--on", "2026-06-30", "--set", "value=43820", "--because", "x"]
    assert "digits transposed? 43820 instead of 48320" in said(db, *words, code=3)
    assert readings(db)["2026-06-30"] == 48_320
    said(db, *words, "--sure", "photo")
    row = load_book(open_store(db)).readings.query("unit == 'AH-T1'").iloc[-1]
    assert (row["value"], row["doubt"].endswith("kept: photo")) == (43_820, True)


def test_a_row_is_withdrawn_and_stays_in_the_history(db: Path) -> None:
    said(db, "log", "AH-T1", "48320")
    words = ["amend", "AH-T1", "reading", "--on", "2026-06-30", "--withdraw", "--because", "read on AH-T2"]
    assert "Withdrawn: AH-T1" in said(db, *words)
    assert "2026-06-30" not in readings(db)
    assert "Withdrawn by" in said(db, "history", "AH-T1", "--kind", "readings")
    assert "has no reading of 2026-06-30" in said(db, *words, code=2)


def test_a_service_is_corrected_by_the_number_that_history_shows(db: Path) -> None:
    rows = json.loads(run(db, "history", "AH-T1", "--kind", "service", "--json").stdout)["rows"]
    (row,) = rows
    assert (row["stands"], row["says"]["work"], row["recorded_by"]) == (True, "overhaul", "Kim")
    number = ["--number", str(row["number"])]
    told = said(db, "amend", "AH-T1", "service", *number, "--set", "contact_left_mm=7.5", "--because", "typing")
    assert "contact left 8 -> 7.5" in told
    assert load_book(open_store(db)).services.query("unit == 'AH-T1'")["contact_left_mm"].tolist() == [7.5]
    assert "does not stand any more" in said(
        db, "amend", "AH-T1", "service", *number, "--withdraw", "--because", "x", code=2
    )


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["reading", "--on", "2026-03-30", "--because", "x"], "Say either what is right"),
        (["reading", "--on", "2026-03-30", "--withdraw", "--because", " "], "say why"),
        (["reading", "--on", "2026-03-30", "--set", "value", "--because", "x"], "not of the form FIELD=VALUE"),
        (["reading", "--on", "2026-03-30", "--set", "colour=red", "--because", "x"], "has no field colour"),
        (["reading", "--on", "2026-03-30", "--set", "value=", "--because", "x"], "cannot be cleared"),
        (["reading", "--on", "2026-03-30", "--set", "value=x", "--because", "x"], "not a whole number"),
        (["reading", "--set", "value=5", "--because", "x"], "say which with --on DATE or --number N"),
        (["reading", "--on", "2026-03-31", "--set", "value=5", "--because", "x"], "has no reading of 2026-03-31"),
        (["colour", "--withdraw", "--because", "x"], "kinds are condition, "),
        (["stay", "--withdraw", "--because", "x"], "a unit is not taken back"),
        (["fitting", "--set", "slot=B", "--because", "x"], "not corrected field by field"),
        (["service", "--set", "resets=everything", "--because", "x"], "there is no task everything"),
        (["service", "--set", "work=overhaul", "--because", "x"], "says so already"),
    ],
)
def test_what_cannot_be_corrected_is_refused_in_words(db: Path, words: list[str], told: str) -> None:
    before = run(db, "history", "AH-T1", "--json").stdout
    assert told in said(db, "amend", "AH-T1", *words, code=2)
    assert run(db, "history", "AH-T1", "--json").stdout == before


# --- undo -----------------------------------------------------------------------------------------------------


def test_undo_names_what_it_takes_back_and_needs_a_reason(db: Path) -> None:
    said(db, "log", "AH-T1", "48320")
    said(db, "log", "AH-T2", "48330", "--by", "Ann", "--sure", "x")
    told = said(db, "undo", code=2)
    assert "of 2026-06-30: 48320" in told
    assert "say why: --because REASON" in told
    assert "Taken back: 1 row" in said(db, "undo", "--because", "wrong unit")
    assert "2026-06-30" not in readings(db)
    assert readings(db, "AH-T2")["2026-06-30"] == 48_330
    assert "undone: wrong unit" in said(db, "history", "AH-T1")


def test_at_a_terminal_undo_asks_for_the_reason(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(on_visit_amend, "at_a_terminal", lambda: True)
    said(db, "log", "AH-T1", "48320")
    env = {"TAPWEAR_TODAY": "2026-06-30", "TAPWEAR_NAME": "Kim", "COLUMNS": "100"}
    runner = CliRunner(env=env)
    assert runner.invoke(app, ["--db", str(db), "undo"], input="\n").exit_code == 2
    assert readings(db)["2026-06-30"] == 48_320
    assert runner.invoke(app, ["--db", str(db), "undo"], input="wrong day\n").exit_code == 0
    assert "2026-06-30" not in readings(db)


def test_an_import_is_not_undone_but_named(db: Path) -> None:
    assert "was an import of" in said(db, "undo", "--because", "x", code=2)


# --- history --------------------------------------------------------------------------------------------------


def test_the_history_ends_with_the_latest_and_says_what_it_leaves_out(
    db: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said(db, "log", "AH-T1", "48320")
    lines = run(db, "history", "AH-T1").stdout.splitlines()
    assert "48320" in lines[-1]
    assert lines[0] == "Changes of the register"
    monkeypatch.setattr(on_visit_history, "SHOWN", 5)
    result = run(db, "history", "AH-T1", "--kind", "reading")
    assert len(result.stdout.splitlines()) == 2 + 5
    assert "earlier rows are not shown; --all shows all" in result.stderr
    assert len(run(db, "history", "AH-T1", "--kind", "reading", "--all").stdout.splitlines()) > 20


@pytest.mark.parametrize("width", [80, 120])
def test_on_a_screen_the_history_keeps_within_its_width(db: Path, width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    from tapwear.report import terminal

    monkeypatch.setattr(terminal, "is_screen", lambda stream: True)
    said(db, "log", "AH-T1", "48320", "--remark", "a long remark that needs more room than one line can give " * 3)
    result = CliRunner(env={"COLUMNS": str(width), "TERM": "dumb"}).invoke(app, ["--db", str(db), "history", "AH-T1"])
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert max(len(line) for line in lines) <= width
    assert "one line can give" in " ".join(result.stdout.split())


# --- work that ends an overdue task ---------------------------------------------------------------------------


def work(db: Path, *words: str, code: int = 0) -> str:
    return said(db, "service", "AH-T1", "--work", "overhaul", "--on", LATER, *words, code=code, today=LATER)


def test_work_that_ends_an_overdue_task_needs_serial_counter_and_a_second_name(db: Path) -> None:
    proof = ["--serial", "S1", "--as-found", "71500", "--witness", "Ann"]
    told = work(db, code=2)
    assert "contact service was overdue on 2029-09-01" in told
    assert "missing: the serial number on the nameplate" in told
    for left_out, name in ((0, "--serial"), (2, "--as-found"), (4, "--witness")):
        words = proof[:left_out] + proof[left_out + 2 :]
        assert f"({name})" in work(db, *words, code=2).split("missing:")[1]
    assert "(--witness)" in work(db, *proof[:4], "--witness", "kim", code=2).split("missing:")[1]
    assert len(load_book(open_store(db), unit="AH-T1").services) == 1
    assert "Stored: AH-T1, overhaul" in work(db, *proof)
    row = json.loads(run(db, "history", "AH-T1", "--kind", "service", "--json").stdout)["rows"][-1]
    assert (row["says"]["witness"], row["says"]["done_by"]) == ("Ann", "Kim")


def test_work_that_ends_nothing_overdue_needs_no_second_name(db: Path) -> None:
    assert "Stored" in said(db, "service", "AH-T1", "--work", "overhaul", "--on", "2026-06-30")
    assert "Stored" in work(db, "--resets", "none")


def test_a_service_is_not_amended_into_one_that_ends_an_overdue_task_without_proof(db: Path) -> None:
    work(db, "--resets", "none")
    words = ["amend", "AH-T1", "service", "--on", LATER, "--set", "resets=contact service", "--because", "x"]
    assert "was overdue on" in said(db, *words, code=2, today=LATER)
    more = ["--set", "serial_seen=S1", "--set", "as_found_counter=71500", "--witness", "Ann"]
    assert "resets none -> contact service" in said(db, *words, *more, today=LATER)


def test_at_a_terminal_the_second_name_is_asked_for(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(on_visit_service, "at_a_terminal", lambda: True)
    env = {"TAPWEAR_TODAY": LATER, "TAPWEAR_NAME": "Kim"}
    words = ["--db", str(db), "service", "AH-T1", "--work", "overhaul", "--serial", "S1", "--as-found", "71500"]
    result = CliRunner(env=env).invoke(app, words, input=9 * "\n" + "Ann\ny\n")
    assert result.exit_code == 0, result.output
    assert "Overdue until now: contact service" in result.output
