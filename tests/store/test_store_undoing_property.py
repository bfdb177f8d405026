"""Whatever one person records, corrects and withdraws: each undo goes exactly one entry back, and no row is lost."""

from __future__ import annotations

import shutil
import tempfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapwear.errors import UsageError
from tapwear.store.amending import amend_entry, given_of, withdraw_entry
from tapwear.store.engine import create_store, open_store
from tapwear.store.entries import add_reading
from tapwear.store.find import find_unit
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.store.trail import trail_of
from tapwear.store.undoing import last_entry, undo

BEGIN = datetime(2026, 6, 1, 8, tzinfo=UTC)
DEED = st.tuples(st.sampled_from(("read", "amend", "withdraw", "undo", "undo")), st.integers(0, 4), st.integers(1, 999))


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("undoing") / "fleet.db"
    store = create_store(path)
    with store.rows(writing=True) as connection:
        add_unit(connection, {"unit": "T1", "station": "N", "counter_digits": 6}, Stamp("Robin", BEGIN))
    store.close()
    return path


@settings(max_examples=40)
@given(deeds=st.lists(DEED, max_size=14))
def test_each_undo_goes_one_entry_back(template: Path, deeds: list[tuple[str, int, int]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(Path(shutil.copy(template, Path(folder) / "fleet.db")))
        before: list[dict[date, int]] = []  # what stood before each entry that is not undone
        rows = 0
        for number, (deed, which, value) in enumerate(deeds):
            stamp = Stamp("Kim", BEGIN + timedelta(hours=number + 1), "reason")
            with store.rows(writing=True) as connection:
                unit = find_unit(connection, "T1")
                trail = trail_of(connection, unit, ["reading"])
                assert len(trail) >= rows
                rows = len(trail)
                standing = [row for row in trail if row.stands]
                now = {row.day: row.says["value"] for row in standing if row.day}
                if deed == "undo":
                    if not before:
                        with pytest.raises(UsageError, match="no entry by Kim"):
                            last_entry(connection, "Kim")
                        continue
                    undo(connection, last_entry(connection, "Kim"), stamp)
                    expected = before.pop()
                else:
                    day = date(2026, 6, 1) + timedelta(days=which)
                    chosen = standing[which % len(standing)] if standing else None
                    if deed == "read" and day not in now:
                        add_reading(connection, unit, {"value": value, "read_on": day}, stamp)
                        expected = {**now, day: value}
                    elif deed == "amend" and chosen and chosen.day and chosen.says["value"] != value:
                        amend_entry(connection, unit, chosen, {**given_of(chosen), "value": value}, stamp)
                        expected = {**now, chosen.day: value}
                    elif deed == "withdraw" and chosen and chosen.day:
                        withdraw_entry(connection, chosen, stamp)
                        expected = {day: value for day, value in now.items() if day != chosen.day}
                    else:
                        continue
                    before.append(now)
                after = [row for row in trail_of(connection, unit, ["reading"]) if row.stands]
                assert {row.day: row.says["value"] for row in after} == expected
                assert len(after) == len(expected)
        store.close()
