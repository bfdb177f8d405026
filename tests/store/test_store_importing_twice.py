"""Whatever a file says, in whatever order: the same again adds nothing, and the book comes out the same."""

from __future__ import annotations

import random
import shutil
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from tapwear.store.engine import Store, open_store
from tapwear.store.importing import ImportResult, store_intake
from tapwear.store.loading import load_book
from tapwear.store.planning import KINDS, list_planning
from tapwear.visits.fields import TABLES, FieldSpec
from tapwear.visits.reading import read_paths

NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)
TAGS = ("T1", "T2", "T3", "T4")
KEYS = {
    "unit": TAGS, "station": ("N1", "N2"), "bank": ("", "B1"), "phase": ("",), "drive": ("",), "compartment": ("",),
    "scheme": ("yearly",), "source": ("", "controller"), "taken_from": ("", "main_tank"), "reference": ("",),
    "read_on": ("2020-01-01", "2021-02-03"), "happened_on": ("2020-01-01", "2021-02-03"), "group": ("ring", "line"),
    "sampled_on": ("2020-01-01", "2021-02-03"), "done_on": ("2020-01-01", "2021-02-03"), "region": ("Hill",),
    "from_on": ("2027-05-01",), "to_on": ("2027-06-01",), "week": ("2027-W05", "2027-W06"),
    "kind": ("inspection", "counter_replaced", "out_of_service"), "task": ("inspection", "contact service"),
    "work": ("overhaul", "repair"), "noted_on": ("2020-01-01", "2021-02-03"), "technology": ("", "vacuum"),
    "observed_on": ("2020-01-01",),
    "quantity": ("acetylene_ul_per_l", "moisture_mg_per_kg"), "breakdown_method": ("",),
    "conditions": ("infrared", "relay_trip"), "job_notes": ("other work",), "team": ("A", "B"),
    "resource": ("mobile", "oil plant"), "what": ("line works",), "weeks": ("",), "status": ("",),
    "words": ("bushing tests", "paint"),
}  # fmt: skip
NEVER = {
    "weeks",
    "compartments",
    "to_station",
    "to_bank",
    "to_phase",
    "to_state",
    "other_unit",
    "state",
    "received_on",
    "reported_on",
    "act_by_on",
    "closed_on",
    "breakdown_gap_mm",
}
ONE = {  # facts of a unit, the same in every row about it
    "station": ("N1", "N1", "N2", "N2"), "bank": ("B1", "B2", "B1", "B2"), "drives": ("1", "1", "1", "1"),
    "serial": ("S1", "S2", "S3", "S4"), "transformer_serial": ("X1", "X1", "X2", "X3"), "counter_digits": ("5",) * 4,
    "region": ("Hill",) * 4, "conservator": ("common",) * 4, "main_tank_volume_l": ("9000",) * 4, "phase": ("",) * 4,
}  # fmt: skip


SEVERAL_OWNERS = ("service_rules", "visit_rules", "transfer_groups", "outage_terms", "other_outages")


def said(table: str, key: dict[str, str], spec: FieldSpec) -> str:
    """What a field holds in every row with that key."""
    own = "serial" if spec.name == "serial_seen" else spec.name
    if table in ("units", "services") and own in ONE:
        return ONE[own][TAGS.index(key["unit"])]
    if spec.name in ("region", "to_on"):
        return {"region": "Hill", "to_on": "2027-06-01"}[spec.name]
    if spec.choices:
        return spec.choices[len(str(key)) % len(spec.choices)]
    if spec.kind in ("count", "number"):
        return f"{max(min(7, spec.high or 7), spec.low or 0):g}"
    usual = {"date": "2019-01-02", "yes or no": "yes", "gas": "<0.5", "week": "2027-W05", "list": "inspection"}
    usual |= {"time": "14:05", "position": "5L", "positions": "16L-N-16R"}
    return usual.get(spec.kind, "x")


def rows_of(table: str, chance: random.Random) -> list[str]:
    spec = TABLES[table]
    rows = []
    for _ in range(12):
        kinds = KEYS.get(table, KEYS["kind"])
        key = {name: chance.choice(kinds if name == "kind" else KEYS[name]) for name in spec.key}
        owners = [name for name in ("unit", "scheme", "station") if name in key and table in SEVERAL_OWNERS]
        for name in chance.sample(owners, max(len(owners) - 1, 0)):  # a row belongs to one of them
            key[name] = ""
        founded = {"station", "counter_digits"} if table == "units" and chance.random() < 0.7 else set()
        filled = table in ("units", "places", "service_rules", "visit_rules")  # where another row fills in blanks
        blanks = chance if filled else random.Random(f"{table}{key}")
        cells = []
        for field in spec.fields:
            needed = field.required or field.name in (*founded, "interval_years", "read_every_days")
            stays = needed or blanks.random() < 0.6
            if field.name in key:
                cells.append(key[field.name])
            elif field.name in NEVER or not stays:
                cells.append("")
            else:
                cells.append(said(table, key, field))
        rows.append(",".join(cells))
    return rows


def bring(store: Store, folder: Path, rows: dict[str, list[str]]) -> ImportResult:
    folder.mkdir(exist_ok=True)
    for table, lines in rows.items():
        headings = ",".join(field.name for field in TABLES[table].fields)
        (folder / f"{table}.csv").write_text("\n".join([headings, *lines]) + "\n", encoding="utf-8")
    return store_intake(store, read_paths([folder]), by="Kim", now=NOW, today=date(2026, 11, 2), what="rows")


@pytest.mark.parametrize("seed", range(3))
def test_rows_that_agree_come_out_the_same_in_any_order_and_once(
    empty_store_file: Path, tmp_path: Path, seed: int
) -> None:
    chance = random.Random(seed)
    rows = {table: rows_of(table, chance) for table in TABLES}
    rows["units"] += [f"{tag},{said('units', {'unit': tag}, TABLES['units'].field('station'))},5" for tag in TAGS]
    rows["units"] = [line + "," * (len(TABLES["units"].fields) - 1 - line.count(",")) for line in rows["units"]]
    books = []
    given: list[list[list[str]]] = []
    for number in range(2):
        store = open_store(Path(shutil.copy(empty_store_file, tmp_path / f"{number}.db")))
        first = bring(store, tmp_path / str(number), rows)
        assert not [one.sentence() for one in first.findings if one.severity in ("rejected", "conflict")]
        assert first.total("stored") > 0
        rows = {table: chance.sample(lines, len(lines)) for table, lines in rows.items()}
        again = bring(store, tmp_path / str(number), rows)
        assert again.total("stored") == 0
        assert again.all_taken
        books.append(load_book(store))
        with store.rows() as connection:
            given.append([sorted(map(bare, list_planning(connection, kind))) for kind in KINDS])
    assert given[0] == given[1]
    assert all(given[0][list(KINDS).index(kind)] for kind in ("team", "holiday", "resource", "terms", "other outage"))
    for name in ("units", "rules", "readings", "events", "stays", "samples", "services", "transfer_groups", "crews",
                 "conditions", "limits", "observations", "visit_rules"):  # fmt: skip
        one, other = (plain(getattr(book, name)) for book in books)
        pd.testing.assert_frame_equal(one, other)


def bare(row: dict[str, Any]) -> str:
    """A planning row without its number."""
    return repr({name: value for name, value in row.items() if name != "row_id"})


def plain(frame: pd.DataFrame) -> pd.DataFrame:
    """The frame without row numbers and numbers of places, which go by arrival, in an order of its own."""
    beside = [name for name in map(str, frame) if name.endswith("_id") or name == "place"]
    bare = frame.drop(columns=beside)
    return bare.sort_values([name for name in map(str, bare) if name != "resets"]).reset_index(drop=True)
