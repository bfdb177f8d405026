"""What people mistype and misunderstand at the commands of the visit, and what they are told then."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cli.visit_store import make_store, own_copy, run, said

from tapwear.cli import on_visit_service
from tapwear.cli.context import wrapped
from tapwear.report import terminal
from tapwear.words import as_typed, stop_notice


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_store(tmp_path_factory.mktemp("slips"))


@pytest.fixture
def db(template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return own_copy(template, tmp_path, monkeypatch)


def test_a_unit_without_a_scheme_has_only_the_intervals_of_its_own(db: Path) -> None:
    said("unit", "change", "T1", "--interval-years", "7")
    said("unit", "change", "T2", "--interval-years", "5")
    assert "contact service every 7 years" in said("unit", "show", "T1")
    assert "Service rules" not in said("unit", "show", "T3")
    words = said("service", "T3", "--work", "overhaul", "--on", "2026-10-01")
    assert "Interval restarts: contact service (no interval is known for it)" in words


def test_at_a_terminal_messages_break_between_words_and_leave_a_command_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    line = "  A visit to T1 was left unfinished after 17 answers. Go on with it: tapwear visit T1 --resume; or: "
    assert wrapped(line) == line
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    monkeypatch.setenv("COLUMNS", "60")
    assert wrapped("short") == "short"
    lines = wrapped(line).split("\n")
    assert lines[0] == "  A visit to T1 was left unfinished after 17 answers. Go on"
    assert lines[1] == "  with it: tapwear visit T1 --resume; or: "


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["log", "T1", "12", "--on", "1.11.2026"], "YYYY-MM-DD; write it like 2026-06-30, or yesterday."),
        (["log", "T1", "12x"], "VALUE: '12x' is not a whole number; write digits only, e.g. 12345."),
        (["log", "T1", ""], "VALUE: nothing was given; give what the counter showed."),
        (["sample", "T1", "--acetylene", "12,500"], "--acetylene: '12,500' seems to have separators of thousands"),
        (["sample", "T1", "--acetylene", "-3"], "--acetylene: -3 is negative; give acetylene within 0 to"),
        (
            ["sample", "T1", "--acetylene", "3", "--received", "2026-10-01"],
            "received on 2026-10-01 lies before sampled on 2026-11-01: correct one of the two.",
        ),
        (
            ["condition", "add", "T1", "infrared", "--words", "hot", "--act-by", "2026-10-01"],
            "The day to act by, 2026-10-01, lies before that on which it was noted, 2026-11-01",
        ),
        (["visit", "T1", "--no-ask", "--main-tank-temperature", "4,1,5"], "--main-tank-temperature: '4,1,5' is not"),
        (["visit", "T1", "--no-ask", "--drag-low", "2R", "--drag-high", "5L"], "the lower one comes first"),
        (["visit", "T3", "--no-ask", "--counter", "B=x"], "--counter: 'x' is not a whole number"),
        (["visit", "T3", "--no-ask", "--counter", "B=5", "--counter", "b=6"], "two numbers for drive B of T3"),
    ],
)
def test_a_slip_is_told_by_the_name_that_was_typed_and_with_a_remedy_for_it(
    db: Path, words: list[str], told: str
) -> None:
    assert told in said(*words, code=2)


def test_the_name_of_a_drive_may_be_typed_in_small_letters(db: Path) -> None:
    assert "T3, drive B: NORTH, bank B3" in said("log", "T3", "500", "--drive", "b")
    assert "saved (1 entry)" in said("visit", "T3", "--no-ask", "--counter", "c=700")
    assert "it has A, B, C" in said("log", "T3", "500", "--drive", "D", code=2)
    said("event", "T3", "counter_replaced", "--drive", "a", "--old", "5")
    assert "drive A" in said("history", "T3", "--kind", "event")


def test_without_questions_a_doubt_says_whose_number_it_is(db: Path) -> None:
    for month in range(5, 11):
        said("log", "T3", str(100 * month), "--drive", "B", "--on", f"2026-{month:02}-01")
    words = said("visit", "T3", "--no-ask", "--counter", "A=100", "--counter", "B=9999", code=3)
    assert "Counter, drive B: 9999 Expected on" in words
    words = said("visit", "T1", "--no-ask", "--oil-temperature", "105", code=3)
    assert "is the unit of measure right? Nothing was recorded" in words


def test_an_answer_that_is_none_of_the_choices_is_told_so(db: Path) -> None:
    typed = "y\nS-1024\nS-1042\na\ns1042\n"
    words = said("visit", "T1", "--ask", code=130, typed=typed)
    assert "Type a, o or s." in words


def test_the_label_of_a_bottle_has_the_serial_number_as_the_register_writes_it(db: Path) -> None:
    label = run("visit", "T1", "--no-ask", "--serial", "s1042", "--sample", "--pressure", "3").stdout
    assert "S-1042" in label
    assert "s1042" not in label


def test_a_list_of_units_says_why_it_is_empty(db: Path) -> None:
    assert "There is no station NROTH in the list. Did you mean NORTH?" in said(
        "unit", "list", "--station", "NROTH", code=2
    )
    assert said("unit", "list", "--state", "retired") == "No unit is like that."


def test_a_second_change_of_place_on_one_day_is_sent_to_the_correction(db: Path) -> None:
    said("unit", "move", "T1", "--station", "SOUTH")
    words = said("unit", "move", "T1", "--state", "spare", code=2)
    assert "in service at SOUTH since that day, 2026-11-01" in words
    assert "tapwear unit change T1" in words


def test_a_unit_s_page_names_technology_and_counters_in_words(db: Path) -> None:
    said("unit", "change", "T1", "--technology", "arcing_resistor")
    said("event", "T1", "counter_replaced", "--old", "11100", "--new", "0", "--digits", "5")
    words = said("unit", "show", "T1")
    assert "technology arcing resistor" in words
    assert "mechanical, 6 then 5 digits; last reading" in words


def test_equally_near_units_are_named_in_their_order(db: Path) -> None:
    assert "Did you mean T1 or T2 or T3?" in said("log", "T4", "5", code=2)


def test_the_kind_of_a_follow_up_is_taken_as_the_list_shows_it(db: Path) -> None:
    assert "no open follow-up oil level; nothing is open." in said(
        "followups", "close", "T1", "oil level", "--words", "filled", code=2
    )
    said("visit", "T1", "--no-ask", "--oil-level", "low")
    assert "Closed on" in said("followups", "close", "t1", "Oil level", "--words", "filled up")


def test_a_visit_rule_is_told_under_the_tag_as_it_is_written(db: Path) -> None:
    assert "Set: T1: read every 1000 days" in said("visit-rule", "set", "--unit", "t1", "--read", "1000")
    assert "T1 has that rule already" in said("visit-rule", "set", "--unit", "t1", "--read", "1000")


def test_a_number_that_is_not_the_book_s_is_not_said_to_be_in_it(db: Path) -> None:
    said("log", "T1", "11110")
    words = said("log", "T1", "11111", code=3)
    assert "T1, reading 11111 of 2026-11-01: conflict: the log has value 11110" in words


def test_work_amended_into_other_work_starts_the_clocks_of_that(db: Path) -> None:
    said("service", "T1", "--work", "inspection", "--on", "2026-10-05")
    amend = ("amend", "T1", "service", "--on", "2026-10-05", "--because", "was opened", "--set")
    words = said(*amend, "work=overhaul")
    assert "work inspection -> overhaul, resets inspection -> contact service;oil change" in words
    said(*amend, "resets=contact service")
    assert "resets" not in said(*amend, "work=repair")


def test_help_breaks_its_lines_where_the_terminal_does_and_shows_units_of_measure(
    db: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    lines = run("visit", "--help").stdout.splitlines()
    begin = next(number for number, line in enumerate(lines) if "At a terminal each thing" in line)
    assert all(len(line.rstrip()) > 60 for line in lines[begin : begin + 4])
    assert "  tapwear visit T1 --resume" in "\n".join(lines)
    monkeypatch.setenv("COLUMNS", "160")
    assert "Contact-service interval of this unit [years]." in said("unit", "add", "--help")


def test_a_service_asks_again_where_an_answer_cannot_be(db: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(on_visit_service, "at_a_terminal", lambda: True)
    words = said("service", "T1", typed="\nS-1042\nlubricated\noverhaul\n11,105\n11105\n" + 9 * "\n")
    assert "What was done: 'lubricated' is none of the known words" in words
    assert "Counter as found: '11,105' seems to have separators of thousands" in words
    assert "Stored: T1, overhaul on 2026-11-01" in words


def test_a_sheet_of_one_unit_counts_one(db: Path) -> None:
    said("unit", "move", "T2", "--station", "SOUTH")
    assert "1 unit at SOUTH" in said("sheet", "--station", "SOUTH", "--out", "south.html")


def test_a_unit_that_was_read_is_not_put_into_service_on_a_day_to_come_without_a_reason(
    db: Path, tmp_path: Path
) -> None:
    change = ("unit", "change", "T1", "--commissioned", "2029-05-01")
    assert "2029-05-01 lies ahead, and it was read before" in said(*change, code=3)
    said(*change, "--sure", "comes back from the workshop then")
    said("unit", "add", "T8", "--station", "NORTH", "--digits", "6", "--commissioned", "2029-05-01")
    rows = "unit,station,counter_digits,commissioned_on\nN1,NORTH,6,2029-05-01\nN2,NORTH,6,2029-05-01\n"
    (tmp_path / "units.csv").write_text(rows, encoding="utf-8")
    (tmp_path / "readings.csv").write_text("unit,read_on,value\nn2,2026-05-01,1200\n", encoding="utf-8")
    words = said("import", "units.csv", "readings.csv", code=3)
    assert "units.csv:3 commissioned_on: 2029-05-01 lies ahead" in words
    assert "units.csv:2" not in words


def test_a_tag_with_a_blank_is_quoted_in_the_commands_to_go_on_with(db: Path) -> None:
    assert [as_typed(tag) for tag in ("AH-T1", "Möwe/1", "Unit 3", "T$1")] == ["AH-T1", "Möwe/1", "'Unit 3'", "'T$1'"]
    assert "tapwear unit change 'Unit 3'" in said("unit", "add", "Unit 3", "--station", "NORTH", "--digits", "6")
    assert "tapwear visit 'Unit 3'" in said("visit", "unit 3", "--resume", code=2)
    assert "tapwear unit change 'Unit 3' --interval-operations N" in said("due")


def test_what_is_recorded_of_a_unit_that_nobody_may_approach_says_so_and_sends_nobody_there(db: Path) -> None:
    said("condition", "add", "T1", "relay_trip", "--words", "surge relay")
    for words, code in (
        (("log", "T1", "5"), 3),
        (("sample", "T1", "--acetylene", "5", "--ethylene", "3"), 0),
        (("service", "T1", "--work", "inspection", "--on", "2026-10-05"), 0),
    ):
        told = said(*words, code=code)
        assert told.startswith(f"{stop_notice('T1')} since 2026-11-01, noted condition: Relay trip, noted 2026-11-01")
        assert "Read" not in told
    said("condition", "close", "T1", "relay_trip", "--words", "released")
    assert stop_notice("T1") in said("log", "T1", "11105")  # closing a condition releases nobody
    said("stop", "release", "T1", "--by", "K. Arden", "--because", "relay tested, was its wiring", "--cleared")
    assert "STOP" not in said("log", "T1", "11106", "--replace", "--because", "misread")


def test_undo_says_that_it_leaves_a_later_change_of_the_register_alone(db: Path) -> None:
    said("log", "T1", "11105")
    assert "register" not in said("undo", code=2)
    said("unit", "change", "T1", "--note", "gate 2")
    words = said("undo", code=2)
    assert "reading" in words
    assert "Since then the register was changed: that is left as it is" in words


def test_lists_of_conditions_and_visit_rules_break_between_words_on_a_screen(
    db: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    why = "peak a quarter above last year's when leaving position 9, and at no other one " * 2
    said("condition", "add", "T1", "motor_current", "--words", why, "--act-by", "2027-03-31")
    said("visit-rule", "set", "--unit", "T1", "--read", "30 days", "--because", why)
    monkeypatch.setattr(terminal, "is_screen", lambda stream: True)
    monkeypatch.setenv("COLUMNS", "80")
    for group in ("condition", "visit-rule"):
        shown = run(group, "list").stdout
        assert max(map(len, shown.splitlines())) <= 80
        assert " ".join(why.split()) in " ".join(shown.split())


def test_a_heading_with_blanks_is_the_field_with_underscores(db: Path, tmp_path: Path) -> None:
    rows = "Unit;Station;Counter digits;Commissioned on\nT7;NORTH;5;2020-05-01\n"
    (tmp_path / "units.csv").write_text(rows, encoding="utf-8")
    assert "no field is called" not in said("import", "units.csv")
    words = said("unit", "show", "T7")
    assert "mechanical, 5 digits" in words
    assert "commissioned on 2020-05-01" in words


def test_a_station_s_code_in_other_capitals_founds_no_second_station(db: Path, tmp_path: Path) -> None:
    rows = "unit,station,counter_digits,bank\nT7,north,6,B7\nT8,Sand,6,B1\nT9,SAND,6,B2\nT1,North,6,B1\n"
    (tmp_path / "units.csv").write_text(rows, encoding="utf-8")
    (tmp_path / "places.csv").write_text("station,station_name\nsand,Sandy Ford\n", encoding="utf-8")
    for _ in range(2):
        assert "conflict:" not in said("import", "units.csv", "places.csv")
    moved = "unit,happened_on,kind,to_station,to_bank\nT8,2026-05-01,moved,north,B8\n"
    (tmp_path / "events.csv").write_text(moved, encoding="utf-8")
    said("import", "events.csv")
    said("unit", "add", "T10", "--station", "nOrth", "--digits", "6")
    said("plan", "input", "close", "north", "--from", "2026-12-01", "--to", "2026-12-20")
    assert {unit["station"] for unit in json.loads(run("unit", "list", "--json").stdout)} == {"NORTH", "sand"}


def test_letters_that_begin_several_words_are_told_as_such(db: Path) -> None:
    assert "--noise: 'u' begins usual and unusual; write more of it." in said(
        "visit", "T1", "--no-ask", "--noise", "u", code=2
    )
    assert " saved (" in said("visit", "T1", "--no-ask", "--noise", "us", "--coating", "sound")
    assert "give what was read or seen" in said("visit", "T2", "--no-ask", code=2)
