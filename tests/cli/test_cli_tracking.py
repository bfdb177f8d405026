"""`tapwear snapshot`, `track` and `changes` through all layers."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from desk_store import make_desk, run

from tapwear.store.engine import create_store


@pytest.fixture(scope="module")
def db(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = make_desk(tmp_path_factory.mktemp("desk"))
    assert "No snapshot of 2026-06-30 or before is kept." in run(path, "track").stderr
    done = run(path, "snapshot", "--as-of", "2024-06-30")
    assert "Kept as snapshot 1: 3 dates as of 2024-06-30." in done.stderr
    work = ("--work", "overhaul", "--on", "2026-06-25", "--as-found", "48200", "--serial", "S2", "--witness", "Lee")
    assert run(path, "service", "AH-T2", *work).exit_code == 0
    return path


def test_track_tells_what_moved_and_why(db: Path) -> None:
    done = run(db, "track")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("Track record, as of 2026-06-30\n")
    assert "Expected of 10: 1 before the early date, 8 within, 1 after the late one." in done.stdout
    assert "contact service of 2026-06-25 recorded" in done.stdout
    page = json.loads(run(db, "track", "--json").stdout)
    assert (page["schema"], len(page["moved"])) == ("tapwear.track/1", 3)
    assert page["snapshots"][0]["as_of"] == "2024-06-30"


def test_a_plan_keeps_a_snapshot_too(db: Path) -> None:
    before = len(json.loads(run(db, "track", "--json").stdout)["snapshots"])
    run(db, "plan", "build", "2028")
    assert len(json.loads(run(db, "track", "--json").stdout)["snapshots"]) == before + 1


def test_a_snapshot_that_is_not_there_is_named(db: Path) -> None:
    done = run(db, "track", "--snapshot", "99")
    assert done.exit_code == 2
    assert "There is no snapshot 99" in done.stderr


def test_changes_are_the_sheet_since_a_day(db: Path) -> None:
    done = run(db, "changes", "--since", "2026-05-31")
    assert done.exit_code == 0, done.output
    assert done.stdout.startswith("Changes from 2026-05-31 to 2026-06-30\n")
    assert "AH-T2: overhaul on 2026-06-25." in done.stdout
    assert "contact service of 2026-06-25 recorded" in done.stdout
    page = json.loads(run(db, "changes", "--since", "2026-05-31", "--json").stdout)
    assert page["schema"] == "tapwear.changes/1"
    assert {row["unit"] for row in page["dates"]} == {"AH-T1", "AH-T2", "BW-T1"}
    assert page["work"] == ["AH-T2: overhaul on 2026-06-25"]


def test_a_day_that_is_not_before_is_refused(db: Path) -> None:
    done = run(db, "changes", "--since", "2026-06-30")
    assert done.exit_code == 2
    assert "does not lie before" in done.stderr


def test_a_snapshot_of_a_store_without_units_is_followed_like_any_other(tmp_path: Path) -> None:
    create_store(tmp_path / "empty.db").close()
    for words in (("snapshot",), ("track",), ("track", "--json"), ("changes", "--since", "2026-01-31")):
        done = run(tmp_path / "empty.db", *words)
        assert done.exit_code == 0, done.output
