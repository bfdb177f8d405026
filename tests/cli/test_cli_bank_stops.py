"""A stop in a bank of single-phase units: nobody is sent to the others, and no list or plan is silent about them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from desk_store import make_desk, run

UNITS = """unit,station,region,bank,phase,counter_digits,state,technology,scheme,commissioned_on,visit_cadence
AH-3A,AH,North,T3,A,6,in service,arcing_resistor,R,2010-01-01,quarterly
AH-3B,AH,North,T3,B,6,in service,arcing_resistor,R,2010-01-01,quarterly
"""
SERVICES = "unit,done_on,work\nAH-3A,2019-03-02,overhaul\nAH-3B,2018-03-02,overhaul\n"
READINGS = "unit,read_on,value\nAH-3B,2024-03-02,1000\nAH-3B,2024-06-02,2000\nAH-3B,2024-09-02,3000\n"
SAMPLES = "unit,sampled_on,acetylene_ul_per_l,ethylene_ul_per_l,hydrogen_ul_per_l\nAH-3B,2024-06-02,100,20,60\n"
SAID = "Stopped in the same bank: AH-3A. Do not go near the bank."
AFTER = "Released for work de-energised only, in the same bank: AH-3A. Do not energise or operate the bank"


@pytest.fixture
def db(tmp_path: Path) -> Path:
    """A bank of two, of which AH-3B waits for a reading and a sample and is due in 2027."""
    made = make_desk(tmp_path)
    files = {"units": UNITS, "services": SERVICES, "readings": READINGS, "samples": SAMPLES}
    for name, text in files.items():
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    assert run(made, "import", *(str(tmp_path / f"{name}.csv") for name in files)).exit_code == 0
    return made


def stopped(db: Path) -> Path:
    assert run(db, "stop", "raise", "AH-3A", "--because", "smell of burnt oil").exit_code == 0
    return db


def dues(db: Path) -> dict[str, dict[str, object]]:
    return {row["unit"]: row for row in json.loads(run(db, "due", "--all", "--json").stdout)["dues"]}


def test_the_others_of_the_bank_are_an_alarm_and_no_routine(db: Path) -> None:
    assert dues(db)["AH-3B"]["alarms"] == []
    found = dues(stopped(db))
    assert str(found["AH-3B"]["alarms"]).count(SAID) == 1
    assert str(found["AH-3B"]["next_action"]).startswith("Do not go near the bank. Ask the responsible engineer today")
    assert all("same bank" not in str(found[unit]["alarms"]) for unit in ("AH-3A", "AH-T1", "BW-T1"))
    assert list(found)[:2] == ["AH-3A", "AH-3B"]
    assert SAID in " ".join(run(db, "why", "AH-3B").stdout.split())


def test_nobody_is_sent_to_read_or_to_sample_them(db: Path) -> None:
    (before,) = (look for look in json.loads(run(db, "next", "--json").stdout)["looks"] if look["unit"] == "AH-3B")
    assert before["reading"]
    assert before["sample"]
    stopped(db)
    (look,) = (look for look in json.loads(run(db, "next", "--json").stdout)["looks"] if look["unit"] == "AH-3B")
    assert (look["reading"], look["sample"], look["sample_by"]) == ("", "", None)
    page = json.loads(run(db, "oil", "--requests", "--json").stdout)
    assert "AH-3B" not in [one["unit"] for one in page["requests"]]
    assert page["left_out"]["bank_stopped"] == ["AH-3B"]
    assert SAID.lower() in " ".join(run(db, "oil", "AH-3B").stdout.split()).lower()


def test_a_plan_made_before_or_after_says_so_at_their_slots(db: Path) -> None:
    assert run(db, "plan", "build", "2027", "--seconds", "0").exit_code == 0
    stopped(db)
    assert run(db, "plan", "build", "2027", "--seconds", "0").exit_code == 0
    for name in ("2027-a", "2027-b"):
        jobs = json.loads(run(db, "plan", "show", name, "--json").stdout)["jobs"]
        (job,) = (row for row in jobs if row["unit"] == "AH-3B")
        assert job["why"].count(SAID) == 1, name
        assert job["suspected"][0].startswith(SAID)
        board = db.parent / f"{name}.html"
        assert run(db, "plan", "export", name, "--out", str(board)).exit_code == 0
        assert board.read_text(encoding="utf-8").count("; ask the engineer first") == 1


def test_a_release_for_work_keeps_the_bank_dead_and_a_clearing_ends_it(db: Path) -> None:
    release = ("stop", "release", "AH-3A", "--by", "K. Arden", "--because", "open it")
    assert run(stopped(db), *release, "--for-work-from", "2026-07-02").exit_code == 0
    assert AFTER in str(dues(db)["AH-3B"]["alarms"])
    assert run(db, *release, "--cleared").exit_code == 0
    assert dues(db)["AH-3B"]["alarms"] == []


def test_whoever_touches_a_unit_of_the_bank_is_told_first(db: Path) -> None:
    words = ("log", "AH-3B", "3100", "--on", "2026-06-20", "--sure", "read twice")
    assert "same bank" not in run(db, *words).stderr
    stopped(db)
    sample = ("sample", "AH-3B", "--on", "2026-06-20", "--acetylene", "90")
    for again in (words, sample, ("plan", "request", "AH-3B", "asked")):
        assert run(db, *again).stderr.startswith(f"AH-3B: {SAID}"), again
    assert "same bank" not in run(db, "log", "AH-T1", "48500", "--sure", "read twice").stderr
    assert "same bank" not in run(db, "history", "AH-3A").stderr
