"""`tapwear followups` and `tapwear visit-rule`, and what visits showed in `due`, `why` and `next`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from desk_store import make_desk, run

from tapwear.words import stop_notice

OBSERVATIONS = """unit,observed_on,position,position_low,position_high,oil_level,oil_temp_c,breather,seepage
AH-T1,2025-01-10,5R,3R,8R,,,,
AH-T1,2026-05-20,4R,2R,7R,low,21,,drain valve; lid
BW-T1,2026-05-02,,,,,,blocked,
BW-T1,2026-06-02,,,,,,blocked,none
"""


@pytest.fixture
def db(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for name in ("NAME", "TODAY", "DB", "CONFIG"):
        monkeypatch.delenv(f"TAPWEAR_{name}", raising=False)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    store = make_desk(tmp_path)
    path = tmp_path / "observations.csv"
    path.write_text(OBSERVATIONS, encoding="utf-8")
    assert run(store, "import", str(path)).exit_code == 0
    return store


def said(db: Path, *words: str, code: int = 0, today: str = "2026-06-30") -> str:
    done = run(db, *words, today=today)
    assert done.exit_code == code, done.output
    return " ".join(done.output.split())


def listed(db: Path, *words: str, today: str = "2026-06-30") -> list[dict[str, Any]]:
    done = run(db, "followups", *words, "--json", today=today)
    assert done.exit_code == 0, done.output
    page = json.loads(done.stdout)
    assert page["schema"] == "tapwear.followups/1"
    rows: list[dict[str, Any]] = page["followups"]
    return rows


def test_what_visits_noted_is_listed_by_station_once_for_each_fault(db: Path) -> None:
    rows = listed(db)
    assert [(row["station"], row["unit"], row["kind"], row["words"], row["times"]) for row in rows] == [
        ("AH", "AH-T1", "oil_level", "oil level low at 21 °C", 1),
        ("AH", "AH-T1", "seepage", "drain valve", 1),
        ("AH", "AH-T1", "seepage", "lid", 1),
        ("BW", "BW-T1", "breather", "breather blocked", 2),
    ]
    page = said(db, "followups")
    assert "To follow up, as of 2026-06-30 4 open." in page
    assert "Station BW unit kind since BW-T1 breather 2026-05-02 breather blocked; seen 2 times" in page
    assert "de-energise" in page
    assert [row["unit"] for row in listed(db, "--station", "bw")] == ["BW-T1"]
    assert [row["unit"] for row in listed(db, "--unit", "ah-t1")] == ["AH-T1"] * 3
    assert listed(db, "--as-of", "2026-05-10")[0]["times"] == 1
    assert "XX" in said(db, "followups", "--station", "XX", code=2)


def test_closing_needs_to_be_unmistakable_and_holds_until_a_later_day_shows_it_again(db: Path) -> None:
    told = said(db, "followups", "close", "AH-T1", "seepage", "--words", "gasket renewed", code=2)
    assert "has 2 of seepage open: drain valve; lid. Say which with --which" in told
    told = said(
        db, "followups", "close", "AH-T1", "seepage", "--which", "DRAIN", "--words", "gasket renewed", "--by", "Lee"
    )
    assert "Closed on 2026-06-30 by Lee: AH-T1, drain valve." in told
    assert [row["words"] for row in listed(db, "--unit", "AH-T1")] == ["oil level low at 21 °C", "lid"]
    (closed,) = [row for row in listed(db, "--all") if row["closed_on"]]
    assert (closed["words"], closed["closed_words"], closed["by"]) == ("drain valve", "gasket renewed", "Lee")
    path = db.parent / "observations_2.csv"
    path.write_text("unit,observed_on,seepage\nAH-T1,2026-06-10,drain valve\n", encoding="utf-8")
    said(db, "import", str(path))  # a visit before the closing that comes in late
    assert [row["words"] for row in listed(db, "--unit", "AH-T1")] == ["oil level low at 21 °C", "lid"]
    path.write_text("unit,observed_on,seepage\nAH-T1,2026-07-10,Drain valve\n", encoding="utf-8")
    said(db, "import", str(path), today="2026-07-11")
    assert {row["words"]: row["times"] for row in listed(db, "--unit", "AH-T1", today="2026-07-11")}["Drain valve"] == 1


def test_a_closing_before_the_last_time_it_was_seen_is_refused_and_one_taken_back_is_open_again(db: Path) -> None:
    told = said(db, "followups", "close", "BW-T1", "breather", "--words", "new", "--on", "2026-05-20", code=2)
    assert "was seen on 2026-06-02; it cannot be closed on 2026-05-20" in told
    assert "no open follow-up coating; open: breather: breather blocked" in said(
        db, "followups", "close", "BW-T1", "coating", "--words", "painted", code=2
    )
    assert "KIND: 'paint' is none" in said(db, "followups", "close", "BW-T1", "paint", "--words", "painted", code=2)
    said(db, "followups", "close", "BW-T1", "breather", "--words", "desiccant renewed")
    assert listed(db, "--unit", "BW-T1") == []
    assert "Nothing is open" in said(db, "followups", "--unit", "BW-T1")
    told = said(db, "followups", "reopen", "BW-T1", "breather", "--because", "the wrong unit")
    assert "Open again: BW-T1, breather blocked, closed on 2026-06-30 before." in told
    assert len(listed(db, "--unit", "BW-T1")) == 1


def test_something_put_down_by_hand_stays_until_it_is_closed(db: Path) -> None:
    assert "Stored: AH-T2, other to follow up since 2026-06-30" in said(
        db, "followups", "add", "AH-T2", "--words", "lock of the cabinet stiff"
    )
    assert "nothing was added" in said(db, "followups", "add", "AH-T2", "--words", "lock of the cabinet stiff")
    (row,) = listed(db, "--unit", "AH-T2")
    assert (row["origin"], row["by"], row["words"]) == ("hand", "Kim", "lock of the cabinet stiff")
    said(db, "followups", "close", "AH-T2", "other", "--words", "oiled")
    assert listed(db, "--unit", "AH-T2") == []


def test_the_sheet_of_changes_names_what_visits_opened_since(db: Path) -> None:
    page = json.loads(run(db, "changes", "--since", "2026-05-10", "--json").stdout)
    assert [words.split(";")[0] for words in page["followups"]] == [
        "AH-T1: oil level low at 21 °C", "AH-T1: seepage: drain valve", "AH-T1: seepage: lid"
    ]  # fmt: skip
    assert "Follow-ups opened or closed AH-T1: oil level low" in said(db, "changes", "--since", "2026-05-10")


def test_a_unit_with_a_severe_finding_stands_apart_with_the_words_for_it_alone(db: Path) -> None:
    said(db, "condition", "add", "AH-T1", "relay_trip", "--words", "surge relay")
    page = said(db, "followups")
    apart, others = page.split("To follow up, as of")
    assert apart.startswith(f"{stop_notice('AH-T1')} For the engineer alone:")
    assert "STOP since 2026-06-30 AH-T1" in apart
    assert "AH-T1" not in others
    assert {row["unit"]: row["severe"] for row in listed(db)} == {"AH-T1": True, "BW-T1": False}
    assert "change-over" not in said(db, "due", "--all")
    assert "change-over" not in said(db, "why", "AH-T1")


def test_a_selector_not_seen_to_move_is_said_in_due_and_why_and_moves_no_date(db: Path) -> None:
    due = {row["unit"]: row for row in json.loads(run(db, "due", "--all", "--json").stdout)["dues"]}
    (words,) = due["AH-T1"]["observed"]
    assert words.startswith("no change-over selector operation recorded 2025-01-10 to 2026-05-20")
    assert words in due["AH-T1"]["doubts"]
    assert due["BW-T1"]["observed"] == []
    assert "ask the engineer before anybody exercises it" in said(db, "due", "--all")
    assert "No change-over selector operation recorded 2025-01-10" in said(db, "why", "AH-T1")
    said(db, "visit-rule", "set", "--unit", "AH-T1", "--still-after", "2 years")
    after = {row["unit"]: row for row in json.loads(run(db, "due", "--all", "--json").stdout)["dues"]}
    assert after["AH-T1"]["observed"] == []
    assert after["AH-T1"]["early"] == due["AH-T1"]["early"]


def test_a_visit_rule_is_set_listed_and_asked_for_by_next(db: Path) -> None:
    assert "No visit rule is set" in said(db, "visit-rule", "list")
    told = said(db, "visit-rule", "set", "--scheme", "R", "--read", "monthly", "--sample", "1 year", "--because", "own")
    assert "Set: scheme R: read every 30 days (before: none); sample every 365 days (before: none); " in told
    assert "provenance own (before: none)" in told
    assert "has that rule already" in said(db, "visit-rule", "set", "--scheme", "R", "--read", "30")
    looks = {row["unit"]: row for row in json.loads(run(db, "next", "--json").stdout)["looks"]}
    assert looks["BW-T1"]["reading"] == "last read 15 months ago; the visit rule says every 30 days"
    assert looks["BW-T1"]["reading_overdue"]
    said(db, "visit-rule", "set", "--unit", "BW-T1", "--read", "2 years")
    looks = {row["unit"]: row for row in json.loads(run(db, "next", "--all", "--json").stdout)["looks"]}
    assert not looks["BW-T1"]["reading_overdue"]
    rows = json.loads(run(db, "visit-rule", "list", "--json").stdout)
    assert [(row["scheme"], row["unit"], row["read_every_days"]) for row in rows] == [("R", "", 30), ("", "BW-T1", 730)]
    said(db, "visit-rule", "set", "--unit", "BW-T1", "--read", "none")
    assert "is no time; write" in said(db, "visit-rule", "set", "--unit", "BW-T1", "--read", "soon", code=2)
    told = said(db, "visit-rule", "set", "--scheme", "Q", "--read", "30", code=2)
    assert "There is no scheme Q; there are: R." in told
