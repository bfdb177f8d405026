"""A round sheet filled in on a phone without a network, from the first touch to the rows in the store."""

from __future__ import annotations

import json
import random
import re
import shutil
import time
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from browser import PATIENCE, Browser, find_browser
from desk_store import run

from tapwear.cli.counter_check import expected
from tapwear.store.engine import create_store, open_store
from tapwear.store.find import find_unit
from tapwear.store.history import counter_past
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
COUNTER = "counter_1_mechanical"


def make_round(folder: Path, tags: list[str], every: int = 30) -> tuple[Path, Path]:
    """A store with units that make ten operations a day, read every so many days, and a sheet for their station."""
    units = ["unit,station,bank,counter_digits,serial,positions,transformer_serial"]
    readings = ["unit,read_on,value"]
    for number, tag in enumerate(tags, start=1):
        bank = '"' + ODD.replace('"', '""') + '"' if number == 7 else f"T{number}"
        units.append(f"{tag},AH,{bank},6,D-{number * 1357:05},{'16L-N-16R' if number == 1 else ''},X-{number:03}")
        for back in range(240, 0, -every):
            day = TODAY - timedelta(days=back + 2)
            readings.append(f"{tag},{day},{10_000 * (number % 99) + 10 * (242 - back - 2)}")
    for name, lines in (("units", units), ("readings", readings)):
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    db = folder / "fleet.db"
    create_store(db).close()
    assert run(db, "import", str(folder / "units.csv"), str(folder / "readings.csv")).exit_code == 0
    return db, new_sheet(db, folder / "ah.html")


def new_sheet(db: Path, path: Path, today: str = "2026-06-30") -> Path:
    done = run(db, "sheet", "--station", "AH", "--out", str(path), "--force", today=today)
    assert done.exit_code == 0, done.output
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return make_round(tmp_path_factory.mktemp("round"), TAGS)


@pytest.fixture
def browser(tmp_path: Path) -> Iterator[Browser]:
    assert PROGRAM is not None
    with Browser(PROGRAM, tmp_path) as page:
        yield page
        assert page.faults == []
        assert page.asked == []


def begin(browser: Browser, sheet: Path, moment: str = "2026-06-30T09:00", by: str = "Kim") -> None:
    """Opens the sheet on that day; a name only where none is there."""
    browser.set_clock(moment)
    browser.open(sheet)
    if not browser.js("document.getElementById('by').value"):
        browser.write("#by", by)


def serial(tag: str) -> str:
    return f"D-{int(tag.removeprefix('AH-T')) * 1357:05}"


def to_list(browser: Browser) -> None:
    if browser.js("document.getElementById('list').hidden"):
        browser.tap("#back")


def card(browser: Browser, tag: str) -> None:
    """Opens the card of a unit."""
    to_list(browser)
    rows = "[...document.querySelectorAll('button.unit')]"
    browser.tap("#" + browser.js(f"{rows}.find(e => e.textContent.includes({tag + ' '!r})).id"))


def fill(browser: Browser, tag: str, number: str) -> None:
    """Opens a unit, says that its serial number is the right one, and writes its counter."""
    card(browser, tag)
    browser.tap("input[name=plate][value=same]")
    browser.write(f"#{COUNTER}", number)


def shown(browser: Browser, id: str) -> bool:
    return bool(browser.js(f"document.getElementById('{id}').offsetParent !== null"))


def text_of(browser: Browser, id: str) -> str:
    return str(browser.js(f"document.getElementById('{id}').textContent"))


def state(browser: Browser, tag: str) -> str:
    words = f"[...document.querySelectorAll('button.unit')].find(e => e.textContent.includes({tag + ' '!r}))"
    return str(browser.js(f"{words}.querySelector('.state').textContent"))


def tap_text(browser: Browser, words: str) -> None:
    """Taps the button in sight that says just that."""
    browser.js(
        "document.querySelectorAll('[data-tapped]').forEach(e => e.removeAttribute('data-tapped'));"
        f"[...document.querySelectorAll('button')].find(e => e.offsetParent && e.textContent === {words!r})"
        ".setAttribute('data-tapped', '')"
    )
    browser.tap("[data-tapped]")


def save(browser: Browser, how: str = "#save") -> list[dict[str, Any]]:
    """Saves the round; the visits in the file."""
    to_list(browser)
    browser.tap(how)
    return list(json.loads(saved_file(browser).read_text(encoding="utf-8"))["visits"])


def saved_file(browser: Browser) -> Path:
    browser.wait("!document.getElementById('saved').hidden")
    text = browser.js("document.getElementById('text').value")
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        for path in browser.downloads.glob("*.json"):
            if path.read_text(encoding="utf-8") == text:
                return path
        time.sleep(0.02)
    raise AssertionError("nothing was downloaded")


def stored(db: Path, since: date = TODAY) -> list[tuple[str, str, int, str]]:
    """Unit, day, number and reader of the current readings since a day."""
    reading = lean("reading", "id", "counter_id", "supersedes_id", "withdrawn", "read_on", "value", "reader")
    counter, fitting = lean("counter", "id", "drive_id"), lean("fitting", "drive_id", "tap_changer_id")
    changer = lean("tap_changer", "id", "tag")
    query = (
        sa.select(changer.c.tag, reading.c.read_on, reading.c.value, reading.c.reader)
        .join_from(reading, counter, reading.c.counter_id == counter.c.id)
        .join(fitting, fitting.c.drive_id == counter.c.drive_id)
        .join(changer, changer.c.id == fitting.c.tap_changer_id)
        .where(reading.c.read_on >= since, is_current(reading))
    )
    store = open_store(db)
    try:
        with store.rows() as connection:
            return sorted((tag, str(on), value, by) for tag, on, value, by in connection.execute(query))
    finally:
        store.close()


def test_ten_units_filled_in_offline_land_in_the_store_just_as_typed(tmp_path: Path, browser: Browser) -> None:
    db, sheet = make_round(tmp_path, TAGS)
    begin(browser, sheet)
    for number in (0, 9, 1, 8, 2, 7, 3, 6, 4, 5):
        fill(browser, TAGS[number], str(RIGHT[TAGS[number]]))
        assert not shown(browser, f"{COUNTER}-ask"), TAGS[number]
    card(browser, "AH-T1")
    browser.write("#position", "5l")
    browser.tap("input[name=oil_level][value=low]")
    assert shown(browser, "alarm")
    browser.write("#oil_temp_c", "41,5")
    browser.write("#seepage", "drain valve <i>")
    browser.tap("#sample")
    browser.write("#remark", 'gate "2" is locked')
    # Digits exchanged at T2: questioned, and corrected.
    card(browser, "AH-T2")
    browser.write(f"#{COUNTER}", "24220")
    assert "digits transposed? 24220 instead of 22420" in text_of(browser, f"{COUNTER}-why")
    browser.tap(f"#{COUNTER}-again")
    browser.write(f"#{COUNTER}", "22420")
    assert not shown(browser, f"{COUNTER}-ask")
    # The neighbour's number at T3: questioned, and kept with a reason.
    card(browser, "AH-T3")
    browser.write(f"#{COUNTER}", "42430")
    assert "the counter of AH-T4" in text_of(browser, f"{COUNTER}-why")
    to_list(browser)
    assert state(browser, "AH-T3") == "to be checked"
    card(browser, "AH-T3")
    browser.write(f"#{COUNTER}-reason", "drive was exchanged")
    browser.tap(f"#{COUNTER}-keep")
    assert not shown(browser, f"{COUNTER}-ask")
    # Everything is still there after the page was loaded again.
    browser.open(sheet)
    assert browser.js("document.getElementById('by').value") == "Kim"
    assert {state(browser, tag) for tag in TAGS} == {"noted"}
    assert len(save(browser)) == 10
    file = saved_file(browser)
    done = run(db, "import", str(file))
    assert done.exit_code == 0, done.output
    assert run(db, "import", str(file)).exit_code == 0  # twice, as people do
    typed = RIGHT | {"AH-T3": 42430}
    assert stored(db) == sorted((tag, "2026-06-30", value, "Kim") for tag, value in typed.items())
    reading = lean("reading", "id", "supersedes_id", "withdrawn", "read_on", "value", "doubt")
    seen = lean("observation", "id", "supersedes_id", "withdrawn", "observed_on", "quantity", "value", "words")
    visit = lean("visit", "id", "supersedes_id", "withdrawn", "serial_seen", "sample_taken", "reader")
    with open_store(db).rows() as connection:
        doubts = connection.execute(sa.select(reading.c.value, reading.c.doubt).where(reading.c.doubt != "")).all()
        noted = connection.execute(
            sa.select(seen.c.quantity, seen.c.value, seen.c.words).where(is_current(seen)).order_by(seen.c.quantity)
        ).all()
        visits = connection.execute(
            sa.select(visit.c.serial_seen, visit.c.sample_taken, visit.c.reader).where(is_current(visit))
        ).all()
    ((value, doubt),) = doubts
    assert value == 42430
    assert doubt.endswith("; looks like the counter of AH-T4; kept: drive was exchanged")
    assert [tuple(row) for row in noted] == [
        ("oil_level", None, "low"),
        ("oil_temp_c", 41.5, ""),
        ("position", None, "5L"),
        ("remark", None, 'gate "2" is locked'),
        ("seepage", None, "drain valve <i>"),
    ]
    assert sorted(tuple(row) for row in visits) == sorted((serial(tag), tag == "AH-T1", "Kim") for tag in TAGS)


# --- rounds and days ----------------------------------------------------------------------------------------------


def test_a_round_saved_is_closed_and_a_later_opening_begins_a_new_one_with_todays_date(
    tmp_path: Path, browser: Browser
) -> None:
    db, sheet = make_round(tmp_path, TAGS[:3])
    begin(browser, sheet)
    fill(browser, "AH-T3", "32420")
    save(browser)
    first = saved_file(browser)
    begin(browser, sheet, "2026-07-14T10:00")
    assert browser.js("document.getElementById('day').value") == "2026-07-14"
    assert state(browser, "AH-T3") == "nothing noted"
    fill(browser, "AH-T3", "32560")
    (visit,) = save(browser)
    assert visit["visited_on"] == "2026-07-14"
    for file in (saved_file(browser), first):
        assert run(db, "import", str(file), today="2026-07-14").exit_code == 0
    assert stored(db) == [("AH-T3", "2026-06-30", 32420, "Kim"), ("AH-T3", "2026-07-14", 32560, "Kim")]


def test_a_round_not_saved_is_a_loud_choice_and_both_days_are_kept(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    begin(browser, sheet, "2026-07-01T08:00")
    assert shown(browser, "choose")
    assert "begun on 2026-06-30 is not saved yet: 1 visit. Today is 2026-07-01" in text_of(browser, "choose-words")
    browser.tap("#begin")
    assert not shown(browser, "choose")
    fill(browser, "AH-T1", str(RIGHT["AH-T1"] + 10))
    (today,) = save(browser)
    assert (today["visited_on"], today["counters"][0]["value"]) == ("2026-07-01", RIGHT["AH-T1"] + 10)
    browser.js("document.getElementById('saved').hidden = true")
    tap_text(browser, "Save that round")
    (before,) = json.loads(saved_file(browser).read_text(encoding="utf-8"))["visits"]
    assert (before["visited_on"], before["counters"][0]["value"]) == ("2026-06-30", RIGHT["AH-T1"])
    assert before["id"] != today["id"]


def test_going_on_with_a_round_adds_todays_visits_and_touches_none_of_before(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    begin(browser, sheet, "2026-07-01T08:00")
    browser.tap("#go-on")
    fill(browser, "AH-T2", str(RIGHT["AH-T2"]))
    card(browser, "AH-T1")
    assert "Noted for 2026-06-30 by Kim, not saved yet: counter 12420" in text_of(browser, "shut-words")
    assert not shown(browser, COUNTER)
    browser.tap("#anew")
    browser.write(f"#{COUNTER}", str(RIGHT["AH-T1"] + 9))
    days = [(one["unit"], one["visited_on"], one["counters"][0]["value"]) for one in save(browser)]
    assert sorted(days) == [
        ("AH-T1", "2026-06-30", RIGHT["AH-T1"]),
        ("AH-T1", "2026-07-01", RIGHT["AH-T1"] + 9),
        ("AH-T2", "2026-07-01", RIGHT["AH-T2"]),
    ]


def test_a_page_left_open_over_night_takes_the_new_day(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    browser.set_clock("2026-07-02T07:00")
    browser.js("window.dispatchEvent(new Event('focus'))")
    to_list(browser)
    assert browser.js("document.getElementById('day').value") == "2026-07-02"
    assert shown(browser, "choose")


def test_another_day_than_today_is_said_and_ends_with_the_day(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    set_day(browser, "2026-06-29")
    assert "put down for 2026-06-29. Today is 2026-06-30" in text_of(browser, "not-today-words")
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    (visit,) = save(browser)
    assert visit["visited_on"] == "2026-06-29"
    assert "at" not in visit  # the time at which it was typed is not that of the visit
    begin(browser, sheet, "2026-07-01T08:00")
    assert browser.js("document.getElementById('day').value") == "2026-07-01"
    assert not shown(browser, "not-today")


def test_the_time_put_down_by_the_page_is_left_out_when_the_visit_was_on_another_day(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    begin(browser, sheet)
    for tag in ("AH-T1", "AH-T2", "AH-T3"):
        fill(browser, tag, str(RIGHT[tag]))
        browser.js("document.querySelector('[data-fold=more]').open = true")
        if tag == "AH-T1":
            set_value(browser, "own-day", "2026-06-29")
        if tag == "AH-T2":
            set_value(browser, "at", "16:40")
    set_day(browser, "2026-06-28")
    times = {one["unit"]: (one["visited_on"], one.get("at", "")) for one in save(browser)}
    assert times == {
        "AH-T1": ("2026-06-29", ""),
        "AH-T2": ("2026-06-28", "16:40"),  # typed by a person
        "AH-T3": ("2026-06-28", ""),
    }


def set_day(browser: Browser, day: str) -> None:
    to_list(browser)
    set_value(browser, "day", day)


def set_value(browser: Browser, id: str, value: str) -> None:
    browser.js(
        f"(() => {{ const d = document.getElementById('{id}'); d.value = '{value}';"
        "for (const n of ['input', 'change']) d.dispatchEvent(new Event(n)); })()"
    )


def test_a_visit_changed_after_saving_is_a_later_saving_of_the_same(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    (first,) = save(browser)
    card(browser, "AH-T1")
    browser.tap("#correct")
    browser.write("#remark", "gate 2 is locked")
    to_list(browser)
    assert state(browser, "AH-T1") == "changed since it was saved"
    browser.tap("#save")
    browser.wait("document.getElementById('text').value.includes('gate 2')")
    (second,) = json.loads(browser.js("document.getElementById('text').value"))["visits"]
    assert second["id"] == first["id"]
    assert (first["revision"], second["revision"]) == (1, 2)


def test_two_people_on_one_phone_keep_their_own_visits(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    to_list(browser)
    browser.write("#by", "Lee")
    assert "1 visit was noted by Kim" in text_of(browser, "rename-words")
    browser.tap("#rename-none")
    fill(browser, "AH-T2", str(RIGHT["AH-T2"]))
    assert [(one["unit"], one["by"]) for one in save(browser)] == [("AH-T1", "Kim"), ("AH-T2", "Lee")]


# --- numbers ------------------------------------------------------------------------------------------------------


def test_a_reading_of_the_day_of_issue_is_where_the_limits_begin(tmp_path: Path, browser: Browser) -> None:
    db, sheet = make_round(tmp_path, TAGS[:2])
    assert run(db, "log", "AH-T1", "12430", "--on", "2026-06-30").exit_code == 0
    sheet = new_sheet(db, tmp_path / "again.html")
    begin(browser, sheet, "2026-07-01T09:00")
    fill(browser, "AH-T1", "12440")
    assert not shown(browser, f"{COUNTER}-ask")
    browser.write(f"#{COUNTER}", "12425")
    assert text_of(browser, f"{COUNTER}-why").startswith("12425: below the last reading, 12430 of 2026-06-30")


def test_a_day_before_the_last_reading_is_held_against_the_next_one(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    set_day(browser, "2026-05-10")
    fill(browser, "AH-T1", "12500")
    assert "above the next reading, 12100 of 2026-05-29" in text_of(browser, f"{COUNTER}-why")
    browser.write(f"#{COUNTER}", "11900")
    assert not shown(browser, f"{COUNTER}-ask")


def test_what_was_noted_on_another_day_here_counts_as_the_last_reading(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", "12440")
    save(browser)
    begin(browser, sheet, "2026-07-01T09:00")
    fill(browser, "AH-T1", "12435")
    assert "below the last reading, 12440 of 2026-06-30" in text_of(browser, f"{COUNTER}-why")


def test_the_page_questions_the_numbers_that_the_command_line_questions_with_the_same_words(
    made: tuple[Path, Path], browser: Browser
) -> None:
    db, sheet = made
    begin(browser, sheet)
    drawn = random.Random(14)
    store = open_store(db)
    with store.rows() as connection:
        pasts = [counter_past(connection, find_unit(connection, tag), "1", "mechanical", TODAY) for tag in TAGS[:3]]
    store.close()
    asked = 0
    for past, days in zip(pasts, (0, drawn.randint(1, 29), 45), strict=True):
        on = TODAY + timedelta(days=days)
        begin(browser, sheet, f"{on}T09:00")
        if shown(browser, "choose"):
            browser.tap("#begin")
        card(browser, past.unit.tag)
        last = past.readings[-1].value
        usual = expected(past, on, last)
        assert f"Expected {usual.low:06} to {usual.high:06} on {on}" in text_of(browser, f"{COUNTER}-hint")
        for number in (last + 10 * days, last - 1, last + 1, last + 3_000, *drawn.choices(range(1_000_000), k=4)):
            browser.write(f"#{COUNTER}", str(number))
            check = expected(past, on, number, 9 * 60)
            assert shown(browser, f"{COUNTER}-ask") == check.questioned, (past.unit.tag, on, number, check)
            if check.questioned:
                assert text_of(browser, f"{COUNTER}-why") == f"{number}: {check.reason}. Read the counter again."
            asked += check.questioned
        browser.write(f"#{COUNTER}", "")
    assert 9 <= asked < 24


def test_an_odd_number_kept_without_a_reason_is_stored_without_one(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", "999000")
    browser.tap(f"#{COUNTER}-keep")
    (visit,) = save(browser)
    assert visit["counters"][0]["doubt"].endswith("kept: no reason given")
    assert "read twice" not in json.dumps(visit)


def test_what_is_odd_or_wrong_is_listed_before_saving_and_the_rest_can_be_saved(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", "1234567")
    assert "has 6 digits" in text_of(browser, f"{COUNTER}-fault")
    fill(browser, "AH-T2", "999999")
    fill(browser, "AH-T3", str(RIGHT["AH-T3"]))
    to_list(browser)
    assert [state(browser, tag) for tag in TAGS[:3]] == ["to be checked", "to be checked", "noted"]
    browser.tap("#save")
    browser.wait("!document.getElementById('problems').hidden")
    assert browser.js("document.querySelectorAll('#problem-list li').length") == 2
    assert browser.js("document.getElementById('saved').hidden")
    (visit,) = save(browser, "#save-rest")
    assert visit["unit"] == "AH-T3"
    browser.tap("#problem-list li:nth-child(2) button")
    assert browser.js("document.activeElement.id") == COUNTER


def test_drag_hands_and_positions_are_checked_as_at_the_command_line(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    begin(browser, sheet)
    card(browser, "AH-T1")
    browser.write("#position", "17R")
    assert "16L to 16R" in text_of(browser, "position-fault")
    browser.write("#position", "9R")
    browser.write("#position_low", "12R")
    assert "position 9R lies below the lowest drag hand, 12R" in text_of(browser, "position_low-why")
    browser.write("#position_high", "3R")
    assert "Drag hands from 12R up to 3R" in text_of(browser, "position_high-fault")
    browser.write("#position_low", "2R")
    assert "position 9R lies above the highest drag hand, 3R" in text_of(browser, "position_high-why")
    browser.write("#position_high", "12R")
    for name in ("position_low", "position_high"):
        assert not shown(browser, f"{name}-ask")
        assert not shown(browser, f"{name}-fault")


def test_a_sign_is_put_before_a_number_by_a_key_of_its_own(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    browser.write("#oil_temp_c", "15")
    browser.tap("[data-sign=oil_temp_c]")
    (visit,) = save(browser)
    assert visit["observations"]["oil_temp_c"] == -15


def test_a_level_is_worth_something_only_with_the_oil_temperature(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    browser.tap("input[name=oil_level][value=low]")
    assert "At which oil temperature" in text_of(browser, "oil_temp_c-fault")
    browser.tap("#unread")
    assert not shown(browser, "oil_temp_c-fault")
    browser.write("#oil_temp_c", "85")
    assert "low at 85 °C, where hot oil stands high" in text_of(browser, "oil_level-why")
    browser.tap("input[name=oil_level][value=high]")
    assert not shown(browser, "oil_level-ask")
    browser.write("#oil_temp_c", "-15")
    assert "high at -15 °C, where cold oil stands low" in text_of(browser, "oil_level-why")
    browser.write("#oil_level-reason", "read by two people")
    browser.tap("#oil_level-keep")
    (visit,) = save(browser)
    assert visit["observations"]["oil_level"] == "high"
    assert "kept: read by two people" in visit["remark"]


def test_a_counter_that_cannot_be_read_or_stands_still_is_a_fact_of_its_own(
    tmp_path: Path, browser: Browser
) -> None:
    db, sheet = make_round(tmp_path, TAGS[:2])
    begin(browser, sheet)
    card(browser, "AH-T2")
    browser.js("document.querySelector('#counters details').open = true")
    browser.tap("#counters input[value=unreadable]")
    browser.js("document.querySelector('[data-fold=more]').open = true")
    browser.write("#photos", "0412, 0413")
    (visit,) = save(browser)
    assert visit["counter_faults"] == [{"state": "unreadable", "source": "mechanical", "drive": "1"}]
    assert visit["photos"] == ["0412", "0413"]
    assert visit["at"] == "09:00"
    assert run(db, "import", str(saved_file(browser))).exit_code == 0
    assert "counter unreadable;" in run(db, "followups").output


def test_a_number_of_a_counter_that_stands_still_is_asked_about_by_nobody_and_counts_nowhere(
    tmp_path: Path, browser: Browser
) -> None:
    db, sheet = make_round(tmp_path, TAGS[:2])
    begin(browser, sheet)
    fill(browser, "AH-T1", "12101")
    assert "far fewer operations" in text_of(browser, f"{COUNTER}-why")
    browser.js("document.querySelector('#counters details').open = true")
    browser.tap("#counters input[value='standing still']")
    assert not shown(browser, f"{COUNTER}-ask")
    fill(browser, "AH-T2", str(RIGHT["AH-T2"]))
    assert len(save(browser)) == 2
    assert run(db, "import", str(saved_file(browser))).exit_code == 0
    begin(browser, sheet, "2026-07-14T09:00")
    card(browser, "AH-T2")
    assert f"Noted here 0{RIGHT['AH-T2']} on 2026-06-30" in text_of(browser, f"{COUNTER}-hint")
    card(browser, "AH-T1")
    assert "Noted here" not in text_of(browser, f"{COUNTER}-hint")
    browser.write(f"#{COUNTER}", str(RIGHT["AH-T1"] + 140))
    assert not shown(browser, f"{COUNTER}-ask")  # held against what was read while it counted
    reading = lean("reading", "id", "supersedes_id", "withdrawn", "value", "doubt")
    with open_store(db).rows() as connection:
        doubt = connection.execute(sa.select(reading.c.doubt).where(reading.c.value == 12101)).scalar_one()
    assert doubt == "counter noted as standing still"


def test_an_alarm_stays_in_sight_and_two_signs_stop_the_unit_for_every_later_round(
    tmp_path: Path, browser: Browser
) -> None:
    db, sheet = make_round(tmp_path, TAGS[:2])
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    browser.js("document.querySelector('[data-fold=more]').open = true")
    browser.write("#compartment_temp_c", "51")
    browser.write("#main_tank_temp_c", "41")
    assert "leave the cabinet" in in_sight(browser)
    browser.tap("input[name=noise][value=unusual]")
    assert "STOP: possible arcing or overheating" in in_sight(browser)
    browser.tap("#remark")
    assert "STOP: possible arcing or overheating" in in_sight(browser)
    assert "STOP" in row(browser, "AH-T1")
    assert "STOP" not in row(browser, "AH-T2")
    save(browser)
    # A correction on the phone ends no stop, nor does a new round.
    card(browser, "AH-T1")
    browser.tap("#correct")
    browser.js("document.querySelector('[data-fold=more]').open = true")
    browser.tap("input[name=noise][value=usual]")
    assert "STOP" in in_sight(browser)
    save(browser)
    begin(browser, sheet, "2026-07-14T09:00")
    assert "STOP" in row(browser, "AH-T1")
    card(browser, "AH-T1")
    assert "STOP" in in_sight(browser)
    # A sheet issued later knows what the log says.
    begin(browser, new_sheet(db, sheet, "2026-07-15"), "2026-07-15T09:00")
    assert "STOP" not in row(browser, "AH-T1")


def in_sight(browser: Browser) -> str:
    """The alarm of the open card, "" where no part of it can be seen without scrolling."""
    where = "document.getElementById('alarm').getBoundingClientRect()"
    whole = "r.height > 0 && r.top >= 0 && r.bottom <= innerHeight"
    seen = browser.js(f"(() => {{ const r = {where}; return {whole}; }})()")
    return str(browser.js("document.getElementById('alarm').innerText")) if seen else ""


def row(browser: Browser, tag: str) -> str:
    to_list(browser)
    rows = "[...document.querySelectorAll('button.unit')]"
    return str(browser.js(f"{rows}.find(e => e.textContent.includes({tag + ' '!r})).innerText"))


# --- the right unit -----------------------------------------------------------------------------------------------


def test_a_serial_number_that_comes_near_is_asked_again_and_no_number_is_lost(
    tmp_path: Path, browser: Browser
) -> None:
    db, sheet = make_round(tmp_path, TAGS)
    begin(browser, sheet)
    card(browser, "AH-T1")
    browser.write(f"#{COUNTER}", "12420")
    browser.write("#position", "2L")
    browser.tap("input[name=plate][value=other]")
    browser.write("#serial", "d 013 75")  # D-01357 with two digits transposed
    assert "They come near each other: read it again" in text_of(browser, "serial-why")
    assert shown(browser, COUNTER)
    to_list(browser)
    assert state(browser, "AH-T1") == "to be checked"
    card(browser, "AH-T1")
    browser.write("#serial", "d 02714")
    assert "That is AH-T2" in text_of(browser, "serial-why")
    browser.write("#serial", "x001")
    assert "the transformer's number" in text_of(browser, "serial-fault")
    browser.write("#serial", "Q-77")
    browser.tap("#serial-keep")
    (visit,) = save(browser)
    assert (visit["serial_seen"], visit["another_unit"]) == ("Q-77", True)
    assert visit["counters"][0]["value"] == 12420
    assert visit["observations"]["position"] == "2L"
    done = run(db, "import", str(saved_file(browser)))
    assert "counter 12420" in done.output
    assert stored(db) == []


def test_a_misread_serial_number_is_taken_back_with_one_tap(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", "12420")
    browser.tap("input[name=plate][value=other]")
    browser.write("#serial", "D-01375")
    browser.tap("#serial-same")
    (visit,) = save(browser)
    assert (visit["serial_seen"], visit["counters"][0]["value"]) == ("D-01357", 12420)


def test_a_unit_that_is_not_in_the_list_is_noted_with_all_its_numbers(tmp_path: Path, browser: Browser) -> None:
    db, sheet = make_round(tmp_path, TAGS[:2])
    begin(browser, sheet)
    browser.tap("#add")
    browser.write("#transformer", "X-900")
    browser.write("#serial", "N-9000")
    browser.write("#counter__mechanical", "777")
    (visit,) = save(browser)
    assert "unit" not in visit
    assert (visit["serial_seen"], visit["station"], visit["transformer_seen"]) == ("N-9000", "AH", "X-900")
    file = saved_file(browser)
    done = run(db, "import", str(file))
    assert done.exit_code == 3
    assert "unit add" in run(db, "findings").output + done.output
    given = ("--station", "AH", "--digits", "6", "--serial", "N-9000")
    added = run(db, "unit", "add", "AH-T9", *given)
    assert added.exit_code == 0, added.output
    assert run(db, "import", str(file)).exit_code == 0
    assert stored(db) == [("AH-T9", "2026-06-30", 777, "Kim")]


def test_a_unit_is_found_by_tag_station_serial_or_transformer(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    rows = "[...document.querySelectorAll('[data-row]')].filter(e => e.offsetParent).length"
    for text, found in (("ah-t10", 1), ("d02714", 1), ("X-003", 1), ("AH", 10), ("nothing", 0)):
        browser.write("#find", text)
        assert browser.js(rows) == found, text


# --- what is open -------------------------------------------------------------------------------------------------


def test_what_is_open_is_answered_with_one_tap_and_arrives_in_the_store(tmp_path: Path, browser: Browser) -> None:
    db, _ = make_round(tmp_path, TAGS[:2])
    seen = ("--oil-level", "low", "--oil-temperature", "20", "--seepage", "flange", "--breather", "blocked")
    assert run(db, "visit", "AH-T1", "--on", "2026-06-21", *seen, "--no-ask").exit_code == 0
    assert run(db, "followups", "add", "AH-T1", "--words", "lock stiff", "--on", "2026-06-01").exit_code == 0
    assert run(db, "condition", "add", "AH-T1", "motor_current", "--words", "draws more").exit_code == 0
    sheet = new_sheet(db, tmp_path / "open.html")
    begin(browser, sheet)
    card(browser, "AH-T1")
    boxes = browser.js("[...document.querySelectorAll('#open-items legend')].map(e => e.textContent)")
    number = {word: next(i for i, box in enumerate(boxes, 1) if word in box)
              for word in ("motor", "breather", "oil level", "stiff", "flange")}  # fmt: skip
    taps = {"motor": "worse", "breather": "closed", "oil level": "still so", "stiff": "closed", "flange": "closed"}
    for word, answer in taps.items():
        browser.tap(f"#open-items .open:nth-child({number[word]}) input[value='{answer}']")
    browser.write("#oil_temp_c", "22")
    browser.write(f"#open-items .open:nth-child({number['stiff']}) input[type=text]", "oiled")
    (visit,) = save(browser)
    assert visit["observations"]["oil_level"] == "low"
    done = run(db, "import", str(saved_file(browser)))
    assert done.exit_code == 0, done.output
    text = run(db, "followups", "--json", "--all").output
    assert "worse: draws more" in text
    assert "closed on a visit by Kim: oiled" in text
    opened = run(db, "followups").output
    assert "oil level low" in opened
    assert "flange" not in opened
    assert "blocked" not in opened
    assert "lock stiff" not in opened


# --- handing over -------------------------------------------------------------------------------------------------


def test_a_sample_under_negative_pressure_is_noted_only_from_an_isolated_and_earthed_unit(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    browser.js("document.querySelector('[data-fold=more]').open = true")
    browser.write("#pressure_kpa", "-5")
    browser.tap("#sample")
    assert "only if the unit was isolated and earthed" in text_of(browser, "sample-fault")
    to_list(browser)
    browser.tap("#save")
    browser.wait("!document.getElementById('problems').hidden")
    card(browser, "AH-T1")
    browser.tap("input[name=earthed][value=no]")
    assert shown(browser, "sample-fault")
    browser.tap("input[name=earthed][value=yes]")
    assert not shown(browser, "sample-fault")
    (visit,) = save(browser)
    assert (visit["sample_taken"], visit["de_energised"]) == (True, True)


def test_a_sheet_is_filled_in_with_the_keyboard_alone(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    browser.js("document.getElementById('u0').focus()")
    browser.key("Enter", 13, "\r")
    browser.wait("!document.getElementById('card').hidden")
    browser.key("Tab", 9)
    browser.key(" ", 32, " ")
    assert browser.js("document.activeElement.value") == "same"
    browser.key("Tab", 9)
    assert browser.js("document.activeElement.id") == COUNTER
    browser.call("Input.insertText", text=str(RIGHT[browser.js("document.querySelector('#u0 .tag').textContent")]))
    browser.key("Enter", 13, "\r")
    browser.wait("document.getElementById('card-place').textContent.startsWith('AH-T')")
    to_list(browser)
    assert text_of(browser, "count") == "Noted: 1 of 10 units."


def test_ten_units_take_at_most_sixty_taps_and_keys_beyond_the_digits(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    browser.set_clock("2026-06-30T09:00")
    browser.open(sheet)
    presses = 0
    browser.tap("#by")
    for letter in "Kim":
        browser.key(letter, ord(letter.upper()), letter)
    presses += 4
    browser.tap("#u0")
    presses += 1
    for number in range(10):
        tag = browser.js("document.getElementById('card-place').textContent").split(",")[0]
        browser.tap("input[name=plate][value=same]")
        for digit in str(RIGHT[tag]):
            browser.key(digit, ord(digit), digit)
        browser.key("Enter", 13, "\r")
        presses += 2
        browser.wait(f"document.getElementById('card-place')?.textContent.split(',')[0] !== '{tag}'"
                     if number < 9 else "!document.getElementById('list').hidden")  # fmt: skip
    browser.tap("#save")
    presses += 1
    values = {one["unit"]: one["counters"][0]["value"] for one in json.loads(saved_file(browser).read_text())["visits"]}
    assert values == RIGHT
    assert presses <= 60, presses


def test_what_is_filled_in_stands_on_paper_too(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    browser.tap("input[name=breather][value=good]")
    browser.write("#remark", "gate 2 is locked")
    browser.js("window.dispatchEvent(new Event('beforeprint'))")
    boxes = browser.js("document.querySelector('.paper .boxes').textContent")
    assert boxes == f"{RIGHT['AH-T1']:06}"
    on = browser.js("[...document.querySelectorAll('.paper .on')].map(e => e.textContent)")
    assert on == ["serial number agrees", "good"]
    assert "gate 2 is locked" in browser.js("document.querySelector('.paper').textContent")


def test_paper_has_room_for_a_glove_and_each_tick_box_stands_by_its_own_word(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    begin(browser, sheet)
    browser.call("Emulation.setEmulatedMedia", media="print")
    mm = browser.js("(() => { const d = document.createElement('div'); d.style.height = '100mm';"
                    "document.body.append(d); return d.getBoundingClientRect().height / 100; })()")  # fmt: skip
    boxes = browser.js("[...document.querySelectorAll('.paper .boxes i')].map(e => e.getBoundingClientRect().height)")
    assert min(boxes) >= 8 * mm
    pitch = browser.js("[...document.querySelectorAll('.paper .blank')].map(e => e.closest('td, th, div'))"
                       ".map(e => parseFloat(getComputedStyle(e).lineHeight))")  # fmt: skip
    assert min(pitch) >= 8 * mm
    small = browser.js("[...document.querySelectorAll('.paper *')].filter(e => e.textContent.trim())"
                       ".map(e => parseFloat(getComputedStyle(e).fontSize))")  # fmt: skip
    assert min(small) >= 12  # px of CSS: 9 pt
    style = "getComputedStyle(document.querySelector('.paper .way:not(.first)'), {})"
    inside = browser.js(f"parseFloat({style.format(repr('::before'))}.marginRight)")
    between = browser.js(f"(s => parseFloat(s.marginLeft) + parseFloat(s.marginRight))({style.format('null')})")
    assert inside <= 1 * mm
    assert between >= 4 * mm
    assert browser.js("document.querySelector('.paper .sheet').textContent.includes('serial number agrees')")


def test_a_browser_that_keeps_nothing_says_so_and_asks_before_the_page_is_left(
    made: tuple[Path, Path], browser: Browser
) -> None:
    _, sheet = made
    closed = "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('closed'); } })"
    browser.call("Page.addScriptToEvaluateOnNewDocument", source=closed)
    begin(browser, sheet)
    assert shown(browser, "no-memory")
    leaving = "(() => { const e = new Event('beforeunload', {cancelable: true}); return !window.dispatchEvent(e); })()"
    assert browser.js(leaving) is False
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    assert browser.js(leaving) is True
    assert len(save(browser)) == 1
    assert browser.js(leaving) is False


def test_visits_are_shared_as_a_file_where_the_browser_can(made: tuple[Path, Path], browser: Browser) -> None:
    db, sheet = made
    given = (
        "navigator.canShare = () => true; navigator.share = async (what) => {"
        "window.shared = await what.files[0].text(); window.sharedAs = what.files[0].name; };"
    )
    browser.call("Page.addScriptToEvaluateOnNewDocument", source=given)
    begin(browser, sheet)
    fill(browser, "AH-T1", str(RIGHT["AH-T1"]))
    save(browser)
    browser.tap("#share")
    browser.wait("window.shared === document.getElementById('text').value")
    path = browser.downloads / browser.js("window.sharedAs")
    path.write_text(browser.js("window.shared"), encoding="utf-8")
    assert run(db, "import", "--dry-run", str(path)).exit_code == 0


def test_text_from_the_store_stays_text(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    places = browser.js("[...document.querySelectorAll('.unit .place')].map(e => e.textContent)")
    assert f"bank {ODD}" in places
    card(browser, "AH-T7")
    assert f"bank {ODD}" in text_of(browser, "card-place")
    assert browser.js("document.querySelectorAll('.place b, #card-place b').length") == 0


def test_touch_targets_are_large_and_nothing_is_wider_than_the_phone(made: tuple[Path, Path], browser: Browser) -> None:
    _, sheet = made
    begin(browser, sheet)
    measure = (
        "[...document.querySelectorAll('.screen button, .screen input[type=text], .screen input[type=date], "
        ".chips label, .tick, summary')].filter(e => e.offsetParent && e.getBoundingClientRect().height < 44)"
        ".map(e => e.outerHTML.slice(0, 80))"
    )
    for tag in (None, "AH-T1"):
        if tag:
            card(browser, tag)
            browser.js("document.querySelectorAll('details').forEach(e => { e.open = true; })")
        assert browser.js(measure) == []
        assert browser.js("document.documentElement.scrollWidth <= window.innerWidth")


def test_two_hundred_units_open_in_two_seconds(tmp_path: Path, browser: Browser) -> None:
    _, sheet = make_round(tmp_path, [f"AH-T{number}" for number in range(1, 201)], every=15)
    begin(browser, sheet)
    begun = time.monotonic()
    browser.open(sheet)
    browser.wait("document.getElementById('count').textContent === 'Noted: 0 of 200 units.'")
    assert time.monotonic() - begun < 2
    browser.tap("#u150")
    assert shown(browser, COUNTER)


# --- any round ----------------------------------------------------------------------------------------------------


class Walk:
    """A person with a phone, who does anything in any order; and what should be in the store because of it."""

    def __init__(self, browser: Browser, sheet: Path, by: str, drawn: random.Random, tags: list[str]) -> None:
        self.browser, self.sheet, self.by, self.drawn, self.tags = browser, sheet, by, drawn, tags
        self.now = datetime(2026, 6, 30, 8)  # noqa: DTZ001 - the local time of a phone
        self.typed: dict[tuple[str, str, int], str] = {}  # unit, day, which visit -> number
        self.open: dict[str, tuple[str, str, int]] = {}  # unit -> the visit that a touch would go on with
        self.day = str(self.now.date())
        self.visits = 0
        self.files: list[Path] = []

    def number(self, tag: str) -> int:
        days = (date.fromisoformat(self.day) - TODAY).days
        return 10_000 * int(tag.removeprefix("AH-T")) + 2_420 + 10 * days + self.visits % 4

    def kept(self) -> set[str]:
        """What the browser has of this phone's entries."""
        listed = f"Object.keys(localStorage).filter(key => key.startsWith('tapwear-sheet-{self.sheet.stem}/e/'))"
        return set(self.browser.js(listed))

    def open_page(self) -> None:
        """Loads the page; what was kept is there again."""
        before = self.kept() if self.browser.js("location.protocol") == "file:" else set()
        self.browser.set_clock(self.now.isoformat(timespec="minutes"))
        self.browser.open(self.sheet)
        assert before <= self.kept()
        if not self.browser.js("document.getElementById('by').value"):
            self.browser.write("#by", self.by)
        self.choose()

    def choose(self) -> None:
        to_list(self.browser)
        if shown(self.browser, "choose"):
            self.browser.tap(self.drawn.choice(["#go-on", "#begin"]))

    def later(self) -> None:
        """Days go by; the page is loaded again, or was left open."""
        self.now += timedelta(days=self.drawn.choice([0, 1, 1, 6, 14]), hours=self.drawn.randint(0, 2))
        changed = str(self.now.date()) != self.day
        if changed:
            self.day = str(self.now.date())
            self.open = {}
        if self.drawn.random() < 0.5:
            self.open_page()
        else:
            self.browser.set_clock(self.now.isoformat(timespec="minutes"))
            self.browser.js("window.dispatchEvent(new Event('focus'))")
            self.choose()

    def type(self) -> None:
        """A number at a unit: a new visit, or the correction of the one that is open or shut."""
        tag = self.drawn.choice(self.tags)
        card(self.browser, tag)
        which = self.open.get(tag)
        if shown(self.browser, "shut"):
            told = text_of(self.browser, "shut-words")
            if self.drawn.random() < 0.5:
                self.browser.tap("#correct")
                number = told.split("counter ")[1].split(",")[0].rstrip(".")
                day = told.split("Noted for ")[1].split(" ")[0]
                which = next(key for key, value in self.typed.items() if key[:2] == (tag, day) and value == number)
            else:
                self.browser.tap("#anew")
                which = None
        if which is None:
            self.visits += 1
            which = (tag, self.day, self.visits)
        value = str(self.number(tag) if which[1] == self.day else int(self.typed[which]) + 1)
        if any(key[:2] == which[:2] and key != which and one == value for key, one in self.typed.items()):
            value = str(int(value) + 5)  # each visit of a day has a number of its own, to be told by
        self.browser.write(f"#{COUNTER}", value)
        if shown(self.browser, f"{COUNTER}-ask"):
            self.browser.tap(f"#{COUNTER}-keep")
        self.typed[which] = value
        self.open[tag] = which

    def save(self) -> None:
        to_list(self.browser)
        if text_of(self.browser, "count").startswith("Noted: 0 "):
            return
        self.browser.js("document.getElementById('saved').hidden = true")
        self.browser.tap("#save")
        self.files.append(saved_file(self.browser))
        self.open = {}

    def save_all(self) -> None:
        """All rounds that were ever begun."""
        self.save()
        left = "[...document.querySelectorAll('#earlier button')].some(e => e.textContent === 'Save that round')"
        for _ in range(20):
            if not self.browser.js(left):
                return
            self.browser.js("document.getElementById('saved').hidden = true")
            tap_text(self.browser, "Save that round")
            self.files.append(saved_file(self.browser))
        raise AssertionError("a round cannot be saved")

    def go(self, steps: int) -> None:
        self.open_page()
        for _ in range(steps):
            self.drawn.choices([self.type, self.later, self.open_page, self.save], [6, 2, 1, 1])[0]()
        self.save_all()


def another_phone(sheet: Path, path: Path) -> Path:
    """A copy of a sheet that keeps its entries by themselves, as on a phone of its own."""
    text = sheet.read_text(encoding="utf-8")
    own, times = re.subn(r'"key":"[0-9a-f]{16}"', f'"key":"{path.stem}"', text)
    assert times == 1
    path.write_text(own, encoding="utf-8")
    return path


def walk_rounds(tmp_path: Path, browser: Browser, seeds: range) -> None:
    """Rounds of two people; all files into a store in any order, some twice; nothing lost, doubled, moved."""
    assert PROGRAM is not None
    tags = TAGS[:3]
    base, sheet = make_round(tmp_path, tags)
    for seed in seeds:
        drawn = random.Random(seed)
        db = tmp_path / f"{seed}.db"
        shutil.copy(base, db)
        wanted: list[tuple[str, str, int, str]] = []
        files: list[Path] = []
        for person in ("Kim", "Lee"):
            walk = Walk(browser, another_phone(sheet, tmp_path / f"{seed}-{person}.html"), person, drawn, tags)
            walk.go(drawn.randint(4, 14))
            wanted += [(tag, day, int(value), person) for (tag, day, _), value in walk.typed.items()]
            files += walk.files
        handed = [*files, *drawn.sample(files, min(len(files), 2))]
        drawn.shuffle(handed)
        for file in handed:
            run(db, "import", str(file), today="2027-06-30")
        assert stored(db) == sorted(wanted), f"seed {seed}"
        for path in (db, *browser.downloads.glob("*.json")):
            path.unlink()


def test_whatever_two_people_do_on_any_days_nothing_is_lost_doubled_or_on_another_day(
    tmp_path: Path, browser: Browser
) -> None:
    walk_rounds(tmp_path, browser, range(6))


@pytest.mark.long
def test_three_hundred_rounds_lose_nothing(tmp_path: Path, browser: Browser) -> None:
    walk_rounds(tmp_path, browser, range(100, 400))
