"""What visits noted on a unit's page: the newest of each kind, what is open, and nothing where nothing was noted."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

from why_examples import subject, verdict

from tapwear.outlook.followups import FollowUp
from tapwear.outlook.noticed import Noticed
from tapwear.report.page import page_plain
from tapwear.report.visit_notes import note_blocks, note_section
from tapwear.report.why_data import why_json
from tapwear.report.why_view import why_page

DAY = date(2026, 4, 14)
SEEN = (
    Noticed("BRK-T1", DAY, "", "breather", None, "good"),
    Noticed("BRK-T1", DAY, "", "position", 5.0, "5R"),
    Noticed("BRK-T1", date(2026, 1, 23), "A", "oil_temp_c", 19.0, ""),
)
OPEN = FollowUp("BRK-T1", "seepage", "", "drain valve", "drain valve", date(2026, 1, 23), DAY, 2, "observation")


def test_the_newest_of_each_kind_stands_in_the_order_of_a_visit_and_then_what_is_open() -> None:
    lines = page_plain(note_blocks(subject(noticed=SEEN, followups=(OPEN,))))
    assert [" ".join(line.split()) for line in lines] == [
        "Seen on visits",
        "what compartment last seen on",
        "position 5R 2026-04-14",
        "oil temperature A 19 °C 2026-01-23",
        "breather good 2026-04-14",
        "",
        "To follow up",
        "Seepage: drain valve; seen 2 times, 2026-01-23 to 2026-04-14.",
    ]
    section = note_section(subject(noticed=SEEN, followups=(OPEN,)))
    assert section is not None
    assert section.tables[0].rows[0] == ("position", "", "5R", "2026-04-14")
    assert section.after == ("To follow up: seepage: drain valve; seen 2 times, 2026-01-23 to 2026-04-14.",)


def test_a_unit_of_which_nothing_was_noted_has_no_such_part() -> None:
    assert note_blocks(subject()) == []
    assert note_section(subject()) is None
    only = note_section(subject(followups=(OPEN,)))
    assert only is not None
    assert only.tables == ()


def test_nobody_is_sent_to_a_unit_with_a_severe_finding() -> None:
    severe = subject(followups=(OPEN,), verdict=replace(verdict(), severe=True))
    assert [block.heading for block in note_blocks(severe)] == ["For the engineer alone"]
    section = note_section(severe)
    assert section is not None
    assert section.after[0].startswith("For the engineer alone: seepage")


def test_it_stands_on_the_page_and_in_its_data() -> None:
    about = subject(noticed=SEEN, followups=(OPEN,))
    assert "Seen on visits" in page_plain(why_page(about))
    assert "Seen on visits" not in page_plain(why_page(subject()))
    page = json.loads(why_json(about))
    assert page["observations"][0] == {
        "quantity": "breather", "compartment": "", "observed_on": "2026-04-14", "value": None, "words": "good"
    }  # fmt: skip
    assert (page["followups"][0]["place"], page["followups"][0]["last_on"]) == ("drain valve", "2026-04-14")
    assert json.loads(why_json(subject()))["followups"] == []
