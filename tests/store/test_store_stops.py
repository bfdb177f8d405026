"""Stops as rows of the book: one per cause, ended by a release only, and there after an upgrade."""

from __future__ import annotations

import json
import sqlite3
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from old_stores import old_store
from typer.testing import CliRunner

from tapwear.cli.app import app
from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.find import UnitKey, find_unit
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.store.stops import Severe, list_stops, open_stop, open_stops, release_stops

AT = datetime(2026, 6, 1, 8, tzinfo=UTC)
STAMP = Stamp("Robin", AT)
DAY = date(2026, 5, 26)
LATER = Stamp("K. Arden", AT + timedelta(days=10))


@pytest.fixture
def unit(empty_store: Store) -> UnitKey:
    with empty_store.rows(writing=True) as connection:
        return add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 6}, STAMP)


def severe(cause: str = "oil", on: date = DAY, recorded_at: datetime | None = AT) -> Severe:
    return Severe("T1", on, cause, f"{cause}.", recorded_at)


def test_of_one_cause_there_is_one_stop_and_of_two_there_are_two(empty_store: Store, unit: UnitKey) -> None:
    with empty_store.rows(writing=True) as connection:
        assert open_stop(connection, unit, severe(), STAMP) is not None
        assert open_stop(connection, unit, severe(on=date(2026, 5, 30)), STAMP) is None
        assert open_stop(connection, unit, severe("visit"), STAMP) is not None
        assert [row.cause for row in open_stops(connection, unit)] == ["oil", "visit"]


def test_a_release_ends_all_that_stands_and_is_kept_with_name_and_reason(empty_store: Store, unit: UnitKey) -> None:
    with empty_store.rows(writing=True) as connection:
        open_stop(connection, unit, severe(), STAMP)
        open_stop(connection, unit, severe("visit"), STAMP)
        release_stops(connection, unit, date(2026, 6, 11), "K. Arden", "open it", LATER, date(2026, 6, 12))
        assert {row.state(date(2026, 6, 11)) for row in open_stops(connection, unit)} == {
            "released for work from 2026-06-12"
        }
        assert {row.state(date(2026, 6, 10)) for row in open_stops(connection, unit)} == {"stands"}
        release_stops(connection, unit, date(2026, 6, 20), "L. Moor", "contacts renewed", LATER, None)
        assert open_stops(connection, unit) == []
        kept = list_stops(connection, unit)
        with pytest.raises(UsageError, match="no stop that stands"):
            release_stops(connection, unit, date(2026, 6, 21), "K. Arden", "again", LATER, None)
    assert {(row.work_engineer, row.work_words, row.cleared_engineer) for row in kept} == {
        ("K. Arden", "open it", "L. Moor")
    }
    book = load_book(empty_store, as_of=date(2026, 6, 15)).stops
    assert book["cleared_on"].isna().all()
    assert set(book["work_engineer"]) == {"K. Arden"}
    assert set(load_book(empty_store, as_of=date(2026, 6, 10)).stops["work_engineer"]) == {""}
    assert load_book(empty_store, as_of=date(2026, 5, 1)).stops.empty


def test_what_was_recorded_before_a_clearing_raises_nothing_anew(empty_store: Store, unit: UnitKey) -> None:
    with empty_store.rows(writing=True) as connection:
        open_stop(connection, unit, severe(), STAMP)
        release_stops(connection, unit, date(2026, 6, 11), "K. Arden", "opened", LATER, None)
        assert open_stop(connection, unit, severe("condition"), STAMP) is None
        late = severe(on=date(2026, 5, 1), recorded_at=AT + timedelta(days=11))  # dated before, known after
        assert open_stop(connection, unit, late, STAMP) is not None


@pytest.mark.parametrize(
    ("on", "engineer", "words", "work_from", "needs"),
    [
        (date(2026, 6, 11), " ", "x", None, "engineer"),
        (date(2026, 6, 11), "K. Arden", "", None, "reason"),
        (date(2026, 5, 25), "K. Arden", "x", None, "before that"),
        (date(2026, 6, 11), "K. Arden", "x", date(2026, 6, 10), "before the release"),
    ],
)
def test_a_release_without_name_reason_or_order_changes_nothing(
    empty_store: Store, unit: UnitKey, on: date, engineer: str, words: str, work_from: date | None, needs: str
) -> None:
    with empty_store.rows(writing=True) as connection:
        open_stop(connection, unit, severe(), STAMP)
        with pytest.raises(UsageError, match=needs):
            release_stops(connection, unit, on, engineer, words, LATER, work_from)
        assert len(open_stops(connection, unit)) == 1


def test_an_old_store_gets_its_stops_when_it_is_upgraded(tmp_path: Path) -> None:
    path = old_store(2, tmp_path / "old.db")
    raw = sqlite3.connect(path)
    (number, tag) = raw.execute("SELECT id, tag FROM tap_changer ORDER BY id").fetchone()
    raw.execute(
        "INSERT INTO condition (uid, recorded_at, recorded_by, reason, withdrawn, tap_changer_id, noted_on, kind, "
        "words, severe, author, closed_words) VALUES ('trip', '2026-05-26 08:00:00.000000', 'Robin', '', 0, ?, "
        "'2026-05-26', 'relay_trip', 'surge relay', 1, 'Robin', '')",
        (number,),
    )
    raw.commit()
    raw.close()
    runner = CliRunner(env={"TAPWEAR_TODAY": "2027-01-01", "TAPWEAR_NAME": "Kim", "COLUMNS": "200"})
    done = runner.invoke(app, ["--db", str(path), "upgrade"])
    assert done.exit_code == 0, done.output
    assert done.stderr.startswith(f"STOP: possible arcing or overheating in {tag}.")
    rows = json.loads(runner.invoke(app, ["--db", str(path), "stop", "list", "--json"]).stdout)
    assert [(row["unit"], row["opened_on"], row["cause"]) for row in rows] == [(tag, "2026-05-26", "condition")]


def test_a_stop_is_neither_undone_nor_withdrawn(empty_store: Store, unit: UnitKey) -> None:
    from tapwear.store.amending import withdraw_entry
    from tapwear.store.trail import trail_of
    from tapwear.store.undoing import last_entry

    with empty_store.rows(writing=True) as connection:
        open_stop(connection, find_unit(connection, "T1"), severe(), LATER)
        with pytest.raises(UsageError, match="no entry by K"):
            last_entry(connection, "K. Arden")
        (row,) = trail_of(connection, unit, ["stop"])
        with pytest.raises(UsageError, match="tapwear stop release"):
            withdraw_entry(connection, row, LATER)
