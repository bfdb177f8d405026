"""A small store for tests of guided visits: three units at one station, T1 read each month, with its observations;
and how a person works there: a folder with a copy of the store, commands, and what they say."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from tapwear.cli.app import app
from tapwear.store.engine import create_store
from tapwear.store.entries import add_reading
from tapwear.store.observations import observation_rows
from tapwear.store.recording import Stamp, record
from tapwear.store.register import add_unit

TODAY = "2026-11-01"
ENV = {"TAPWEAR_TODAY": TODAY, "TAPWEAR_NAME": "Kim", "NO_COLOR": "1", "COLUMNS": "160"}


def make_store(folder: Path) -> Path:
    """T1: sealed, 16L-N-16R, about 100 operations a month; T2 its neighbour; T3 with three drives."""
    path = folder / "fleet.db"
    stamp = Stamp("Robin", datetime(2026, 10, 2, tzinfo=UTC))
    store = create_store(path)
    with store.rows(writing=True) as connection:
        plate = {"station": "NORTH", "counter_digits": 6, "positions": "16L-N-16R"}
        one = add_unit(
            connection, {**plate, "unit": "T1", "bank": "B1", "serial": "S-1042", "breathing": "sealed"}, stamp
        )
        two = add_unit(connection, {**plate, "unit": "T2", "bank": "B2", "serial": "S-9020"}, stamp)
        add_unit(connection, {**plate, "unit": "T3", "bank": "B3", "drives": ("A", "B", "C")}, stamp)
        for month in range(1, 11):
            for unit, begin in ((one, 10_000), (two, 54_000)):
                value = begin + 100 * month + (7 * month) % 5
                values = {"value": value, "read_on": date(2026, month, 1), "reader": "Robin"}
                add_reading(connection, unit, values, stamp)
        seen = {"oil_level": "normal", "oil_temp_c": 35.0, "pressure_kpa": 4.0, "gas_bottle_kpa": 9_000.0}
        for row in observation_rows(connection, one, date(2026, 10, 1), seen):
            record(connection, "observation", stamp, **row)
    store.close()
    return path


def own_copy(template: Path, folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the store in that folder, for a person who works in it."""
    path = Path(shutil.copy(template, folder / "fleet.db"))
    for name, value in {**ENV, "XDG_CONFIG_HOME": str(folder), "TAPWEAR_DB": str(path)}.items():
        monkeypatch.setenv(name, value)
    monkeypatch.chdir(folder)
    return path


def guided(command: str, *words: str, typed: list[str] | None = None) -> Result:
    """Runs a guided command; `typed`: answers at a terminal, else by options alone."""
    lines = "".join(f"{line}\n" for line in typed or [])
    result = CliRunner().invoke(app, [command, *words, "--no-ask" if typed is None else "--ask"], input=lines)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def run(*words: str, code: int = 0, typed: str = "") -> Result:
    """The command, which had to end with that exit code."""
    result = CliRunner().invoke(app, words, input=typed)
    assert result.exit_code == code, result.output
    return result


def in_one_line(result: Result, code: int = 0) -> str:
    """What a command said, without regard to line ends; it had to end with that exit code."""
    assert result.exit_code == code, result.output
    return " ".join(result.output.split())


def said(*words: str, code: int = 0, typed: str = "") -> str:
    return in_one_line(run(*words, code=code, typed=typed), code)
