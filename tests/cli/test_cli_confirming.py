"""Rows that are probably wrong wait for a named person's word, with the units that they matter for."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path

import pytest
from desk_store import make_desk, run


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    path = make_desk(tmp_path)
    take(
        path, "service_rules_more.csv", "scheme,task,interval_operations,interval_years\nQ,contact service,68500,7\n", 0
    )
    return path


def take(desk: Path, name: str, text: str, code: int = 3) -> str:
    (desk.parent / name).write_text(text, encoding="utf-8")
    done = run(desk, "import", str(desk.parent / name))
    assert done.exit_code == code, done.output
    return done.stderr


def query(desk: Path, text: str) -> list[tuple[object, ...]]:
    raw = sqlite3.connect(desk)
    found = raw.execute(text).fetchall()
    raw.close()
    return found


UNITS = "unit,station,counter_digits,scheme\nCX-T1,CX,6,X\nCX-T2,CX,6,X\n"
RULE = "scheme,task,interval_operations\nX,contact service,600000\n"


def test_an_interval_ten_times_its_peers_waits_and_is_stored_on_a_persons_word(desk: Path) -> None:
    take(desk, "units.csv", UNITS, 0)
    told = take(desk, "service_rules.csv", RULE)
    assert "held: " in told
    assert "about ten times what like ones have (64,250) (units: CX-T1, CX-T2)" in told
    assert "tapwear confirm 1 --because REASON" in told
    assert query(desk, "SELECT count(*) FROM service_rule WHERE interval_operations = 600000") == [(0,)]
    assert "held: " in run(desk, "findings").stdout
    listed = run(desk, "confirm").stdout
    assert listed.startswith("1  service rules, ")
    assert "it matters for CX-T1, CX-T2" in listed
    assert json.loads(run(desk, "confirm", "--json").stdout)[0]["units"] == ["CX-T1", "CX-T2"]
    assert run(desk, "confirm", "1").exit_code == 2  # without a reason
    done = run(desk, "confirm", "1", "--by", "K. Arden", "--because", "manual, page 12")
    assert done.exit_code == 0, done.output
    assert query(desk, "SELECT interval_operations FROM service_rule ORDER BY id DESC LIMIT 1") == [(600000,)]
    assert query(desk, "SELECT decision, recorded_by, reason FROM held_decision") == [
        ("stored", "K. Arden", "manual, page 12")
    ]
    assert run(desk, "confirm").stdout == ""
    take(desk, "service_rules.csv", RULE, 0)  # known by now


def test_a_held_row_handed_in_again_waits_once_and_a_dropped_one_stays_dropped(desk: Path) -> None:
    take(desk, "service_rules.csv", RULE)
    take(desk, "service_rules.csv", RULE)
    assert query(desk, "SELECT count(*) FROM held_row") == [(1,)]
    assert run(desk, "confirm", "--all", "--drop", "--because", "a nought too many").exit_code == 0
    assert "dropped by Kim" in take(desk, "service_rules.csv", RULE, 0)
    assert query(desk, "SELECT count(*) FROM service_rule WHERE interval_operations = 600000") == [(0,)]
    assert run(desk, "confirm", "1", "--because", "x").exit_code == 2


def test_a_dry_run_tells_what_it_would_hold_and_holds_nothing(desk: Path) -> None:
    (desk.parent / "service_rules.csv").write_text(RULE, encoding="utf-8")
    done = run(desk, "import", "--dry-run", str(desk.parent / "service_rules.csv"))
    assert "held: " in done.stderr
    assert query(desk, "SELECT count(*) FROM held_row") == [(0,)]


def test_with_a_held_unit_its_rows_wait_and_all_are_stored_together(desk: Path) -> None:
    many = "".join(f"R-{n},AH,6,N{n},R\n" for n in range(8))
    take(desk, "units.csv", f"unit,station,counter_digits,bank,scheme\n{many}", 0)
    folder = desk.parent / "new"
    folder.mkdir()
    (folder / "units.csv").write_text("unit,station,counter_digits,bank,scheme\nNEW,AH,7,N9,R\n", encoding="utf-8")
    (folder / "readings.csv").write_text(
        "unit,read_on,value\nNEW,2026-01-05,700\nnew,2026-02-05,800\n", encoding="utf-8"
    )
    done = run(desk, "import", str(folder))
    assert done.exit_code == 3
    assert "7 digits, where all 11 similar units have 6" in done.stderr
    assert done.stderr.count("itself is held (number 1)") == 2
    assert run(desk, "confirm", "--all", "--because", "seen on site").exit_code == 0
    assert query(desk, "SELECT count(*) FROM reading WHERE value IN (700, 800)") == [(2,)]


def test_work_on_the_wrong_unit_and_days_of_another_century_wait(desk: Path) -> None:
    told = take(
        desk,
        "services.csv",
        "unit,done_on,work,as_found_counter\nAH-T1,2024-06-03,contact replacement,30200\n"
        "BW-T1,2020-05-02,overhaul,\nAH-T2,1924-06-03,inspection,\n",
    )
    assert "BW-T1 was overhauled on 2020-03-02, too" in told
    assert "1924-06-03 is 102 years away: is the century right? (units: AH-T2)" in told
    assert query(desk, "SELECT count(*) FROM held_row") == [(2,)]  # the counter of AH-T1 fits
    station = "".join(
        f"AH-T9,20{y}-{m:02d}-10,{200000 + 9000 * (y - 20) + 700 * m}\n" for y in range(20, 26) for m in (1, 7)
    )
    take(desk, "units.csv", "unit,station,counter_digits,bank,scheme\nAH-T9,AH,6,T9,R\n", 0)
    take(desk, "readings.csv", f"unit,read_on,value\n{station}", 0)
    told = take(desk, "services.csv", "unit,done_on,work,as_found_counter\nAH-T1,2024-08-03,inspection,241500\n")
    assert "241,500 cannot have been on the counter of AH-T1 on 2024-08-03, but on that of AH-T9" in told


def test_of_two_overhauls_in_one_file_the_later_one_waits(desk: Path) -> None:
    (desk.parent / "services.csv").write_text(
        "unit,done_on,work\nBW-T1,2024-06-05,overhaul\nBW-T1,2024-05-05,overhaul\n", encoding="utf-8"
    )
    done = run(desk, "import", str(desk.parent / "services.csv"))
    assert done.exit_code == 3
    assert done.stdout.splitlines()[0].split() == [
        "table",
        "stored",
        "already",
        "known",
        "in",
        "conflict",
        "rejected",
        "held",
    ]
    assert done.stdout.splitlines()[1].split() == ["services", "1", "0", "0", "0", "1"]
    assert "BW-T1,2024-06-05" in run(desk, "confirm").stdout


def test_a_laboratory_file_with_exchanged_columns_waits_as_a_whole(desk: Path) -> None:
    head = "unit,sampled_on,acetylene_ul_per_l,hydrogen_ul_per_l,reference\n"
    past = "".join(f"{u},{d},{a},{h},\n" for u, a, h in (("AH-T1", 900, 60), ("AH-T2", 1100, 70), ("BW-T1", 700, 50))
                   for d in ("2023-05-04", "2024-05-04"))  # fmt: skip
    take(desk, "samples_old.csv", head + past, 0)
    new = "AH-T1,2025-05-04,62,950,a\nAH-T2,2025-05-04,75,1200,b\nBW-T1,2025-05-04,52,730,c\n"
    told = take(desk, "samples_new.csv", head + new)
    assert "in 3 of the 3 rows of this file hydrogen_ul_per_l and acetylene_ul_per_l seem to be exchanged" in told
    assert "(units: AH-T1, AH-T2, BW-T1)" in told
    assert query(desk, "SELECT count(*) FROM sample WHERE sampled_on > '2025'") == [(0,)]
    sound = "AH-T1,2025-05-04,950,62,a\nAH-T2,2025-05-04,1200,75,b\nBW-T1,2025-05-04,730,52,c\n"
    take(desk, "samples_new.csv", head + sound, 0)


def test_a_typed_interval_or_counter_that_like_units_contradict_needs_a_reason(desk: Path) -> None:
    odd = run(desk, "unit", "change", "ah-t1", "--interval-operations", "600000")
    assert odd.exit_code == 3
    assert "about ten times what like ones have (64,250). It matters for AH-T1." in odd.stderr
    assert query(desk, "SELECT count(*) FROM service_rule WHERE tap_changer_id IS NOT NULL") == [(0,)]
    sure = run(desk, "unit", "change", "AH-T1", "--interval-operations", "600000", "--sure", "maker's letter")
    assert sure.exit_code == 0, sure.output
    assert query(desk, "SELECT DISTINCT reason FROM register_change WHERE reason <> ''") == [("maker's letter",)]
    assert run(desk, "unit", "change", "AH-T1", "--interval-operations", "60000").exit_code == 0
    old = run(desk, "unit", "add", "CX-T1", "--station", "AH", "--digits", "6", "--commissioned", "1908-01-15")
    assert old.exit_code == 3
    assert "is the century right?" in old.stderr


@pytest.mark.parametrize("words", [("log", "AH-T1", "100"), ("service", "AH-T1", "--work", "overhaul")])
def test_a_typed_day_of_another_century_is_refused_with_the_way_for_old_records(
    desk: Path, words: tuple[str, ...]
) -> None:
    done = run(desk, *words, "--on", "1924-05-01")
    assert done.exit_code == 2
    assert "102 years away: is the century right? A record as old as that" in done.stderr


def test_the_invented_fleet_is_taken_without_a_held_row(tmp_path: Path) -> None:
    from tapwear.cli.intake import demo_folder

    run(tmp_path / "fleet.db", "init")
    assert run(tmp_path / "fleet.db", "import", str(demo_folder())).exit_code == 0
    assert query(tmp_path / "fleet.db", "SELECT count(*) FROM held_row") == [(0,)]


def test_a_visit_of_another_century_in_a_file_is_refused(desk: Path) -> None:
    visit = {"id": "a" * 32, "unit": "AH-T1", "visited_on": "1926-06-01", "counters": [{"value": 100}]}
    told = take(desk, "visits.json", json.dumps({"tapwear_visits": 1, "visits": [visit]}))
    assert "AH-T1: 1926-06-01 is 100 years away: is the century right? -> correct the date" in told
    assert query(desk, "SELECT count(*) FROM visit") == [(0,)]
