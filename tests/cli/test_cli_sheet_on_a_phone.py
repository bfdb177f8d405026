"""A round sheet filled in on a phone without a network, from the first touch to the rows in the store."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from browser import PATIENCE, Browser, find_browser
from desk_store import run

from tapwear.store.engine import create_store, open_store
from tapwear.store.lean import is_current, lean

PROGRAM = find_browser()
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(PROGRAM is None, reason="no Chromium here: the round sheet is not tried on a phone"),
]
TODAY = date(2026, 6, 30)
TAGS = [f"AH-T{number}" for number in range(1, 11)]
RIGHT = {tag: 10_000 * number + 2_420 for number, tag in enumerate(TAGS, start=1)}  # what ten a day makes of it
ODD = 'bank "7" <b>&amp;</script>'


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A store with ten units that make ten operations a day, and a sheet for their station."""
    folder = tmp_path_factory.mktemp("round")
    units = ["unit,station,bank,counter_digits,serial,positions"]
    readings = ["unit,read_on,value"]
    for number, tag in enumerate(TAGS, start=1):
        bank = '"' + ODD.replace('"', '""') + '"' if number == 7 else f"T{number}"
        units.append(f"{tag},AH,{bank},6,D-{number:03},{'16L-N-16R' if number == 1 else ''}")
        for back in range(240, 0, -30):
            day = TODAY - timedelta(days=back + 2)
            readings.append(f"{tag},{day},{10_000 * number + 10 * (242 - back - 2)}")
    for name, lines in (("units", units), ("readings", readings)):
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    db = folder / "fleet.db"
    create_store(db).close()
    assert run(db, "import", str(folder / "units.csv"), str(folder / "readings.csv")).exit_code == 0
    sheet = folder / "ah.html"
    done = run(db, "sheet", "--station", "AH", "--out", str(sheet))
    assert done.exit_code == 0, done.output
    return db, sheet


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    assert PROGRAM is not None
    with Browser(PROGRAM, tmp_path) as page:
        yield page


def begin(browser: Browser, sheet: Path) -> None:
    browser.open(sheet)
    browser.write("#by", "Kim")
    browser.js(
        "(() => { const d = document.getElementById('day'); d.value = '2026-06-30';"
        "for (const n of ['input', 'change']) d.dispatchEvent(new Event(n)); })()"
    )


def fill(browser: Browser, at: int, number: str) -> None:
    """Opens a unit, says that its serial number is the right one, and writes its counter."""
    if not browser.js(f"document.getElementById('u{at}').open"):
        browser.tap(f"#u{at} > summary")
    browser.tap(f"#u{at} input[name=u{at}-plate][value=same]")
    browser.write(f"#u{at}-counter0", number)


def shown(browser: Browser, id: str) -> bool:
    return bool(browser.js(f"document.getElementById('{id}').offsetParent !== null"))


def saved_file(browser: Browser) -> Path:
    browser.wait("!document.getElementById('saved').hidden")
    text = browser.js("document.getElementById('text').value")
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        for path in browser.downloads.glob("*.json"):
            if path.read_text(encoding="utf-8") == text:
                return path
        time.sleep(0.05)
    raise AssertionError("nothing was downloaded")


def test_ten_units_filled_in_offline_land_in_the_store_just_as_typed(made: tuple[Path, Path], browser: Browser) -> None:
    db, sheet = made
    begin(browser, sheet)
    order = [0, 9, 1, 8, 2, 7, 3, 6, 4, 5]
    at = {tag: browser.js(f"[...document.querySelectorAll('details.unit')].findIndex(e => "
                          f"e.querySelector('.tag').textContent === '{tag}')") for tag in TAGS}  # fmt: skip
    for number in order:
        tag = TAGS[number]
        fill(browser, at[tag], str(RIGHT[tag]))
        assert not shown(browser, f"u{at[tag]}-counter0-ask"), tag
    one = at["AH-T1"]
    browser.write(f"#u{one}-position", "5l")
    browser.tap(f"input[name=u{one}-oil_level][value=low]")
    browser.write(f"#u{one}-oil_temp_c", "41,5")
    browser.write(f"#u{one}-seepage", "drain valve <i>")
    browser.tap(f"#u{one} input[data-field=sample]")
    browser.write(f"#u{one}-remark", 'gate "2" is locked')
    # Digits exchanged at T2: questioned, and corrected.
    two = at["AH-T2"]
    fill(browser, two, "24220")
    assert "two digits exchanged, 022420?" in browser.js(f"document.getElementById('u{two}-counter0-why').textContent")
    browser.tap(f"#u{two}-counter0-again")
    browser.write(f"#u{two}-counter0", "22420")
    assert not shown(browser, f"u{two}-counter0-ask")
    # The neighbour's number at T3: questioned, and kept with a reason.
    three = at["AH-T3"]
    fill(browser, three, "42430")
    assert "the counter of AH-T4" in browser.js(f"document.getElementById('u{three}-counter0-why').textContent")
    browser.write(f"#u{three}-counter0-reason", "drive was exchanged")
    browser.tap(f"#u{three}-counter0-keep")
    assert not shown(browser, f"u{three}-counter0-ask")
    # Everything is still there after the page was loaded again.
    before = browser.js("[...document.querySelectorAll('[data-field]')].map(e => [e.value, e.checked])")
    browser.open(sheet)
    assert browser.js("[...document.querySelectorAll('[data-field]')].map(e => [e.value, e.checked])") == before
    assert browser.js("document.getElementById('by').value") == "Kim"
    browser.tap("#save")
    file = saved_file(browser)
    assert browser.asked == []
    assert browser.faults == []
    assert len(json.loads(file.read_text(encoding="utf-8"))["visits"]) == 10

    done = run(db, "import", str(file))
    assert done.exit_code == 0, done.output
    assert run(db, "import", str(file)).exit_code == 0  # twice, as people do
    reading = lean("reading", "id", "supersedes_id", "withdrawn", "read_on", "value", "reader", "doubt")
    seen = lean("observation", "id", "supersedes_id", "withdrawn", "observed_on", "quantity", "value", "words")
    visit = lean("visit", "id", "supersedes_id", "withdrawn", "serial_seen", "sample_taken", "reader")
    with open_store(db).rows() as connection:
        numbers = connection.execute(
            sa.select(reading.c.value, reading.c.reader, reading.c.doubt).where(
                reading.c.read_on == TODAY, is_current(reading)
            )
        ).all()
        noted = connection.execute(
            sa.select(seen.c.quantity, seen.c.value, seen.c.words).where(is_current(seen)).order_by(seen.c.quantity)
        ).all()
        visits = connection.execute(
            sa.select(visit.c.serial_seen, visit.c.sample_taken, visit.c.reader).where(is_current(visit))
        ).all()
    typed = RIGHT | {"AH-T3": 42430}
    assert sorted(row.value for row in numbers) == sorted(typed.values())
    assert {row.reader for row in numbers} == {"Kim"}
    doubts = {row.value: row.doubt for row in numbers if row.doubt}
    assert list(doubts) == [42430]
    assert doubts[42430].endswith("it looks like the counter of AH-T4; kept: drive was exchanged")
    assert [tuple(row) for row in noted] == [
        ("oil_level", None, "low"),
        ("oil_temp_c", 41.5, ""),
        ("position", None, "5L"),
        ("remark", None, 'gate "2" is locked'),
        ("seepage", None, "drain valve <i>"),
    ]
    assert sorted(tuple(row) for row in visits) == [(f"D-{n:03}", n == 1, "Kim") for n in range(1, 11)]


def test_what_is_odd_or_wrong_is_listed_before_saving_and_the_rest_can_be_saved(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, 0, "1234567")
    assert "has 6 digits" in browser.js("document.getElementById('u0-counter0-fault').textContent")
    fill(browser, 1, "999999")
    fill(browser, 2, str(RIGHT[browser.js("document.querySelectorAll('.unit .tag')[2].textContent")]))
    browser.tap("#save")
    browser.wait("!document.getElementById('problems').hidden")
    assert browser.js("document.querySelectorAll('#problem-list li').length") == 2
    assert browser.js("document.getElementById('saved').hidden")
    browser.tap("#save-rest")
    content = json.loads(saved_file(browser).read_text(encoding="utf-8"))
    assert len(content["visits"]) == 1


def test_another_serial_number_leads_to_the_unit_that_it_belongs_to_or_is_noted(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    begin(browser, sheet)
    browser.tap("#u0 > summary")
    browser.tap("#u0 input[name=u0-plate][value=other]")
    browser.write("#u0-serial", "d 002")
    assert "That is AH-T2" in browser.js("document.getElementById('u0-serial-fault').textContent")
    browser.write("#u0-serial", "X-9")
    assert "another unit stands here" in browser.js("document.getElementById('u0-serial-fault').textContent")
    assert not shown(browser, "u0-counter0")
    browser.tap("#save")
    (visit,) = json.loads(saved_file(browser).read_text(encoding="utf-8"))["visits"]
    assert (visit["serial_seen"], visit["another_unit"]) == ("X-9", True)


def test_a_visit_changed_after_saving_is_a_later_saving_of_the_same(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, 0, str(RIGHT["AH-T1"]))
    browser.tap("#save")
    first = json.loads(saved_file(browser).read_text(encoding="utf-8"))["visits"][0]
    browser.write("#u0-remark", "gate 2 is locked")
    browser.tap("#save")
    browser.wait("document.getElementById('text').value.includes('gate 2')")
    second = json.loads(browser.js("document.getElementById('text').value"))["visits"][0]
    assert second["id"] == first["id"]
    assert (first["revision"], second["revision"]) == (1, 2)


def test_a_sample_under_negative_pressure_is_noted_only_from_an_isolated_and_earthed_unit(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, 0, str(RIGHT["AH-T1"]))
    browser.js("document.querySelectorAll('details').forEach(e => { e.open = true; })")
    browser.write("#u0-pressure_kpa", "-5")
    browser.tap("#u0-sample")
    assert "only if the unit was isolated and earthed" in browser.js(
        "document.getElementById('u0-sample-fault').textContent"
    )
    browser.tap("#save")
    browser.wait("!document.getElementById('problems').hidden")
    browser.tap("input[name=u0-earthed][value=no]")
    assert shown(browser, "u0-sample-fault")
    browser.tap("input[name=u0-earthed][value=yes]")
    assert not shown(browser, "u0-sample-fault")
    browser.tap("#save")
    (visit,) = json.loads(saved_file(browser).read_text(encoding="utf-8"))["visits"]
    assert (visit["sample_taken"], visit["de_energised"]) == (True, True)


def test_a_sheet_is_filled_in_with_the_keyboard_alone(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    browser.js("document.querySelector('#u0 > summary').focus()")
    browser.key("Enter", 13, "\r")
    browser.wait("document.getElementById('u0').open")
    browser.key("Tab", 9)
    browser.key(" ", 32, " ")
    assert browser.js("document.activeElement.value") == "same"
    browser.key("Tab", 9)
    assert browser.js("document.activeElement.id") == "u0-counter0"
    browser.call("Input.insertText", text=str(RIGHT["AH-T1"]))
    browser.key("Tab", 9)
    assert browser.js("document.getElementById('count').textContent") == "Noted: 1 of 10 units."


def test_what_is_filled_in_stands_on_paper_too(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, 0, str(RIGHT["AH-T1"]))
    browser.tap("input[name=u0-oil_level][value=low]")
    browser.write("#u0-remark", "gate 2 is locked")
    browser.js("window.dispatchEvent(new Event('beforeprint'))")
    boxes = browser.js("document.querySelector('.paper .boxes').textContent")
    assert boxes == f"{RIGHT['AH-T1']:06}"
    assert browser.js("[...document.querySelectorAll('.paper .on')].map(e => e.textContent)") == ["low"]
    assert "gate 2 is locked" in browser.js("document.querySelector('.paper').textContent")


def test_a_browser_that_keeps_nothing_says_so_and_the_sheet_works(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    closed = "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('closed'); } })"
    browser.call("Page.addScriptToEvaluateOnNewDocument", source=closed)
    begin(browser, sheet)
    assert shown(browser, "no-memory")
    fill(browser, 0, str(RIGHT["AH-T1"]))
    browser.tap("#save")
    assert len(json.loads(saved_file(browser).read_text(encoding="utf-8"))["visits"]) == 1


def test_text_from_the_store_stays_text(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    browser.open(sheet)
    places = browser.js("[...document.querySelectorAll('.unit .place')].map(e => e.textContent)")
    assert f"bank {ODD}" in places
    assert browser.js("document.querySelectorAll('.place b').length") == 0


def test_touch_targets_are_large_and_nothing_is_wider_than_the_phone(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    browser.open(sheet)
    browser.js("document.querySelectorAll('details').forEach(e => { e.open = true; })")
    small = browser.js(
        "[...document.querySelectorAll('.screen button, .screen input[type=text], .screen input[type=date], "
        ".chips label, .tick, summary')].filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)"
        ".map(e => e.outerHTML.slice(0, 80))"
    )
    assert small == []
    assert browser.js("document.documentElement.scrollWidth <= window.innerWidth")
