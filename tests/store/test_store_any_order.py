"""The same rows in any order, and handed in in any number of parts, give the same answers."""

from __future__ import annotations

import random
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tapwear.fleet import assess_store
from tapwear.store.engine import open_store
from tapwear.store.importing import store_intake
from tapwear.visits.reading import read_paths

AS_OF = date(2026, 6, 30)
NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
BEGIN = date(2021, 1, 4)
ORDERS = [pytest.param(20, marks=pytest.mark.slow), pytest.param(200, marks=pytest.mark.long)]


def files() -> dict[str, list[str]]:
    """The lines of each file: units that share a place or not, swaps on one day, two samples and services of one day,
    an exchange, a number read twice. What contradicts itself is a finding in any order, and not among them."""
    units = ["unit,station,bank,counter_digits,technology,scheme,state,commissioned_on"]
    units += [f"T{n},NORTH,,6,arcing_resistor,R,in service,2012-01-0{n}" for n in (1, 2, 3)]  # one place for all
    units += [f"U{n},SOUTH,B{n},6,arcing_resistor,R,in service,2012-02-0{n}" for n in (1, 2, 3)]
    units += [f"S{n},SOUTH,,6,arcing_resistor,R,spare,2012-03-01" for n in (1, 2)]
    readings = ["unit,read_on,value,reader"]
    for place, tag in enumerate(("T1", "T2", "T3", "U1", "U2", "U3")):
        for quarter in range(22):
            day = BEGIN + timedelta(days=91 * quarter + place)
            readings.append(f"{tag},{day},{1000 + (12 + 3 * place) * 91 * quarter},Kim")
    readings += ["U1,2026-06-01,29000,Robin", "U1,2026-06-01,29000,Ann"]
    readings += ["S1,2024-01-09,700,Ann", "S2,2024-01-09,900,Ann"]
    events = ["unit,happened_on,kind,other_unit,to_state,old_reading,new_reading,remark"]
    events += [
        "T1,2023-03-01,swapped,S1,workshop,,,", "T3,2023-03-01,swapped,S2,workshop,,,",  # two positions of one place
        "U1,2023-05-02,swapped,U2,,,,", "T2,2023-09-04,swapped,U3,,,,",
        "S1,2024-09-02,swapped,T3,workshop,,,", "S2,2024-09-02,swapped,T1,workshop,,,",
        "U3,2024-02-05,other,,,,,first", "U3,2024-02-05,regulator_setting_changed,,,,,second",
        "T2,2025-03-03,counter_replaced,,,40000,0,",
    ]  # fmt: skip
    samples = ["unit,sampled_on,acetylene_ul_per_l,hydrogen_ul_per_l,reference"]
    samples += [f"T2,202{year}-05-03,{20 + 9 * year},{4 * year},R{year}" for year in range(1, 7)]
    samples += ["T2,2026-05-03,88,30,R8", "T2,2026-05-03,60,21,R9", "U1,2026-04-01,35,12,"]
    services = ["unit,done_on,work,resets,as_left_counter"]
    services += [f"T{n},2021-01-2{n},overhaul,contact service," for n in (1, 2, 3)]
    services += ["U1,2021-01-20,overhaul,contact service,", "U1,2021-01-20,oil change,oil change,"]
    rules = ["scheme,task,interval_operations,interval_years", "R,contact service,60000,9", "R,oil change,,12"]
    conditions = ["unit,noted_on,kind,words,act_by_on"]
    conditions += ["U3,2026-05-01,infrared,warm,2026-12-01", "U3,2026-05-01,motor_current,peak,2026-11-01"]
    named = {"units": units, "service_rules": rules, "events": events, "readings": readings, "samples": samples}
    return named | {"services": services, "conditions": conditions}


def answers(folder: Path, empty: Path, lines: dict[str, list[str]], parts: int) -> tuple[Any, ...]:
    """The dates and stays that follow from the lines, whose readings and samples are handed in in some parts."""
    store = open_store(Path(shutil.copy(empty, folder / "fleet.db")))
    for part in range(parts):
        paths = []
        for name, (heading, *rows) in lines.items():
            mine = rows[part::parts] if name in ("readings", "samples", "conditions") else rows if part == 0 else []
            if mine:
                paths.append(folder / f"{name}.csv")
                paths[-1].write_text("\n".join([heading, *mine]) + "\n", encoding="utf-8")
        result = store_intake(store, read_paths(paths), by="Kim", now=NOW, today=AS_OF, what="files", sure=True)
        assert not [one for one in result.findings if one.severity not in ("note", "left aside")], result.findings
    found = assess_store(store, AS_OF)
    stays = found.book.stays.sort_values(["unit", "from_on"], na_position="first").to_dict("records")
    store.close()
    return found.outlook.dues, found.verdicts, [{k: str(v) for k, v in row.items()} for row in stays]


@pytest.mark.parametrize("orders", ORDERS)
def test_any_order_of_the_same_rows_gives_the_same_answers(empty_store_file: Path, tmp_path: Path, orders: int) -> None:
    rng = random.Random(15)
    whole = files()
    wanted = answers(tmp_path, empty_store_file, whole, 1)
    assert len(wanted[0]) >= 6
    for number in range(orders):
        lines = {name: [text[0], *rng.sample(text[1:], len(text) - 1)] for name, text in whole.items()}
        lines = {name: lines[name] for name in rng.sample(list(lines), len(lines))}
        assert answers(tmp_path, empty_store_file, lines, rng.choice((1, 1, 2, 3))) == wanted, number
