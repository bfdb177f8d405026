"""Pages of a plan printed by a real browser, where one is installed: how many sheets each takes."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Browser, find_browser
from plan_examples import RELEASED, WEEKS, job, stopped

from tapwear.report.pages_choice import BoardPaper
from tapwear.report.plan_data import PlanView
from tapwear.report.plan_html import plan_html
from tapwear.report.plan_jobsheets import job_sheets, sheets_html
from tapwear.report.plan_requests import outage_requests, requests_html

PROGRAM = find_browser()
pytestmark = [pytest.mark.slow, pytest.mark.skipif(PROGRAM is None, reason="no browser is installed")]


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    assert PROGRAM
    with Browser(PROGRAM, tmp_path_factory.mktemp("browser")) as page:
        yield page


def printed(browser: Browser, page: str, folder: Path) -> list[tuple[float, float]]:
    """Width and height of each printed sheet [mm]."""
    (folder / "page.html").write_text(page, encoding="utf-8")
    browser.open(folder / "page.html")
    answer = browser.call("Page.printToPDF", preferCSSPageSize=True, displayHeaderFooter=False)
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", base64.b64decode(answer["data"]))
    assert browser.asked == []
    return [(round(float(width) / 72 * 25.4), round(float(height) / 72 * 25.4)) for width, height in boxes]


def plan(jobs: int, stations: int) -> PlanView:
    """A year with closed weeks, crews, a stopped unit and one released for work; jobs over stations and months."""
    names = [f"STATION {at:02d}" for at in range(stations)]
    made = [
        job(
            f"T{at:02d}-{1 + at // stations}", f"2027-{1 + at * 5 % 12:02d}-15", names[at % stations],
            weeks=1 + at % 3, **(RELEASED if at == 3 else {}), request_status="asked" if at % 2 else "", days=3.0,
            rests_on=tuple(f"reading: {number},000 on 2026-05-02" for number in range(6)),
        )
        for at in range(jobs)
    ]  # fmt: skip
    return stopped(
        "STOPPED-1",
        *made,
        closed={name: dict.fromkeys(WEEKS[25:33], "summer peak") for name in names[::2]},
        crew_hours={("North", week): 900.0 - (week == WEEKS[51]) for week in WEEKS},
        assumptions=tuple(f"Assumption {number}: nothing was given, so this was taken instead." for number in range(6)),
    )


@pytest.mark.parametrize(
    ("jobs", "stations"),
    [(0, 1), (1, 1), (18, 12), *(pytest.param(*size, marks=pytest.mark.long) for size in ((40, 24), (60, 30)))],
)
def test_a_year_prints_on_two_a4_sheets_or_one_a3(browser: Browser, tmp_path: Path, jobs: int, stations: int) -> None:
    year = plan(jobs, stations)
    assert len(year.result.placed) == jobs
    assert printed(browser, plan_html(year), tmp_path) == [(297, 210)] * 2
    assert printed(browser, plan_html(year, BoardPaper.A3), tmp_path) == [(420, 297)]


@pytest.mark.long
def test_a_plan_too_large_for_that_goes_on_over_further_sheets(browser: Browser, tmp_path: Path) -> None:
    sheets = printed(browser, plan_html(plan(150, 75)), tmp_path)
    assert 2 < len(sheets) <= 6


def test_each_request_takes_a_sheet_and_each_job_sheet_two_sides(browser: Browser, tmp_path: Path) -> None:
    year = plan(7, 7)
    assert len(printed(browser, requests_html(year, outage_requests(year)), tmp_path)) == 7
    # Before them a sheet with the unit that is stopped.
    assert len(printed(browser, sheets_html(year, job_sheets(year)), tmp_path)) == 1 + 7 * 2
