"""The board page of a plan, as a browser would read it."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from plan_examples import HOSTILE, WEEKS, job, released, stopped, usual, view

from tapwear.plan.types import Proof
from tapwear.report.pages_choice import BoardPaper
from tapwear.report.plan_board import months, part_of, week_board
from tapwear.report.plan_html import SIZES, plan_html
from tapwear.words import CAUTION_SHORT, CAUTIONS, stop_notice


class Tags(HTMLParser):
    """Counts tags and gathers attributes, as a browser would see them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.names: set[str] = set()
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.names |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.text += data


def scales(page: str) -> list[float]:
    return [float(found) for found in re.findall(r"--scale: ([\d.]+)", page)]


def test_the_page_needs_nothing_beside_it_and_says_what_it_rests_on() -> None:
    page = plan_html(usual())
    assert not {"src", "href"} & Tags(page).names
    assert "url(" not in page
    assert "default-src 'none'" in page
    text = Tags(page).text
    assert all(caution in text for caution in CAUTIONS)
    assert text.count(CAUTION_SHORT) == 2  # on each sheet of paper
    assert "No crew hours given for region North: not limited." in text
    assert "station SHUT closed (rebuilding) in weeks 1-52" in text
    assert "operations drive the date" in text


def test_it_prints_half_years_on_a4_and_the_whole_year_on_a3() -> None:
    a4, a3 = plan_html(usual()), plan_html(usual(), BoardPaper.A3)
    assert "size: A4 landscape" in a4
    assert "size: A3 landscape" in a3
    assert re.findall(r">(Weeks \d\d to \d\d)<", a4.replace("<span", "<")) == ["Weeks 01 to 26", "Weeks 27 to 52"]
    assert "Weeks 01 to 52" in a3


def test_text_gets_smaller_as_the_plan_grows_and_stops_at_what_can_be_read() -> None:
    def grown(count: int) -> list[float]:
        jobs = [job(f"U{i}", f"2027-{1 + i % 12:02d}-15", f"S{i // 2}") for i in range(count)]
        return scales(plan_html(view(*jobs)))

    small, middle, large = grown(6), grown(40), grown(160)
    assert min(small) > min(middle) > min(large) == SIZES[BoardPaper.A4][-1][0]


def test_nothing_on_the_board_is_told_by_colour_alone() -> None:
    page = plan_html(usual())
    assert '<td class="out" title="1: U1, contact service">1</td>' in page
    assert '<td class="shut" title="closed: summer peak">x</td>' in page
    assert "Dark with a number: out, see the list. x on hatching: the station is closed." in page


def test_tables_have_headings_with_a_scope_and_can_be_scrolled_from_the_keyboard() -> None:
    page = plan_html(usual())
    assert len(re.findall(r"<th(?![^>]*scope=)[ >]", page)) == 0
    assert page.count('<div class="wide') == page.count('role="region" tabindex="0"')


def test_hours_on_offer_stand_in_the_heading_where_all_weeks_are_alike() -> None:
    even = {("North", week): 160.0 for week in WEEKS}
    assert "hours North (of 160)" in plan_html(view(job("U1"), crew_hours=even))
    uneven = {**even, ("North", WEEKS[9]): 0.0}
    assert "hours North, offered" in plan_html(view(job("U1"), crew_hours=uneven))


def test_how_good_the_plan_is_and_how_its_requests_stand_is_told_at_the_top() -> None:
    plan = view(job("U1", request_status="asked"), job("U2", station="BIRCH"))
    limited = replace(plan, result=replace(plan.result, proof=Proof(100.0, 92.0, 120.0, 20.0, True)))
    text = Tags(plan_html(limited)).text
    assert "Time-limited: up to 8.0 % of its cost might be saved." in text
    assert "Outage requests: 1 asked, 1 not submitted." in text


def test_hostile_text_stays_text_on_the_page() -> None:
    hostile = view(
        *(job(text, station=text, why=text, kit=text, resources=(text,), request_words=text) for text in HOSTILE),
        closed={HOSTILE[0]: {"2027-W40": '"><img src=x>'}},
        assumptions=HOSTILE,
    )
    tags = Tags(plan_html(replace(hostile, name=HOSTILE[0], recorded_by=HOSTILE[0])))
    assert not {"script", "img"} & set(tags.tags)
    assert "onerror" not in tags.names
    assert "<script>alert(1)</script>" in tags.text
    assert "{{ 7*7 }}" in tags.text
    assert "\x1b" not in tags.text


def test_a_stop_stands_first_on_the_board_and_its_unit_nowhere_else() -> None:
    text = Tags(plan_html(stopped("U2", job("U1")))).text
    assert text.index(stop_notice("U2")) < text.index("the engineer decides now") < text.index("Outage plan 2027-a for")
    assert text.index("STOP since 2026-06-01") < text.index("Outage plan 2027-a for")
    assert text.count("U2") == 2
    assert "STOP" not in Tags(plan_html(view(job("U1")))).text


def test_what_is_released_for_work_says_so_first_in_its_row() -> None:
    text = " ".join(Tags(plan_html(view(released("U1")))).text.split())
    assert text.index("STOP: only work de-energised") < text.index("U1")
    assert "by K. Arden: open it. Suspected: Ethylene rose." in text


@pytest.mark.parametrize("paper", list(BoardPaper))
def test_an_empty_plan_has_a_page_too(paper: BoardPaper) -> None:
    assert "None." in plan_html(view(), paper)


def test_months_across_the_board_follow_the_thursday_of_each_week() -> None:
    board = part_of(week_board(usual().result), 0, 26)
    # 2027-W01 is the week of Thursday 7 January, W26 that of Thursday 1 July.
    assert months(board) == [
        ("January", 4), ("February", 4), ("March", 4), ("April", 5), ("May", 4), ("June", 4), ("July", 1),
    ]  # fmt: skip
    assert len(board.rows[0].cells) == 26
