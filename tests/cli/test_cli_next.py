"""`tapwear next` through all layers on three units."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from desk_store import make_desk, run


@pytest.fixture(scope="module")
def db(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_desk(tmp_path_factory.mktemp("desk"))


def test_the_unit_read_longest_ago_comes_first_and_says_why(db: Path) -> None:
    done = run(db, "next")
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0] == "What to look at next, as of 2026-06-30"
    first = next(line for line in lines if line.startswith("Station"))
    assert first.startswith("Station BW: total reduction in date range:")
    assert "Read the counter: last read 15 months ago, usually every 3 months." in done.stdout
    assert "Sample the oil: A new baseline 1 to 4 weeks after the oil was renewed on 2020-03-02" in done.stdout
    assert "neither a switching permit" in done.stderr


def test_json_and_csv_hold_the_same_units_and_carry_the_schema(db: Path) -> None:
    page = json.loads(run(db, "next", "--by", "2026-09-30", "--json").stdout)
    rows = list(csv.DictReader(io.StringIO(run(db, "next", "--by", "2026-09-30", "--csv").stdout)))
    assert (page["schema"], page["as_of"], page["read_on"]) == ("tapwear.next/1", "2026-06-30", "2026-09-30")
    assert [look["unit"] for look in page["looks"]] == [row["unit"] for row in rows]
    (bw,) = (look for look in page["looks"] if look["unit"] == "BW-T1")
    assert bw["reading_overdue"]
    assert bw["narrows_days"] == bw["width_days"] - bw["width_after_days"] > 0


def test_filters_leave_other_stations_out_and_unknown_ones_are_named(db: Path) -> None:
    page = json.loads(run(db, "next", "--station", "ah", "--all", "--json").stdout)
    assert {look["station"] for look in page["looks"]} == {"AH"}
    assert {look["region"] for look in json.loads(run(db, "next", "--region", "South", "--json").stdout)["looks"]} == {
        "South"
    }
    wrong = run(db, "next", "--station", "XX")
    assert wrong.exit_code == 2
    assert "There is no station XX" in wrong.stderr


@pytest.mark.parametrize(
    ("words", "message"),
    [(("--json", "--csv"), "not both"), (("--by", "2026-01-01"), "lies before"), (("--by", "soon"), "date is written")],
)
def test_what_is_not_understood_is_said(db: Path, words: tuple[str, ...], message: str) -> None:
    done = run(db, "next", *words)
    assert done.exit_code == 2
    assert message in done.stderr
