"""Many processes write into one store at once while another lists and exports: nothing lost, nothing doubled.

python tests/trust/many.py [--writers 8] [--visits 1000] [--commands 5]

Each writer records its own readings through the same functions as `tapwear log`, some of them corrections of what it
wrote before; a few processes of the program itself do the same beside them. The reader loads the whole book, writes
the due list as CSV and a backup, over and over.
"""

from __future__ import annotations

import argparse
import json
import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from tapwear.store.backup import prove
from tapwear.store.engine import create_store, open_store
from tapwear.store.entries import add_reading
from tapwear.store.find import find_unit
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit

AT = datetime(2000, 6, 30, 12, tzinfo=UTC)  # past on any machine: the reader's `check` goes by its clock
BEGIN = date(2000, 1, 1)
UNITS = 4  # for each writer; its readings are told apart by unit and day
CORRECTED = 10  # every tenth reading is corrected at once


@dataclass(frozen=True)
class Outcome:
    """How it went: rows that had to be there, seconds, the longest that one writer waited, rounds of the reader."""

    rows: int
    seconds: float
    longest_s: float
    rounds: int


def write(path: Path, writer: int, visits: int) -> None:
    """One writer. Prints the longest time that a reading took [s]."""
    store = open_store(path)
    longest = 0.0
    for number in range(visits):
        begun = time.perf_counter()
        for corrects in (False, True) if number % CORRECTED == 0 else (False,):
            with store.rows(writing=True) as connection:
                unit = find_unit(connection, f"W{writer}-{number % UNITS}")
                values = {"value": 2 * number + corrects, "read_on": BEGIN + timedelta(days=number)}
                stamp = Stamp(f"writer {writer}", AT, "misread" if corrects else "")
                assert add_reading(connection, unit, values, stamp, replace=corrects).kind in ("stored", "replaced")
        longest = max(longest, time.perf_counter() - begun)
    print(json.dumps(longest))


def read(path: Path, folder: Path) -> None:
    """The reader, until it finds the file `stop`. Prints how many rounds it made."""
    from tapwear.cli.app import app

    rounds = 0
    while True:
        last = (folder / "stop").exists()
        (folder / "copy.db").unlink(missing_ok=True)
        for words in (["due", "--csv"], ["unit", "list"], ["backup", str(folder / "copy.db")], ["check"]):
            app(["--db", str(path), *words], standalone_mode=False, prog_name="tapwear")
        assert prove(folder / "copy.db").faults == ()
        rounds += 1
        if last:
            break
    print(json.dumps(rounds), flush=True)


def run(folder: Path, writers: int, visits: int, commands: int) -> Outcome:
    """Runs them all, then holds the store against what was written. Raises AssertionError for any difference."""
    path = folder / "fleet.db"
    store = create_store(path)
    with store.rows(writing=True) as connection:
        for writer in range(writers):
            for unit in range(UNITS):
                given = {"unit": f"W{writer}-{unit}", "station": f"S{writer}", "bank": f"B{unit}", "counter_digits": 6}
                add_unit(connection, given, Stamp("setup", AT))
        for number in range(commands):
            given = {"unit": f"C{number}", "station": "SC", "bank": f"B{number}", "counter_digits": 6}
            add_unit(connection, given, Stamp("setup", AT))
    store.close()
    env = {**os.environ, "TAPWEAR_TODAY": "2026-06-30", "TAPWEAR_NAME": "Kim", "NO_COLOR": "1"}
    own = [sys.executable, __file__, "--folder", str(folder)]
    begun = time.perf_counter()
    reader = _start([*own, "--read"], env, folder / "read.txt")
    working = [_start([*own, "--write", str(writer), "--visits", str(visits)], env) for writer in range(writers)]
    program = [sys.executable, "-m", "tapwear", "--db", str(path)]
    said = [
        _start([*program, "log", f"C{number}", str(number), "--on", "2026-06-01", "--sure", "seen"], env)
        for number in range(commands)
    ]
    longest = max(json.loads(_end(process)) for process in working)
    for process in said:
        _end(process)
    seconds = time.perf_counter() - begun
    (folder / "stop").touch()
    code = reader.wait(timeout=3_000)
    told = (folder / "read.txt").read_text(encoding="utf-8")
    assert code == 0, told[-2_000:]
    assert "locked" not in told
    assert "in use" not in told
    rounds = json.loads(told.splitlines()[-1])
    return Outcome(_hold_against(path, writers, visits, commands), seconds, longest, rounds)


def _start(words: list[str], env: dict[str, str], into: Path | None = None) -> subprocess.Popen[str]:
    """A process. One that says much says it into a file: it would wait once a pipe that nobody empties is full."""
    if into is None:
        return subprocess.Popen(words, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    with into.open("w", encoding="utf-8") as file:
        return subprocess.Popen(words, env=env, stdout=file, stderr=file, text=True)


def _end(process: subprocess.Popen[str]) -> str:
    out, err = process.communicate(timeout=3_000)
    assert process.returncode == 0, err
    assert "locked" not in err
    assert "in use" not in err
    return out


def _hold_against(path: Path, writers: int, visits: int, commands: int) -> int:
    wanted: dict[tuple[str, str, int], int] = {}
    for writer in range(writers):
        for number in range(visits):
            day = str(BEGIN + timedelta(days=number))
            for corrects in (0, 1) if number % CORRECTED == 0 else (0,):
                wanted[f"W{writer}-{number % UNITS}", day, 2 * number + corrects] = corrects
    for number in range(commands):
        wanted[f"C{number}", "2026-06-01", number] = 0
    with closing(sqlite3.connect(path)) as raw:
        rows = raw.execute(
            "SELECT tag, read_on, value, reading.supersedes_id IS NOT NULL FROM reading "
            "JOIN counter ON counter.id = counter_id JOIN fitting ON fitting.drive_id = counter.drive_id "
            "JOIN tap_changer ON tap_changer.id = fitting.tap_changer_id"
        ).fetchall()
        assert raw.execute("SELECT count(*) FROM reading").fetchone()[0] == len(rows) == len(wanted)
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
    assert {(tag, day, value): corrects for tag, day, value, corrects in rows} == wanted
    return len(rows)


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--writers", type=int, default=8)
    parser.add_argument("--visits", type=int, default=1_000)
    parser.add_argument("--commands", type=int, default=5)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--write", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--read", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.write is not None:
        write(asked.folder / "fleet.db", asked.write, asked.visits)
    elif asked.read:
        read(asked.folder / "fleet.db", asked.folder)
    else:
        with tempfile.TemporaryDirectory() as folder:
            found = run(Path(folder), asked.writers, asked.visits, asked.commands)
        print(
            f"{asked.writers} writers x {asked.visits:,} visits and {asked.commands} commands: {found.rows:,} rows in "
            f"{found.seconds:.1f} s, none lost, none doubled; longest wait {found.longest_s:.2f} s; "
            f"{found.rounds} rounds of listing, exporting and backing up meanwhile"
        )


if __name__ == "__main__":
    main()
