"""A visit as a record: what it holds comes back from its content, and its content tells two savings apart."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from tapwear.visits.visit import VISIT_ID, CounterSeen, Visit, content_of, content_text, new_visit_id, visit_from

VISIT = Visit(
    id="0" * 31 + "1",
    unit="T1",
    visited_on=date(2026, 6, 3),
    by="Kim",
    serial_seen="S1",
    counters=(CounterSeen(48213), CounterSeen(0, "2", "controller", "fewer than usual; kept: read twice")),
    observations={"oil_level": "low", "oil_temp_c": 41.5, "drag_hands_reset": True},
    sample_taken=True,
    remark="gate 2 is locked",
    revision=3,
)


def test_a_visit_comes_back_from_its_content() -> None:
    assert visit_from(content_of(VISIT)) == VISIT


def test_what_was_left_open_is_not_in_the_content() -> None:
    bare = Visit(VISIT.id, "T1", date(2026, 6, 3), counters=(CounterSeen(0),))
    counter = {"source": "mechanical", "value": 0}
    assert content_of(bare) == {
        "id": VISIT.id, "revision": 1, "unit": "T1", "visited_on": "2026-06-03", "counters": [counter],
    }  # fmt: skip


def test_content_text_differs_when_one_number_does() -> None:
    other = replace(VISIT, counters=(CounterSeen(48231), VISIT.counters[1]))
    assert content_text(other) != content_text(VISIT)
    assert content_text(replace(VISIT)) == content_text(VISIT)


def test_a_visit_in_which_nothing_was_noted_is_empty() -> None:
    assert Visit(VISIT.id, "T1", date(2026, 6, 3), "Kim", "S1").empty
    assert not Visit(VISIT.id, "T1", date(2026, 6, 3), sample_taken=True).empty


def test_new_ids_differ_and_have_the_agreed_form() -> None:
    first, second = new_visit_id(), new_visit_id()
    assert first != second
    assert VISIT_ID.fullmatch(first)
