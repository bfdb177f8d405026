"""The planner's commands on a small store, with a projection that the test writes down itself."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from typer.testing import CliRunner, Result

from tapwear import blocks
from tapwear.blocks import Dates
from tapwear.cli.app import app
from tapwear.errors import StoreError, UsageError
from tapwear.outlook.types import Due, Outlook
from tapwear.plan.document import from_document, to_document
from tapwear.plan.place import place
from tapwear.plan.types import Job, Limits
from tapwear.store import loading, plans
from tapwear.store.book import Sites
from tapwear.store.engine import Store, create_store
from tapwear.store.models import TapChanger
from tapwear.weeks import weeks_of_year

AS_OF = date(2026, 6, 30)
AT = datetime(2026, 6, 30, 8, 0, tzinfo=UTC)
WEEKS = tuple(weeks_of_year(2027))
EMPTY = {
    "closures": ["station", "from_on", "to_on", "why"],
    "transfer_groups": ["group", "station", "unit"],
    "crews": ["region", "week", "hours"],
    "units": ["station", "neighbourhood"],
}


def due(unit: str, early: str | None, **given: Any) -> Due:
    day = date.fromisoformat(early) if early else None
    values: dict[str, Any] = {
        "unit": unit, "station": "ALDER", "region": "North", "bank": unit, "phase": "", "state": "in service",
        "task": "contact service", "as_of": AS_OF, "last_service_on": None, "last_service_counter": None,
        "interval_operations": 50_000, "interval_years": None, "operations_since": None, "operations_since_low": None,
        "operations_since_high": None, "operations_per_year": None, "early": day, "middle": day, "late": day,
        "known": day is not None, "overdue": False, "driver": "operations" if day else "unknown",
    }  # fmt: skip
    return Due(**{**values, **given})


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = create_store(tmp_path / "fleet.db")
    with store.unit_of_work() as session:
        session.add_all(TapChanger(tag=tag) for tag in ("U1", "U2", "U3", "<script>", "[/]", "=cmd"))
    return store


@pytest.fixture
def projected(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the fleet's assessment gives: the dues and the planner's frames, for a test to fill in."""
    given: dict[str, Any] = {"dues": (due("U1", "2027-03-01"), due("U2", "2027-05-03")), "frames": {}}

    def load_sites(store: Store, as_of: date) -> Sites:
        return Sites(
            **{name: given["frames"].get(name, pd.DataFrame(columns=columns)) for name, columns in EMPTY.items()}
        )

    monkeypatch.setattr(blocks, "fleet_dates", lambda store, as_of: Dates(as_of, Outlook(as_of, given["dues"]), {}))
    monkeypatch.setattr(loading, "load_sites", load_sites)
    return given


def run(store: Store, *words: str) -> Result:
    return CliRunner(env={"NO_COLOR": "1", "TAPWEAR_NAME": "A. Planner", "TAPWEAR_TODAY": "2026-06-30"}).invoke(
        app, ["--db", str(store.path), "plan", *words]
    )


def test_build_shows_the_plan_on_stdout_and_where_it_was_kept_on_stderr(
    store: Store, projected: dict[str, Any]
) -> None:
    done = run(store, "build", "2027")
    assert done.exit_code == 0, done.output
    assert "2027-W09  U1" in done.stdout
    assert "2027-W18  U2" in done.stdout
    assert "No crew hours given for region North: not limited." in done.stdout
    assert "neither a switching permit nor a diagnosis" in done.stdout
    assert f"Saved as plan 2027-a in {store.path}" in done.stderr
    assert "Kept" not in done.stdout


def test_plans_get_free_names_and_are_never_overwritten(store: Store, projected: dict[str, Any]) -> None:
    assert run(store, "build", "2027", "--name", "2027-b").exit_code == 0
    for planner in ("Ann", "Bo", "Bo"):  # the last one given twice
        assert run(store, "build", "2027", "--by", planner).exit_code == 0
    again = run(store, "build", "2027", "--name", "2027-a")
    assert again.exit_code == 2
    assert "never overwritten" in again.stderr
    assert "--name" in again.stderr
    assert [head.name for head in plans.list_plans(store)] == ["2027-b", "2027-a", "2027-c"]
    listed = run(store, "list").stdout.splitlines()
    assert listed[0].split() == ["plan", "year", "as", "of", "placed", "not", "placed", "status", "made", "on", "by"]
    assert [line.split()[0] for line in listed[1:]] == ["2027-b", "2027-a", "2027-c"]


def test_a_job_without_a_place_ends_with_exit_code_6_after_the_plan_was_shown_and_kept(
    store: Store, projected: dict[str, Any]
) -> None:
    rows = [("ALDER", date(2027, 1, 1), date(2028, 1, 31), "rebuilding")]
    projected["frames"]["closures"] = pd.DataFrame(rows, columns=EMPTY["closures"])
    done = run(store, "build", "2027")
    assert done.exit_code == 6
    assert "station ALDER closed (rebuilding) in weeks 1-52" in done.stdout
    assert "2 found no place" in done.stderr
    assert run(store, "show").exit_code == 0
    assert plans.list_plans(store)[0].not_placed == 2


def test_a_unit_with_unknown_date_is_listed_and_does_not_fail_the_plan(store: Store, projected: dict[str, Any]) -> None:
    projected["dues"] = (due("U1", "2027-03-01"), due("U3", None))
    done = run(store, "build", "2027")
    assert done.exit_code == 0
    assert "date unknown" in done.stdout
    assert "1 with unknown date" in done.stderr


def test_nothing_due_makes_no_plan(store: Store, projected: dict[str, Any]) -> None:
    projected["dues"] = (due("U1", "2031-03-01"),)
    done = run(store, "build", "2027")
    assert done.exit_code == 0
    assert done.stdout == ""
    assert "Nothing falls due by the end of 2027" in done.stderr
    assert plans.list_plans(store) == []


def test_units_that_are_not_in_service_are_left_out_and_counted(store: Store, projected: dict[str, Any]) -> None:
    projected["dues"] = (due("U1", "2027-03-01"), due("U2", "2027-03-01", state="spare"))
    done = run(store, "build", "2027")
    assert "1 unit left out: spare, in the workshop or retired." in done.stdout
    assert "U2" not in done.stdout


def test_a_year_that_is_over_is_refused(store: Store, projected: dict[str, Any]) -> None:
    done = run(store, "build", "2025", "--as-of", "2026-06-30")
    assert done.exit_code == 2
    assert "2025 is over on 2026-06-30" in done.stderr


def test_show_gives_the_newest_plan_or_the_named_one(store: Store, projected: dict[str, Any]) -> None:
    built = run(store, "build", "2027").stdout
    projected["dues"] = (due("U3", "2027-08-02"),)
    run(store, "build", "2027")
    assert "U3" in run(store, "show").stdout
    assert run(store, "show", "2027-a").stdout == built
    page = json.loads(run(store, "show", "2027-a", "--json").stdout)
    assert page["schema"] == "tapwear.plan/1"
    assert [row["unit"] for row in page["jobs"]] == ["U1", "U2"]
    missing = run(store, "show", "2019-a")
    assert missing.exit_code == 2
    assert "2027-a, 2027-b" in missing.stderr


def test_without_a_plan_it_is_said_how_to_make_one(store: Store) -> None:
    assert "tapwear plan build YEAR" in run(store, "show").stderr
    assert "tapwear plan build YEAR" in run(store, "list").stderr


@pytest.mark.parametrize("kind", ["csv", "xlsx", "ics", "html"])
def test_export_writes_each_format_and_never_over_a_file_by_accident(
    store: Store, projected: dict[str, Any], kind: str, tmp_path: Path
) -> None:
    run(store, "build", "2027")
    out = tmp_path / f"plan.{kind}"
    done = run(store, "export", "--format", kind, "--out", str(out))
    assert done.exit_code == 0, done.output
    assert done.stdout == ""
    beginning = {"csv": b"stop,number,start_week", "xlsx": b"PK", "ics": b"BEGIN:VCALENDAR", "html": b"<!DOCTYPE html>"}
    assert out.read_bytes().startswith(beginning[kind])
    out.write_text("mine")
    assert run(store, "export", "--format", kind, "--out", str(out)).exit_code == 2
    assert out.read_text() == "mine"
    assert run(store, "export", "2027-a", "--out", str(out), "--force").exit_code == 0  # by its name
    assert out.read_bytes().startswith(beginning[kind])


def test_export_never_writes_over_the_store(store: Store, projected: dict[str, Any]) -> None:
    run(store, "build", "2027")
    done = run(store, "export", "--out", str(store.path), "--force")
    assert done.exit_code == 2
    assert plans.list_plans(store)


def test_export_into_a_missing_folder_says_so(store: Store, projected: dict[str, Any], tmp_path: Path) -> None:
    run(store, "build", "2027")
    done = run(store, "export", "--out", str(tmp_path / "no" / "plan.html"))
    assert done.exit_code == 2
    assert "cannot be written" in done.stderr


def test_hostile_names_pass_through_every_way_out(store: Store, projected: dict[str, Any], tmp_path: Path) -> None:
    projected["dues"] = tuple(
        due(tag, "2027-03-01", station="[/]", region="=cmd") for tag in ("<script>", "[/]", "=cmd")
    )
    assert run(store, "build", "2027").exit_code == 0
    out = tmp_path / "plan"
    run(store, "export", "--format", "html", "--out", str(out))
    assert "<script>" not in out.read_text()
    run(store, "export", "--format", "csv", "--out", str(out), "--force")
    assert {row["unit"] for row in csv.DictReader(io.StringIO(out.read_text()))} == {"<script>", "[/]", "'=cmd"}


def test_a_missing_package_ends_with_the_line_to_run(
    store: Store, projected: dict[str, Any], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run(store, "build", "2027")
    monkeypatch.setitem(sys.modules, "xlsxwriter", None)
    done = run(store, "export", "--format", "xlsx", "--out", str(tmp_path / "plan.xlsx"))
    assert done.exit_code == 2
    assert "pip install 'tapwear[report]'" in done.stderr
    assert not (tmp_path / "plan.xlsx").exists()


# --- plans in the store ---------------------------------------------------------------------------------------


def a_plan(*units: str) -> dict[str, Any]:
    jobs = tuple(
        Job(f"{unit} / contact service", unit, "contact service", "ALDER", "North", "T1", date(2027, 3, 1),
            date(2027, 4, 1), date(2027, 6, 1), 2, 80.0, "kit 7", date(2026, 12, 1), False, True, "why", "A", 2.0,
            ("80 crew hours",))
        for unit in units
    )  # fmt: skip
    hours = {("North", week): 100.0 for week in WEEKS}
    limits = Limits(WEEKS, {"ALDER": {"2027-W30": "peak"}}, {"G": frozenset({jobs[0].job_id})}, hours, ("said",),
                    {"ALDER": "hills"})  # fmt: skip
    return to_document(place(jobs, limits, AS_OF))


def test_a_plan_comes_back_from_the_store_as_it_was_made(store: Store) -> None:
    document = a_plan("U1")
    name = plans.save_plan(store, document, name=None, by="A. Planner", at=AT)
    head, loaded = plans.load_plan(store, name)
    assert from_document(loaded) == from_document(document)
    assert loaded == document
    assert (head.recorded_by, head.recorded_at, head.status, head.sequence) == ("A. Planner", AT, "draft", 0)


def test_a_plan_keeps_the_tags_of_its_day(store: Store) -> None:
    plans.save_plan(store, a_plan("U1"), name="x", by="A. Planner", at=AT)
    with store.unit_of_work() as session:
        unit = session.get(TapChanger, 1)
        assert unit is not None
        unit.tag = "RENAMED"
    _, loaded = plans.load_plan(store, "x")
    assert loaded["jobs"][0]["unit"] == "U1"


def test_a_plan_of_an_unknown_unit_is_not_kept_at_all(store: Store) -> None:
    with pytest.raises(StoreError, match="GHOST"):
        plans.save_plan(store, a_plan("U1", "GHOST"), name="x", by="A. Planner", at=AT)
    assert plans.list_plans(store) == []


@pytest.mark.parametrize("name", ["", "  ", " x", "a\nb", "a\x1b[31m", "x" * 61])
def test_names_that_cannot_be_typed_or_shown_are_refused(store: Store, name: str) -> None:
    with pytest.raises(UsageError, match="1 to 60 printable characters"):
        plans.save_plan(store, a_plan("U1"), name=name, by="A. Planner", at=AT)


def test_names_go_on_after_the_letter_z(store: Store) -> None:
    for number in range(27):
        last = plans.save_plan(store, a_plan("U1"), name=None, by=f"Planner {number}", at=AT)
    assert last == "2027-aa"
    assert plans.load_plan(store)[0].sequence == 26


# --- start-up -------------------------------------------------------------------------------------------------


def test_listing_and_showing_plans_needs_no_pandas(store: Store) -> None:
    plans.save_plan(store, a_plan("U1"), name=None, by="A. Planner", at=AT)
    code = (
        "import sys\n"
        "from typer.testing import CliRunner\n"
        "from tapwear.cli.app import app\n"
        "for words in (['list'], ['show'], ['show', '--json']):\n"
        "    done = CliRunner().invoke(app, ['--db', sys.argv[1], 'plan', *words])\n"
        "    assert done.exit_code == 0, done.output\n"
        "assert 'pandas' not in sys.modules\n"
    )
    env = {**os.environ, "NO_COLOR": "1"}
    done = subprocess.run([sys.executable, "-c", code, str(store.path)], capture_output=True, text=True, env=env)
    assert done.returncode == 0, done.stderr
