"""A clock that is years off is told before anything is recorded; a day ahead, as in another zone, is no fault."""

from __future__ import annotations

from datetime import date, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

import pytest
from desk_store import make_desk, run
from typer.testing import CliRunner

from tapwear.cli import clock, context
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


def test_what_is_dated_tomorrow_by_the_store_is_not_left_out_without_a_word(tmp_path: Path) -> None:
    desk = make_desk(tmp_path)
    assert run(desk, "log", "AH-T1", "48200", "--sure", "x", today="2026-06-30").exit_code == 0
    words = "Not counted, since dated after 2026-06-29, which is today by this machine's clock: 1 reading."
    for command in (("due",), ("why", "AH-T1"), ("next",), ("report", "--format", "json")):
        said = " ".join(run(desk, *command, today="2026-06-29").stderr.split())
        assert words in said, command
        assert "--as-of 2026-06-30" in said
    for command in (("why", "AH-T2"), ("due", "--as-of", "2026-06-29")):
        assert "Not counted" not in run(desk, *command, today="2026-06-29").stderr
    assert "Not counted" not in run(desk, "due", today="2026-06-30").stderr


@pytest.mark.parametrize("answer", [None, False, True])
def test_an_entry_under_a_clock_behind_the_newest_one_is_asked_about(
    answer: bool | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = make_desk(tmp_path)
    earlier = context.now() - timedelta(days=3)
    assert run(desk, "log", "AH-T1", "48200", "--sure", "x").stderr.count("two clocks") == 0
    monkeypatch.setattr(clock, "now", lambda: earlier)
    monkeypatch.setattr(clock, "at_a_terminal", lambda: answer is not None)
    monkeypatch.setattr(clock, "confirmed", lambda question: answer)
    done = run(desk, "log", "AH-T2", "48200", "--sure", "x")
    assert done.exit_code == (130 if answer is False else 0), done.output
    assert ("one of the two clocks is wrong" in " ".join(done.stderr.split())) == (answer is None)
    assert "one of" not in run(desk, "due").stderr
