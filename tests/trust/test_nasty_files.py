"""A hand-kept heap of nasty files: each is taken in part or refused in words, never with a traceback."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest
from hostile_store import run

from tapwear.store.engine import create_store

FOLDER = Path(__file__).parents[1] / "data" / "nasty"
FILES = sorted(path.name for path in FOLDER.iterdir() if path.suffix in (".csv", ".json", ".xlsx"))


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with one unit."""
    path = tmp_path_factory.mktemp("nasty") / "ready.db"
    create_store(path).close()
    done = run(path, "unit", "add", "T1", "--station", "NORTH", "--new-station", "--digits", "6")
    assert done.exit_code == 0, done.output
    return path


@pytest.fixture
def store(ready: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(ready, tmp_path / "fleet.db"))


def stored(store: Path) -> int:
    raw = sqlite3.connect(store)
    (number,) = raw.execute("SELECT coalesce(max(rows_stored), 0) FROM import_run").fetchone()
    raw.close()
    return int(number)


# File -> rows that are sound in it and stored; all others hold none.
SOUND = {
    "closures_nasty.csv": 1,
    "crews_nasty.csv": 1,
    "events_nasty.csv": 1,
    "limits_nasty.csv": 1,
    "readings_bomb.xlsx": 1,  # 60 MB of blanks within a row of 60 kB
    "readings_dates.csv": 1,  # of thirteen ways to write a date the one of ISO 8601
    "readings_digits_of_others.csv": 1,
    "readings_formulas.csv": 1,
    "readings_latin1.csv": 1,
    "readings_markup.csv": 2,
    "readings_mixed_line_ends.csv": 2,
    "readings_nul.csv": 1,
    "readings_numbers.csv": 3,
    "readings_old_line_ends.csv": 2,
    "readings_open_quote.csv": 1,
    "readings_paths.csv": 1,
    "readings_quotes_inside.csv": 1,
    "readings_semicolons.csv": 1,
    "readings_sound.xlsx": 1,
    "readings_sql.csv": 1,
    "readings_terminal.csv": 1,
    "readings_too_few_cells.csv": 1,
    "readings_too_many_cells.csv": 1,
    "readings_utf16.csv": 1,
    "readings_utf8_mark.csv": 1,
    "readings_very_wide.csv": 1,
    "samples_nasty.csv": 1,
    "service_rules_nasty.csv": 1,
    "transfer_groups_nasty.csv": 1,
    "units_nasty.csv": 1,
}
IN_WHOLE = (
    *("readings_mixed_line_ends.csv", "readings_old_line_ends.csv", "readings_only_headings.csv", "readings_utf16.csv"),
    *("readings_utf8_mark.csv", "readings_very_wide.csv", "readings_sound.xlsx", "readings_bomb.xlsx"),
)


@pytest.mark.parametrize("name", FILES)
def test_a_nasty_file_is_taken_in_part_or_refused_in_words(store: Path, name: str) -> None:
    mapping = ("--map", str(FOLDER / "workbooks.toml")) if name.endswith(".xlsx") else ()
    done = run(store, "import", *mapping, str(FOLDER / name))
    assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
    assert done.exit_code == (0 if name in IN_WHOLE else 3), done.output
    assert stored(store) == SOUND.get(name, 0)
    assert all(line.isprintable() for line in (done.stdout + done.stderr).splitlines())
    if done.exit_code:
        told = [line for line in done.stderr.splitlines() if line.startswith(("rejected: ", "conflict: "))]
        assert told
        assert all(name in line and " -> " in line for line in told)


def test_every_file_named_here_is_there() -> None:
    assert {*SOUND, *IN_WHOLE} <= set(FILES)
