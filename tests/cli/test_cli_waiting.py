"""Rows that an import held are said first of all, wherever dates of their units are; what is held follows the unit."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

import pytest
from desk_store import make_desk, run

from tapwear.store.doubts import soon_again


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """The desk's store, with a service of AH-T1 held, days after another."""
    path = make_desk(tmp_path)
    days = ("2023-05-02", "2023-05-09")
    lines = [f"AH-T1,{day},overhaul,contact service" for day in days]
    (tmp_path / "services.csv").write_text("\n".join(["unit,done_on,work,resets", *lines]) + "\n", encoding="utf-8")
    done = run(path, "import", str(tmp_path / "services.csv"))
    assert done.exit_code == 3, done.output
    return path


WORDS = "1 imported row awaits confirmation and is not counted in what follows: 1 of services for AH-T1."


@pytest.mark.parametrize(
    "words",
    [
        *(("due",), ("due", "--json"), ("why", "AH-T1"), ("next",), ("unit", "show", "AH-T1")),
        ("report", "--format", "json"),
    ],
)
def test_what_waits_is_said_before_any_date(desk: Path, words: tuple[str, ...]) -> None:
    done = run(desk, *words)
    assert done.exit_code == 0, done.output
    assert done.stderr.startswith(WORDS[:-1])
    assert "tapwear confirm" in done.stderr


def test_another_units_page_and_a_settled_store_say_nothing_of_it(desk: Path) -> None:
    assert "await" not in run(desk, "why", "AH-T2").stderr
    assert run(desk, "confirm", "--all", "--drop", "--because", "typed twice").exit_code == 0
    assert "await" not in run(desk, "due").stderr


def test_a_report_begins_its_summary_with_it(desk: Path) -> None:
    summary = json.loads(run(desk, "report", "--format", "json").stdout)["summary"]
    assert summary[0].startswith(WORDS[:-1])


ROW = "services.csv:3 done_on: "


def test_a_page_names_the_rows_that_are_held_back(desk: Path) -> None:
    page = " ".join(run(desk, "why", "AH-T1").stdout.split())
    assert "Held back" in page
    assert WORDS[:-1] in page
    assert ROW in page
    told = json.loads(run(desk, "why", "AH-T1", "--json").stdout)["waiting"]
    assert told[0].startswith(WORDS[:-1])
    assert [ROW in line for line in told] == [False, True]
    assert json.loads(run(desk, "why", "AH-T2", "--json").stdout)["waiting"] == []
    assert "Held back" not in run(desk, "why", "AH-T2").stdout


def test_a_report_names_them_for_the_fleet_and_on_the_units_page(desk: Path, tmp_path: Path) -> None:
    told = json.loads(run(desk, "report", "--format", "json", "--units", "all").stdout)
    assert ROW in told["summary"][1]
    assert {page["unit"]["unit"]: len(page["waiting"]) for page in told["pages"]} == {
        "AH-T1": 2, "AH-T2": 0, "BW-T1": 0,
    }  # fmt: skip
    assert run(desk, "report", "--out", str(tmp_path / "r.html")).exit_code == 0
    html = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert html.count(ROW) == 2
    assert "Held back" in html


def test_what_is_soon_follows_the_units_own_past() -> None:
    often = [date(2025, 1, 6) + timedelta(days=84 * number) for number in range(10)]
    assert soon_again(often, often[-1] + timedelta(days=80)) is None
    assert soon_again(often, often[-1] + timedelta(days=5)) == often[-1]
    assert soon_again((), often[4], often) is None
    seldom = [date(2005, 1, 6), date(2012, 1, 6), date(2019, 1, 6)]
    assert soon_again(seldom, date(2019, 4, 1)) == date(2019, 1, 6)


def test_service_by_command_asks_what_an_import_asks(desk: Path) -> None:
    again = ("service", "AH-T2", "--work", "overhaul", "--resets", "none", "--on")
    assert run(desk, *again, "2024-03-01").exit_code == 0
    asked = run(desk, *again, "2024-03-20")
    assert asked.exit_code == 3
    assert "overhauled on 2024-03-01, too" in asked.stderr
    assert run(desk, *again, "2024-03-20", "--sure", "a contact had come loose").exit_code == 0


def test_a_swap_with_a_state_is_stored_as_said_or_refused(desk: Path, tmp_path: Path) -> None:
    swap = "unit,happened_on,kind,to_state,other_unit\nAH-T1,2026-05-18,swapped,workshop,BW-T1\n"
    (tmp_path / "events.csv").write_text(swap, encoding="utf-8")
    done = run(desk, "import", str(tmp_path / "events.csv"))
    assert done.exit_code == 3
    assert "would exchange places and AH-T1 not be workshop" in done.output
    assert run(desk, "unit", "swap", "AH-T1", "BW-T1", "--on", "2026-05-18", "--state", "workshop").exit_code == 2
    assert run(desk, "unit", "move", "BW-T1", "--on", "2026-05-01", "--state", "spare").exit_code == 0
    for code in (0, 0):
        assert run(desk, "import", str(tmp_path / "events.csv")).exit_code == code
    assert "workshop" in run(desk, "unit", "show", "AH-T1").stdout
