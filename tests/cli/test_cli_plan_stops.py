"""Stopped units and the plan, by command on the invented fleet: taken out everywhere, until an engineer's release."""

from __future__ import annotations

import csv
import io
import json
import shutil
from datetime import date
from pathlib import Path

import pytest
from desk_store import run
from openpyxl import load_workbook

from tapwear.weeks import monday
from tapwear.words import stop_notice

FIRST = f"{stop_notice('OR-T1')} Taken out of the plan: the engineer decides now."
BOTH = f"{stop_notice('JE-T2', 'OR-T1')} Taken out of the plan: the engineer decides now."
RELEASE = ("--by", "K. Arden", "--because", "open it, suspected arcing")
DECISION = ("--engineer", "K. Lund", "--reason", "winter peak", "--until", "2027-03-01", "--checks", "monthly sample")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo with a plan of 2027, in which JE-T2 has a week and OR-T1, which is stopped, has none."""
    folder = tmp_path_factory.mktemp("demo")
    assert run(folder / "unused.db", "demo", str(folder / "demo.db")).exit_code == 0
    done = run(folder / "demo.db", "plan", "build", "2027", "--seconds", "0")
    assert done.exit_code == 0, done.output
    return folder / "demo.db"


@pytest.fixture
def db(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(made, tmp_path / "demo.db"))


@pytest.fixture
def later(db: Path) -> Path:
    """JE-T2 is stopped after the plan was made."""
    assert run(db, "stop", "raise", "JE-T2", "--because", "smell of burnt oil").exit_code == 0
    return db


def said(db: Path, *words: str, code: int = 0) -> tuple[str, str]:
    """Standard output and standard error of a command."""
    done = run(db, *words)
    assert done.exit_code == code, done.output
    return done.stdout, done.stderr


def jobs(db: Path, name: str = "2027-a") -> dict[str, dict[str, object]]:
    return {row["unit"]: row for row in json.loads(said(db, "plan", "show", name, "--json")[0])["jobs"]}


def exported(db: Path, kind: str) -> bytes:
    out = db.parent / f"plan.{kind}"
    told = said(db, "plan", "export", "--format", kind, "--out", str(out), "--force")[1]
    assert told.startswith("STOP: possible arcing or overheating in ")
    return out.read_bytes()


# --- a unit that is stopped when the plan is made -------------------------------------------------------------


def test_a_stopped_unit_stands_above_the_plan_and_has_no_job_in_it(db: Path) -> None:
    shown = said(db, "plan", "show")[0]
    assert shown.startswith(FIRST)
    assert "STOP since 2025-12-09: OR-T1 (OR), taken out: stopped, the engineer decides now." in shown
    assert shown.count("OR-T1") == 2
    page = json.loads(said(db, "plan", "show", "--json")[0])
    assert page["caution"].startswith(stop_notice("OR-T1"))
    assert [(one["unit"], one["station"], one["stop"]) for one in page["at_engineer"]] == [
        ("OR-T1", "OR", "STOP since 2025-12-09")
    ]
    assert "OR-T1" not in {row["unit"] for row in page["jobs"]}
    assert next(iter(page["jobs"][0])) == "stop"
    assert said(db, "plan", "build", "2027", "--seconds", "0")[0].startswith(FIRST)
    assert said(db, "plan", "list")[0].startswith(stop_notice("OR-T1"))
    assert said(db, "plan", "compare", "2027-a", "2027-a")[0].startswith(FIRST)
    ahead = json.loads(said(db, "plan", "ahead", "--years", "1", "--json")[0])
    assert [one["unit"] for one in ahead["at_engineer"]] == ["OR-T1"]
    assert said(db, "plan", "ahead", "--years", "1")[0].startswith(FIRST)


def test_every_export_begins_with_the_stop(db: Path) -> None:
    head, first, *others = csv.reader(io.StringIO(exported(db, "csv").decode()))
    row = dict(zip(head, first, strict=True))
    assert head[0] == "stop"
    assert (row["stop"], row["unit"], row["station"], row["start_week"]) == ("STOP since 2025-12-09", "OR-T1", "OR", "")
    assert row["stopped_by"] == "taken out: stopped, the engineer decides now"
    assert not any("OR-T1" in other for other in others)
    book = load_workbook(io.BytesIO(exported(db, "xlsx")))
    for sheet in ("plan", "to order"):
        assert (book[sheet]["A1"].value, book[sheet]["A2"].value) == ("stop", "STOP since 2025-12-09")
    assert book["not placed"]["A1"].value == "stop"
    assert book["assumptions"]["A2"].value == FIRST
    ordered = [row for row in book["to order"].iter_rows(min_row=2, values_only=True) if "OR-T1" in row]
    assert [row[1:7] for row in ordered] == [(None,) * 6]
    board = exported(db, "html").decode()
    assert board.index(FIRST) < board.index("<h1")
    calendar = exported(db, "ics").decode().replace("\r\n ", "")
    assert calendar.index("DESCRIPTION:STOP: possible arcing or overheating in OR-T1.") < calendar.index("BEGIN:VEVENT")
    assert not any("OR-T1" in event for event in calendar.split("BEGIN:VEVENT")[1:])


def test_requests_and_job_sheets_begin_with_the_stop_and_have_none_for_the_unit(db: Path) -> None:
    told = said(db, "plan", "outage-requests")[0]
    assert told.startswith(FIRST)
    assert "Outage request: OR-T1" not in told
    for command in ("outage-requests", "job-sheets"):
        out = db.parent / f"{command}.html"
        said(db, "plan", command, "--out", str(out))
        page = out.read_text(encoding="utf-8")
        assert page.index(FIRST) < page.index("<h1")
        assert "OR-T1</h1>" not in page
        assert "the engineer decides now" in said(db, "plan", command, "--unit", "or-t1", "--out", str(out), code=2)[1]


def test_nothing_of_a_stopped_unit_is_put_off_pinned_or_asked_for(db: Path) -> None:
    week = ("--week", "2027-W08")
    for words in (
        ("defer", "add", "OR-T1", *DECISION),
        ("plan", "pin", "OR-T1", "2027-W08"),
        ("plan", "request", "OR-T1", "asked", *week),
        ("plan", "request", "OR-T1", "approved", *week),
    ):
        told = said(db, *words, code=2)[1]
        assert told.startswith(stop_notice("OR-T1"))
        assert "OR-T1 is stopped since 2025-12-09." in told
        assert "tapwear stop release OR-T1" in told
    assert "No deferral is recorded." in said(db, "defer", "list")[1]
    assert "OR-T1" not in said(db, "plan", "input", "list", "note")[0]
    for verb, *words in (("request", "cancelled", *week), ("progress", "done"), ("forbid", "2027-W20")):
        told = said(db, "plan", verb, "OR-T1", *words)[1]
        assert told.startswith(stop_notice("OR-T1"))
        assert "Stored: " in told


# --- one that is stopped since --------------------------------------------------------------------------------


def test_a_kept_plan_no_longer_offers_the_slot_of_a_unit_stopped_since(later: Path) -> None:
    shown = said(later, "plan", "show", "2027-a")[0]
    assert shown.startswith(BOTH)
    assert "STOP since 2026-06-30: JE-T2 (JE), taken out of 2027-W01: stopped, the engineer decides now." in shown
    assert "JE-T2" not in jobs(later)
    requests = said(later, "plan", "outage-requests")[0]
    assert requests.startswith(BOTH)
    assert "Outage request: JE-T1" in requests
    assert "Outage request: JE-T2" not in requests
    told = said(later, "plan", "job-sheets", "--unit", "JE-T2", "--out", str(later.parent / "s.html"), code=2)[1]
    assert "JE-T2 has neither outage nor job sheet: taken out of 2027-W01" in told
    assert not (later.parent / "s.html").exists()
    compared = said(later, "plan", "compare", "2027-a", "2027-a")[0]
    assert compared.startswith(BOTH)
    assert "0 moved, 0 added, 0 dropped, 16 in the same week" in compared


def test_the_other_jobs_keep_their_numbers(db: Path) -> None:
    before = {unit: row["number"] for unit, row in jobs(db).items() if unit != "JE-T2"}
    said(db, "stop", "raise", "JE-T2", "--because", "smell of burnt oil")
    assert {unit: row["number"] for unit, row in jobs(db).items()} == before


def test_its_calendar_entry_is_cancelled_with_a_higher_sequence(later: Path) -> None:
    events = exported(later, "ics").decode().replace("\r\n ", "").split("BEGIN:VEVENT")[1:]
    (mine,) = [event for event in events if "JE-T2" in event]
    assert "SUMMARY:STOP\\, cancelled: contact service: JE-T2\\, JE\r\n" in mine
    assert "STATUS:CANCELLED\r\n" in mine
    assert "SEQUENCE:1\r\n" in mine
    assert "VALARM" not in mine


def test_a_plan_with_a_stopped_job_is_not_published_and_one_without_is(later: Path) -> None:
    told = said(later, "plan", "publish", "2027-a", code=2)[1]
    assert told.startswith(BOTH)
    assert "JE-T2: taken out of 2027-W01: stopped, the engineer decides now" in told
    assert "published" not in said(later, "plan", "list")[0].split("2027-a", 1)[1]
    said(later, "plan", "build", "2027", "--seconds", "0")
    refused = said(later, "plan", "publish", "2027-b", code=2)[1]  # for want of deferrals, as ever
    assert "without a recorded deferral" in refused
    assert "taken out of" not in refused
    went = said(later, "plan", "compare", "2027-a", "2027-b")[0]
    assert "JE-T2" not in went.split("\n", 3)[3]


def test_a_plan_is_not_published_where_the_oil_of_the_day_calls_for_a_stop_that_the_book_has_not_yet(
    db: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tapwear.cli.on_visit_sample.raise_and_tell", lambda *rest, **given: None)
    burnt = ("--acetylene", "4000", "--ethylene", "9000", "--hydrogen", "4000", "--methane", "3000", "--ethane", "900")
    said(db, "sample", "JE-T2", "--on", "2026-06-28", *burnt)
    assert "JE-T2" not in said(db, "stop", "list")[0]
    told = said(db, "plan", "publish", "2027-a", code=2)[1]
    assert told.startswith(BOTH)
    assert "JE-T2: taken out of 2027-W01: stopped, the engineer decides now" in told


def test_what_an_engineer_has_cleared_is_a_job_as_any_other_again(later: Path) -> None:
    before = jobs(later).keys()
    said(later, "stop", "release", "JE-T2", *RELEASE, "--cleared")
    row = jobs(later)["JE-T2"]
    assert (row["stop"], row["severe"], row["release"], row["start_week"]) == ("", False, "", "2027-W01")
    assert jobs(later).keys() - before == {"JE-T2"}
    said(later, "stop", "release", "OR-T1", *RELEASE, "--cleared")
    shown = said(later, "plan", "show", "2027-a")[0]
    assert "STOP" not in shown


def test_a_deferral_shows_first_that_its_unit_is_stopped(db: Path) -> None:
    said(db, "defer", "add", "JE-T2", *DECISION)
    (row,) = json.loads(said(db, "defer", "list", "--json")[0])
    assert next(iter(row.items())) == ("stop", "")
    said(db, "stop", "raise", "JE-T2", "--because", "smell of burnt oil")
    (row,) = json.loads(said(db, "defer", "list", "--json")[0])
    assert next(iter(row.items())) == ("stop", "STOP since 2026-06-30")
    table, told = said(db, "defer", "list")
    assert told.startswith(stop_notice("JE-T2"))
    assert table.split("\n")[0].startswith("stop")
    assert table.split("\n")[1].startswith("STOP since 2026-06-30  JE-T2")


# --- released for work ----------------------------------------------------------------------------------------


def test_what_is_released_for_work_is_planned_first_and_not_before_its_day(db: Path) -> None:
    said(db, "stop", "release", "OR-T1", *RELEASE, "--for-work-from", "2026-08-06")
    early = said(db, "plan", "build", "2026", "--seconds", "0")[0]
    row = jobs(db, "2026-a")["OR-T1"]
    assert row["stop"] == "STOP: only work de-energised"
    assert row["severe"] is True
    assert str(row["release"]).startswith("released for work de-energised from 2026-08-06 by K. Arden: open it")
    assert "Ethylene rose" in " ".join(row["suspected"])  # type: ignore[arg-type]
    starts = monday(str(row["start_week"]))
    ready = max(date.fromisoformat(str(day)) for day in ("2026-08-06", row["kit_ready_on"]) if day)
    assert 0 <= (starts - ready).days < 14
    line = next(line for line in early.split("\n") if "OR-T1" in line)
    assert line.startswith("STOP: only work de-energised")
    assert "the engineer decides now" not in early


def test_its_request_and_job_sheet_say_the_release_and_what_is_suspected(db: Path) -> None:
    said(db, "stop", "release", "OR-T1", *RELEASE, "--for-work-from", "2026-07-02")
    said(db, "plan", "build", "2026", "--seconds", "0")
    out = db.parent / "sheet.html"
    said(db, "plan", "job-sheets", "2026-a", "--unit", "OR-T1", "--out", str(out))
    page = out.read_text(encoding="utf-8")
    at = [page.index(words) for words in ("by K. Arden: open it, suspected arcing", "Ethylene rose", "Steps", "Tests")]
    assert at == sorted(at)
    told = said(db, "plan", "outage-requests", "2026-a", "--unit", "OR-T1")[0]
    assert "STOP: only work de-energised; released for work de-energised from 2026-07-02 by K. Arden" in told


def test_it_needs_no_deferral_to_be_published(db: Path) -> None:
    said(db, "stop", "release", "OR-T1", *RELEASE, "--for-work-from", "2026-07-02")
    said(db, "plan", "build", "2026", "--seconds", "0")
    done = run(db, "plan", "publish", "2026-a")
    assert "OR-T1" not in done.stderr.replace(stop_notice("OR-T1"), "")


def test_a_plan_of_a_later_year_says_that_it_could_be_sooner(db: Path) -> None:
    said(db, "stop", "release", "OR-T1", *RELEASE, "--for-work-from", "2026-07-02")
    words = "OR-T1 is released for work de-energised from 2026-07-02, before 2027-W01: sooner with tapwear plan build"
    assert f"{words} 2026." in said(db, "plan", "build", "2027", "--seconds", "0")[0]
    kept = said(db, "plan", "show", "2027-a")[0]  # it had no place then, and nobody has given it one since
    assert "OR-T1" not in jobs(db)
    assert "OR-T1 has no slot: since this plan was made released for work de-energised from 2026-07-02" in kept
    went = said(db, "plan", "compare", "2027-a", "2027-b")[0]
    assert "OR-T1" in went.split("Added", 1)[1]
    assert "released for work de-energised from 2026-07-02 by K. Arden" in went


def test_a_slot_before_the_day_of_the_release_is_taken_out(later: Path) -> None:
    said(later, "stop", "release", "JE-T2", *RELEASE, "--for-work-from", "2027-02-01")
    row = jobs(later)["JE-T2"]
    assert row["start_week"] is None
    assert str(row["stopped_by"]).startswith("taken out of 2027-W01: released for work de-energised from 2027-02-01")
    assert "JE-T2: taken out of 2027-W01" in said(later, "plan", "publish", "2027-a", code=2)[1]
