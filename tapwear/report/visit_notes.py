"""What visits noted about one unit besides the counter, and what is open to be followed up: on its page."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from tapwear.report.due_words import sentence
from tapwear.report.page import Block, Line
from tapwear.report.page import table as lines_of
from tapwear.report.pages_parts import Section, table
from tapwear.report.stories import Subject
from tapwear.words import OBSERVED, observed_label

SEEN, FOLLOW_UP, ENGINEER = "Seen on visits", "To follow up", "For the engineer alone"
HEADINGS = ("what", "compartment", "last seen", "on")


def note_blocks(subject: Subject) -> list[Block]:
    """For the terminal: the newest observation of each kind, then what is open; none of either where there is none."""
    rows = _rows(subject)
    used = [i for i in range(len(HEADINGS)) if any(row[i] for row in rows)]
    shown = lines_of([HEADINGS[i] for i in used], [[row[i] for i in used] for row in rows]) if rows else []
    open_ = [Line(sentence(one.sentence)) for one in subject.followups]
    found = ((SEEN, shown), (_heading(subject), open_))
    return [Block(heading, tuple(lines)) for heading, lines in found if lines]


def note_section(subject: Subject) -> Section | None:
    """The same for a report's page; None where there is nothing."""
    rows = _rows(subject)
    if not rows and not subject.followups:
        return None
    name = _heading(subject)
    found = (table(f"Seen on visits to {subject.unit}", HEADINGS, rows),) if rows else ()
    return Section(SEEN, tables=found, after=tuple(f"{name}: {one.sentence}." for one in subject.followups))


def note_records(subject: Subject) -> dict[str, list[dict[str, Any]]]:
    """The same for programs: observations and followups."""
    names = ("quantity", "compartment", "observed_on", "value", "words")
    seen = [{name: getattr(one, name) for name in names} for one in subject.noticed]
    keys = ("kind", "compartment", "place", "words", "first_on", "last_on", "times", "origin", "well_on", "by")
    return {
        "observations": seen,
        "followups": [{name: asdict(one)[name] for name in keys} for one in subject.followups],
    }


def _heading(subject: Subject) -> str:
    """Nobody is sent to a unit with a severe finding."""
    return ENGINEER if subject.severe else FOLLOW_UP


def _rows(subject: Subject) -> list[tuple[str, ...]]:
    return [
        (observed_label(one.quantity), one.compartment, one.said, one.observed_on.isoformat())
        for one in sorted(subject.noticed, key=lambda one: OBSERVED.index(one.quantity))
    ]
