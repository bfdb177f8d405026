"""`tapwear defer`: recorded, and seen in the list, the page and the plan until it ends."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from desk_store import make_desk, run

GIVEN = ("--engineer", "K. Lund", "--reason", "winter peak", "--checks", "monthly sample")


@pytest.fixture(scope="module")
def db(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """AH-T2 was last serviced on 2016-01-04: its 9 years ended on 2025-01-04. It is put off to 2026-10-01."""
    path = make_desk(tmp_path_factory.mktemp("desk"))
    done = run(path, "defer", "add", "AH-T2", *GIVEN, "--until", "2026-10-01")
    assert done.exit_code == 0, done.output
    assert "Recorded: contact service of AH-T2 deferred to 2026-10-01 by K. Lund." in done.stderr
    return path


def test_every_list_says_it_until_it_ends(db: Path) -> None:
    words = "deferred to 2026-10-01 by K. Lund: winter peak; checks: monthly sample"
    assert words in run(db, "due").stdout
    assert words in run(db, "why", "AH-T2").stdout
    (row,) = (row for row in json.loads(run(db, "due", "--json").stdout)["dues"] if row["unit"] == "AH-T2")
    assert (row["deferral"], row["deferred_until"], row["overdue"]) == (words, "2026-10-01", True)
    plan = run(db, "plan", "build", "2026", "--name", "with it")
    assert f"contact service {words}" in plan.stdout
    assert "a recorded deferral is needed" not in plan.stdout
    later = run(db, "due", "--as-of", "2026-10-02").stdout
    assert "The deferral of the contact service to 2026-10-01 by K. Lund has expired." in later
    assert words not in later


def test_the_list_of_deferrals_marks_those_that_have_ended(db: Path) -> None:
    assert "2026-10-01 " in run(db, "defer", "list").stdout
    assert "2026-10-01 (ended)" in run(db, "defer", "list", "--as-of", "2026-10-02").stdout
    (row,) = json.loads(run(db, "defer", "list", "ah-t2", "--json").stdout)
    assert (row["unit"], row["engineer"], row["ended"]) == ("AH-T2", "K. Lund", False)
    assert "No deferral is recorded." in run(db, "defer", "list", "AH-T1").stderr


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((*GIVEN, "--until", "2026-06-30"), "give a later day"),
        ((*GIVEN, "--until", "soon"), "a date is written like"),
        ((*GIVEN, "--until", "2027-01-01", "--on", "2026-07-01"), "lies in the future"),
        ((*GIVEN[:4], "--checks", " ", "--until", "2027-01-01"), "needs its checks"),
        ((*GIVEN[:4], "--until", "2027-01-01"), "--checks"),
    ],
)
def test_an_incomplete_decision_is_not_recorded(db: Path, words: tuple[str, ...], message: str) -> None:
    done = run(db, "defer", "add", "AH-T1", *words)
    assert done.exit_code == 2
    assert message in done.stderr
    assert "No deferral is recorded." in run(db, "defer", "list", "AH-T1").stderr


def test_one_can_be_taken_back_with_a_reason(tmp_path: Path) -> None:
    path = make_desk(tmp_path)
    run(path, "defer", "add", "AH-T2", *GIVEN, "--until", "2026-10-01")
    done = run(path, "defer", "end", "AH-T2", "--because", "a spare came free")
    assert "Taken back: contact service of AH-T2" in done.stderr
    assert "deferred to" not in run(path, "due").stdout
