from __future__ import annotations

import io
from datetime import date

import pytest
from due_examples import AS_OF, OVERDUE, SEVERE_ONE, UNKNOWN, UNREAD, due, outlook
from rich.console import Console

from tapwear.report.due_choice import choose
from tapwear.report.due_table import due_plain, due_screen, headline
from tapwear.words import stop_notice

ALL = outlook(SEVERE_ONE, OVERDUE, UNKNOWN, due(), UNREAD)


def screen(width: int, *dues) -> str:
    console = Console(
        file=io.StringIO(), width=width, force_terminal=True, no_color=True, markup=False, highlight=False
    )
    for line in due_screen(choose(outlook(*dues), until=None), console):
        console.print(line)
    assert isinstance(console.file, io.StringIO)
    text = console.file.getvalue()
    for code in ("\x1b[1m", "\x1b[2m", "\x1b[4m", "\x1b[0m"):
        text = text.replace(code, "")
    return text


@pytest.mark.parametrize("width", [40, 80, 120, 200])
def test_no_line_is_wider_than_the_screen_and_nothing_is_cut_off(width: int) -> None:
    text = screen(width, *ALL.dues)
    assert max(len(line) for line in text.splitlines()) <= width
    assert "…" not in text
    joined = " ".join(text.split())
    for words in ("2019-03-12 at 104,233", "HAL-T1", "Overdue since about May 2025", "no usable reading", "OLD-T4"):
        assert words in joined


def test_on_a_narrow_screen_the_early_date_leads_and_the_words_stand_under_the_row() -> None:
    assert screen(75, due()).splitlines() == [
        "early       late        unit    operations since  governed by",
        "2026-09-14  2027-05-02  BRK-T1  61,200 of 70,000  mostly operations",
        "    Brackwater, T1; contact service; last 2019-03-12 at 104,233; read 14",
        "    days ago",
        "    Next: schedule outage before 2026-09-14",
    ]


def test_a_wide_screen_shows_the_middle_date_and_all_columns() -> None:
    heading = screen(200, due()).splitlines()[0].split("  ")
    assert [name.strip() for name in heading if name.strip()] == [
        "early",
        "middle",
        "late",
        "unit",
        "station, bank",
        "task",
        "operations since",
        "last service",
        "last read",
        "governed by",
    ]


def test_a_severe_finding_stands_first_and_no_sample_is_suggested() -> None:
    lines = screen(100, SEVERE_ONE).splitlines()
    assert lines[1].startswith("STOP since 2026-06-30  ")
    assert " ".join(line.strip() for line in lines[2:4]) == stop_notice("MIR-T2")
    assert "sample by" not in "\n".join(lines)
    assert "Next:" not in "\n".join(lines)


def test_what_people_typed_is_shown_as_typed_and_cannot_steer_the_screen() -> None:
    text = screen(120, due(unit="T1 [north]", station="[/] \x1b[31mred"))
    assert "T1 [north]" in text
    assert "[/]" in text
    assert "\x1b" not in text


def test_a_unit_out_of_service_says_so() -> None:
    assert "workshop" in screen(120, due(state="workshop"))


def test_an_empty_list_draws_nothing() -> None:
    assert screen(80) == ""


def test_plain_columns_hold_every_due_in_one_line_uncut() -> None:
    lines = due_plain(choose(ALL, until=None))
    assert len(lines) == 1 + len(ALL.dues)
    assert lines[0].split()[:5] == ["stop", "early", "middle", "late", "unit"]
    assert lines[1].startswith("STOP since 2026-06-30")
    assert lines[3].strip().startswith("unknown     unknown     unknown     OLD-T4")
    assert not due_plain(choose(outlook(due()), until=None))[0].startswith("stop")
    assert UNKNOWN.next_action in lines[3]
    assert lines[4].index("BRK-T1") == lines[0].index("unit")


def test_the_headline_counts_the_fleet() -> None:
    assert headline(choose(ALL, until=None)) == "As of 2026-06-30: 5 of 5 units; 2 overdue, 1 with no date."
    period = "5 of 5 units due by 2026-12-31 or with no date or with no usable reading; 2 overdue, 1 with no date."
    assert headline(choose(ALL, until=date(2026, 12, 31))) == f"As of 2026-06-30: {period}"
    plain = choose(outlook(due()), until=date(2026, 12, 31))
    assert headline(plain) == "As of 2026-06-30: 1 of 1 units due by 2026-12-31."


def test_what_an_alarm_says_is_not_said_twice() -> None:
    now = "Oil results call for an internal inspection now"
    one = due(driver="oil", early=AS_OF, middle=AS_OF, alarms=(f"{now}. Ask.",), doubts=(f"{now}. Ask.", "old"))
    text = " ".join(screen(100, one).split())
    assert text.count(now) == 1
    assert f"{now}. Ask. Old." in text
