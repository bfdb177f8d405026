"""A round sheet is one file that loads nothing, shows what to expect, and asks nothing of a severe unit."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser

import pytest
from markupsafe import escape

from tapwear.counts.limits import Limits
from tapwear.report.sheet_data import (
    CounterBox,
    Expect,
    FieldBox,
    OpenBox,
    RoundSheet,
    StationSheet,
    UnitBox,
    page_data,
)
from tapwear.report.sheet_html import sheet_html
from tapwear.report.templating import TEMPLATES
from tapwear.words import NEAR_LIVE_PLANT, NEGATIVE_PRESSURE, stop_notice

COUNTER = CounterBox(
    "1", "mechanical", Limits(6), "", (date(2026, 6, 3), 48213),
    (Expect(date(2026, 6, 30), 48400, 48600), Expect(date(2026, 7, 30), 48600, 49000)),
)  # fmt: skip
UNIT = UnitBox("AH-T1", "S-1", "bank T1", stop=False, counters=(COUNTER,), positions=("1", "2"), why=("Due.",))
SEEPS = OpenBox("follow-up", "seepage", date(2026, 4, 1), "flange", "seepage: flange; seen 2026-04-01", place="flange",
                origin="observation", seen="flange")
TRIP = OpenBox("condition", "relay_trip", date(2026, 4, 2), "tripped", "relay trip: tripped", engineer=True)
STOP = UnitBox("AH-T2", "S-2", "bank T2", stop=True)
FIELDS = (
    FieldBox("position", "Position", "position"),
    FieldBox("oil_level", "Oil level", "choice", ("low", "high")),
    FieldBox("oil_temp_c", "Oil temperature", "number", unit="°F", unit_name="oil_temp_unit", low=-76, high=302),
    *(FieldBox(name, name, "number", unit="psi") for name in ("pressure_kpa", "gas_bottle_kpa")),
    *(FieldBox(name, name, "number", unit="°F") for name in ("compartment_temp_c", "main_tank_temp_c")),
    *(FieldBox(name, name, "choice", ("good", "bad")) for name in ("breather", "heater", "noise", "coating")),
)
SHEET = RoundSheet(date(2026, 6, 30), date(2026, 7, 30), (StationSheet("AH", "Alder Hill", (UNIT, STOP)),), FIELDS)
NASTY = "</script><script>alert(1)</script><img src=x onerror=alert(2)>&amp;\u2028'\"\x1b[31m"


class _Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.scripts: list[str] = []
        self.text = ""
        self._script = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._script = tag == "script"

    def handle_endtag(self, tag: str) -> None:
        self._script = False

    def handle_data(self, data: str) -> None:
        if self._script:
            self.scripts.append(data)
        else:
            self.text += data


def page(sheet: RoundSheet = SHEET) -> _Page:
    return _Page(sheet_html(sheet))


def test_days_serial_last_counter_and_expected_numbers_are_told() -> None:
    text = " ".join(page().text.split())
    assert "Issued 2026-06-30; expected numbers hold until 2026-07-30" in text
    assert "last 048213 on 2026-06-03expected 048400 to 048600 on 2026-06-30expected 048600 to 049000" in text
    assert text.index("S-1") < text.index("AH-T1")


def test_a_severe_unit_has_its_words_on_screen_and_paper_and_nothing_to_fill_in() -> None:
    found = page()
    assert found.text.count(f"{stop_notice()}S-2 AH-T2") == 2
    buttons = [attrs.get("id") for tag, attrs in found.tags if tag == "button"]
    assert "u0" in buttons
    assert "u1" not in buttons
    assert not any(attrs.get("data-of") == "1" for _, attrs in found.tags)
    assert page_data(SHEET)["units"][1]["counters"] == []


def test_how_to_behave_near_live_plant_opens_the_page_and_the_paper_unfolded() -> None:
    text = sheet_html(SHEET)
    for words in NEAR_LIVE_PLANT:
        assert page().text.count(words) >= 2, words
    live = text.index(str(escape(NEAR_LIVE_PLANT[0])))
    assert live < text.index('id="by"')
    assert text.count("<details", 0, live) == 0
    paper = text.index('<section class="paper">')
    assert text.index(str(escape(NEAR_LIVE_PLANT[0])), paper) < text.index("<table", paper)


def test_the_caution_about_negative_pressure_stands_where_the_sample_is_ticked() -> None:
    text = sheet_html(SHEET)
    tick = text.index('id="sample"')
    assert 0 < tick - text.rindex(NEGATIVE_PRESSURE, 0, tick) < 400
    printed = text.index("oil sample taken")
    assert 0 < text.index(NEGATIVE_PRESSURE, printed) - printed < 400


def test_what_is_open_stands_on_paper_and_the_engineers_part_says_so() -> None:
    sheet = replace(SHEET, stations=(replace(SHEET.stations[0], units=(replace(UNIT, open=(SEEPS, TRIP)),)),))
    text = " ".join(page(sheet).text.split())
    assert "Open: seepage: flange; seen 2026-04-01 still soclosedworse" in text
    assert "Open: relay trip: tripped Only the responsible engineer closes this." in text


def test_a_last_reading_that_looks_wrong_is_said_to() -> None:
    assert replace(COUNTER, last_doubtful=True).last_words == "last 048213 on 2026-06-03, which looks wrong"


def test_both_common_kinds_of_phone_are_told_how_the_file_gets_on_and_off() -> None:
    text = page().text
    assert "Android: " in text
    assert "iPhone: " in text
    assert "tapwear import" in text


def test_fields_that_may_lie_below_zero_have_a_key_for_the_sign() -> None:
    signs = {attrs["data-sign"] for tag, attrs in page().tags if tag == "button" and "data-sign" in attrs}
    assert signs == {"oil_temp_c"}  # the only one of these fields that may


def test_nothing_on_paper_is_printed_smaller_than_nine_points() -> None:
    printed = (TEMPLATES / "sheet.css").read_text(encoding="utf-8").split("@media print", 1)[1]
    sizes = [float(size) for size in re.findall(r"([0-9.]+)pt(?:[/;]|(?= [^s]))", printed) if float(size) > 4]
    assert sizes
    assert min(sizes) >= 9


def test_the_page_may_run_its_own_script_and_style_and_load_nothing() -> None:
    text = sheet_html(SHEET)
    found = _Page(text)
    (policy,) = [attrs["content"] for tag, attrs in found.tags if "Content-Security-Policy" in attrs.values()]
    assert policy is not None
    assert policy.startswith("default-src 'none'; ")
    script = found.scripts[-1]
    style = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)[0]
    for own in (script, style):
        assert f"'sha256-{base64.b64encode(hashlib.sha256(own.encode()).digest()).decode()}'" in policy
    assert "unsafe" not in policy
    outside = {"src", "href", "action", "srcset", "data", "poster", "style"}
    assert not [name for _, attrs in found.tags for name in attrs if name in outside or name.startswith("on")]
    assert "http" not in script
    assert "eval" not in script
    assert "innerHTML" not in script


@pytest.mark.parametrize("where", ["unit", "serial", "place", "station", "drive", "why"])
def test_text_of_the_store_neither_ends_the_script_nor_becomes_markup(where: str) -> None:
    station, unit = SHEET.stations[0], UNIT
    if where == "station":
        station = replace(station, station=NASTY)
    elif where == "drive":
        unit = replace(unit, counters=(replace(COUNTER, drive=NASTY, name=NASTY),))
    elif where == "why":
        unit = replace(unit, why=(NASTY,))
    else:
        unit = replace(unit, **{where: NASTY})
    sheet = replace(SHEET, stations=(replace(station, units=(unit, STOP)),))
    found = page(sheet)
    assert [tag for tag, _ in found.tags].count("script") == 2
    assert "img" not in [tag for tag, _ in found.tags]
    assert json.loads(found.scripts[0]) == json.loads(json.dumps(page_data(sheet)))
    assert "\x1b" not in sheet_html(sheet)


def test_every_field_on_screen_has_a_label_and_every_id_is_its_own() -> None:
    found = page()
    ids = [attrs["id"] for _, attrs in found.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    labelled = {attrs["for"] for tag, attrs in found.tags if tag == "label" and "for" in attrs}
    plain = [attrs["id"] for tag, attrs in found.tags if tag in ("input", "textarea") and "id" in attrs]
    assert len(plain) > 10
    assert set(plain) <= labelled
    assert labelled <= set(ids)


def test_the_next_sheet_of_the_same_units_finds_what_was_typed_on_the_last_and_other_units_are_kept_apart() -> None:
    assert replace(SHEET, issued=date(2026, 7, 1)).key == SHEET.key
    assert replace(SHEET, stations=(replace(SHEET.stations[0], units=(STOP,)),)).key != SHEET.key
