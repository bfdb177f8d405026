"""Sheets of a station and of the visits that are due, from the store to the file."""

from __future__ import annotations

import json
import re
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from desk_store import TODAY, make_desk, run

from tapwear.words import stop_notice


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_desk(tmp_path_factory.mktemp("desk"))


def sheet(desk: Path, tmp_path: Path, *words: str) -> tuple[str, dict[str, Any]]:
    """The page and the data in it."""
    path = tmp_path / "round.html"
    done = run(desk, "sheet", *words, "--out", str(path))
    assert done.exit_code == 0, done.output
    text = path.read_text(encoding="utf-8")
    found = re.search(r'id="data">(.*?)</script>', text)
    assert found is not None
    return text, json.loads(found[1])


def test_a_station_sheet_has_all_its_units_and_the_numbers_that_log_would_expect(desk: Path, tmp_path: Path) -> None:
    text, data = sheet(desk, tmp_path, "--station", "ah", "--days", "14")
    assert [unit["unit"] for unit in data["units"]] == ["AH-T1", "AH-T2"]
    paper = text.split("<b>AH-T1</b>")[1].split("<b>AH-T2</b>")[0]
    ranges = re.findall(r"expected (\d+) to (\d+) on ([0-9-]+)", paper)
    until = date.fromisoformat(TODAY) + timedelta(days=14)
    assert [day for _, _, day in ranges] == [TODAY, str(until)]
    low, high, _ = ranges[0]
    told = run(desk, "log", "AH-T1", "999999", "--on", TODAY).output
    assert f"Expected on {TODAY}: {low} to {high}" in told
    # Twenty a day, from 1,000 on 2020-01-06; the last reading was ten days ago or so.
    right = 1000 + 20 * (date.fromisoformat(TODAY) - date(2020, 1, 6)).days
    assert int(low) <= right <= int(high)
    # The page has the readings themselves, and counts days as the judge does.
    (counter,) = data["units"][0]["counters"]
    assert 20 * (date.fromisoformat(TODAY).toordinal() - counter["limits"]["known"][-1]["day"]) == (
        right - counter["limits"]["known"][-1]["value"]
    )


def test_due_visits_bring_only_units_to_be_read_and_say_why(desk: Path, tmp_path: Path) -> None:
    text, data = sheet(desk, tmp_path, "--due-visits")
    assert [unit["unit"] for unit in data["units"]] == ["BW-T1"]
    assert "Reading due since" in text


def test_a_routine_sample_that_falls_due_is_told_with_its_day(tmp_path: Path) -> None:
    desk = make_desk(tmp_path)
    assert run(desk, "sample", "AH-T1", "--on", "2025-07-20", "--acetylene", "40", "--ethylene", "9").exit_code == 0
    text, _ = sheet(desk, tmp_path, "--due-visits")
    ((day, words),) = re.findall(r"Oil sample by (\S+)\. ([^<]+)</span>", text)
    assert day <= "2026-07-30"
    assert words


def test_a_severe_unit_is_on_the_sheet_with_a_stop_notice_only(tmp_path: Path) -> None:
    desk = make_desk(tmp_path)
    assert run(desk, "condition", "add", "AH-T2", "relay_trip", "--words", "tripped twice").exit_code == 0
    text, data = sheet(desk, tmp_path, "--station", "AH")
    assert [(unit["unit"], unit["stop"], len(unit["counters"])) for unit in data["units"]] == [
        ("AH-T1", False, 1), ("AH-T2", True, 0),
    ]  # fmt: skip
    assert text.count(f"<p>{stop_notice()}</p>") == 2
    assert run(desk, "sheet", "--station", "AH", "--out", str(tmp_path / "again.html")).output.count("stop notice") == 1


def test_in_us_units_the_file_says_which_unit_each_number_has(desk: Path, tmp_path: Path) -> None:
    _, data = sheet(desk, tmp_path, "--station", "AH", "--units", "us")
    fields = {field["name"]: field for field in data["fields"]}
    assert (fields["oil_temp_c"]["unit"], fields["oil_temp_c"]["unit_name"]) == ("°F", "oil_temp_unit")
    assert fields["oil_temp_c"]["high"] == pytest.approx(302)
    assert fields["pressure_kpa"]["unit"] == "psi"


@pytest.mark.parametrize(("words", "size"), [((), "a4"), (("--paper", "letter"), "letter")])
def test_the_printed_form_is_laid_out_for_its_paper(
    desk: Path, tmp_path: Path, words: tuple[str, ...], size: str
) -> None:
    text, _ = sheet(desk, tmp_path, "--station", "AH", *words)
    assert f"@page {{ size: {size} landscape;" in text


def test_a_round_has_to_be_named_and_a_file_is_not_written_over(desk: Path, tmp_path: Path) -> None:
    assert "--station S, or --due-visits" in run(desk, "sheet").output
    path = tmp_path / "round.html"
    path.write_text("mine", encoding="utf-8")
    done = run(desk, "sheet", "--station", "AH", "--out", str(path))
    assert (done.exit_code, path.read_text(encoding="utf-8")) == (2, "mine")
    assert run(desk, "sheet", "--station", "AH", "--out", str(path), "--force").exit_code == 0
    assert run(desk, "sheet", "--station", "AH", "--out", str(desk), "--force").exit_code == 2


def test_a_sheet_issued_on_a_day_with_a_reading_starts_from_that_reading(tmp_path: Path) -> None:
    desk = make_desk(tmp_path)
    right = 1000 + 20 * (date.fromisoformat(TODAY) - date(2020, 1, 6)).days
    assert run(desk, "log", "AH-T1", str(right), "--on", TODAY).exit_code == 0
    text, data = sheet(desk, tmp_path, "--station", "AH")
    (counter,) = data["units"][0]["counters"]
    known = counter["limits"]["known"][-1]
    assert (known["day"], known["value"]) == (date.fromisoformat(TODAY).toordinal(), right)
    assert counter["last"] == f"last {right:06} on {TODAY}"
    low, high = re.findall(r"expected (\d+) to (\d+) on 2026-07-01", text)[0]
    assert right <= int(low) <= right + 20 <= int(high)


def test_what_is_open_and_what_was_noted_last_is_on_the_sheet(tmp_path: Path) -> None:
    desk = make_desk(tmp_path)
    seen = ("--oil-level", "low", "--oil-temperature", "20", "--seepage", "flange", "--pressure", "-3")
    assert run(desk, "visit", "AH-T1", "--on", "2026-06-21", *seen, "--no-ask").exit_code == 0
    normal = ("--oil-level", "normal", "--oil-temperature", "31")
    assert run(desk, "visit", "AH-T1", "--on", "2026-05-01", *normal, "--no-ask").exit_code == 0
    assert run(desk, "followups", "add", "AH-T1", "--words", "lock stiff", "--on", "2026-06-01").exit_code == 0
    said = run(desk, "condition", "add", "AH-T1", "motor_current", "--words", "draws more")
    assert said.exit_code == 0, said.output
    text, data = sheet(desk, tmp_path, "--station", "AH")
    unit = data["units"][0]
    assert [(one["item"], one["kind"], one["seen"]) for one in unit["open"]] == [
        ("condition", "motor_current", ""),
        ("follow-up", "oil_level", "low"),
        ("follow-up", "other", ""),
        ("follow-up", "seepage", "flange"),
    ]
    assert ["oil level", "low", "2026-06-21"] in unit["last"]
    assert unit["normal"] == [[31.0, "2026-05-01"]]
    assert unit["vacuum"] is True
    for words in ("lock stiff", "draws more", "flange"):
        assert re.search(f"Open: [^<]*{words}", text), words  # on paper


def test_an_unknown_station_is_refused_with_a_near_name(desk: Path, tmp_path: Path) -> None:
    done = run(desk, "sheet", "--station", "AHH", "--out", str(tmp_path / "round.html"))
    assert done.exit_code == 2
    assert "Did you mean AH" in done.output


def test_a_counter_exchanged_since_its_last_reading_is_named_as_new(tmp_path: Path) -> None:
    desk = make_desk(tmp_path)
    assert run(desk, "event", "AH-T1", "counter_replaced", "--on", TODAY, "--new", "12").exit_code == 0
    text, data = sheet(desk, tmp_path, "--station", "AH")
    told = f"new counter on {TODAY}, began at 000012"
    assert [counter["last"] for counter in data["units"][0]["counters"]] == [told]
    assert told in text.split("<b>AH-T1</b>")[1]
