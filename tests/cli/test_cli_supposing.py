"""`tapwear why UNIT --if`: before and after, through all layers, and nothing stored."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from desk_store import make_desk, run


@pytest.fixture(scope="module")
def db(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_desk(tmp_path_factory.mktemp("desk"))


def test_the_dates_stand_side_by_side_and_the_store_is_as_it_was(db: Path) -> None:
    before = run(db, "due", "--all", "--json").stdout
    done = run(db, "why", "AH-T1", "--if", "interval=50000", "--if", "rate=1.5@2027-01-01")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("AH-T1   what if, as of 2026-06-30; nothing is stored\n")
    assert "An interval of 50,000 operations." in done.stdout
    assert "Operations 1.5 times what is expected from 2027-01-01 on." in done.stdout
    assert "days earlier" in done.stdout
    assert "neither a switching permit" in done.stderr
    assert run(db, "due", "--all", "--json").stdout == before


def test_json_holds_both_and_the_words(db: Path) -> None:
    page = json.loads(run(db, "why", "AH-T1", "--if", "overhaul=2026-09-01", "--json").stdout)
    assert page["schema"] == "tapwear.whatif/1"
    assert page["now"][0]["last_service_on"] == "2020-03-02"
    assert page["then"][0]["last_service_on"] == "2026-09-01"


def test_what_is_not_understood_is_said(db: Path) -> None:
    done = run(db, "why", "AH-T1", "--if", "luck=2")
    assert done.exit_code == 2
    assert "give interval=60000" in done.stderr
