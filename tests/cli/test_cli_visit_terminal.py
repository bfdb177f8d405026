"""The guided visit at a real terminal: whole in tmux, and killed at each of its prompts."""

from __future__ import annotations

import json
import os
import pty
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest
from cli.visit_store import ENV, make_store

# (what the prompt begins with, what is typed)
ANSWERS = (
    ("Are you at", "y"),
    ("Serial number on the nameplate", "S-1042"),
    ("Counter", "11110"),
    ("Position", "5L"),
    ("Drag hands from", "9L"),
    ("Drag hands to", "2R"),
    ("Drag hands reset", "y"),
    ("Oil level", "normal"),
    ("Oil temperature", "41"),
    ("Compartment wall temperature", "38"),
    ("Main tank wall temperature", "44"),
    ("Pressure", "4"),
    ("Gas cylinder", "8800"),
    ("Seepage", "drain valve; cover"),
    ("Cabinet heater", "w"),
    ("Noise", "usual"),
    ("Coating", "sound"),
    ("More to note", ""),
    ("Remark", "all quiet"),
    ("Was an oil sample taken", "y"),
    ("Bottle number", "B-17"),
    ("Record this visit", "y"),
)
WAIT_S = 30.0  # for one prompt, on a busy machine
SEEN = {
    "position": "5L", "position_low": "9L", "position_high": "2R", "drag_hands_reset": "yes", "oil_level": "normal",
    "oil_temp_c": 41.0, "compartment_temp_c": 38.0, "main_tank_temp_c": 44.0, "pressure_kpa": 4.0,
    "gas_bottle_kpa": 8_800.0, "seepage": "drain valve; cover", "heater": "working", "noise": "usual",
    "coating": "sound", "bottle_number": "B-17", "remark": "all quiet",
}  # fmt: skip


@pytest.fixture
def db(tmp_path: Path) -> Path:
    return make_store(tmp_path)


def stored(db: Path) -> tuple[list[int], dict[str, object], int]:
    """Readings and observations of the day of the visit, and how many visits the store holds."""
    with sqlite3.connect(db) as connection:
        readings = connection.execute("SELECT value FROM reading WHERE read_on = '2026-11-01'").fetchall()
        rows = connection.execute("SELECT quantity, value, words FROM observation WHERE observed_on = '2026-11-01'")
        seen = {name: words if value is None else value for name, value, words in rows.fetchall()}
        visits = connection.execute("SELECT count(*) FROM visit").fetchone()[0]
    connection.close()
    return [row[0] for row in readings], seen, visits


class Terminal:
    """A `tapwear visit` at a terminal of its own."""

    def __init__(self, db: Path, *words: str) -> None:
        self.ours, theirs = pty.openpty()
        environment = {**os.environ, **ENV, "TERM": "xterm", "XDG_CONFIG_HOME": str(db.parent)}
        command = [sys.executable, "-m", "tapwear", "--db", str(db), "visit", "T1", *words]
        self.process = subprocess.Popen(
            command, stdin=theirs, stdout=theirs, stderr=theirs, env=environment, start_new_session=True
        )
        os.close(theirs)
        os.set_blocking(self.ours, False)
        self.shown = ""
        self.read_to = 0

    def wait_for(self, text: str) -> None:
        """Waits until the text shows after what was waited for before."""
        until = time.monotonic() + WAIT_S
        while True:
            try:
                self.shown += os.read(self.ours, 65_536).decode()
            except (BlockingIOError, OSError):
                time.sleep(0.02)
            plain = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", self.shown)
            at = plain.find(text, self.read_to)
            if at >= 0 and plain.find(": ", at) >= 0:
                self.read_to = at + len(text)
                return
            assert time.monotonic() < until, f"{text!r} never came:\n{plain}"

    def type(self, text: str) -> None:
        os.write(self.ours, f"{text}\n".encode())

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()
        os.close(self.ours)

    def end(self) -> int:
        code = self.process.wait(timeout=WAIT_S)
        os.close(self.ours)
        return code


@pytest.mark.slow
def test_killed_at_every_prompt_nothing_half_is_stored_and_the_visit_goes_on(db: Path) -> None:
    before = stored(db)
    assert before == ([], {}, 0)
    draft = db.parent / f"{db.name}.visit-T1.json"
    for number, (prompt, _) in enumerate(ANSWERS):
        words = ["--resume"] if number > 1 else ["--anew"]
        terminal = Terminal(db, *words)
        if number:  # the answer on whose prompt the one before was killed
            former, typed = ANSWERS[number - 1]
            terminal.wait_for(former)
            terminal.type(typed)
        terminal.wait_for(prompt)
        terminal.kill()
        assert stored(db) == before, prompt
        assert draft.exists() == (number > 0)
        if number:
            content = json.loads(draft.read_text(encoding="utf-8"))
            assert len(content["answered"]) == number
            assert draft.stat().st_mode & 0o077 == 0
    terminal = Terminal(db, "--resume")
    terminal.wait_for(ANSWERS[-1][0])
    terminal.type(ANSWERS[-1][1])
    assert terminal.end() == 0
    assert stored(db) == ([11_110], SEEN, 1)
    assert not draft.exists()


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not installed")
def test_a_whole_visit_in_tmux(db: Path) -> None:
    environment = {**os.environ, **ENV, "XDG_CONFIG_HOME": str(db.parent), "TMUX_TMPDIR": str(db.parent)}
    environment.pop("TMUX", None)

    def tmux(*words: str) -> str:
        done = subprocess.run(
            ["tmux", "-L", "visit", "-f", "/dev/null", *words], env=environment, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    def screen() -> str:
        return tmux("capture-pane", "-p", "-J", "-S", "-200", "-t", "visit")

    def wait_for(text: str, count: int = 1) -> None:
        until = time.monotonic() + WAIT_S
        while screen().count(text) < count:
            assert time.monotonic() < until, f"{text!r} never came:\n{screen()}"
            time.sleep(0.05)

    run = f"{sys.executable} -m tapwear --db {db} visit T1"
    tmux("new-session", "-d", "-s", "visit", "-x", "80", "-y", "40", "sh")
    try:
        tmux("send-keys", "-t", "visit", "-l", f"{run}; echo ended=$?")
        tmux("send-keys", "-t", "visit", "Enter")
        for prompt, answer in ANSWERS:
            if prompt == "Counter":  # first a slip: it is questioned, and typed again
                wait_for("Counter (last 011000 on 2026-10-01):")
                tmux("send-keys", "-t", "visit", "-l", "11011")
                tmux("send-keys", "-t", "visit", "Enter")
                wait_for("Read it again. Is it right")
                tmux("send-keys", "-t", "visit", "n", "Enter")
                wait_for("Counter (last 011000 on 2026-10-01):", 2)
            wait_for(prompt)
            if prompt == "Oil temperature":  # Ctrl-C here, and on with the draft
                tmux("send-keys", "-t", "visit", "C-c")
                wait_for("ended=130")
                assert stored(db) == ([], {}, 0)
                tmux("send-keys", "-t", "visit", "-l", f"{run} --resume; echo ended=$?")
                tmux("send-keys", "-t", "visit", "Enter")
                wait_for("Oil temperature", 2)
            tmux("send-keys", "-t", "visit", "-l", "--", answer)
            tmux("send-keys", "-t", "visit", "Enter")
        wait_for("ended=0")
        shown = screen()
    finally:
        subprocess.run(["tmux", "-L", "visit", "kill-server"], env=environment, check=False)
    assert "digits transposed? 11011 instead of 11101" in " ".join(shown.split())
    assert "8 answers are kept in" in " ".join(shown.split())
    assert "from     tap-changer compartment" in shown
    assert stored(db) == ([11_110], SEEN, 1)
