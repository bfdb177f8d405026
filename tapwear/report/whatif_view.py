"""The dates of a unit before and after a supposition, side by side; as a page and as JSON.

JSON is one object:

    schema    "tapwear.whatif/1"; the number rises when a field changes its meaning or goes away
    as_of     [ISO date]
    unit      the owner's asset tag
    supposed  what is supposed, as sentences
    caution   what to keep in mind before any work
    now, then [fields as in tapwear.due/1], task by task in one order
"""

from __future__ import annotations

from datetime import date

from tapwear.outlook.types import Due
from tapwear.outlook.whatif import Compared
from tapwear.report.due_data import due_record
from tapwear.report.due_words import day_words, driver_words, sentence
from tapwear.report.page import Block, Line, table
from tapwear.report.plain import json_text, plain
from tapwear.words import CAUTION_SHORT, stop_notice

WHATIF_SCHEMA = "tapwear.whatif/1"


def whatif_page(compared: Compared) -> list[Block]:
    """The comparison in reading order."""
    blocks = [Block(stop_notice(compared.now[0].unit), loud=True)] if any(due.must_stop for due in compared.now) else []
    supposed = [Line(sentence(words)) for words in compared.supposed.sentences()]
    title = f"{compared.unit}   what if, as of {compared.as_of}; nothing is stored"
    blocks.append(Block(title, tuple(supposed)))
    before = {due.task: due for due in compared.now}
    rows = []
    for due in compared.then:
        was = before.get(due.task)
        if was is not None:
            rows.append([due.task, "as it is", *_days(was), "", driver_words(was)])
        moved = moved_words(was.early, due.early) if was is not None and was.known and due.known else ""
        rows.append(["" if was is not None else due.task, "then", *_days(due), moved, driver_words(due)])
    headings = ["task", "", "early", "middle", "late", "early date moves", "driven by"]
    lines = table(headings, rows)
    doubts = list(dict.fromkeys(sentence(doubt) for due in compared.now for doubt in due.doubts))
    return [*blocks, Block("Dates", (*lines, *(Line(doubt) for doubt in doubts)))]


def _days(due: Due) -> list[str]:
    return [day_words(day, due) for day in (due.early, due.middle, due.late)]


def moved_words(was: date | None, now: date | None) -> str:
    """`120 days earlier`, `3 days later`, `no`; blank where neither lies within sight."""
    if was is None or now is None:
        return "" if was is now else "comes within sight" if was is None else "goes out of sight"
    days = (now - was).days
    if days == 0:
        return "no"
    return f"{abs(days):,} day{'s' if abs(days) != 1 else ''} {'later' if days > 0 else 'earlier'}"


def whatif_json(compared: Compared) -> str:
    """The comparison as JSON text, see the top of this module."""
    severe = any(due.must_stop for due in compared.now)
    page = {
        "schema": WHATIF_SCHEMA,
        "as_of": compared.as_of.isoformat(),
        "unit": plain(compared.unit),
        "supposed": compared.supposed.sentences(),
        "caution": f"{stop_notice()} {CAUTION_SHORT}" if severe else CAUTION_SHORT,
        "now": [due_record(due) for due in compared.now],
        "then": [due_record(due) for due in compared.then],
    }
    return json_text(page)
