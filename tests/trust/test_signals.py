"""Closed and broken streams end quietly; signals leave nothing half done and one line of words."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).parents[1] / "cli")]

from desk_store import make_desk  # noqa: E402

PROGRAM = f'exec "{sys.executable}" -m tapwear'
READ = (("due",), ("why", "AH-T1"), ("oil", "--fleet"), ("unit", "list"), ("history", "AH-T1"), ("check",))
WRITE = (
    ("log", "AH-T1", "48100", "--on", "2026-06-29", "--sure", "seen"),
    ("visit", "AH-T1", "--counter", "48100", "--on", "2026-06-29", "--sure", "seen"),
)
ENV = {**os.environ, "TAPWEAR_TODAY": "2026-06-30", "TAPWEAR_NAME": "Kim"}


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    return make_desk(tmp_path)


def shell(desk: Path, words: tuple[str, ...], streams: str) -> subprocess.CompletedProcess[str]:
    line = f'{PROGRAM} --db "$0" "$@" {streams}'
    return subprocess.run(
        ["/bin/bash", "-c", line, str(desk), *words], env=ENV, capture_output=True, text=True, stdin=subprocess.DEVNULL
    )


def readings(desk: Path) -> int:
    with closing(sqlite3.connect(desk)) as raw:
        return int(raw.execute("SELECT count(*) FROM reading").fetchone()[0])


@pytest.mark.slow
@pytest.mark.parametrize("streams", [">&-", "2>&-", "<&-", "<&- >&- 2>&-", "2>/dev/full"])
def test_a_closed_stream_is_no_fault_and_what_was_recorded_ends_in_0(desk: Path, streams: str) -> None:
    for words in READ[:3] if "<" in streams else READ:
        done = shell(desk, words, streams)
        assert (done.returncode, "Traceback" in done.stderr) == (0, False), (words, done.stderr)
    for words in WRITE:
        before = readings(desk)
        done = shell(desk, words, streams)
        assert (done.returncode, "Traceback" in done.stderr) == (0, False), (words, done.stderr)
        assert readings(desk) == before + 1


@pytest.mark.slow
@pytest.mark.parametrize("words", READ)
def test_whoever_stops_reading_gets_no_traceback(desk: Path, words: tuple[str, ...]) -> None:
    line = f'("{sys.executable}" -m tapwear --db "$0" "$@"; echo "ended $?" >&2) | true'
    done = subprocess.run(["/bin/bash", "-c", line, str(desk), *words], env=ENV, capture_output=True, text=True)
    assert "Traceback" not in done.stderr
    assert "ended 141" in done.stderr or "ended 0" in done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_clears_away_what_was_being_made_in_one_line(number: signal.Signals, tmp_path: Path) -> None:
    for wait in (0.15, 0.6, 1.0, 1.4):
        folder = tmp_path / f"{wait}"
        folder.mkdir()
        words = [sys.executable, "-m", "tapwear", "demo", "demo.db"]
        program = subprocess.Popen(words, cwd=folder, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        time.sleep(wait)
        program.send_signal(number)
        _, said = program.communicate(timeout=60)
        assert program.returncode in (128 + number, -number, 0), said
        assert "Traceback" not in said
        if (folder / "demo.db").exists():  # it was finished
            with closing(sqlite3.connect(folder / "demo.db")) as raw:
                assert raw.execute("SELECT count(*) FROM tap_changer").fetchone()[0] > 20


POOL = """
import sys, time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from tapwear.blocks import _quiet
import os
if __name__ == "__main__":
    with ProcessPoolExecutor(2, get_context("spawn"), initializer=_quiet) as pool:
        tasks = [pool.submit(time.sleep, 600) for _ in range(2)]
        time.sleep(0.1)
        while len(pool._processes) < 2:
            time.sleep(0.1)
        pool.submit(os.getpid)
        time.sleep(3)
        print(*pool._processes, flush=True)
        time.sleep(600)
"""


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_the_workers_of_a_large_fleet_end_with_the_process_that_waits_for_them(
    number: signal.Signals, tmp_path: Path
) -> None:
    (tmp_path / "pool.py").write_text(POOL, encoding="utf-8")
    root = str(Path(__file__).parents[2])
    parent = subprocess.Popen(
        [sys.executable, str(tmp_path / "pool.py")], stdout=subprocess.PIPE, text=True, env={**ENV, "PYTHONPATH": root}
    )
    assert parent.stdout is not None
    workers = [int(word) for word in parent.stdout.readline().split()]
    assert len(workers) == 2
    parent.send_signal(number)
    parent.wait(30)
    parent.stdout.close()
    deadline = time.monotonic() + 60
    while any(alive(worker) for worker in workers):
        assert time.monotonic() < deadline
        time.sleep(0.2)


def alive(number: int) -> bool:
    try:
        return Path(f"/proc/{number}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
