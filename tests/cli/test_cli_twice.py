"""Every command that writes, given twice: the second time adds nothing, as after an answer that was lost."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from desk_store import make_desk, run

ON = ("--on", "2026-06-29")
WRITING: tuple[tuple[str, ...], ...] = (
    ("log", "AH-T1", "48100", *ON, "--sure", "seen"),
    ("visit", "AH-T1", "--counter", "48100", "--oil-level", "normal", "--position", "9", *ON, "--sure", "seen"),
    ("sample", "AH-T1", "--acetylene", "120", *ON),
    ("service", "AH-T1", "--work", "inspection", *ON),
    ("event", "AH-T1", "other", "--remark", "looked at", *ON),
    ("condition", "add", "AH-T1", "infrared", "--words", "warm", *ON),
    ("followups", "add", "AH-T1", "--kind", "noise", "--words", "rattles", *ON),
    ("defer", "add", "AH-T2", "--task", "contact service", "--engineer", "Sam", "--reason", "new unit", "--until",
     "2026-12-01", "--checks", "sample"),
    ("amend", "AH-T1", "reading", "--on", "2026-06-15", "--set", "value=47999", "--because", "misread", "--sure", "x"),
    ("limits", "set", "arcing_resistor", "acetylene", "5000", "--because", "own choice", "--yes"),
    ("visit-rule", "set", "--unit", "AH-T1", "--read", "90"),
    ("unit", "add", "NEW", "--station", "AH", "--digits", "6"),
    ("unit", "change", "AH-T1", "--note", "looked up"),
    ("unit", "move", "BW-T1", "--state", "workshop", *ON),
    ("unit", "swap", "AH-T1", "AH-T2", *ON),
    ("unit", "retire", "BW-T1", *ON),
    ("plan", "input", "close", "AH", "--weeks", "W24..W35", "--why", "summer peak"),
    ("plan", "input", "crew", "North", "2027-W05", "160"),
    ("plan", "input", "team", "Team 4", "North", "120"),
    ("plan", "input", "resource", "mobile transformer", "1"),
    ("plan", "input", "terms", "--station", "AH", "--permit-weeks", "3"),
    ("plan", "input", "other", "tower painting", "--station", "AH", "--from", "2027-04-05", "--to", "2027-04-16"),
    ("plan", "pin", "AH-T1", "2027-W18", "--because", "line team"),
    ("plan", "forbid", "AH-T1", "2027-W20..2027-W25"),
    ("plan", "request", "AH-T1", "approved", "--week", "2027-W20", "--person", "control room"),
    ("plan", "progress", "AH-T1", "started", "--on", "2026-06-03"),
    ("plan", "work", "AH-T1", "bushing tests"),
    ("plan", "costs", "--late", "7", "--because", "agreed"),
    ("plan", "build", "2027"),
    ("snapshot",),
    ("undo", "--because", "practice"),
)  # fmt: skip


def rows(path: Path) -> dict[str, int]:
    with closing(sqlite3.connect(path)) as raw:
        names = [name for (name,) in raw.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")]
        return {name: raw.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in names}  # noqa: S608


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    return make_desk(tmp_path)


@pytest.mark.parametrize("words", WRITING, ids=lambda words: " ".join(words[:3]))
def test_given_twice_a_command_adds_nothing_the_second_time(desk: Path, words: tuple[str, ...]) -> None:
    run(desk, "log", "AH-T1", "47990", "--on", "2026-06-15", "--sure", "seen")
    run(desk, "log", "AH-T2", "47990", "--on", "2026-06-15", "--sure", "seen")
    before = rows(desk)
    first = run(desk, *words)
    assert first.exit_code in (0, 6), first.output
    once = rows(desk)
    assert once != before
    second = run(desk, *words)
    assert second.exit_code in (0, 2, 3, 6), second.output
    assert "Traceback" not in second.output
    assert {name: number for name, number in rows(desk).items() if number != once[name]} == {}


def test_the_same_files_imported_twice_are_one_import(desk: Path, tmp_path: Path) -> None:
    once = rows(desk)
    files = sorted(map(str, tmp_path.glob("*.csv")))
    assert run(desk, "import", *files).exit_code == 0
    second = rows(desk)
    done = run(desk, "import", *files)
    assert done.exit_code == 0
    assert rows(desk) == second
    assert sum(second.values()) - sum(once.values()) <= 2  # in another order at most a run and its entry
