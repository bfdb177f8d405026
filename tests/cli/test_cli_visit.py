"""Commands of the visit: units, readings, samples, services, events, with and without somebody at the terminal."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from tapwear.cli import counter_check, on_visit_service
from tapwear.cli.app import app
from tapwear.report.plain import plain
from tapwear.store.book import Book
from tapwear.store.engine import create_store, open_store
from tapwear.store.entries import add_reading
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit


@pytest.fixture(scope="module")
def templates(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """An empty store; and one with T1, about 100 operations a month, last read on 2026-10-01."""
    folder = tmp_path_factory.mktemp("visit")
    create_store(folder / "empty.db").close()
    steady = create_store(folder / "steady.db")
    stamp = Stamp("Robin", datetime(2026, 10, 2, tzinfo=UTC))
    with steady.rows(writing=True) as connection:
        values = {"unit": "T1", "station": "NORTH", "counter_digits": 6, "serial": "S-1042"}
        unit = add_unit(connection, values, stamp)
        for month in range(1, 11):
            value = 10_000 + 100 * month + (7 * month) % 5
            add_reading(connection, unit, {"value": value, "read_on": date(2026, month, 1), "reader": "Kim"}, stamp)
    steady.close()
    return {name: folder / f"{name}.db" for name in ("empty", "steady")}


@pytest.fixture
def db(templates: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = Path(shutil.copy(templates["empty"], tmp_path / "fleet.db"))
    monkeypatch.setenv("TAPWEAR_DB", str(path))
    monkeypatch.setenv("TAPWEAR_TODAY", "2026-11-01")
    monkeypatch.setenv("TAPWEAR_NAME", "Robin")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.chdir(tmp_path)
    return path


@pytest.fixture
def steady(templates: dict[str, Path], db: Path) -> Path:
    return Path(shutil.copy(templates["steady"], db))


def run(*words: str, typed: str = "") -> Result:
    result = CliRunner().invoke(app, list(words), input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def done(*words: str, typed: str = "") -> str:
    """What a command said that had to succeed, without regard to line ends."""
    result = run(*words, typed=typed)
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


def refused(code: int, *words: str, typed: str = "") -> str:
    result = run(*words, typed=typed)
    assert result.exit_code == code, result.output
    return " ".join(result.output.split())


def book(db: Path) -> Book:
    return load_book(open_store(db))


# --- units ----------------------------------------------------------------------------------------------------


def test_adding_a_unit_says_where_and_what_is_not_known_yet(db: Path) -> None:
    said = done("unit", "add", "T1", "--station", "NORTH", "--digits", "6")
    assert f"Added T1 at NORTH. Store: {db}" in said
    assert "Not known yet: serial number" in said
    assert "service interval or scheme" in said
    assert book(db).units["unit"].tolist() == ["T1"]


def test_volumes_may_be_given_in_gallons(db: Path) -> None:
    done("unit", "add", "T1", "--station", "N", "--digits", "6", "--oil-volume", "100gal_us")
    assert book(db).units["oil_volume_l"].iloc[0] == pytest.approx(378.5411784)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["T1", "--digits", "6"], "--station is needed"),
        (["T1", "--station", "N"], "--digits is needed"),
        (["T1", "--station", "N", "--digits", "12"], "--digits: 12 lies above 9"),
        (["T1", "--station", "N", "--digits", "six"], "--digits: 'six' is not a whole number"),
        (["T1", "--station", "N", "--digits", "6", "--technology", "gas"], "write one of: arcing_resistor"),
        (["T1", "--station", "N", "--digits", "6", "--oil-volume", "5 barrels"], "is not known for volume"),
        (["T1", "--station", "N", "--digits", "6", "--commissioned", "1.2.2020"], "YYYY-MM-DD"),
        (["  ", "--station", "N", "--digits", "6"], "TAG: nothing was given"),
        (["T\x1b[31m1", "--station", "N", "--digits", "6"], "invisible character"),
    ],
)
def test_a_unit_that_cannot_be_is_refused_in_words(db: Path, words: list[str], said: str) -> None:
    assert said in refused(2, "unit", "add", *words)
    assert book(db).units.empty


def test_a_misspelled_station_is_asked_back(db: Path) -> None:
    done("unit", "add", "T1", "--station", "NORTH", "--digits", "6")
    assert "Did you mean NORTH?" in refused(2, "unit", "add", "T2", "--station", "NORHT", "--digits", "6")
    done("unit", "add", "T2", "--station", "NORHT", "--digits", "6", "--new-station")
    done("unit", "add", "T3", "--station", "S2", "--digits", "6")
    done("unit", "add", "T4", "--station", "S3", "--digits", "6")


def test_a_change_says_before_and_after_and_the_history_is_shown(db: Path) -> None:
    done("unit", "add", "T1", "--station", "NORTH", "--digits", "6", "--note", "old")
    said = done("unit", "change", "T1", "--serial", "S-1", "--note", "", "--because", "read on the plate")
    assert "serial: nothing -> S-1" in said
    assert "note: old -> nothing" in said
    assert "nothing was changed" in done("unit", "change", "T1", "--serial", "S-1")
    shown = done("unit", "show", "T1")
    assert "serial: nothing -> S-1, by Robin (read on the plate)" in shown
    assert "Say what to change" in refused(2, "unit", "change", "T1")
    assert "cannot be cleared" in refused(2, "unit", "change", "T1", "--station", "")


def test_move_swap_and_retire_tell_what_happened(db: Path) -> None:
    done("unit", "add", "T1", "--station", "NORTH", "--digits", "6")
    done("unit", "add", "SP", "--station", "NORTH", "--digits", "6", "--state", "spare")
    assert "SP took the place of T1" in done("unit", "swap", "T1", "SP", "--on", "2026-03-01", "--state", "spare")
    assert "Moved T1 on 2026-04-01" in done("unit", "move", "T1", "--on", "2026-04-01", "--state", "workshop")
    assert "Retired T1" in done("unit", "retire", "T1", "--on", "2026-05-01", "--because", "scrapped")
    assert "lies in the future" in refused(2, "unit", "move", "SP", "--on", "2027-01-01", "--state", "spare")
    assert "give --station too" in refused(2, "unit", "move", "SP", "--bank", "B1")
    lines = run("unit", "list").stdout.splitlines()
    assert lines[0].split()[:4] == ["unit", "station", "bank", "phase"]
    assert [line.split()[0] for line in lines[1:]] == ["SP", "T1"]
    assert "retired" in lines[2]


def test_the_list_and_a_sheet_come_as_json(steady: Path) -> None:
    (unit,) = json.loads(run("unit", "list", "--json").stdout)
    assert (unit["tag"], unit["station"], unit["last_reading_on"]) == ("T1", "NORTH", "2026-10-01")
    sheet = json.loads(run("unit", "show", "T1", "--json").stdout)
    assert sheet["rows"] == {"reading": 10, "event": 0, "sample": 0, "service": 0}
    assert run("unit", "list", "--state", "spare").stdout.strip() == ""


def test_markup_in_names_is_printed_as_it_is(db: Path) -> None:
    done("unit", "add", "[/]T1[bold]", "--station", "[north]", "--digits", "6")
    assert "[/]T1[bold]" in run("unit", "list").stdout
    assert "[north]" in done("log", "[/]T1[bold]", "12")
    assert "Did you mean [/]T1[bold]?" in refused(2, "log", "[/]T1[bald]", "12")


def test_control_characters_never_reach_the_terminal(db: Path) -> None:
    result = run("log", "T\x1b[31m1\x07", "12")
    assert result.exit_code == 2
    assert "\x1b" not in result.output
    assert "\x07" not in result.output
    assert plain("a\x1b[2Jb\u202ec\nd") == "ab c d"


# --- readings -------------------------------------------------------------------------------------------------


def test_log_shows_the_unit_the_last_reading_and_the_range_and_names_the_store(steady: Path) -> None:
    said = done("log", "T1", "11110", "--by", "Ann", "--remark", "drag hands 5 to 13")
    assert "T1: NORTH, serial S-1042" in said
    assert "Last reading: 011000 on 2026-10-01, 31 days before, by Kim" in said
    assert "Expected on 2026-11-01: 0110" in said
    assert f"Stored: T1, reading 11110 of 2026-11-01. Store: {steady}" in said
    row = book(steady).readings.iloc[-1]
    assert (row["value"], row["reader"], row["remark"], row["doubt"]) == (11_110, "Ann", "drag hands 5 to 13", "")


def test_an_odd_number_is_recorded_only_with_a_reason_and_with_its_doubt(steady: Path) -> None:
    said = refused(3, "log", "T1", "10110")
    assert "Check: 10110" in said
    assert "--sure REASON" in said
    assert len(book(steady).readings) == 10
    done("log", "T1", "10110", "--sure", "read twice, photo taken")
    row = book(steady).readings.iloc[-1]
    assert row["value"] == 10_110
    assert row["doubt"].endswith("kept: read twice, photo taken")


def test_at_a_terminal_the_person_is_asked(steady: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(counter_check, "at_a_terminal", lambda: True)
    assert "Nothing was recorded" in refused(3, "log", "T1", "10110", typed="n\n")
    assert "Nothing was recorded" in refused(3, "log", "T1", "10110", typed="\n")
    assert len(book(steady).readings) == 10
    done("log", "T1", "10110", typed="y\nphoto taken\n")
    assert book(steady).readings.iloc[-1]["doubt"].endswith("kept: photo taken")


def test_questions_and_messages_leave_standard_output_empty(steady: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(counter_check, "at_a_terminal", lambda: True)
    assert run("log", "T1", "10110", typed="y\n\n").stdout == ""


def test_the_same_number_adds_nothing_and_another_one_needs_a_reason(steady: Path) -> None:
    assert "in the book already" in done("log", "T1", "11000", "--on", "2026-10-01")
    said = refused(3, "log", "T1", "11004", "--on", "2026-10-01")
    assert "value 11000, you entered 11004" in said
    assert "--because REASON" in refused(2, "log", "T1", "11004", "--on", "2026-10-01", "--replace")
    assert "add --replace" in refused(2, "log", "T1", "11004", "--on", "2026-10-01", "--because", "x")
    done("log", "T1", "11004", "--on", "2026-10-01", "--replace", "--because", "misread")
    assert book(steady).readings["value"].tolist()[-1] == 11_004
    assert len(book(steady).readings) == 10


def test_a_current_is_kept_with_its_reading_and_another_one_is_a_conflict(steady: Path) -> None:
    done("log", "T1", "11110", "--current", "212.5")
    assert book(steady).readings["current_a"].iloc[-1] == 212.5
    said = refused(3, "log", "T1", "11110", "--current", "122.5")
    assert "current 212.5, you entered 122.5" in said
    assert "--current: 'x' is not a number" in refused(2, "log", "T1", "11111", "--current", "x")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["T1", "1234567"], "more digits than the counter"),
        (["T1", "12,345"], "separators of thousands"),
        (["T1", "12.5"], "not a whole number"),
        (["T1", "x"], "VALUE: 'x' is not a whole number"),
        (["T1", "11100", "--on", "2026-11-02"], "lies in the future"),
        (["T1", "11100", "--on", "2026-02-30"], "not a day of the calendar"),
        (["T1", "11100", "--on", "01.11.2026"], "YYYY-MM-DD"),
        (["T1", "11100", "--serial", "S-1024"], "are you at the right unit"),
        (["T1", "11100", "--drive", "B"], "has no drive B"),
        (["T1", "11100", "--source", "guess"], "write one of: mechanical"),
        (["T2", "11100"], "There is no unit T2. Did you mean T1?"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_in_words(steady: Path, words: list[str], said: str) -> None:
    assert said in refused(2, "log", *words)
    assert len(book(steady).readings) == 10


def test_without_a_store_log_says_how_to_make_one(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TAPWEAR_DB")
    db.rename(db.with_name("elsewhere.db"))
    assert "tapwear --db FILE init" in refused(4, "log", "T1", "5")


def test_a_rollover_is_expected_as_such(db: Path) -> None:
    done("unit", "add", "T1", "--station", "NORTH", "--digits", "5")
    for month in range(1, 11):
        done("log", "T1", str(99_020 + 96 * (month - 1)), "--on", f"2026-{month:02d}-01", "--sure", "start")
    assert "having rolled over" in done("log", "T1", "00060", "--on", "2026-11-01", "--sure", "rolled over")


# --- events ---------------------------------------------------------------------------------------------------


def test_a_replaced_counter_takes_readings_of_its_own_length(steady: Path) -> None:
    words = ["--on", "2026-10-20", "--old", "11060", "--new", "0", "--digits", "5"]
    assert "Stored: T1, counter replaced on 2026-10-20" in done("event", "T1", "counter_replaced", *words)
    done("log", "T1", "41")
    readings = book(steady).readings
    assert readings[["value", "digits"]].iloc[-1].tolist() == [41, 5]
    assert book(steady).events["old_reading"].tolist() == [11_060.0]
    assert "more digits" in refused(2, "log", "T1", "111111", "--on", "2026-10-31")


def test_an_event_of_unknown_kind_is_refused_and_a_swap_is_sent_to_its_command(steady: Path) -> None:
    assert "write one of" in refused(2, "event", "T1", "exploded")
    assert "tapwear unit swap T1" in refused(2, "event", "T1", "swapped")


# --- samples --------------------------------------------------------------------------------------------------


def test_a_sample_is_kept_with_limits_units_and_its_counter(steady: Path) -> None:
    gases = ["--acetylene", "120", "--ethylene", "35.5", "--hydrogen", "<5"]
    rest = ["--oil-temperature", "95F", "--moisture", "18", "--counter", "10900", "--laboratory", "East"]
    said = done("sample", "T1", "--on", "2026-09-01", *gases, *rest)
    assert "hydrogen below 5 ppm" in said
    row = book(steady).samples.iloc[0]
    assert (row["acetylene"], row["hydrogen"], row["hydrogen_below"]) == (120.0, 5.0, True)
    assert row["oil_temp_c"] == pytest.approx(35.0)
    read = book(steady).readings
    assert read[read["source"] == "sample"]["value"].tolist() == [10_900]


def test_a_second_result_is_a_conflict_and_a_correction_keeps_the_rest(steady: Path) -> None:
    done("sample", "T1", "--on", "2026-09-01", "--acetylene", "120", "--ethylene", "30", "--hydrogen", "<5")
    said = refused(3, "sample", "T1", "--on", "2026-09-01", "--acetylene", "130", "--hydrogen", "7")
    assert "acetylene 120, you entered 130" in said
    assert "hydrogen below 5, you entered 7" in said
    fix = ["--replace", "--because", "typing error"]
    done("sample", "T1", "--on", "2026-09-01", "--acetylene", "130", *fix)
    row = book(steady).samples.iloc[0]
    assert (row["acetylene"], row["ethylene"], row["hydrogen_below"]) == (130.0, 30.0, True)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "at least one result"),
        (["--acetylene", "lots"], "--acetylene: 'lots' is not a number"),
        (["--acetylene", "-3"], "is negative"),
        (["--acetylene", "5 umol/mol"], "is not known for gas"),
        (["--acetylene", "<0"], "below no detection limit"),
        (["--acetylene", "5", "--oil-temperature", "900F"], "lies above 150"),
        (["--acetylene", "5", "--compartment", "Z"], "has no compartment Z"),
    ],
)
def test_a_sample_that_cannot_be_is_refused_in_words(steady: Path, words: list[str], said: str) -> None:
    assert said in refused(2, "sample", "T1", "--on", "2026-09-01", *words)


def test_a_sample_of_the_main_tank_is_kept_apart(steady: Path) -> None:
    done("sample", "T1", "--main-tank", "--acetylene", "<0.5", "--hydrogen", "12")
    assert book(steady).samples["taken_from"].tolist() == ["main_tank"]


# --- services -------------------------------------------------------------------------------------------------


def test_a_service_names_its_clocks_keeps_the_counter_and_prints_the_cautions(steady: Path) -> None:
    done("unit", "change", "T1", "--interval-operations", "60000", "--interval-years", "7")
    words = [
        "--work",
        "overhaul",
        "--on",
        "2026-10-12",
        "--serial",
        "S-1042",
        "--as-found",
        "11040",
        "--as-left",
        "11046",
    ]
    said = done("service", "T1", *words, "--wear-left-mm", "2", "--condemning-mm", "2.5")
    assert "Interval restarts: contact service (every 60,000 operations or 7 years)" in said
    assert "at or below the condemning limit of 2.5 mm" in said
    assert "neither a switching permit nor a diagnosis" in said
    service = book(steady).services.iloc[0]
    assert (service["as_found_counter"], service["as_left_counter"]) == (11_040.0, 11_046.0)
    assert service["resets"] == ("contact service", "oil change")
    assert book(steady).readings["value"].tolist()[-1] == 11_040


def test_a_serial_number_of_another_unit_stops_a_service(steady: Path) -> None:
    said = refused(2, "service", "T1", "--work", "overhaul", "--serial", "S-1024")
    assert "has serial number S-1042, you entered S-1024" in said
    assert book(steady).services.empty


def test_only_named_clocks_start_again(steady: Path) -> None:
    done("unit", "change", "T1", "--interval-operations", "60000")
    said = done("service", "T1", "--work", "oil change", "--on", "2026-10-12")
    assert "Interval restarts: oil change" in said
    assert "Not reset: contact service" in said
    done("service", "T1", "--work", "overhaul", "--on", "2026-10-13", "--resets", "none")
    assert book(steady).services["resets"].tolist() == [("oil change",), ()]
    assert "is no task" in refused(2, "service", "T1", "--work", "overhaul", "--resets", "everything")


def test_a_counter_set_back_at_a_service_is_recorded_when_it_is_said(steady: Path) -> None:
    words = ["service", "T1", "--work", "overhaul", "--on", "2026-10-12", "--as-found", "11040", "--as-left", "6"]
    assert "add --counter-reset" in refused(2, *words)
    assert book(steady).services.empty
    done(*words, "--counter-reset")
    event = book(steady).events.iloc[0]
    assert (event["kind"], event["old_reading"], event["new_reading"]) == ("counter_replaced", 11_040.0, 6.0)
    done("log", "T1", "70")


def test_an_odd_counter_as_found_is_questioned(steady: Path) -> None:
    words = ["service", "T1", "--work", "overhaul", "--on", "2026-10-12", "--as-found", "10140"]
    told = refused(3, *words)
    assert "Check: below the last reading, 11000 of 2026-10-01; digits transposed? 10140 instead of 11040" in told
    assert book(steady).services.empty
    done(*words, "--sure", "photo taken")


def test_at_a_terminal_a_service_asks_for_work_serial_and_counter(
    steady: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(on_visit_service, "at_a_terminal", lambda: True)
    answers = ["S-9", "", "S-1042", "over", "11040", "6", "11046", "", "Lee", "2.5", "2", "all well", "", "y"]
    done("service", "T1", "--on", "2026-10-12", typed="".join(f"{line}\n" for line in answers))
    service = book(steady).services.iloc[0]
    assert (service["work"], service["serial_seen"], service["as_found_counter"]) == ("overhaul", "S-1042", 11_040.0)
    assert service["as_left_counter"] == 11_046.0


def test_a_service_on_three_drives_asks_for_the_drive_only_with_a_counter(db: Path) -> None:
    done("unit", "add", "T3", "--station", "FURNACE", "--digits", "6", "--drives", "A;B;C")
    assert "T3: FURNACE" in done("service", "T3", "--work", "overhaul", "--on", "2026-10-12")
    words = ["service", "T3", "--work", "oil change", "--on", "2026-10-12", "--as-found", "55"]
    assert "--drive A or B or C" in refused(2, *words)
    done(*words, "--drive", "B")
    assert book(db).readings[["drive", "value"]].to_numpy().tolist() == [["B", 55]]


def test_without_a_terminal_the_work_must_be_named(steady: Path) -> None:
    assert "--work overhaul" in refused(2, "service", "T1")


# --- keeping --------------------------------------------------------------------------------------------------


def test_init_makes_a_store_once_and_upgrade_leaves_a_new_one_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, db: Path
) -> None:
    path = tmp_path / "new.db"
    assert f"Made an empty store: {path}" in done("--db", str(path), "init")
    assert "is there already" in refused(4, "--db", str(path), "init")
    assert "up to date" in done("--db", str(path), "upgrade")
    monkeypatch.delenv("TAPWEAR_DB")
    done("init")
    assert Path("tapwear.db").exists()


@pytest.mark.parametrize(
    "command",
    [
        *("visit", "log", "sample", "service", "event", "history", "amend"),
        *("unit add", "unit change", "unit move"),
    ],
)
def test_help_of_each_command_shows_an_example(command: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "160")
    result = run(*command.split(), "--help")
    assert f"tapwear {command} T" in result.output


def test_a_compartment_of_another_unit_is_told_at_the_sample(db: Path) -> None:
    done("unit", "add", "T1", "--station", "N", "--digits", "6", "--compartment-serials", "C-11")
    done("unit", "add", "T2", "--station", "N", "--digits", "6", "--compartment-serials", "C-22")
    assert "serial number C-11" in done("unit", "show", "T1")
    gases = ("--acetylene", "120", "--ethylene", "35")
    said = done("sample", "T1", "--on", "2026-10-05", *gases, "--compartment-serial", "C-22")
    assert "C-22 belongs to T2: likely the oil of that one. Are you at the right unit?" in said
    assert "Mind" not in done("sample", "T2", "--on", "2026-10-05", *gases, "--compartment-serial", "C-22")


def test_readings_of_the_same_day_and_an_exchange_since_the_last_are_said_before_a_number_is_taken(
    steady: Path,
) -> None:
    done("log", "T1", "11105", "--on", "2026-10-31", "--at", "08:00", "--by", "Jo")
    text = done("log", "T1", "11107", "--on", "2026-10-31")
    assert "In the log of that day already: 011105 on 2026-10-31, the same day at 08:00, by Jo" in text
    text = done("log", "T1", "11109", "--on", "2026-10-31", "--at", "17:00")
    assert "Last reading: 011105 on 2026-10-31, the same day at 08:00, by Jo" in text
    done("event", "T1", "counter_replaced", "--on", "2026-10-31", "--old", "11109", "--new", "0")
    text = done("log", "T1", "3")
    assert "Since then the counter was exchanged, on 2026-10-31; the new one began at 000000." in text
