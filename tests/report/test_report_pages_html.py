from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any

import pytest
from due_examples import AS_OF, due, outlook
from pages_examples import DUES, fleet, page_subject, readings

from tapwear.report.pages_choice import Paper
from tapwear.report.pages_html import pages_html
from tapwear.words import CAUTIONS, stop_notice

EVIL = "<script>alert(1)</script>"
VOID = {"meta", "link", "br", "img", "input"}


class Reader(HTMLParser):
    """Takes a page apart and minds that every element is closed where it should be."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.found: list[tuple[str, dict[str, str]]] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.found if name == tag]


def page(tags: list[str] | None = None, paper: Paper = Paper.A4, **changed: Any) -> str:
    shown = ["MIR-T2", "BRK-T1", "OLD-T4"] if tags is None else tags
    return pages_html(fleet(**changed), shown, map(page_subject, shown), paper, lambda count: None)


@pytest.fixture(scope="module")
def text() -> str:
    return page()


@pytest.fixture(scope="module")
def read(text: str) -> Reader:
    return Reader(text)


def test_the_file_needs_nothing_beside_it(text: str, read: Reader) -> None:
    assert not {"script", "link", "img", "iframe", "object", "form"} & {tag for tag, _ in read.found}
    links = [value for _, attributes in read.found for name, value in attributes.items() if name in ("href", "src")]
    assert all(link.startswith("#") for link in links)
    assert not re.search(r"url\((?!#)|@import", text)
    assert "default-src 'none'" in read.all("meta")[1]["content"]


def test_ids_are_there_once_and_every_reference_finds_one(text: str, read: Reader) -> None:
    ids = [attributes["id"] for _, attributes in read.found if "id" in attributes]
    assert len(ids) == len(set(ids))
    named = re.findall(r'(?:href="#|url\(#)([^")]+)', text)
    for attributes in read.all("svg"):
        named += attributes["aria-labelledby"].split()
    assert named
    assert set(named) <= set(ids)


def test_headings_go_down_one_level_at_a_time(read: Reader) -> None:
    levels = [int(tag[1]) for tag, _ in read.found if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_tables_and_drawings_can_be_heard_and_scrolled(read: Reader) -> None:
    assert all(attributes.get("scope") in ("col", "row") for attributes in read.all("th"))
    scrolled = [one for one in read.all("div") if one.get("class", "").startswith("wide")]
    assert len(scrolled) == len(read.all("table"))
    assert all(one["tabindex"] == "0" and one["aria-label"] for one in scrolled)
    assert all(one["role"] == "img" for one in read.all("svg"))
    assert len(read.all("svg")) == len(read.all("desc")) == len(read.all("figure"))


def test_severe_units_and_the_cautions_come_before_everything(text: str) -> None:
    body = text[text.index("<body>") :]
    assert body.index(stop_notice("MIR-T2")) < body.index("<h1>") < body.index("<h2>The fleet</h2>")
    assert all(words.replace("'", "&#39;") in text for words in CAUTIONS)
    own = body[body.index('id="unit-1"') : body.index('id="unit-2"')]
    assert own.index(stop_notice("MIR-T2")) < own.index("<h2>") < own.index("Contact service")
    assert "take another oil sample" not in text
    assert "Next, " not in own


def test_the_list_links_to_the_pages_that_are_there(text: str) -> None:
    assert '<a href="#unit-2">BRK-T1</a>' in text
    assert "HAL-T1" in text
    assert '">HAL-T1</a>' not in text
    assert "#unit-" not in page([])


def test_what_is_due_later_is_still_listed(text: str) -> None:
    later = text[text.index("<h2>Later</h2>") : text.index("<h2>What this report rests on</h2>")]
    assert "FAR-T1" in later
    assert "BRK-T1" not in later


EVILS = (EVIL, "[/]", "=cmd|' /C calc'!A0", "{{ 7 * 7 }}", "a\x1b[31mb\u202e", "$\\frac{1}{2}$")


@pytest.mark.parametrize("evil", EVILS)
def test_text_of_the_store_stays_text(evil: str) -> None:
    one = due(unit=evil, station=evil, doubts=(evil,), next_action=evil, kit=evil)
    subject = page_subject("BRK-T1", unit=evil, dues=(one,))
    whole = fleet(one, identities=({"unit": evil, "station": evil, "state": evil},), asked=(evil,))
    text = pages_html(whole, [evil], [subject], Paper.A4, lambda count: None)
    assert not {"script"} & {tag for tag, _ in Reader(text).found}
    assert "alert(1)</" not in text.replace("alert(1)&lt;/", "")
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert ">49<" not in text


def test_paper_is_as_asked_for_and_units_begin_on_a_new_sheet(text: str) -> None:
    assert "size: a4;" in text
    assert "size: letter;" in page([], Paper.LETTER)
    assert ".unit { break-before: page;" in text


def test_the_same_fleet_gives_the_same_bytes(text: str) -> None:
    assert page() == text


def test_progress_is_told_page_by_page() -> None:
    steps: list[int] = []
    pages_html(fleet(), ["BRK-T1", "OLD-T4"], map(page_subject, ("BRK-T1", "OLD-T4")), Paper.A4, steps.append)
    assert steps == [1, 1]


def test_a_fleet_without_units_says_so() -> None:
    empty = fleet(DUES[0], identities=(), outlook=outlook(), oil={}, readings=readings()[:0])
    text = pages_html(empty, [], [], Paper.A4, lambda count: None)
    assert "<p>None.</p>" in text
    assert "0 units" in text


def test_the_list_says_an_alarm_once_and_of_a_unit_released_for_work_what_it_is_released_for() -> None:
    now = "Oil results call for an internal inspection now"
    said = (f"{now}. Ask.",)
    alarm = due(unit="A-T1", driver="oil", early=AS_OF, middle=AS_OF, alarms=said, doubts=said)
    release = "released for work de-energised from 2026-07-02 by K. Arden: open it"
    open_it = due(unit="B-T1", severe=True, release=release, next_action=f"do not energise or operate; {release}")
    text = pages_html(fleet(alarm, open_it), [], iter(()), Paper.A4, lambda count: None)
    assert text.count(now) == 1
    assert f"Do not energise or operate; {release}" in text
