"""A small store brought in from CSV text, for tests of the scheduler's commands through all layers."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from typer.testing import CliRunner, Result

from tapwear.cli.app import app
from tapwear.store.engine import create_store

TODAY = "2026-06-30"
BEGIN = date(2020, 1, 6)

UNITS = """unit,station,region,bank,counter_digits,serial,state,technology,scheme,commissioned_on,visit_cadence
AH-T1,AH,North,T1,6,S1,in service,arcing_resistor,R,2010-01-01,quarterly
AH-T2,AH,North,T2,6,S2,in service,arcing_resistor,R,2010-01-01,quarterly
BW-T1,BW,South,T1,6,S3,in service,arcing_resistor,R,2010-01-01,quarterly
"""
RULES = """scheme,task,interval_operations,interval_years,duration_days,crew_hours,provenance
R,contact service,60000,9,2,40,manual
"""
SERVICES = """unit,done_on,work,resets,contact_left_mm,condemning_limit_mm
AH-T1,2020-03-02,overhaul,contact service,8.0,4.0
AH-T2,2016-01-04,overhaul,contact service,,
BW-T1,2020-03-02,overhaul,contact service,,
"""


def readings() -> str:
    """Quarterly readings; AH-T1 makes 20 a day, AH-T2 20 a day, BW-T1 18 a day and was last read 15 months ago."""
    lines = ["unit,read_on,value"]
    for unit, a_day, until in (("AH-T1", 20, "2026-06-20"), ("AH-T2", 20, "2026-06-20"), ("BW-T1", 18, "2025-03-31")):
        day = BEGIN
        while day <= date.fromisoformat(until):
            lines.append(f"{unit},{day},{1000 + a_day * (day - BEGIN).days}")
            day += timedelta(days=91)
    return "\n".join(lines) + "\n"


def make_desk(folder: Path) -> Path:
    """A store of three units in `folder`; returns its path."""
    files = {"units": UNITS, "service_rules": RULES, "services": SERVICES, "readings": readings()}
    paths = []
    for name, text in files.items():
        path = folder / f"{name}.csv"
        path.write_text(text, encoding="utf-8")
        paths.append(path)
    create_store(folder / "fleet.db").close()
    done = run(folder / "fleet.db", "import", *map(str, paths))
    assert done.exit_code == 0, done.output
    return folder / "fleet.db"


def run(db: Path | str, *words: str, today: str = TODAY) -> Result:
    """Runs a command on the store as somebody called Kim on that day."""
    env = {"NO_COLOR": "1", "COLUMNS": "100", "TAPWEAR_TODAY": today, "TAPWEAR_NAME": "Kim"}
    return CliRunner(env=env).invoke(app, ["--db", str(db), *words])
