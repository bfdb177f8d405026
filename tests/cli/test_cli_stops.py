"""Stops through all commands, on the invented fleet: said at once, standing until an engineer releases them."""

from __future__ import annotations

import json
import random
import shutil
from datetime import date, timedelta
from pathlib import Path

import pytest
from desk_store import run

from tapwear.words import stop_notice

TODAY = "2026-06-30"
# A bottle that cannot be OR-T1's: ethylene from 4,992 to 640 in 32 days without oil work.
OTHER = ("--acetylene", "2950", "--ethylene", "640", "--hydrogen", "1600", "--methane", "290", "--ethane", "64")
BURNT = ("--acetylene", "4000", "--ethylene", "7000", "--hydrogen", "2000", "--methane", "3000", "--ethane", "900")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    done = run(folder / "unused.db", "demo", str(folder / "demo.db"))
    assert done.exit_code == 0, done.output
    return folder / "demo.db"


@pytest.fixture
def db(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(made, tmp_path / "demo.db"))


def said(db: Path, *words: str, code: int = 0, today: str = TODAY) -> str:
    """What a command says on standard error and output, blanks folded."""
    done = run(db, *words, today=today)
    assert done.exit_code == code, done.output
    return " ".join((done.stderr + " " + done.stdout).split())


def due_of(db: Path, unit: str, today: str = TODAY) -> dict[str, object]:
    rows = json.loads(run(db, "due", "--all", "--json", today=today).stdout)["dues"]
    return next(row for row in rows if row["unit"] == unit and row["task"] == "contact service")


def stands(db: Path, unit: str, today: str = TODAY) -> bool:
    return any(row["unit"] == unit for row in json.loads(run(db, "stop", "list", "--json", today=today).stdout))


# --- one later sample lifts nothing ---------------------------------------------------------------------------


def test_a_later_sample_lifts_no_stop_and_is_said_to_contradict_it(db: Path) -> None:
    told = said(db, "sample", "OR-T1", "--on", "2026-06-27", *OTHER)
    assert told.startswith(stop_notice("OR-T1"))
    assert "sample of 2026-06-27 contradicts it: suspect bottle, label or laboratory; the stop stands." in told
    assert "Stored: OR-T1" in told
    oil = said(db, "oil", "OR-T1")
    assert "contradicts it: suspect bottle" in oil
    assert "Next sample" not in oil
    assert "withdrawn" not in oil
    assert "No abnormal result" not in oil
    due = due_of(db, "OR-T1")
    assert (due["stop"], due["early"], due["next_action"]) == ("STOP since 2025-12-09", TODAY, stop_notice("OR-T1"))
    sheet = db.parent / "or.html"
    assert run(db, "sheet", "--station", "OR", "--out", str(sheet)).exit_code == 0
    assert "STOP: possible arcing or overheating" in sheet.read_text(encoding="utf-8")


def test_two_later_samples_and_the_passing_of_years_lift_none_either(db: Path) -> None:
    said(db, "sample", "OR-T1", "--on", "2026-06-27", *OTHER)
    said(db, "sample", "OR-T1", "--on", "2026-06-29", *OTHER)
    assert due_of(db, "OR-T1")["stop"]
    assert due_of(db, "OR-T1", "2031-06-30")["stop"]


def test_the_first_severe_sample_keeps_its_stop_when_both_come_in_one_file(db: Path) -> None:
    gases = ("acetylene", "ethylene", "hydrogen", "methane", "ethane")
    head = "unit,sampled_on,taken_from," + ",".join(f"{gas}_ul_per_l" for gas in gases)
    rows = ("AH-T2,2026-06-10,compartment,4000,9000,2000,3000,900", "AH-T2,2026-06-20,compartment,40,12,90,9,3")
    (db.parent / "samples.csv").write_text("\n".join((head, *rows)) + "\n")
    told = said(db, "import", str(db.parent / "samples.csv"))
    assert told.startswith(stop_notice("AH-T2"))
    assert "sample of 2026-06-20 contradicts it" in told
    assert due_of(db, "AH-T2")["stop"] == "STOP since 2026-06-10"


# --- said at once ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", ["SC-T2", "AH-T2"])
def test_a_severe_result_is_the_first_thing_said(db: Path, unit: str) -> None:
    told = said(db, "sample", unit, "--on", "2026-06-29", *BURNT)
    assert told.startswith(stop_notice(unit))
    assert told.index("STOP") < told.index("Stored")


@pytest.mark.parametrize(
    "words",
    [
        ("log", "OR-T1", "121600"),
        ("sample", "OR-T1", "--on", "2026-06-28", "--acetylene", "2950", "--ethylene", "5100"),
        ("service", "OR-T1", "--work", "inspection"),
        ("visit", "OR-T1", "--counter", "121600", "--no-ask"),
        ("event", "OR-T1", "regulator_setting_changed"),
        ("unit", "show", "OR-T1"),
        ("history", "OR-T1"),
    ],
    ids=lambda words: words[0],
)
def test_whoever_touches_a_stopped_unit_sees_it_first(db: Path, words: tuple[str, ...]) -> None:
    done = run(db, *words)
    opens_page = words[0] in ("unit", "history")
    page = done.stdout if opens_page else done.stderr
    assert page.startswith(stop_notice("OR-T1")), done.output
    assert opens_page or "Sample of 2025-12-09" in page


def test_a_visit_with_two_signs_at_once_stops_the_unit(db: Path) -> None:
    seen = ("--noise", "unusual", "--compartment-temperature", "60", "--main-tank-temperature", "45")
    told = said(db, "visit", "AH-T1", "--no-ask", *seen, "--oil-level", "low", "--breather", "blocked")
    assert told.index(stop_notice("AH-T1")) < told.index(" saved (")
    assert "unusual noise, and oil level low and compartment 15 K hotter than the main tank" in told
    assert due_of(db, "AH-T1")["stop"] == f"STOP since {TODAY}"
    assert "routine visit" not in said(db, "why", "AH-T1")


# --- alarms below a stop --------------------------------------------------------------------------------------


def test_one_sign_is_said_on_the_spot_and_carried_until_it_is_closed(db: Path) -> None:
    told = said(db, "visit", "DL-T2", "--no-ask", "--oil-level", "low", "--oil-temperature", "30", "--sample")
    assert "DL-T2: Oil level low. Leave the cabinet, do not operate it, keep others away, call" in told
    assert told.index("Oil level low") < told.index(" saved (")
    assert "No label is printed: Do not draw oil from a low compartment." in told
    due = due_of(db, "DL-T2")
    assert due["stop"] == ""
    assert "Oil level low, seen 2026-06-30." in str(due["alarms"])
    assert str(due["next_action"]).startswith("Do not operate it until the responsible engineer has decided")
    assert "Oil level low" in said(db, "why", "DL-T2")
    said(db, "followups", "close", "DL-T2", "oil_level", "--words", "topped up")
    assert due_of(db, "DL-T2")["alarms"] == []


def test_no_task_waits_for_the_routine_visit_while_something_is_open(db: Path) -> None:
    said(db, "visit", "SC-T2", "--no-ask", "--noise", "unusual")
    rows = json.loads(run(db, "due", "--all", "--json").stdout)["dues"]
    mine = [row["next_action"] for row in rows if row["unit"] == "SC-T2"]
    assert mine
    assert not [words for words in mine if "routine visit" in words]
    assert "Unusual noise" in said(db, "why", "SC-T2")


def test_a_failed_interrupter_asks_for_the_engineer_and_for_a_sample_in_days(db: Path) -> None:
    oil = said(db, "oil", "SC-T1")
    assert "routine" not in oil.casefold()
    assert "Ask the responsible engineer today whether it may stay in service." in oil
    due = due_of(db, "SC-T1")
    assert "suspect a failed vacuum interrupter" in str(due["alarms"])
    assert "SC-T1" in said(db, "oil", "--requests")


# --- released by an engineer only -----------------------------------------------------------------------------


def test_only_a_release_with_a_name_and_a_reason_ends_a_stop(db: Path) -> None:
    said(db, "stop", "release", "OR-T1", "--because", "x", "--cleared", code=2)
    said(db, "stop", "release", "OR-T1", "--by", " ", "--because", "x", "--cleared", code=2)
    said(db, "stop", "release", "OR-T1", "--by", "K. Arden", "--because", " ", "--cleared", code=2)
    said(db, "stop", "release", "OR-T1", "--by", "K. Arden", "--because", "opened, contacts renewed", code=2)
    assert stands(db, "OR-T1")
    told = said(db, "stop", "release", "OR-T1", "--by", "K. Arden", "--because", "contacts renewed", "--cleared")
    assert "Cleared: OR-T1, since 2025-12-09" in told
    assert not stands(db, "OR-T1")
    assert due_of(db, "OR-T1")["stop"] == ""
    assert not run(db, "log", "OR-T1", "121600").stderr.startswith("STOP")
    kept = said(db, "stop", "show", "OR-T1")
    assert "cleared 2026-06-30 by K. Arden: contacts renewed" in kept


def test_what_the_engineer_had_before_him_raises_nothing_anew_but_a_new_result_does(db: Path) -> None:
    said(db, "stop", "release", "OR-T1", "--by", "K. Arden", "--because", "opened", "--cleared")
    told = said(db, "condition", "add", "OR-T1", "infrared", "--words", "warm lid")
    assert "STOP" not in told
    said(db, "sample", "OR-T1", "--on", "2026-06-29", *BURNT)
    assert stands(db, "OR-T1")


def test_a_result_that_came_late_opens_a_stop_although_it_is_dated_before_the_release(db: Path) -> None:
    said(db, "stop", "release", "OR-T1", "--by", "K. Arden", "--because", "opened", "--cleared")
    told = said(db, "sample", "OR-T1", "--on", "2026-06-15", *BURNT)
    assert told.startswith(stop_notice("OR-T1"))
    assert stands(db, "OR-T1")


def test_released_for_work_it_stands_for_all_else_and_is_the_most_urgent(db: Path) -> None:
    words = ("--by", "K. Arden", "--because", "open it, suspected heating", "--for-work-from", "2026-07-02")
    said(db, "stop", "release", "OR-T1", *words)
    due = due_of(db, "OR-T1")
    assert due["stop"] == "STOP: only work de-energised"
    assert due["release"] == "released for work de-energised from 2026-07-02 by K. Arden: open it, suspected heating"
    assert str(due["next_action"]).startswith("do not energise or operate; released for work de-energised")
    assert run(db, "log", "OR-T1", "121600").stderr.startswith(stop_notice("OR-T1"))
    said(db, "stop", "release", "OR-T1", "--by", "K. Arden", "--because", "contacts renewed", "--cleared")
    assert due_of(db, "OR-T1")["stop"] == ""


def test_a_day_before_the_release_knows_nothing_of_it(db: Path) -> None:
    said(db, "stop", "release", "OR-T1", "--by", "K. Arden", "--because", "opened", "--cleared")
    rows = json.loads(run(db, "due", "--all", "--json", "--as-of", "2026-06-29").stdout)["dues"]
    assert next(row for row in rows if row["unit"] == "OR-T1")["stop"] == "STOP since 2025-12-09"


def test_closing_the_condition_that_raised_it_or_undoing_it_lifts_no_stop(db: Path) -> None:
    told = said(db, "condition", "add", "BW-T2", "relay_trip", "--words", "surge relay")
    assert told.startswith(stop_notice("BW-T2"))
    said(db, "condition", "close", "BW-T2", "relay_trip", "--words", "set again")
    assert stands(db, "BW-T2")
    said(db, "undo", "--because", "wrong unit")
    said(db, "undo", "--because", "wrong unit")
    assert stands(db, "BW-T2")


def test_withdrawing_or_correcting_the_sample_that_raised_it_lifts_no_stop(db: Path) -> None:
    said(db, "sample", "AH-T2", "--on", "2026-06-29", *BURNT)
    because = ("--because", "typed ten times too high")
    said(db, "amend", "AH-T2", "sample", "--on", "2026-06-29", "--set", "ethylene_ul_per_l=90", *because)
    assert stands(db, "AH-T2")
    said(db, "amend", "AH-T2", "sample", "--on", "2026-06-29", "--withdraw", *because)
    assert stands(db, "AH-T2")
    told = said(db, "amend", "AH-T2", "stop", "--withdraw", *because, code=2)
    assert "tapwear stop release" in told


def test_correcting_a_sample_upwards_raises_one(db: Path) -> None:
    said(db, "sample", "AH-T2", "--on", "2026-06-29", "--acetylene", "400", "--ethylene", "90", "--methane", "30")
    assert not stands(db, "AH-T2")
    told = said(
        db, "amend", "AH-T2", "sample", "--on", "2026-06-29", "--set", "ethylene_ul_per_l=9000",
        "--set", "methane_ul_per_l=3000", "--because", "second report",
    )  # fmt: skip
    assert stop_notice("AH-T2") in told
    assert stands(db, "AH-T2")


def test_a_stop_raised_by_hand_stands_like_any_other(db: Path) -> None:
    told = said(db, "stop", "raise", "NS-T1", "--because", "smell of burnt oil at the breather")
    assert told.startswith(stop_notice("NS-T1"))
    assert due_of(db, "NS-T1")["stop"] == f"STOP since {TODAY}"
    assert "It stands already" in said(db, "stop", "raise", "NS-T1", "--because", "still there")


def test_backup_dump_and_restore_keep_stops_and_releases(db: Path) -> None:
    said(db, "condition", "add", "BW-T2", "relay_trip", "--words", "surge relay")
    said(db, "stop", "release", "OR-T1", "--by", "K. Arden", "--because", "opened", "--cleared")
    before = run(db, "stop", "list", "--all", "--json").stdout
    said(db, "dump", str(db.parent / "dumped"))
    again = db.parent / "again.db"
    said(again, "restore", str(db.parent / "dumped"))
    assert run(again, "stop", "list", "--all", "--json").stdout == before
    assert {row["unit"]: row["cleared_engineer"] for row in json.loads(before)} == {"BW-T2": "", "OR-T1": "K. Arden"}


def test_the_days_of_a_release_have_an_order(db: Path) -> None:
    words = ("--by", "K. Arden", "--because", "opened")
    said(db, "stop", "release", "OR-T1", *words, "--cleared", "--on", "2025-12-01", code=2)
    said(db, "stop", "release", "OR-T1", *words, "--for-work-from", "2026-06-29", code=2)
    said(db, "stop", "release", "AH-T1", *words, "--cleared", code=2)
    assert stands(db, "OR-T1")
    assert date.fromisoformat(TODAY) == date(2026, 6, 30)


# --- no sequence of entries ends one --------------------------------------------------------------------------

KINDS = ("sample", "condition", "observation", "reading", "service", "visit", "stop")


def some_entry(draw: random.Random, unit: str, number: int) -> tuple[str, ...]:
    """A command that anybody might give, about a unit that is stopped."""
    day = str(date(2026, 5, 1) + timedelta(days=draw.randrange(60)))
    gases = [value for name in ("acetylene", "ethylene", "hydrogen", "methane", "ethane")
             for value in (f"--{name}", str(round(draw.choice([0.2, 1, 5]) * draw.uniform(20, 900), 1)))]  # fmt: skip
    because = ("--because", f"set right {number}")
    return draw.choice(
        [
            ("sample", unit, "--on", day, *gases),
            ("sample", unit, "--on", day, "--main-tank", *gases),
            ("visit", unit, "--no-ask", "--on", day, "--noise", draw.choice(["usual", "unusual"])),
            ("condition", "add", unit, draw.choice(["infrared", "relay_trip"]), "--words", "x", "--on", day),
            ("condition", "close", unit, draw.choice(["infrared", "relay_trip"]), "--words", "settled"),
            ("amend", unit, draw.choice(KINDS), "--on", day, "--withdraw", *because),
            ("amend", unit, "sample", "--on", "2026-05-26", "--withdraw", *because),
            ("amend", unit, "sample", "--on", "2026-05-26", "--set", "ethylene_ul_per_l=50", *because),
            ("service", unit, "--work", "oil change", "--on", day, "--as-found", "121600"),
            ("event", unit, "breather_changed", "--on", day),
            ("followups", "close", unit, "noise", "--words", "gone"),
            ("undo", *because),
        ]
    )


@pytest.mark.parametrize("seed", [0, 1, *(pytest.param(seed, marks=pytest.mark.long) for seed in range(2, 20))])
def test_no_sequence_of_entries_ends_a_stop(db: Path, seed: int) -> None:
    draw = random.Random(seed)
    done = 0
    for number in range(10):
        words = some_entry(draw, "OR-T1", number)
        result = run(db, *words)
        assert result.exit_code in (0, 2, 3), (words, result.output)
        done += result.exit_code == 0
        assert stands(db, "OR-T1"), (seed, words)
    assert done >= 2
    assert due_of(db, "OR-T1")["stop"]
