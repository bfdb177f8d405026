from __future__ import annotations

import io
import sys
import time

import pytest

from tapwear.report import terminal
from tapwear.report.terminal import can_draw, columns, columns_broken, make_console, note, progress


class Screen(io.StringIO):
    """A stream that says somebody looks at it."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


def test_columns_line_up_and_are_never_cut_off() -> None:
    long = "x" * 300
    assert columns(["unit", "count"], [["T1", "5"], ["T100", "12,000"], [long, ""]], right=(1,)) == [
        "unit" + " " * 296 + "   count",
        "T1" + " " * 298 + "       5",
        "T100" + " " * 296 + "  12,000",
        long,
    ]


def test_columns_count_wide_letters_as_two() -> None:
    assert columns(["a", "b"], [["変", "1"], ["xy", "2"]])[1:] == ["変  1", "xy  2"]


def test_columns_hold_no_control_characters() -> None:
    assert columns(["a"], [["x\x1b[31my\nz"]])[1] == "xy z"


def test_a_console_is_no_wider_than_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    assert make_console(widest=100).width == 100
    assert make_console().width == 200


def test_charts_need_an_encoding_that_holds_dots() -> None:
    assert can_draw(io.TextIOWrapper(io.BytesIO(), encoding="utf-8"))
    assert not can_draw(io.TextIOWrapper(io.BytesIO(), encoding="latin-1"))


def test_a_note_is_whole_in_a_pipe_and_wrapped_on_a_screen(monkeypatch: pytest.MonkeyPatch) -> None:
    words = "word " * 40
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    note(words)
    assert sys.stderr.getvalue() == words + "\n"
    monkeypatch.setattr(sys, "stderr", Screen())
    monkeypatch.setenv("COLUMNS", "60")
    note(words)
    assert max(len(line) for line in sys.stderr.getvalue().splitlines()) <= 60


def test_progress_is_silent_into_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(terminal, "PATIENCE_S", 0.0)
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    with progress("Working", 3) as done:
        done(1)
    assert sys.stderr.getvalue() == ""


def test_progress_is_silent_for_short_work(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(terminal, "PATIENCE_S", 60.0)
    monkeypatch.setattr(sys, "stderr", Screen())
    with progress("Working", 3) as done:
        done(3)
    assert sys.stderr.getvalue() == ""


def test_progress_shows_on_a_screen_when_work_lasts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(terminal, "PATIENCE_S", 0.0)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys, "stderr", screen := Screen())
    with progress("Working [now]", 3) as done:
        done(2)
        until = time.monotonic() + 60
        while "2/3" not in screen.getvalue() and time.monotonic() < until:
            time.sleep(0.02)
    assert "Working [now]" in screen.getvalue()
    assert "2/3" in screen.getvalue()


def test_the_last_column_is_broken_beside_or_under_its_row() -> None:
    rows = [["U1", "moved", "station ALDER closed in 2027-W10 (busbar works)"], ["U22", "added", ""]]
    wide = columns_broken(["unit", "what", "why"], rows, 59)
    assert wide == [
        "unit  what   why",
        "U1    moved  station ALDER closed in 2027-W10 (busbar",
        "             works)",
        "U22   added",
    ]
    assert columns_broken(["unit", "what", "why"], rows, 48) == [
        "unit  what",
        "U1    moved",
        "    station ALDER closed in 2027-W10 (busbar",
        "    works)",
        "U22   added",
    ]
    assert columns_broken(["unit", "what", "why"], rows, None) == columns(["unit", "what", "why"], rows)
