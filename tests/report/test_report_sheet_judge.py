"""The judge in the round sheet's page says of an entry what the judge of the command line says."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from browser import Browser, find_browser

from tapwear.counts.judge import Judgement, expected_range, judge
from tapwear.counts.limits import Limits
from tapwear.counts.plausible import Neighbour, limits_of
from tapwear.report.templating import TEMPLATES

PROGRAM = find_browser()
pytestmark = pytest.mark.skipif(PROGRAM is None, reason="no Chromium here: the page's judge is not tried")
FIRST = date(2021, 3, 1).toordinal()
BEGINNING = 30  # characters of a reason that are the same at least; then follow numbers that may be rounded


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    assert PROGRAM is not None
    with Browser(PROGRAM, tmp_path_factory.mktemp("page")) as browser:
        browser.js((TEMPLATES / "judge.js").read_text(encoding="utf-8"))
        yield browser


def slipped(lot: random.Random, value: int, digits: int) -> int:
    """A number that is written wrong, or right after all."""
    text = list(str(value).zfill(digits))
    at = lot.randrange(len(text) - 1)
    how = lot.randrange(6)
    if how == 0:
        text[at], text[at + 1] = text[at + 1], text[at]
    elif how == 1:
        text[at] = str(lot.randrange(10))
    elif how == 2:
        del text[at]
    elif how == 3:
        text.insert(at, text[at])
    elif how == 4:
        return lot.randrange(10**digits)
    return int("".join(text))


def history(lot: random.Random) -> tuple[Limits, int, int]:
    """Limits learnt from a random history, the day of its last reading, and what the counter shows about then."""
    digits, rate = lot.choice((4, 5, 6)), lot.choice((0.3, 4.0, 25.0))
    day, count = FIRST, lot.randrange(10**digits)
    rows: list[tuple[int, int, int | None]] = []
    swaps: list[tuple[int, float | None, float | None]] = []
    for _ in range(lot.randrange(14)):
        days = lot.choice((0, 1, 29, 30, 31, 91, 200))
        day, count = day + days, count + round(rate * days * lot.uniform(0.6, 1.5))
        if lot.random() < 0.08:
            old, count = count % 10**digits, lot.choice((0, 0, 12))
            swaps.append((day, lot.choice((None, old)), lot.choice((None, count))))
        value = count % 10**digits
        written = slipped(lot, value, digits) if lot.random() < 0.08 else value
        rows.append((day, written % 10**digits, lot.choice((None, None, lot.randrange(1440)))))
    neighbours = [
        Neighbour(f"T{number}", [(day - 60, at), (day - 5, at + 300)])
        for number, at in enumerate((lot.randrange(9000) for _ in range(lot.randrange(3))), start=2)
    ]
    limits = limits_of(
        rows,
        lot.choice((day, day, day + 10, day - 100)),
        digits,
        replacements=swaps,
        inspections=[day - lot.randrange(400)] * lot.randrange(2),
        out_of_service=[(day - 300, day - 250), (day - 40, lot.choice((None, day - 3)))][: lot.randrange(3)],
        neighbours=neighbours,
    )
    return limits, day, count


def entries(lot: random.Random, limits: Limits, day: int, count: int) -> Iterator[tuple[int, int, int | None]]:
    """What somebody may type: day, number, minute."""
    for days in (0, 30, lot.randrange(120), -lot.randrange(150)):
        value = (count + 5 * days) % 10**limits.digits
        for number in (value, slipped(lot, value, limits.digits), lot.randrange(12 * 10 ** (limits.digits - 1))):
            yield day + days, number, lot.choice((None, 600))
    for known in (*limits.known[-3:], *limits.neighbours):
        yield day + lot.randrange(40), known.value, None


def told(page: Browser, limits: Limits, asked: list[tuple[int, int, int | None]]) -> list[dict[str, Any]]:
    given = json.dumps([limits.as_plain(), asked])
    return list(page.js(f"(([limits, asked]) => asked.map((one) => counterJudge.judge(limits, ...one)))({given})"))


def agrees(here: Judgement, there: dict[str, Any], modulus: int) -> bool:
    for mine, theirs in ((here.low, there["low"]), (here.high, there["high"])):
        if (mine is None) != (theirs is None) or (mine is not None and (mine - theirs + 1) % modulus > 2):
            return False
    return (
        here.questioned == there["questioned"]
        and here.likely == there["likely"]
        and here.reason[:BEGINNING] == there["reason"][:BEGINNING]
        and here.probability == pytest.approx(there["probability"], abs=1e-6)
    )


def hold_against(page: Browser, seeds: range) -> tuple[int, int]:
    """How many entries were judged in both ways, and how many of them questioned."""
    questioned = judged = 0
    for seed in seeds:
        lot = random.Random(seed)
        limits, day, count = history(lot)
        asked = list(entries(lot, limits, day, count))
        for one, there in zip(asked, told(page, limits, asked), strict=True):
            here = judge(limits, *one)
            assert agrees(here, there, 10**limits.digits), (seed, one, here, there)
            judged, questioned = judged + 1, questioned + here.questioned
        for on in (day, day + 45, day - 70):
            ranged = page.js(f"counterJudge.expectedRange({json.dumps(limits.as_plain())}, {on}, null)")
            expected = expected_range(limits, on)
            assert (expected is None) == (ranged is None), (seed, on)
            for mine, theirs in zip(expected or (), ranged or (), strict=True):
                assert (mine - theirs + 1) % 10**limits.digits <= 2, (seed, on, expected, ranged)
    return judged, questioned


def test_the_page_judges_random_entries_as_the_command_line_does(page: Browser) -> None:
    judged, questioned = hold_against(page, range(12))
    assert judged // 5 < questioned < judged * 4 // 5  # both kinds are among them


@pytest.mark.slow
def test_the_page_judges_thousands_of_random_entries_as_the_command_line_does(page: Browser) -> None:
    judged, questioned = hold_against(page, range(100, 400))
    assert judged // 5 < questioned < judged * 4 // 5


def test_a_reading_typed_on_the_phone_counts_as_one_in_the_book(page: Browser) -> None:
    rows = [(FIRST + 30 * month, 4_000 + 300 * month) for month in range(12)]
    last = rows[-1][0]
    limits = limits_of(rows, last, 5)
    for between in (last + 20, last - 10):
        more = (between, 7_300 + (between - last) * 10, 540)
        grown = limits_of([*rows, more], last, 5)
        asked = [(on, value, 600) for on in (last + 5, last + 50) for value in (7_250, 7_355, 7_495, 7_800, 9_900)]
        given = json.dumps([limits.as_plain(), more, asked])
        found = page.js(
            "(([limits, more, asked]) => { const grown = counterJudge.withReading(limits, ...more);"
            f" return asked.map((one) => counterJudge.judge(grown, ...one)); }})({given})"
        )
        for one, there in zip(asked, found, strict=True):
            here = judge(grown, *one)
            assert here.questioned == there["questioned"], (more, one, here, there)
            assert here.reason[:BEGINNING] == there["reason"][:BEGINNING], (more, one, here, there)


def test_slips_chances_and_the_bound_of_a_question_come_with_the_limits(page: Browser) -> None:
    rows = [(FIRST + 30 * month, 4_000 + 300 * month) for month in range(12)]
    limits = limits_of(rows, rows[-1][0], 5)
    (sure,) = told(page, replace(limits, question_below=0.0), [(rows[-1][0] + 30, 9_900, None)])
    (asking,) = told(page, limits, [(rows[-1][0] + 30, 9_900, None)])
    assert (sure["questioned"], asking["questioned"]) == (False, True)
    assert asking["reason"].startswith("far more operations than usual since " + str(date.fromordinal(rows[-1][0])))
