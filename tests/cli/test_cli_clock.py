"""A clock that is years off is told before anything is recorded; a day ahead, as in another zone, is no fault."""

from __future__ import annotations

from datetime import date, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

import pytest
from desk_store import make_desk, run
from typer.testing import CliRunner

from tapwear.cli import context
from tapwear.cli.app import app


class _Clock(datetime):
    @classmethod
    def now(cls, tz: tzinfo | None = None) -> Any:
        return datetime(1970, 1, 1, 12, tzinfo=tz)


def test_a_dead_clock_records_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = make_desk(tmp_path)
    monkeypatch.setattr(context, "datetime", _Clock)
    done = CliRunner().invoke(app, ["--db", str(desk), "log", "AH-T1", "5"])
    assert done.exit_code == 2
    assert "The clock of this machine says 1970-01-01" in done.stderr


def test_a_reading_of_the_day_that_it_is_already_elsewhere_is_right(tmp_path: Path) -> None:
    desk = make_desk(tmp_path)
    day = date(2026, 6, 30)
    assert run(desk, "log", "AH-T1", "48200", "--sure", "x", today=str(day)).exit_code == 0
    assert run(desk, "check", today=str(day - timedelta(days=1))).exit_code == 0
    assert run(desk, "check", today=str(day - timedelta(days=2))).exit_code == 7
