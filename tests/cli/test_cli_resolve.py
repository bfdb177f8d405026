"""Visit files brought in by two people, and their conflict settled on the command line."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest
from desk_store import make_desk, run
from visits.visit_examples import entry, visit_file

RIGHT, SLIP = 48_310, 48_130


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """The desk's store after two people have handed in different numbers of one day."""
    db = make_desk(tmp_path)
    for number, (name, value) in enumerate((("Kim", RIGHT), ("Robin", SLIP))):
        visit = entry(id=f"{number}" * 32, unit="AH-T1", visited_on="2026-06-25", by=name, counters=[{"value": value}])
        path = visit_file(tmp_path / f"{name}.json", visit)
        done = run(db, "import", str(path))
        assert done.exit_code == (3 if number else 0), done.output
    assert f"{SLIP} by Robin, in the book {RIGHT} by Kim; both are kept" in done.output
    return db


def test_open_conflicts_are_listed_and_one_number_is_kept_with_a_reason(desk: Path) -> None:
    listed = run(desk, "resolve").output
    assert "AH-T1 on 2026-06-25, drive 1, mechanical counter" in listed
    assert "048310 by Kim" in listed
    assert "048130 by Robin" in listed
    assert len(json.loads(run(desk, "resolve", "AH-T1", "--json").stdout)[0]["numbers"]) == 2
    done = run(desk, "resolve", "AH-T1", "--keep", str(RIGHT), "--because", "asked Robin")
    assert done.exit_code == 0, done.output
    assert f"{RIGHT} stands; taken back: {SLIP} by Robin" in done.output
    assert "No counter has two numbers" in run(desk, "resolve").output


def test_a_decision_needs_unit_number_and_reason(desk: Path) -> None:
    for words in (
        ["--keep", str(RIGHT), "--because", "x"],
        ["AH-T1", "--keep", str(RIGHT)],
        ["AH-T1", "--because", "x"],
        ["AH-T1", "--keep", "7", "--because", "x"],
        ["AH-T2", "--keep", "7", "--because", "x"],
        ["AH-T1", "--keep", str(RIGHT), "--because", "x", "--on", "2026-06-24"],
    ):
        assert run(desk, "resolve", *words).exit_code == 2, words
    assert "048130 by Robin" in run(desk, "resolve").output


def test_the_date_of_a_unit_does_not_depend_on_who_came_first(tmp_path: Path) -> None:
    told = []
    for order in (("Kim", "Robin"), ("Robin", "Kim")):
        folder = tmp_path / order[0]
        folder.mkdir()
        db = make_desk(folder)
        for name in order:
            number = "0" if name == "Kim" else "1"
            value = RIGHT if name == "Kim" else SLIP
            visit = entry(id=number * 32, unit="AH-T1", visited_on="2026-06-25", by=name, counters=[{"value": value}])
            run(db, "import", str(visit_file(folder / f"{name}.json", visit)))
        told.append(run(db, "due", "--all", "--csv").stdout)
    assert told[0] == told[1]
    assert "AH-T1" in told[0]


def test_a_controllers_counts_are_a_series_of_their_own_beside_the_mechanical_one(tmp_path: Path) -> None:
    db = make_desk(tmp_path)
    before = run(db, "due", "--all", "--json").stdout
    # The controller was fitted later and starts at nought; it counts the same twenty operations a day.
    visits = [
        entry(
            id=f"{number:032x}", unit="AH-T1", visited_on=f"2026-{month:02}-20", by="SCADA", observations=None,
            counters=[{"value": 20 * 30 * number, "source": "controller"}],
        )
        for number, month in enumerate((4, 5, 6))
    ]  # fmt: skip
    done = run(db, "import", str(visit_file(tmp_path / "scada.json", *visits)))
    assert done.exit_code == 0, done.output
    assert "No counter has two numbers" in run(db, "resolve").output
    after = run(db, "due", "--all", "--json").stdout
    middle = [
        next(due["middle"] for due in json.loads(text)["dues"] if due["unit"] == "AH-T1") for text in (before, after)
    ]
    assert abs((date.fromisoformat(middle[1]) - date.fromisoformat(middle[0])).days) <= 30
    told = run(db, "why", "AH-T1").output
    assert "0 doubtful in all" in told
