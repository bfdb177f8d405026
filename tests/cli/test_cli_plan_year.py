"""A planner's year on a small real store: inputs, plan, publication, work, and the plan built again."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from tapwear.cli.app import app

UNITS = "unit,station,bank,counter_digits,region,interval_years\n" + "".join(
    f"{unit},{station},{unit},6,North,7\n"
    for unit, station in (("A1", "ALDER"), ("A2", "ALDER"), ("B1", "BIRCH"), ("C1", "CEDAR"))
)
SERVICES = "unit,done_on,work\nA1,2020-04-15,overhaul\nA2,2020-05-20,overhaul\nB1,2020-09-10,overhaul\n"
SERVICES += "C1,2022-03-01,overhaul\n"  # due 2029: not in the plan of 2027
READINGS = "unit,read_on,value\n" + "".join(
    f"{unit},{year}-06-01,{100 * (year - 2019)}\n" for unit in ("A1", "A2", "B1", "C1") for year in range(2020, 2027)
)


def run(folder: Path, *words: str, today: str = "2026-06-30") -> Result:
    env = {"NO_COLOR": "1", "TAPWEAR_NAME": "A. Planner", "TAPWEAR_TODAY": today, "COLUMNS": "200"}
    done = CliRunner(env=env).invoke(app, ["--db", str(folder / "fleet.db"), *words])
    assert done.exit_code in (0, 2, 3, 6), done.output
    return done


@pytest.fixture
def fleet(tmp_path: Path) -> Path:
    for name, text in (("units", UNITS), ("services", SERVICES), ("readings", READINGS)):
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    run(tmp_path, "init")
    files = [str(tmp_path / f"{name}.csv") for name in ("units", "services", "readings")]
    assert run(tmp_path, "import", *files).exit_code == 0
    return tmp_path


def weeks(folder: Path, name: str = "", today: str = "2026-06-30") -> dict[str, str | None]:
    shown = run(folder, "plan", "show", *([name] if name else []), "--json", today=today)
    return {row["unit"]: row["start_week"] for row in json.loads(shown.stdout)["jobs"]}


def test_a_planner_s_year(fleet: Path) -> None:
    assert run(fleet, "plan", "build", "2027").exit_code == 0
    assert weeks(fleet) == {"A1": "2027-W15", "A2": "2027-W20", "B1": "2027-W36"}  # each just before its certain day

    refused = run(fleet, "plan", "input", "close", "ALDER", "--weeks", "W60..W61")
    assert (refused.exit_code, "W24..W35" in refused.stderr) == (2, True)
    assert run(fleet, "plan", "input", "close", "ALDER", "--weeks", "W14..W17", "--why", "spring fair").exit_code == 0
    assert run(fleet, "plan", "pin", "B1", "2027-W30", "--because", "line team there").exit_code == 0
    assert run(fleet, "plan", "build", "2027", "--keep-close").exit_code == 0
    assert weeks(fleet) == {"A1": "2027-W13", "A2": "2027-W20", "B1": "2027-W30"}

    told = run(fleet, "plan", "compare", "2027-a", "2027-b").stdout
    assert "2 moved, 0 added, 0 dropped, 1 in the same week" in told
    assert "station ALDER closed in 2027-W15 (spring fair)" in told
    assert "pinned to 2027-W30" in told
    assert "6 weeks sooner" in told

    assert run(fleet, "plan", "publish", "2027-b").exit_code == 0
    listed = run(fleet, "plan", "list").stdout
    assert "published" in listed
    assert "A. Planner" in listed

    asked = run(fleet, "plan", "request", "A1", "approved", "--person", "control room", today="2027-02-01")
    assert "outage of A1 in 2027-W13 approved" in asked.stderr
    run(fleet, "plan", "progress", "A1", "started", "--on", "2027-03-30", today="2027-03-31")
    rebuilt = run(fleet, "plan", "build", "2027", today="2027-03-31")
    assert rebuilt.exit_code == 0, rebuilt.output
    assert weeks(fleet, today="2027-03-31") == {"A1": "2027-W13", "A2": "2027-W20", "B1": "2027-W30"}

    run(fleet, "plan", "progress", "A1", "done", today="2027-04-02")
    assert run(fleet, "plan", "build", "2027", today="2027-04-02").exit_code == 0
    assert set(weeks(fleet, today="2027-04-02")) == {"A2", "B1"}
    assert "no service is recorded" in run(fleet, "plan", "show", today="2027-04-02").stdout

    (fleet / "done.csv").write_text("unit,done_on,work\nA1,2027-04-02,overhaul\n", encoding="utf-8")
    (fleet / "done.csv").rename(fleet / "services_2.csv")
    assert run(fleet, "import", str(fleet / "services_2.csv"), today="2027-04-05").exit_code == 0
    shown = json.loads(run(fleet, "plan", "show", "2027-b", "--json", today="2027-04-05").stdout)["jobs"]
    a1 = next(row for row in shown if row["unit"] == "A1")
    assert (a1["progress"], a1["done_on"], a1["request_status"]) == ("done", "2027-04-02", "approved")
    assert run(fleet, "plan", "build", "2027", "--follow", "2027-b", today="2027-04-05").exit_code == 0
    dropped = run(fleet, "plan", "compare", "2027-b", "2027-e").stdout
    assert "contact service due from 2034-04-02, last done on 2027-04-02" in dropped


def test_publishing_supersedes_and_is_refused_past_a_limit_without_a_deferral(fleet: Path) -> None:
    run(fleet, "plan", "build", "2027")
    assert run(fleet, "plan", "publish", "2027-a").exit_code == 0
    again = run(fleet, "plan", "publish", "2027-a")
    assert (again.exit_code, "already" in again.stderr) == (2, True)
    run(fleet, "plan", "pin", "A1", "2027-W30")
    run(fleet, "plan", "build", "2027")
    refused = run(fleet, "plan", "publish", "2027-b")
    assert refused.exit_code == 2
    assert "A1 starts in 2027-W30: contact service due on 2027-04-15, over 99 % past due by then" in refused.stderr
    assert "tapwear defer add" in refused.stderr
    run(fleet, "defer", "add", "A1", "--engineer", "K. Lund", "--reason", "no bypass", "--until", "2027-08-31",
        "--checks", "monthly sample")  # fmt: skip
    assert "It supersedes 2027-a." in run(fleet, "plan", "publish", "2027-b").stderr
    statuses = [line.split()[5] for line in run(fleet, "plan", "list").stdout.splitlines()[1:]]
    assert statuses == ["superseded", "published"]
    assert "no plan named '2030-x'" in run(fleet, "plan", "publish", "2030-x").stderr


def test_a_published_plan_is_followed_unless_told_otherwise(fleet: Path) -> None:
    run(fleet, "plan", "build", "2028", "--name", "next year")
    run(fleet, "plan", "pin", "A2", "2027-W10")
    run(fleet, "plan", "build", "2027")
    run(fleet, "plan", "publish", "2027-a")
    run(fleet, "plan", "unpin", "A2")
    run(fleet, "plan", "build", "2027")
    assert weeks(fleet)["A2"] == "2027-W10"
    run(fleet, "plan", "build", "2027", "--afresh")
    assert weeks(fleet)["A2"] == "2027-W20"
    both = run(fleet, "plan", "build", "2027", "--afresh", "--keep-close")
    assert (both.exit_code, "--afresh follows no plan" in both.stderr) == (2, True)
    other = run(fleet, "plan", "build", "2027", "--follow", "next year")
    assert (other.exit_code, "is a plan of 2028" in other.stderr) == (2, True)


def test_costs_are_stated_kept_and_used(fleet: Path) -> None:
    assert "nobody has stated others" in run(fleet, "plan", "costs").stderr
    silent = run(fleet, "plan", "costs", "--late", "20")
    assert (silent.exit_code, "--because" in silent.stderr) == (2, True)
    stated = run(fleet, "plan", "costs", "--early", "0", "--because", "kits are cheap")
    assert "A. Planner: kits are cheap" in stated.stderr
    assert [line.split()[:2] for line in stated.stdout.splitlines()[1:3]] == [["late", "10"], ["early", "0"]]
    run(fleet, "plan", "costs", "--trip", "5", "--because", "one van")
    run(fleet, "plan", "build", "2027")
    kept = json.loads(run(fleet, "plan", "show", "--json").stdout)["costs"]
    assert (kept["early"], kept["trip"], kept["late"]) == (0, 5, 10)


def test_every_input_can_be_given_listed_and_dropped(fleet: Path) -> None:
    given = [
        ("close", "ALDER", "--weeks", "W24..W35"),
        ("close", "ALDER", "--from", "2027-01-11", "--to", "2027-01-22", "--why", "busbar"),
        ("group", "ring", "--station", "ALDER"),
        ("group", "ring", "--unit", "B1"),
        ("crew", "North", "2027-W05", "80"),
        ("team", "Team 4", "North", "120", "--skills", "vacuum;reactor type"),
        ("holiday", "Team 4", "--from", "2027-07-05", "--to", "2027-07-23"),
        ("resource", "mobile transformer", "1"),
        ("terms", "--station", "CEDAR", "--permit-weeks", "3", "--resources", "mobile transformer"),
        ("other", "line 3", "--station", "BIRCH", "--from", "2027-04-05", "--to", "2027-04-16"),
    ]
    for words in given:
        assert "Stored:" in run(fleet, "plan", "input", *words).stderr, words
        assert "so already" in run(fleet, "plan", "input", *words).stderr, words
    run(fleet, "plan", "work", "A1", "bushing tests")
    run(fleet, "plan", "forbid", "A1", "2027-W20..2027-W22")
    found = json.loads(run(fleet, "plan", "input", "list", "--json").stdout)
    assert {kind: len(rows) for kind, rows in found.items()} == {
        "closure": 1, "yearly closure": 1, "transfer group": 2, "crew": 1, "team": 1, "holiday": 1, "resource": 1,
        "terms": 1, "other outage": 1, "note": 2,
    }  # fmt: skip
    for kind, rows in found.items():
        for row in rows:
            done = run(fleet, "plan", "input", "drop", kind, str(row["row_id"]), "--because", "no longer")
            assert "Taken back" in done.stderr
    assert "Nothing is given yet" in run(fleet, "plan", "input", "list").stderr
    gone = run(fleet, "plan", "input", "drop", "team", "1", "--because", "x")
    assert (gone.exit_code, "There is no team number 1" in gone.stderr) == (2, True)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("pin", "A1", "2027-W53"), "WEEK: the weeks of 2027 run from W01 to W52, found '2027-W53'."),
        (("pin", "Z9", "2027-W10"), "There is no unit Z9"),
        (("forbid", "A1", "2027-W10..2027-W05"), "runs backwards"),
        (("unpin", "A1"), "A1 is not pinned to any week"),
        (("allow", "A1", "2027-W10"), "A1 is not forbidden in 2027-W10"),
        (("request", "A1", "asked"), "--week 2027-W18"),
        (("progress", "A1", "done", "--on", "2027-01-01"), "lies in the future"),
        (("input", "holiday", "Team 9", "--from", "2027-07-05", "--to", "2027-07-23"), "there is no team Team 9"),
        (("input", "terms", "--station", "ALDER"), "nothing but whom it is for"),
        (("input", "terms", "--permit-weeks", "3"), "neither station nor scheme nor unit"),
        (("input", "group", "ring", "--station", "ALDER", "--unit", "A1"), "both station and unit"),
        (("input", "list", "wishes"), "There is no kind"),
        (("input", "close", "ALDER", "--from", "2027-07-05"), "--to: from 2027-07-05 to nothing; give both days"),
        (("input", "resource", "crane", "1.5"), "'1.5' is not a whole number; write a whole number"),
        (("compare", "2027-a", "2027-b"), "There is no plan yet"),
    ],
)
def test_what_cannot_be_is_said_in_a_sentence(fleet: Path, words: tuple[str, ...], said: str) -> None:
    done = run(fleet, "plan", *words)
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr


@pytest.mark.parametrize(
    ("weeks", "said"),
    [
        ("W30..W20", "ALDER closed every year in W30..W20, over the turn of the year."),
        ("w20..w30", "ALDER closed every year in w20..w30."),
        ("2027-W20..2028-W02", "ALDER closed 2027-W20..2028-W02."),
    ],
)
def test_what_a_closure_means_is_said_back(fleet: Path, weeks: str, said: str) -> None:
    assert f"Stored: {said}" in run(fleet, "plan", "input", "close", "ALDER", "--weeks", weeks).stderr


def test_a_plan_s_name_with_a_blank_is_quoted_in_the_command_to_go_on_with(fleet: Path) -> None:
    done = run(fleet, "plan", "build", "2027", "--name", "first try")
    assert "tapwear plan export 'first try' --format html" in done.stderr


def test_a_pin_to_a_week_that_is_over_is_questioned(fleet: Path) -> None:
    assert "2025-W18 is over" in run(fleet, "plan", "pin", "A1", "2025-W18").stderr
    assert "is over" not in run(fleet, "plan", "pin", "A1", "2027-W18").stderr


def test_contradictory_pins_end_with_a_plan_that_says_so(fleet: Path) -> None:
    run(fleet, "plan", "pin", "A1", "2027-W15")
    run(fleet, "plan", "pin", "A2", "2027-W15")  # one transformer at a time in a station
    done = run(fleet, "plan", "build", "2027")
    assert done.exit_code == 6
    assert "pinned to 2027-W15: another outage at station ALDER in week 15 (A1)" in done.stdout
    notes = fleet / "job_notes.csv"
    notes.write_text("unit,kind,weeks\nA1,pin,2027-W20\n", encoding="utf-8")
    told = run(fleet, "import", str(notes))
    assert told.exit_code == 3
    assert "pinned to 2027-W15 already" in told.stderr + told.stdout


def test_an_empty_fleet_and_a_year_without_work_make_no_plan(tmp_path: Path, fleet: Path) -> None:
    (tmp_path / "none").mkdir()
    run(tmp_path / "none", "init")
    for words in (("plan", "build", "2027"), ("plan", "build", "2032")):
        assert "Nothing falls due by the end of" in run(tmp_path / "none", *words).stderr
    assert "No unit in service has a date" in run(tmp_path / "none", "plan", "ahead").stderr
    run(fleet, "plan", "build", "2032")
    assert set(weeks(fleet)) == {"A1", "A2", "B1", "C1"}


def test_years_ahead_bring_each_interval_again(fleet: Path) -> None:
    found = json.loads(run(fleet, "plan", "ahead", "--years", "8", "--json").stdout)
    assert found["schema"] == "tapwear.ahead/1"
    means = {year["year"]: year["overhauls"]["mean"] for year in found["years"]}
    assert means == {2026: 0, 2027: 3, 2028: 0, 2029: 1, 2030: 0, 2031: 0, 2032: 0, 2033: 0, 2034: 3}
    assert "3-3" in run(fleet, "plan", "ahead").stdout


def test_crews_without_hours_stop_all_and_the_year_s_turn_and_week_53_are_planned(fleet: Path) -> None:
    rows = "unit,station,counter_digits,region,interval_years\nD1,DRAKE,6,North,7\n"
    (fleet / "units_2.csv").write_text(rows, encoding="utf-8")
    (fleet / "services_2.csv").write_text("unit,done_on,work\nD1,2019-12-30,overhaul\n", encoding="utf-8")
    run(fleet, "import", str(fleet / "units_2.csv"), str(fleet / "services_2.csv"))
    assert run(fleet, "plan", "build", "2026").exit_code == 0
    assert weeks(fleet) == {"D1": "2026-W53"}  # from Monday, 28 December
    run(fleet, "plan", "progress", "D1", "started", "--on", "2026-12-30", today="2027-01-02")
    assert run(fleet, "plan", "build", "2027", today="2027-01-05").exit_code == 0
    assert weeks(fleet, today="2027-01-05")["D1"] == "2027-W01"  # not done yet
    run(fleet, "plan", "input", "team", "Nobody", "North", "0")
    stopped = run(fleet, "plan", "build", "2028")
    assert stopped.exit_code == 6
    assert "region North has fewer than the 80 crew hours in weeks 1-52" in stopped.stdout


def test_what_the_published_plan_of_the_year_before_has_to_come_is_left_to_it(fleet: Path) -> None:
    run(fleet, "plan", "build", "2027")
    run(fleet, "plan", "publish", "2027-a")
    done = run(fleet, "plan", "build", "2028", today="2027-05-03")  # A1 was planned for 2027-W15 and not done
    assert weeks(fleet, today="2027-05-03").keys() == {"A1"}
    assert "Planned already and left out: A2 (plan 2027-a, 2027-W20), B1 (plan 2027-a, 2027-W36)." in done.stdout


def test_a_pin_of_a_unit_with_nothing_due_is_said_in_the_plan(fleet: Path) -> None:
    run(fleet, "plan", "pin", "C1", "2027-W20")
    shown = run(fleet, "plan", "build", "2027").stdout
    assert "C1 is pinned to 2027-W20, but nothing of it falls due: no job." in shown
