"""Light commands start quickly: what they must not import is not there, and the time it takes is bounded."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from tapwear.store.engine import create_store

HEAVY = ("pandas", "statsmodels", "scipy", "matplotlib", "jinja2", "sqlmodel", "tapwear.store.models")
# Importing typer and sqlmodel takes about 0.5 s; --help may take 0.25 s of that machine, log 0.7 s. Held as shares of
# processor time, with room, so that a busy machine does not matter; tests/bench/start_up.py prints the seconds.
HELP_SHARE, LOG_SHARE = 0.75, 1.8

PROGRAM = """
import sys
from tapwear.cli.app import app
try:
    app(sys.argv[1:], prog_name="tapwear")
except SystemExit as ended:
    assert ended.code in (0, None), ended.code
print("imported:", *sorted(sys.modules), file=sys.stderr)
"""


@pytest.fixture(scope="module")
def environment(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    path = tmp_path_factory.mktemp("start") / "fleet.db"
    create_store(path).close()
    told = {"TAPWEAR_DB": str(path), "TAPWEAR_TODAY": "2026-11-01", "TAPWEAR_NAME": "Robin"}
    environment = {**os.environ, **told, "XDG_CONFIG_HOME": str(path.parent)}
    for words in (
        ["unit", "add", "T1", "--station", "NORTH", "--digits", "6"],
        *(["log", "T1", str(1000 + 100 * m), "--on", f"2026-{m:02d}-01", "--sure", "start"] for m in (7, 8, 9)),
    ):
        subprocess.run([sys.executable, "-m", "tapwear", *words], env=environment, check=True, capture_output=True)
    return environment


def imported(words: list[str], environment: dict[str, str]) -> set[str]:
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, *words], env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return set(done.stderr.rsplit("imported:", 1)[1].split())


def test_help_needs_neither_numbers_nor_a_database(environment: dict[str, str]) -> None:
    modules = imported(["--help"], environment)
    assert not modules & {*HEAVY, "numpy", "sqlalchemy"}


@pytest.mark.parametrize(
    "words",
    [
        ["visit", "T1", "--counter", "1990", "--position", "9", "--on", "2026-09-28", "--sure", "x"],
        ["log", "T1", "2000", "--on", "2026-10-01"],
        ["service", "T1", "--work", "oil change", "--on", "2026-10-03"],
        ["event", "T1", "inspection", "--on", "2026-10-04"],
        ["history", "T1"],
        ["amend", "T1", "reading", "--on", "2026-09-01", "--set", "remark=dusty", "--because", "x"],
        ["undo", "--because", "x"],
        ["plan", "pin", "T1", "2027-W18"],
        ["plan", "input", "close", "NORTH", "--weeks", "W24..W35"],
        ["followups", "add", "T1", "--words", "lock stiff"],
        ["followups", "close", "T1", "other", "--words", "oiled"],
        ["visit-rule", "set", "--unit", "T1", "--read", "3 months"],
        ["unit", "list"],
        ["unit", "show", "T1"],
        ["unit", "add", "T2", "--station", "NORTH", "--digits", "6"],
        ["unit", "change", "T1", "--note", "x"],
    ],
    ids=lambda words: " ".join(words[:2]),
)
def test_light_commands_import_nothing_heavy(words: list[str], environment: dict[str, str]) -> None:
    assert not imported(words, environment) & {*HEAVY}


def test_numpy_is_there_only_where_a_number_is_checked(environment: dict[str, str]) -> None:
    assert "numpy" not in imported(["event", "T1", "inspection", "--on", "2026-10-05"], environment)


def test_help_and_log_start_within_their_time(environment: dict[str, str]) -> None:
    log = ["log", "T1", "2104", "--on", "2026-10-30", "--sure", "x", "--replace", "--because", "y"]
    programs = {
        "models": ["-c", "import typer, sqlmodel"],
        "help": ["-m", "tapwear", "--help"],
        "log": ["-m", "tapwear", *log],
    }
    taken: dict[str, list[float]] = {name: [] for name in programs}
    for _ in range(5):
        for name, words in programs.items():
            before = os.times()
            subprocess.run([sys.executable, *words], env=environment, capture_output=True, check=True)
            after = os.times()
            taken[name].append(sum(after[2:4]) - sum(before[2:4]))  # of the children, in the program and for it
    least = {name: min(values) for name, values in taken.items()}
    assert least["help"] < HELP_SHARE * least["models"], least
    assert least["log"] < LOG_SHARE * least["models"], least
