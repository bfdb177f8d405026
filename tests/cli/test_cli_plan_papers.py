"""Plans on paper and in other programs, from the command line."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from tapwear.cli.app import app
from tapwear.plan.document import to_document
from tapwear.plan.place import place
from tapwear.plan.types import Job, Limits
from tapwear.store import plans
from tapwear.store.engine import Store, create_store
from tapwear.store.models import TapChanger
from tapwear.weeks import weeks_of_year

WEEKS = tuple(weeks_of_year(2027))


def job(unit: str, due: str, station: str = "ALDER") -> Job:
    day = date.fromisoformat(due)
    return Job(
        f"{unit} / contact service",
        unit,
        "contact service",
        station,
        "North",
        unit,
        day,
        day,
        day,
        1,
        80.0,
        kit="kit 7",
    )


def keep(store: Store, *jobs: Job, closed: dict[str, dict[str, str]] | None = None) -> str:
    result = place(jobs, Limits(WEEKS, closed or {}, {}, {}), date(2026, 6, 30))
    at = datetime(2026, 6, 30, 8, 0, tzinfo=UTC)
    return plans.save_plan(store, to_document(result), name=None, by="A. Planner", at=at)


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = create_store(tmp_path / "fleet.db")
    with store.unit_of_work() as session:
        session.add_all(TapChanger(tag=tag) for tag in ("U1", "U2"))
    return store


def run(store: Store, *words: str) -> Result:
    return CliRunner(env={"NO_COLOR": "1", "TAPWEAR_TODAY": "2026-06-30"}).invoke(
        app, ["--db", str(store.path), "plan", *words]
    )


def test_a_unit_named_that_needs_no_outage_is_not_passed_over_in_silence(store: Store) -> None:
    keep(store, job("U1", "2027-03-01"), replace(job("U2", "2027-06-07", "BIRCH"), needs_outage=False))
    told = run(store, "outage-requests", "--unit", "U1", "--unit", "U2")
    assert told.stdout.count("Outage request: ") == 1
    assert told.stderr == "No outage to ask for: U2, exchanged beside the bypass.\n"


def test_requests_go_to_standard_output_as_text_and_to_a_file_as_pages(store: Store, tmp_path: Path) -> None:
    keep(store, job("U1", "2027-03-01"), job("U2", "2027-06-07", "BIRCH"))
    told = run(store, "outage-requests")
    assert told.exit_code == 0, told.output
    assert told.stdout.count("Outage request: ") == 2
    assert told.stderr == ""
    out = tmp_path / "requests.html"
    done = run(store, "outage-requests", "--unit", "u2", "--out", str(out))
    assert done.exit_code == 0
    assert done.stderr == f"Wrote 1 outage request of plan 2027-a to {out}.\n"
    assert out.read_text(encoding="utf-8").count("<article") == 1
    again = run(store, "outage-requests", "--out", str(out))
    assert again.exit_code == 2
    assert "--force" in again.stderr
    assert run(store, "outage-requests", "--out", str(out), "--force").exit_code == 0
    assert out.read_text(encoding="utf-8").count("<article") == 2


def test_job_sheets_are_written_for_all_or_for_the_units_named(store: Store, tmp_path: Path) -> None:
    keep(store, job("U1", "2027-03-01"), job("U2", "2027-06-07", "BIRCH"))
    out = tmp_path / "sheets.html"
    done = run(store, "job-sheets", "--out", str(out))
    assert done.stderr == f"Wrote 2 job sheets of plan 2027-a to {out}.\n"
    assert run(store, "job-sheets", "--unit", "U1", "--out", str(out), "--force").exit_code == 0
    page = out.read_text(encoding="utf-8")
    assert "U1" in page
    assert "U2" not in page


@pytest.mark.parametrize("command", ["outage-requests", "job-sheets"])
def test_a_unit_that_has_no_week_is_refused_with_what_stops_it(store: Store, command: str, tmp_path: Path) -> None:
    keep(store, job("U1", "2027-03-01"), closed={"ALDER": dict.fromkeys(WEEKS, "rebuilding")})
    words = (command, "--out", str(tmp_path / "x.html"), "--unit")
    stopped, unknown = run(store, *words, "U1"), run(store, *words, "U9")
    assert (stopped.exit_code, unknown.exit_code) == (2, 2)
    assert "U1 has no week in plan 2027-a: station ALDER closed (rebuilding)" in stopped.stderr
    assert "no job for U9" in unknown.stderr
    nothing = run(store, command, "--out", str(tmp_path / "x.html"))
    assert nothing.exit_code == 0
    assert "Plan 2027-a has no" in nothing.stderr
    assert not (tmp_path / "x.html").exists()


def test_no_paper_is_written_over_the_store(store: Store) -> None:
    keep(store, job("U1", "2027-03-01"))
    for words in (("export",), ("outage-requests",), ("job-sheets",)):
        assert run(store, *words, "--out", str(store.path), "--force").exit_code == 2
    assert run(store, "list").exit_code == 0


def test_the_board_comes_on_the_paper_asked_for(store: Store, tmp_path: Path) -> None:
    keep(store, job("U1", "2027-03-01"))
    for paper in ("a4", "a3"):
        out = tmp_path / f"{paper}.html"
        assert run(store, "export", "--format", "html", "--paper", paper, "--out", str(out)).exit_code == 0
        assert f"size: {paper.upper()} landscape" in out.read_text(encoding="utf-8")


def test_the_calendar_of_a_later_plan_cancels_what_an_earlier_one_had(store: Store, tmp_path: Path) -> None:
    keep(store, job("U1", "2027-03-01"), job("U2", "2027-06-07", "BIRCH"))
    keep(store, job("U1", "2027-04-05"))
    first, later = tmp_path / "a.ics", tmp_path / "b.ics"
    assert run(store, "export", "2027-a", "--format", "ics", "--out", str(first)).exit_code == 0
    assert run(store, "export", "2027-b", "--format", "ics", "--out", str(later)).exit_code == 0
    assert first.read_text().count("STATUS:CANCELLED") == 0
    assert later.read_text().count("STATUS:CANCELLED") == 1
    assert "cancelled: contact service: U2\\, BIRCH" in later.read_text()


def test_a_plan_published_after_a_later_draft_is_what_calendars_take(store: Store, tmp_path: Path) -> None:
    keep(store, job("U1", "2027-03-01"))
    keep(store, job("U1", "2027-04-05"), job("U2", "2027-06-07", "BIRCH"))
    later = datetime(2026, 7, 1, 8, 0, tzinfo=UTC)
    plans.publish_plan(store, "2027-a", by="A. Planner", at=later, reason="")
    sequences = {head.name: head.sequence for head in plans.list_plans(store)}
    assert sequences == {"2027-a": 2, "2027-b": 1}
    out = tmp_path / "a.ics"
    assert run(store, "export", "2027-a", "--format", "ics", "--out", str(out)).exit_code == 0
    assert out.read_text().count("SEQUENCE:2") == 2  # U1 as published, U2 of the draft cancelled
    assert out.read_text().count("STATUS:CANCELLED") == 1
