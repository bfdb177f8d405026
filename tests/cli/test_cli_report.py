"""The report command, run through all layers on a small fleet whose frames the test writes down itself."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from openpyxl import load_workbook
from typer.testing import CliRunner, Result

from tapwear.cli.app import app
from tapwear.oil.types import GASES
from tapwear.store import loading
from tapwear.store.book import Book
from tapwear.store.engine import Store, create_store
from tapwear.store.models import TapChanger

EVIL = "<script>alert(1)</script>"
TAGS = ("ASH-T1", "ELM-T1", EVIL)
VISITS = pd.date_range("2021-01-01", "2024-12-15", freq="MS").astype("datetime64[us]")
DAY = "2024-12-31"
WORDS = ("station", "station_name", "region", "neighbourhood", "bank", "phase", "serial", "transformer_serial")
MORE_WORDS = ("technology", "breathing", "peer_group", "oil_group", "conservator", "scheme", "visit_cadence")
NUMBERS = ("oil_volume_l", "main_tank_volume_l", "rated_current_a", "step_voltage_v")


def book() -> Book:
    """Three units read monthly for four years, 1,000 operations a month, serviced once; ELM-T1 never serviced."""
    count = len(TAGS)
    units = pd.DataFrame({"unit": TAGS, **{name: [""] * count for name in (*WORDS, *MORE_WORDS)}})
    units = units.assign(place=TAGS, station=["ASH", "ELM", EVIL], state="in service", digits=6)
    units = units.assign(**{name: np.nan for name in NUMBERS}, sampling_needs_outage=False)
    units["commissioned_on"] = pd.Series(pd.to_datetime(["2001-05-01"] * count)).astype("datetime64[us]")
    rules = pd.DataFrame({"unit": TAGS, "task": "contact service", "interval_operations": 70_000.0})
    rules = rules.assign(interval_years=np.nan, duration_days=2.0, crew_hours=32.0, kit="", lead_time_weeks=np.nan)
    rules = rules.assign(provenance="manual")
    rows = [
        (i * 100 + month, tag, VISITS[month], 2_000 + month * 1_000)
        for i, tag in enumerate(TAGS)
        for month in range(len(VISITS))
    ]
    readings = pd.DataFrame(rows, columns=["reading_id", "unit", "read_on", "value"])
    readings = readings.assign(drive="1", source="mechanical", digits=6, reader="", doubt="", remark="")
    services = pd.DataFrame({"service_id": [0, 2], "unit": [TAGS[0], TAGS[2]], "done_on": [VISITS[0]] * 2})
    services = services.assign(work="overhaul", resets=[("contact service",)] * 2)
    services = services.assign(serial_seen="", done_by="", remark="")
    services = services.assign(as_found_counter=2_000.0, as_left_counter=2_000.0)
    services = services.assign(contact_left_mm=np.nan, condemning_limit_mm=np.nan)
    events = ["unit", "happened_on", "kind", "drive", "old_reading", "new_reading"]
    samples = ["sample_id", "unit", "sampled_on", "compartment", "taken_from", "laboratory", "reference"]
    samples += ["breakdown_method", "remark", *GASES, *(f"{gas}_below" for gas in GASES), "moisture_mg_per_kg"]
    samples += ["breakdown_kv", "breakdown_gap_mm", "oil_temp_c"]
    return Book(
        units=units,
        rules=rules,
        readings=readings,
        events=empty(events, "happened_on"),
        stays=empty(["unit", "place", "from_on", "to_on", "state"], "from_on", "to_on"),
        samples=empty(samples, "sampled_on"),
        oil_events=empty(["unit", "happened_on", "kind"], "happened_on"),
        services=services,
        closures=pd.DataFrame(),
        transfer_groups=pd.DataFrame(),
        crews=pd.DataFrame(),
    )


def empty(columns: list[str], *dates: str) -> pd.DataFrame:
    return pd.DataFrame(
        {name: pd.Series(dtype="datetime64[us]" if name in dates else "float64") for name in columns}
    ).astype({"unit": "object"})


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    made = create_store(tmp_path / "fleet.db")
    with made.unit_of_work() as session:
        session.add_all(TapChanger(tag=tag) for tag in TAGS)
    monkeypatch.setattr(loading, "load_book", lambda store, *, as_of=None, unit=None, units=None: book())
    return made


def run(store: Store, *words: str) -> Result:
    return CliRunner(env={"NO_COLOR": "1", "TAPWEAR_TODAY": DAY}).invoke(
        app, ["--db", str(store.path), "report", *words]
    )


def test_one_file_has_the_fleet_and_a_page_per_unit(store: Store, tmp_path: Path) -> None:
    out = tmp_path / "fleet.html"
    done = run(store, "--out", str(out))
    assert done.exit_code == 0, done.output
    assert "3 units as of 2024-12-31, 3 of them with a page of their own" in done.stderr
    text = out.read_text(encoding="utf-8")
    assert text.count('<article class="unit"') == 3
    assert text.count("<svg ") >= 3
    assert "<script" not in text
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text


def test_only_the_units_asked_for(store: Store, tmp_path: Path) -> None:
    out = tmp_path / "one.html"
    assert run(store, "elm-t1", "ELM-T1", "--out", str(out), "--paper", "letter").exit_code == 0
    text = out.read_text(encoding="utf-8")
    assert text.count('<article class="unit"') == 1
    assert "1 unit of 3, as asked for" in text
    assert "ASH-T1" not in text
    assert "size: letter" in text


def test_an_unknown_unit_is_said_before_any_work(store: Store, tmp_path: Path) -> None:
    done = run(store, "ASH-T9", "--out", str(tmp_path / "x.html"))
    assert done.exit_code == 2
    assert "ASH-T1" in done.stderr
    assert not (tmp_path / "x.html").exists()


def test_units_none_gives_the_fleet_alone(store: Store, tmp_path: Path) -> None:
    out = tmp_path / "fleet.html"
    assert run(store, "--out", str(out), "--units", "none").exit_code == 0
    assert "<article" not in out.read_text(encoding="utf-8")


def test_the_name_of_the_file_says_the_format(store: Store, tmp_path: Path) -> None:
    out = tmp_path / "fleet.xlsx"
    assert run(store, "--out", str(out)).exit_code == 0
    assert load_workbook(io.BytesIO(out.read_bytes())).sheetnames[0] == "due"
    out = tmp_path / "fleet.json"
    assert run(store, "--out", str(out)).exit_code == 0
    assert json.loads(out.read_text(encoding="utf-8"))["schema"] == "tapwear.report/1"


def test_json_goes_to_standard_output_and_the_rest_needs_a_file(store: Store) -> None:
    done = run(store, "--format", "json", "--units", "none")
    assert done.exit_code == 0
    assert len(json.loads(done.stdout)["dues"]) == 3
    done = run(store)
    assert done.exit_code == 2
    assert "--out FILE" in done.stderr


def test_a_file_that_is_there_stays_unless_forced_and_the_store_always(store: Store, tmp_path: Path) -> None:
    out = tmp_path / "fleet.html"
    out.write_text("mine")
    assert run(store, "--out", str(out)).exit_code == 2
    assert out.read_text() == "mine"
    assert run(store, "--out", str(out), "--force").exit_code == 0
    before = store.path.read_bytes()
    assert run(store, "--out", str(store.path), "--force").exit_code == 2
    assert store.path.read_bytes() == before


def test_a_folder_that_is_not_there_is_said_in_words(store: Store, tmp_path: Path) -> None:
    done = run(store, "--out", str(tmp_path / "none" / "fleet.html"), "--units", "none")
    assert done.exit_code == 2
    assert "cannot be written" in done.stderr


@pytest.mark.parametrize(("package", "format_"), [("jinja2", "html"), ("matplotlib", "html"), ("xlsxwriter", "xlsx")])
def test_a_missing_package_is_named_with_the_line_that_installs_it(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, package: str, format_: str
) -> None:
    for name in [name for name in sys.modules if name.split(".")[0] == package]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, package, None)
    done = run(store, "--out", str(tmp_path / f"x.{format_}"))
    assert done.exit_code == 2
    assert "pip install 'tapwear[report]'" in done.stderr


def test_the_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom typer.testing import CliRunner\nfrom tapwear.cli.app import app\n"
        "assert CliRunner().invoke(app, ['report', '--help']).exit_code == 0\n"
        "print([name for name in ('pandas', 'numpy', 'matplotlib', 'jinja2', 'sqlmodel') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=os.environ, check=True)
    assert done.stdout.strip() == "[]"
