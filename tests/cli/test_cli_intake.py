"""Commands import and findings, as somebody at a keyboard meets them."""

from __future__ import annotations

import csv
import io
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from tapwear.cli.app import app
from tapwear.store.engine import create_store, open_store
from tapwear.store.loading import load_book
from tapwear.visits.fields import TABLES

ROOT = Path(__file__).parents[2]
UNITS = "unit,station,counter_digits\nT1,NORTH,5\nT2,SOUTH,6\n"
READINGS = "unit,read_on,value\nT1,2024-05-01,100\nT1,2024-06-01,250\n"


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("intake") / "empty.db"
    create_store(path).close()
    return path


@pytest.fixture
def here(empty: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with an empty store, fleet.db, and two good files."""
    shutil.copy(empty, tmp_path / "fleet.db")
    for name, value in {"TAPWEAR_DB": "fleet.db", "TAPWEAR_TODAY": "2026-11-01", "TAPWEAR_NAME": "Robin"}.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "units.csv").write_text(UNITS, encoding="utf-8")
    (tmp_path / "readings.csv").write_text(READINGS, encoding="utf-8")
    return tmp_path


def run(*words: str) -> Result:
    result = CliRunner().invoke(app, list(words))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def cells(output: str) -> list[list[str]]:
    return [
        line.replace("already known", "known").replace("in conflict", "conflict").split()
        for line in output.splitlines()
    ]


def test_an_import_counts_on_standard_output_and_talks_on_standard_error(here: Path) -> None:
    (here / "notes.txt").write_text("remember", encoding="utf-8")
    result = run("import", "units.csv", "readings.csv", "notes.txt")
    assert result.exit_code == 0
    assert cells(result.stdout) == [
        ["table", "stored", "known", "conflict", "rejected"],
        ["units", "2", "0", "0", "0"],
        ["readings", "2", "0", "0", "0"],
    ]
    assert result.stderr.splitlines() == [
        "4 rows read.",
        "Left alone, since nothing says what they feed: notes.txt",
        "Import 1 into fleet.db is done.",
    ]


def test_the_same_again_adds_nothing_and_ends_well(here: Path) -> None:
    run("import", "units.csv", "readings.csv")
    result = run("import", "units.csv", "readings.csv")
    assert result.exit_code == 0
    assert cells(result.stdout)[1:] == [["units", "0", "2", "0", "0"], ["readings", "0", "2", "0", "0"]]


def test_rows_that_were_not_taken_end_with_exit_code_3_and_the_good_ones_are_kept(here: Path) -> None:
    run("import", "units.csv", "readings.csv")
    more = "unit,read_on,value\nT1,2024-06-01,260\nT1,2024-07-01,300\nT1,2024-08-01,-1\n"
    (here / "readings_2.csv").write_text(more, encoding="utf-8")
    result = run("import", "readings_2.csv")
    assert result.exit_code == 3
    assert cells(result.stdout)[1:] == [["readings", "1", "0", "1", "1"]]
    told = result.stderr.splitlines()
    assert (
        "rejected: readings_2.csv:4 value: -1 is negative -> give what the counter showed within 0 to 999,999,999"
        in told
    )
    assert any(
        line.startswith("conflict: readings_2.csv:2 value: T1 on 2024-06-01: value 250 in the book") for line in told
    )
    assert told[-1] == "Rows rejected: 1; in conflict with the store: 1."
    assert load_book(open_store(here / "fleet.db")).readings["value"].tolist() == [100, 250, 300]


def test_a_file_that_cannot_be_read_at_all_is_not_passed_over(here: Path) -> None:
    (here / "readings.csv").write_bytes(b"")
    result = run("import", "units.csv", "readings.csv")
    assert result.exit_code == 3
    assert "rejected: readings.csv whole file: the file is empty" in result.stderr
    assert result.stderr.splitlines()[-1] == "Not every file could be read."


def test_a_dry_run_shows_every_finding_and_stores_nothing(here: Path) -> None:
    rows = "".join(f"T1,2024-05-01,{number}x\n" for number in range(30))
    (here / "readings.csv").write_text(READINGS + rows, encoding="utf-8")
    result = run("import", "--dry-run", "units.csv", "readings.csv")
    assert result.exit_code == 3
    assert cells(result.stdout)[2] == ["readings", "2", "0", "0", "30"]
    assert result.stderr.count("\nrejected: ") == 30
    assert "Dry run: nothing was stored in fleet.db." in result.stderr
    assert len(load_book(open_store(here / "fleet.db")).units) == 0
    assert run("findings").exit_code == 2


def test_a_real_run_shows_the_first_findings_and_says_where_the_others_are(here: Path) -> None:
    rows = "".join(f"T1,2024-05-01,{number}x\n" for number in range(30))
    (here / "readings.csv").write_text(READINGS + rows, encoding="utf-8")
    result = run("import", "units.csv", "readings.csv")
    assert result.stderr.count("\nrejected: ") == 20
    assert "... and 10 more findings; all of them: tapwear findings" in result.stderr
    assert len(run("findings").stdout.splitlines()) == 30


def test_findings_are_listed_by_import_and_as_csv(here: Path) -> None:
    run("import", "units.csv", "--by", "Kim")
    bad = 'unit,read_on,value,remark\nT1,2024-05-01,7,"=HYPERLINK(""x"")"\nT9,2024-05-01,7,\n'
    (here / "readings.csv").write_text(bad, encoding="utf-8")
    run("import", "readings.csv")
    imports = run("findings", "--imports").stdout.splitlines()
    assert "by Kim: units.csv; stored 2, known 0, findings 0" in imports[0]
    assert "by Robin: readings.csv; stored 0, known 0, findings 2" in imports[1]
    result = run("findings", "--csv")
    rows = list(csv.DictReader(io.StringIO(result.stdout)))
    assert [(row["severity"], row["file"], row["line"], row["field"]) for row in rows] == [
        ("rejected", "readings.csv", "2", "remark"),
        ("rejected", "readings.csv", "3", "unit"),
    ]
    assert all(row["found"] and row["remedy"] and row["row"] for row in rows)
    assert "Import 2 of " in result.stderr
    assert run("findings", "1").stdout == ""
    missing = run("findings", "7")
    assert (missing.exit_code, missing.stdout) == (2, "")
    assert "There is no import 7; there are 1 to 2." in missing.stderr


def test_what_people_wrote_cannot_command_the_terminal(here: Path) -> None:
    run("import", "units.csv")
    (here / "readings.csv").write_text("unit,read_on,value\n[red]\x1b[2J[/],2024-05-01,7\n", encoding="utf-8")
    result = run("import", "readings.csv")
    assert "\x1b" not in result.stderr + run("findings").stdout
    assert "[red]" in result.stderr


def test_other_headings_and_dates_are_read_by_a_map_or_an_option(here: Path) -> None:
    run("import", "units.csv")
    (here / "visits.csv").write_text("Trafo;Tag;Stand\nT1;01.05.2024;100\n", encoding="utf-8")
    (here / "map.toml").write_text(
        '[[feed]]\nfile = "visits.csv"\ntable = "readings"\ndate_format = "DD.MM.YYYY"\n'
        '[feed.columns]\nunit = "Trafo"\nread_on = "Tag"\nvalue = "Stand"\n',
        encoding="utf-8",
    )
    assert run("import", "--map", "map.toml", "visits.csv").exit_code == 0
    (here / "readings.csv").write_text("unit,read_on,value\nT1,02.05.2024,110\n", encoding="utf-8")
    assert run("import", "readings.csv").exit_code == 3
    assert run("import", "readings.csv", "--date-format", "DD.MM.YYYY").exit_code == 0
    assert load_book(open_store(here / "fleet.db")).readings["value"].tolist() == [100, 110]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["import"], 2, "Name the files or folders to import"),
        (["import", "gone.csv"], 2, "There is nothing at gone.csv"),
        (["import", "fleet.db"], 2, "None of these files feeds a table"),
        (["import", "units.csv", "--date-format", "MM/YY"], 2, "A date format holds day, month and year"),
        (["import", "units.csv", "--map", "gone.toml"], 2, "The mapping gone.toml cannot be read"),
        (["import", "--fields", "reading"], 2, "There is no table reading; there are places, units"),
        (["--db", "gone.db", "import", "units.csv"], 4, "There is no store at gone.db"),
        (["findings"], 2, "holds no import yet"),
    ],
)
def test_what_cannot_be_done_is_said_with_its_exit_code(here: Path, words: list[str], code: int, said: str) -> None:
    result = run(*words)
    assert (result.exit_code, result.stdout) == (code, "")
    assert said in result.stderr


def test_templates_hold_the_headings_of_every_table_and_never_overwrite(here: Path) -> None:
    result = run("import", "--template", "blank")
    assert (result.exit_code, result.stdout) == (0, "")
    for table in TABLES.values():
        text = (here / "blank" / f"{table.name}.csv").read_text(encoding="utf-8")
        assert text.strip().split(",") == [field.name for field in table.fields]
    assert run("import", "blank").exit_code == 0  # headings alone are no fault
    again = run("import", "--template", "blank")
    assert again.exit_code == 2
    assert "never overwrite" in again.stderr
    partly = run("import", "--template", ".")
    assert partly.exit_code == 2
    assert not (here / "places.csv").exists()
    assert run("import", "--template", "units.csv").exit_code == 2


@pytest.mark.parametrize("table", TABLES)
def test_the_headings_of_every_table_are_explained(here: Path, table: str) -> None:
    shown = run("import", "--fields", table).stdout
    for field in TABLES[table].fields:
        assert f"  {field.name}: " in shown
        assert all(word in shown for word in field.choices)
        assert not field.measure or field.unit_column in shown


def test_the_help_names_every_table_and_the_exit_code() -> None:
    shown = " ".join(run("import", "--help").stdout.split())
    assert all(name in shown for name in TABLES)
    assert "Exit code 3" in shown


def test_a_process_of_its_own_writes_plain_text_into_a_pipe(here: Path) -> None:
    result = subprocess.run(
        [sys.executable, "-m", "tapwear", "import", "units.csv", "readings.csv"],
        capture_output=True, text=True, check=False, cwd=here, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    assert (result.returncode, "\x1b" in result.stdout + result.stderr) == (0, False)
    assert cells(result.stdout)[1] == ["units", "2", "0", "0", "0"]
