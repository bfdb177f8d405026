"""The scheduler's commands, run through all layers on a small fleet whose frames the test writes down itself."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import subprocess
import sys
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner, Result

from tapwear import blocks, fleet
from tapwear.cli.app import app
from tapwear.cli.backtesting import read_origins
from tapwear.cli.periods import last_day
from tapwear.errors import UsageError
from tapwear.oil.types import GASES
from tapwear.store import loading
from tapwear.store.book import Book
from tapwear.store.engine import Store, create_store
from tapwear.store.models import TapChanger

TAGS = ("ASH-T1", "ASH-T2", "ELM-T1", "OAK-T1")
VISITS = pd.date_range("2020-01-01", "2024-12-15", freq="MS").astype("datetime64[us]")
DAY = "2024-12-31"


def book() -> Book:
    """Four units read monthly for five years; 1,000 a month, ELM-T1 200; OAK-T1 has no service on record."""
    count = len(TAGS)
    units = pd.DataFrame(
        {
            "unit": TAGS,
            "station": ["ASH", "ASH", "ELM", "OAK"],
            "region": ["North", "North", "South", "South"],
            "bank": ["T1", "T2", "T1", "T1"],
            "place": TAGS,
            "state": "in service",
            "technology": "arcing_resistor",
            "breathing": "free",
            "peer_group": "town",
            "oil_group": "",
            **{
                name: [""] * count
                for name in (
                    *("station_name", "neighbourhood", "phase", "serial", "transformer_serial", "conservator"),
                    *("scheme", "visit_cadence"),
                )
            },
            **{
                name: [np.nan] * count
                for name in ("oil_volume_l", "main_tank_volume_l", "rated_current_a", "step_voltage_v")
            },
            "commissioned_on": pd.to_datetime(["2001-05-01"] * count).astype("datetime64[us]"),
            "sampling_needs_outage": False,
            "digits": 6,
        }
    )
    rules = pd.DataFrame(
        {
            "unit": TAGS,
            "task": "contact service",
            "interval_operations": 70_000.0,
            "interval_years": np.nan,
            "duration_days": 2.0,
            "crew_hours": 32.0,
            "kit": "",
            "lead_time_weeks": np.nan,
            "provenance": "manual",
        }
    )
    monthly = {"ASH-T1": 1_000, "ASH-T2": 1_000, "ELM-T1": 200, "OAK-T1": 1_000}
    readings = pd.DataFrame(
        [
            {"unit": tag, "read_on": day, "value": 10_000 + monthly[tag] * i + 7 * (i % 3)}
            for tag in TAGS
            for i, day in enumerate(VISITS)
        ]
    )
    readings = readings.assign(reading_id=range(len(readings)), drive="1", source="mechanical", digits=6)
    none = pd.Series(dtype="datetime64[us]")
    samples: dict[str, object] = {
        name: [] for name in ("sample_id", "unit", "compartment", "taken_from", "laboratory", "reference")
    }
    samples |= {gas: pd.Series(dtype=float) for gas in GASES} | {f"{gas}_below": pd.Series(dtype=bool) for gas in GASES}
    samples |= {name: pd.Series(dtype=float) for name in ("moisture_mg_per_kg", "breakdown_kv", "oil_temp_c")}
    services = pd.DataFrame(
        {
            "service_id": range(3),
            "unit": ["ASH-T1", "ASH-T2", "ELM-T1"],
            "done_on": pd.to_datetime(["2020-02-01", "2018-06-01", "2020-02-01"]).astype("datetime64[us]"),
            "work": "overhaul",
            "resets": [("contact service",)] * 3,
            "as_found_counter": np.nan,
            "as_left_counter": np.nan,
            "contact_left_mm": np.nan,
            "condemning_limit_mm": np.nan,
        }
    )
    return Book(
        units=units,
        rules=rules,
        readings=readings,
        events=pd.DataFrame(
            {"unit": [], "happened_on": none, "kind": [], "drive": [], "old_reading": [], "new_reading": []}
        ).astype({"unit": str, "kind": str, "drive": str, "old_reading": float, "new_reading": float}),
        stays=pd.DataFrame({"unit": [], "place": [], "from_on": none, "to_on": none, "state": []}).astype(
            {"unit": str, "place": str, "state": str}
        ),
        samples=pd.DataFrame({**samples, "sampled_on": none, "breakdown_method": []}).astype(
            {name: str for name in ("unit", "compartment", "taken_from", "laboratory", "reference")}
        ),
        oil_events=pd.DataFrame({"unit": [], "happened_on": none, "kind": []}).astype({"unit": str, "kind": str}),
        services=services,
        closures=pd.DataFrame(columns=["station", "from_on", "to_on", "why"]),
        transfer_groups=pd.DataFrame(columns=["group", "station", "unit"]),
        crews=pd.DataFrame(columns=["region", "week", "hours"]),
    )


@pytest.fixture(scope="module")
def assessment() -> fleet.Assessment:
    day = date.fromisoformat(DAY)
    return fleet.assess_book(fleet.known_on(book(), day), day)


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, assessment: fleet.Assessment) -> Store:
    """A store that holds the four tags; what is loaded and assessed is the small fleet above."""
    made = create_store(tmp_path / "fleet.db")
    with made.unit_of_work() as session:
        session.add_all(TapChanger(tag=tag) for tag in TAGS)
    monkeypatch.setattr(blocks, "fleet_dates", lambda store, as_of: assessment)
    monkeypatch.setattr(fleet, "assess_units", lambda store, tags, as_of: assessment)
    monkeypatch.setattr(loading, "load_book", lambda store, unit=None, as_of=None: book())
    return made


def run(store: Store, *words: str) -> Result:
    env = {"NO_COLOR": "1", "COLUMNS": "100", "TAPWEAR_TODAY": DAY}
    return CliRunner(env=env).invoke(app, ["--db", str(store.path), *words])


def tags_of(done: Result) -> list[str]:
    """The units in the order in which plain columns list them."""
    return [re.split(r"\s{2,}", line)[3] for line in done.stdout.splitlines()[1:]]


def test_due_puts_the_list_on_standard_output_and_the_caution_on_standard_error(store: Store) -> None:
    done = run(store, "due")
    assert done.exit_code == 0
    lines = done.stdout.splitlines()
    assert lines[0].startswith("early       middle      late        unit")
    # ASH-T2 has made 24,000 to 36,000 before the first reading and 59,000 since: past 70,000. ELM-T1 is years away.
    assert tags_of(done) == ["ASH-T2", "ASH-T1", "OAK-T1"]
    assert "Not shown (due after 2026-12-31; --all shows everything): 1 unit." in done.stderr
    assert "neither a switching permit nor a diagnosis" in done.stderr
    assert f"tapwear --db {store.path} why ASH-T2\n" in done.stderr
    assert "plan build 2025\n" in done.stderr


def test_due_says_overdue_unknown_and_later_in_words(store: Store) -> None:
    rows = {re.split(r"\s{2,}", line)[3]: line for line in run(store, "due", "--all").stdout.splitlines()[1:]}
    assert "Overdue since about" in rows["ASH-T2"]
    assert rows["OAK-T1"].startswith("unknown     unknown     unknown")
    assert "If never serviced:" in rows["OAK-T1"]
    assert "after 2039" in rows["ELM-T1"]


def test_due_as_json_and_csv_hold_the_same_units(store: Store) -> None:
    page = json.loads(run(store, "due", "--json", "--all").stdout)
    rows = list(csv.DictReader(io.StringIO(run(store, "due", "--csv", "--all").stdout)))
    assert page["schema"] == "tapwear.due/1"
    assert page["until"] is None
    assert [due["unit"] for due in page["dues"]] == [row["unit"] for row in rows]
    assert len(rows) == 4


def test_due_filters_say_what_they_hide(store: Store) -> None:
    done = run(store, "due", "--station", "elm", "--all")
    assert tags_of(done) == ["ELM-T1"]
    assert "Not shown (by --station elm): 3 units, 1 of them overdue, 1 with no date." in done.stderr
    both = run(store, "due", "--driver", "unknown", "--region", "South", "--all")
    assert tags_of(both) == ["OAK-T1"]
    assert "Not shown (by --region South): 2 units, 1 of them overdue." in both.stderr
    assert "Not shown (by --driver unknown): 1 unit." in both.stderr


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--station", "ASHH"), "There is no station ASHH in the list. Did you mean ASH?"),
        (("--task", "polishing"), "There is no task polishing in the list. Known: contact service."),
        (("--within", "soon"), "a period is written like '18 months'"),
        (("--as-of", "31.12.2024"), "a date is written like 2026-06-30"),
        (("--json", "--csv"), "not both"),
    ],
)
def test_due_explains_what_it_did_not_understand(store: Store, words: tuple[str, ...], message: str) -> None:
    done = run(store, "due", *words)
    assert done.exit_code == 2
    assert message in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("18 months", date(2026, 6, 30)),
        ("2 years", date(2026, 12, 30)),
        ("1 month", date(2025, 1, 30)),
        ("2 months", date(2025, 2, 28)),
        ("90", date(2025, 3, 30)),
        ("90days", date(2025, 3, 30)),
        (" 2 Weeks ", date(2025, 1, 13)),
    ],
)
def test_a_period_ends_on_the_day_that_a_calendar_gives(text: str, day: date) -> None:
    assert last_day(text, date(2024, 12, 30)) == day


@pytest.mark.parametrize("text", ["", "-3", "3 fortnights", "1.5 years", "9999999"])
def test_a_period_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="--within"):
        last_day(text, date(2024, 12, 30))


def test_why_shows_one_unit_with_its_chart(store: Store) -> None:
    done = run(store, "why", "ash-t1")
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0] == "ASH-T1   ASH, T1   as of 2024-12-31"
    assert any("interval 70,000" in line for line in lines)
    assert any(line.startswith("  2024-12-01   69,014") for line in lines)
    assert "  2020-02-01  overhaul  contact service" in lines
    assert "No recent oil sample: no sample is recorded." in done.stdout
    assert "neither a switching permit" in done.stderr


def test_why_as_json_carries_its_schema(store: Store) -> None:
    page = json.loads(run(store, "why", "ELM-T1", "--json").stdout)
    assert (page["schema"], page["unit"]["unit"], page["as_of"]) == ("tapwear.why/1", "ELM-T1", DAY)
    assert len(page["readings"]) == len(VISITS)


def test_why_of_an_unknown_unit_names_the_nearest(store: Store) -> None:
    done = run(store, "why", "ASH-T9")
    assert done.exit_code == 2
    assert "There is no unit ASH-T9. Did you mean ASH-T" in done.stderr


def origins(folder: Path, text: str) -> Path:
    path = folder / "origins.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_backtest_forecasts_each_origin_in_the_order_asked_for(store: Store, tmp_path: Path) -> None:
    asked = origins(
        tmp_path,
        "unit_id,origin,horizon_days,anchor_date,note\n"
        "ASH-T1,2023-12-31,365,2023-12-01,x\nELM-T1,2022-12-31,90,,\nASH-T1,2022-12-31,90,,\n",
    )
    out = tmp_path / "out.csv"
    done = run(store, "backtest", "counts", "--origins", str(asked), "--out", str(out))
    assert done.exit_code == 0, done.output
    assert f"3 forecasts written to {out}" in done.stderr
    rows = list(csv.DictReader(io.StringIO(out.read_text(encoding="utf-8"))))
    assert list(rows[0]) == ["unit_id", "origin", "horizon_days", "p10", "p50", "p90", "mean"]
    assert [(row["unit_id"], row["origin"], row["horizon_days"]) for row in rows] == [
        ("ASH-T1", "2023-12-31", "365"),
        ("ELM-T1", "2022-12-31", "90"),
        ("ASH-T1", "2022-12-31", "90"),
    ]
    # From 1 December 2023 to 30 December 2024 are 13 months of 1,000; from 1 December 2022 are 4 months.
    assert float(rows[0]["p50"]) == pytest.approx(13_000, rel=0.1)
    assert float(rows[1]["p50"]) == pytest.approx(800, rel=0.15)
    assert all(float(row["p10"]) < float(row["p50"]) < float(row["p90"]) for row in rows)


def test_backtest_uses_nothing_dated_after_the_origin(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = origins(tmp_path, "unit,origin,horizon_days\nASH-T1,2022-06-30,365\nELM-T1,2022-06-30,365\n")
    first, second = tmp_path / "first.csv", tmp_path / "second.csv"
    run(store, "backtest", "counts", "--origins", str(asked), "--out", str(first))
    changed = book()
    later = changed.readings["read_on"] > pd.Timestamp("2022-06-30")
    changed.readings.loc[later, "value"] = 999_999
    sheets = changed.readings.iloc[:5].assign(source="sample", value=5)
    changed = Book(**{**vars(changed), "readings": pd.concat([changed.readings, sheets], ignore_index=True)})
    monkeypatch.setattr(loading, "load_book", lambda store, unit=None, as_of=None: changed)
    run(store, "backtest", "counts", "--origins", str(asked), "--out", str(second))
    assert first.read_text() == second.read_text()


def test_backtest_keeps_the_good_rows_and_names_the_bad_ones(store: Store, tmp_path: Path) -> None:
    asked = origins(tmp_path, "unit_id,origin,horizon_days\nNOPE,2023-12-31,90\nASH-T1,2023-12-31,90\n")
    out = tmp_path / "out.csv"
    done = run(store, "backtest", "counts", "--origins", str(asked), "--out", str(out))
    assert done.exit_code == 3
    assert "origins.csv:2 unit_id: found 'NOPE' -> give the tag of a unit of this store" in done.stderr
    assert len(out.read_text().splitlines()) == 2


def test_backtest_with_no_good_row_writes_the_headings_only(store: Store, tmp_path: Path) -> None:
    asked = origins(tmp_path, "unit_id,origin,horizon_days\nNOPE,2023-12-31,90\n")
    out = tmp_path / "out.csv"
    assert run(store, "backtest", "counts", "--origins", str(asked), "--out", str(out)).exit_code == 3
    assert out.read_text() == "unit_id,origin,horizon_days,p10,p50,p90,mean\n"


@pytest.mark.parametrize(
    ("row", "field"),
    [
        ("X,2023-12-31,90,", "unit_id"),
        ("T,31.12.2023,90,", "origin"),
        ("T,2023-02-30,90,", "origin"),
        ("T,2023-12-31,ninety,", "horizon_days"),
        ("T,2023-12-31,-1,", "horizon_days"),
        ("T,2023-12-31,99999,", "horizon_days"),
        ("T,2023-12-31,90,2024-01-01", "anchor_date"),
        ("T,2023-12-31,90,last", "anchor_date"),
        ("T", "origin"),
    ],
)
def test_each_bad_origin_is_a_finding(tmp_path: Path, row: str, field: str) -> None:
    good, findings = read_origins(
        origins(tmp_path, f"unit_id,origin,horizon_days,anchor_date\n{row}\nT,2023-12-31,90,\n"), ["T"]
    )
    assert [(finding.line, finding.field) for finding in findings] == [(2, field)]
    assert [origin.unit for origin in good] == ["T"]


@pytest.mark.parametrize("text", ["", "unit_id,origin\n", "tag,origin,horizon_days\n"])
def test_an_origins_file_without_its_columns_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(UsageError, match="has no column"):
        read_origins(origins(tmp_path, text), ["T"])


def test_an_origins_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be read"):
        read_origins(tmp_path / "absent.csv", ["T"])
    (tmp_path / "latin.csv").write_bytes(b"unit_id,origin,horizon_days\n\xe9,2023-12-31,90\n")
    with pytest.raises(UsageError, match="cannot be read"):
        read_origins(tmp_path / "latin.csv", ["T"])


def test_help_of_each_command_fits_80_columns_and_shows_examples() -> None:
    for words, example in (
        (["due"], "tapwear due --driver oil"),
        (["why"], "tapwear why BRK-T1 --as-of 2025-06-30"),
        (["backtest", "counts"], "backtest counts --origins origins.csv"),
    ):
        done = CliRunner(env={"COLUMNS": "80", "NO_COLOR": "1"}).invoke(app, [*words, "--help"])
        assert done.exit_code == 0
        assert example in done.stdout
        assert max(len(line) for line in done.stdout.splitlines()) <= 80


def test_starting_the_command_line_loads_nothing_heavy() -> None:
    heavy = ("pandas", "numpy", "scipy", "statsmodels", "sqlmodel", "rich.progress")
    code = f"import sys, tapwear.cli; print([name for name in {heavy!r} if name in sys.modules])"
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, check=True)
    assert done.stdout.strip() == "[]"


def test_a_unit_that_only_its_services_counted_has_a_date(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    tables = {
        "units": "unit,station,counter_digits,scheme\nA-1,AH,6,usual\n",
        "service_rules": "scheme,task,interval_operations\nusual,contact service,50000\n",
        "services": "unit,done_on,work,as_found_counter,as_left_counter\n"
        "A-1,2018-05-04,overhaul,40120,40126\nA-1,2021-05-04,inspection,65200,65203\n",
    }
    for name, text in tables.items():
        Path(f"{name}.csv").write_text(text)
    given = ("--db", "fleet.db")
    for words in (("init",), ("import", *(f"{name}.csv" for name in tables))):
        assert CliRunner().invoke(app, [*given, *words]).exit_code == 0
    told = json.loads(CliRunner().invoke(app, [*given, "due", "--as-of", "2022-01-01", "--json"]).stdout)
    (due,) = told["dues"]
    assert due["last_reading_on"] == "2021-05-04"
    assert 25_077 < due["operations_since"] < 35_000
    assert "2023" < due["early"] < due["late"] < "2026"
