"""Text that looks like a formula, a page, markup, an escape sequence, a path or SQL stays text in every output."""

from __future__ import annotations

import csv
import html.parser
import io
import json
import re
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from hostile_store import MARK, build, nasty_for, run, tags
from typer.main import get_command

from tapwear.cli.app import app

# Control characters other than the line's end, and marks that change the direction of writing (Unicode UAX #9).
ODD = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("hostile"))


@pytest.fixture
def store(hostile: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it, and an empty folder to work in."""
    inside = tmp_path / "a" / "b" / "work"
    inside.mkdir(parents=True)
    monkeypatch.chdir(inside)
    return Path(shutil.copy(hostile, tmp_path / "fleet.db"))


# Every command that shows something, by its words; UNIT stands for a tag.
SHOWING = (
    "due", "due --all", "due --json", "due --csv", "why UNIT",  "why UNIT --json",
    "next --all", "next --json", "next --csv", "track --all", "track --json", "changes --since 2026-01-31 --all",
    "changes --since 2026-01-31 --json", "oil UNIT", "oil UNIT --json", "oil --fleet --all", "oil --fleet --json",
    "oil --requests", "report --format json", "findings --imports", "findings", "findings --csv", "history UNIT --all",
    "history UNIT --json", "condition list", "condition list --all --json", "unit show UNIT", "unit show UNIT --json",
    "unit list", "unit list --json", "defer list", "defer list --json", "limits show", "limits show --json",
    "limits export", "plan show", "plan show --json", "plan list", "plan outage-requests", "check", "check --json",
    "backtest counts", "backtest counts --json", "resolve --json",
    "confirm", "confirm --json", "followups", "followups --json", "visit-rule list", "visit-rule list --json",
    "stop list", "stop list --json", "stop show UNIT", "stop show UNIT --json",
    "plan ahead", "plan ahead --json", "plan input list", "plan input list --json",
)  # fmt: skip
# Commands that write files, which are looked at below or in tests of their own; and one that needs two plans.
ELSEWHERE = {"report", "plan export", "plan job-sheets", "plan outage-requests", "sheet", "oil", "limits export",
             "backtest counts", "backtest oil", "plan compare", "tune"}  # fmt: skip


def commands(command: Any, before: tuple[str, ...] = ()) -> dict[str, set[str]]:
    """Every command with its options."""
    if not hasattr(command, "commands"):
        return {" ".join(before): {name for parameter in command.params for name in parameter.opts}}
    return {
        name: options
        for key, one in command.commands.items()
        for name, options in commands(one, (*before, key)).items()
    }


def test_no_command_that_puts_something_out_is_forgotten_here() -> None:
    for name, options in commands(get_command(app).loaded()).items():
        lines = [line for line in SHOWING if f"{line} ".startswith(f"{name} ")]
        for option in ("--json", "--csv"):
            told = any(option in line for line in lines) or name in ELSEWHERE
            assert told or option not in options, f"{name} {option}"
        assert "--out" not in options or name in ELSEWHERE, name


def split(line: str, unit: str) -> list[str]:
    import shlex

    return [unit if word == "UNIT" else word for word in shlex.split(line)]


CASES = [(line, screen) for line in SHOWING for screen in (False, True) if not (screen and "--" in line)]


@pytest.mark.parametrize(("line", "screen"), CASES)
def test_nothing_typed_by_people_drives_the_terminal(
    store: Path, monkeypatch: pytest.MonkeyPatch, line: str, screen: bool
) -> None:
    monkeypatch.setattr("tapwear.report.terminal.is_screen", lambda stream: screen)
    found = [tag for tag in tags(store) if tag == tag.strip()]  # blanks around a tag are nobody's
    for unit in found[1::4] if "UNIT" in line else found[:1]:
        done = run(store, *split(line, unit))
        assert done.exception is None or isinstance(done.exception, SystemExit), (unit, done.exception)
        assert done.exit_code in (0, 7), (unit, done.output)
        for text in (done.stdout, done.stderr):
            odd = ODD.search(text)
            assert odd is None, (unit, text[max(odd.start() - 60, 0) : odd.end() + 20])
        if "--json" in line or "--format json" in line:
            json.loads(done.stdout)
        if "--csv" in line or line == "limits export":
            no_formulas(done.stdout)


def no_formulas(text: str) -> None:
    rows = list(csv.reader(io.StringIO(text)))
    assert len({len(row) for row in rows}) == 1
    for cell in (cell for row in rows for cell in row):
        if cell.lstrip()[:1] in ("=", "+", "-", "@"):
            float(cell)  # a number is none


@pytest.mark.parametrize("words", [("plan", "export", "--format", "csv"), ("backtest", "counts", "--origins", "o.csv")])
def test_no_cell_of_a_csv_file_begins_like_a_formula(store: Path, words: tuple[str, ...]) -> None:
    origins = [["unit_id", "origin", "horizon_days"], *([tag, "2025-12-31", "180"] for tag in tags(store))]
    with Path("o.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(origins)
    done = run(store, *words, "--out", "out.csv")
    assert done.exit_code in (0, 3, 6), done.output  # 3: tags with blanks around them are not found
    text = Path("out.csv").read_text(encoding="utf-8")
    no_formulas(text)
    assert MARK in text


class _Tags(html.parser.HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.wrong: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name.startswith("on") or MARK in name or "javascript:" in (value or "").casefold():
                self.wrong.append(f"{tag} {name}={value}")
        if tag in ("img", "iframe", "object", "embed") or (tag == "script" and dict(attrs).get("src")):
            self.wrong.append(tag)

    def handle_data(self, data: str) -> None:
        self.text.append(data)


@pytest.mark.parametrize(
    "words",
    [
        ("report", "--out", "out.html", "--units", "all"),
        ("plan", "export", "--format", "html", "--out", "out.html"),
        ("plan", "outage-requests", "--out", "out.html"),
        ("plan", "job-sheets", "--out", "out.html"),
        ("sheet", "--due-visits", "--out", "out.html"),
        ("sheet", "--station", "STATION", "--out", "out.html"),
    ],
)
def test_nothing_typed_by_people_becomes_part_of_a_page(store: Path, words: tuple[str, ...]) -> None:
    done = run(store, *(nasty_for("AH") if word == "STATION" else word for word in words))
    assert done.exit_code in (0, 6), done.output
    text = Path("out.html").read_text(encoding="utf-8")
    page = _Tags()
    page.feed(text)
    assert page.wrong == []
    assert f"<script>alert('{MARK}" not in text
    assert f"</script><svg onload={MARK}" not in text
    assert MARK in " ".join(page.text)
    assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\u202a-\u202e\u2066-\u2069]", text)


@pytest.mark.parametrize(
    "words", [("report", "--out", "out.xlsx"), ("plan", "export", "--format", "xlsx", "--out", "out.xlsx")]
)
def test_no_cell_of_a_workbook_runs_or_links(store: Path, words: tuple[str, ...]) -> None:
    import openpyxl

    done = run(store, *words)
    assert done.exit_code in (0, 6), done.output
    book = openpyxl.load_workbook("out.xlsx")
    texts = []
    for sheet in book:
        for cell in (cell for row in sheet.iter_rows() for cell in row):
            link = cell.hyperlink
            assert link is None or (not link.target and MARK not in str(link.location))
            if cell.data_type == "f":
                assert MARK not in str(cell.value)
            texts.append(str(cell.value))
    assert any(MARK in text for text in texts)


def test_no_text_adds_an_entry_to_a_calendar(store: Path) -> None:
    import icalendar

    done = run(store, "plan", "export", "--format", "ics", "--out", "out.ics")
    assert done.exit_code in (0, 6), done.output
    content = Path("out.ics").read_bytes()
    calendar = icalendar.Calendar.from_ical(content)
    planned = [job for job in json.loads(run(store, "plan", "show", "--json").stdout)["jobs"] if job["start_week"]]
    events = calendar.walk("VEVENT")
    assert 0 < len(events) <= len(planned)
    assert all(str(event["SUMMARY"]) != MARK for event in events)
    assert MARK.encode() in content


def test_paths_in_data_are_never_followed_and_sql_is_never_run(store: Path, tmp_path: Path) -> None:
    readings = rows_of(store, "reading")
    for words in (
        ("report", "--out", "r.html", "--units", "all"),
        ("report", "--out", "r.xlsx"),
        ("plan", "export", "--format", "html", "--out", "p.html"),
        ("dump", "d"),
        ("backup", "b.db"),
        ("oil", "--requests", "--out", "o.txt"),
    ):
        done = run(store, *words)
        assert done.exit_code in (0, 6), (words, done.output)
    assert rows_of(store, "reading") == readings > 100
    outside = [path for path in tmp_path.rglob("*") if "work" not in path.parts and path.is_file()]
    assert [path.name for path in outside if not path.name.startswith("fleet.db")] == []
    names = {path.name for path in Path().rglob("*")}
    assert not [name for name in names if MARK in name]


def rows_of(store: Path, table: str) -> int:
    raw = sqlite3.connect(store)
    (number,) = raw.execute(f"SELECT count(*) FROM {table}").fetchone()  # noqa: S608
    raw.close()
    return int(number)


def test_a_dump_of_it_comes_back_equal(store: Path, tmp_path: Path) -> None:
    assert run(store, "dump", "d").exit_code == 0
    assert run(tmp_path / "again.db", "restore", "d").exit_code == 0
    first, second = sqlite3.connect(store), sqlite3.connect(tmp_path / "again.db")
    for (table,) in first.execute("SELECT name FROM sqlite_schema WHERE type='table' AND name <> 'derived'").fetchall():
        query = f"SELECT * FROM {table} ORDER BY rowid"  # noqa: S608
        assert first.execute(query).fetchall() == second.execute(query).fetchall(), table
    first.close()
    second.close()
