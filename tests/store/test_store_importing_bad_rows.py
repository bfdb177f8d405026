"""Two hundred bad rows among good ones: a finding for each, no traceback, and every good neighbour kept."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import sqlalchemy as sa

from tapwear.store.engine import Store
from tapwear.store.importing import ImportResult, store_intake
from tapwear.store.lean import lean
from tapwear.visits.mapping_file import load_mapping
from tapwear.visits.reading import read_paths

ROOT = Path(__file__).parents[2]
NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)
TODAY = date(2026, 11, 2)
UNITS = b"unit,station,counter_digits\nT1,NORTH,5\nT2,SOUTH,6\n"

# kind of fault -> one bad line from its number and a good row (unit, day, value, remark)
Maker = Callable[[int, str, str], bytes]
FAULTS: dict[str, Maker] = {
    "wrong type": lambda n, day, value: f"T1,{day},{value}{'abcxyz'[n % 6]},".encode(),
    "impossible date": lambda n, day, value: f"T1,2023-{13 + n}-{n % 28 + 1:02d},{value},".encode(),
    "other date format": lambda n, day, value: f"T1,{n % 28 + 1:02d}/05/2023,{value},".encode(),
    "date ahead": lambda n, day, value: f"T1,{2027 + n}-05-01,{value},".encode(),
    "unknown unit": lambda n, day, value: f"X{n},{day},{value},".encode(),
    "negative count": lambda n, day, value: f"T1,{day},-{value},".encode(),
    "count too long": lambda n, day, value: f"T1,{day},{100_000 + n},".encode(),
    "missing field": lambda n, day, value: [f",{day},{value},", f"T1,,{value},", f"T1,{day},,"][n % 3].encode(),
    "missing cells": lambda n, day, value: f"T1,{day}".encode(),
    "extra cells": lambda n, day, value: f"T1,{day},{value},dry,{n}".encode(),
    "stray quote": lambda n, day, value: [
        f'"T1,{day},{value},', f'T1,"{day},{value},', f'T1,{day},{value},"wet', f'T1,{day},"{value}"1,'
    ][n % 4].encode(),
    "wrong encoding": lambda n, day, value: f"T1,{day},{value},".encode() + [b"K\xe4lte", b"\xff\xfe", b"\x80"][n % 3],
    "formula-looking text": lambda n, day, value: f"T1,{day},{value},{'=+-@'[n % 4]}SUM(A{n})".encode(),
    "separators of thousands": lambda n, day, value: f'T1,{day},"{n + 1},{value[:3]}",'.encode(),
    "a NUL byte": lambda n, day, value: f"T1,{day},{value},a\0b".encode(),
    "a control character": lambda n, day, value: f"T1,{day},{value},\x1b[3{n % 8}m".encode(),
}  # fmt: skip


def bring(store: Store, *paths: Path, mapping: Path | None = None) -> ImportResult:
    intake = read_paths(paths, None if mapping is None else load_mapping(mapping))
    return store_intake(store, intake, by="Kim", now=NOW, today=TODAY, what="files")


def count(store: Store, table: str) -> int:
    with store.rows() as connection:
        return int(connection.execute(sa.select(sa.func.count()).select_from(lean(table, "id"))).scalar_one())


def test_two_hundred_bad_rows_are_each_told_and_good_neighbours_kept(empty_store: Store, tmp_path: Path) -> None:
    bad = [make for make in FAULTS.values() for _ in range(11)]  # 176, then come duplicates and conflicts
    kinds: list[tuple[int, Maker | None]] = list(enumerate(bad)) + [(number, None) for number in range(24)]
    random.Random(7).shuffle(kinds)
    lines = [b"unit,read_on,value,remark"]
    wrong: list[int] = []
    day, value, good = date(2018, 1, 1), 10_000, 0
    for number, make in kinds:
        day, value, good = day + timedelta(days=7), value + 40, good + 1
        lines.append(f"T1,{day},{value},good".encode())
        if make is not None:
            lines.append(make(number % 11, str(day + timedelta(days=3)), str(value + 9)))
        else:  # the same row again, or another number for the same day
            lines.append(f"T1,{day},{value + number % 2},good".encode())
        wrong.append(len(lines))
    (tmp_path / "units.csv").write_bytes(UNITS)
    (tmp_path / "readings.csv").write_bytes(b"\n".join(lines) + b"\n")

    result = bring(empty_store, tmp_path)

    assert len(wrong) == 200
    assert sorted({finding.line for finding in result.findings}) == wrong
    assert all(finding.found and finding.remedy and finding.row for finding in result.findings)
    assert count(empty_store, "reading") == good == 200
    assert result.rows_seen == 2 + 400
    told = result.counts["readings"]
    assert told.stored + told.known + told.conflicts + told.rejected == 400
    assert (told.known, told.conflicts, told.rejected) == (12, 12, 176)
    assert not result.all_taken

    again = bring(empty_store, tmp_path)
    assert again.total("stored") == 0
    assert count(empty_store, "reading") == 200


def test_a_messy_file_from_a_spreadsheet_gives_its_good_rows(empty_store: Store, tmp_path: Path) -> None:
    (tmp_path / "units.csv").write_bytes(UNITS)
    result = bring(empty_store, tmp_path / "units.csv", ROOT / "tests" / "data" / "messy" / "readings.csv")
    assert sorted((finding.line, finding.severity) for finding in result.findings) == [
        (2, "note"),  # a heading that is no field
        (5, "rejected"),  # separators of thousands
        (9, "rejected"),  # a quote that is never closed
        (11, "rejected"),  # a byte of another encoding
        (12, "conflict"),  # another number for the day of line 3
        (13, "rejected"),  # a unit that does not exist
    ]
    assert count(empty_store, "reading") == 5


BENCH = {
    "counts/units.csv": "unit_id,substation,counter_digits,interval_ops,commissioned,peer_group,cadence\n"
    "D1,S1,5,50000,1999-05-01,rural,monthly\nD2,S1,6,70000,2001-05-01,rural,monthly\n",
    "counts/readings.csv": "unit_id,date,counter_reading,reader\nD1,2024-05-01,99990,R1\nD1,2024-06-01,12,R2\n",
    "counts/events.csv": "unit_id,date,event_type,known,old_reading,new_reading,note\n"
    "D1,2024-05-20,load_transfer,1,,,\nD2,2024-05-21,parallel_operation,1,,,follower\n"
    "D2,2024-05-22,counter_replaced,1,412,0,\n",
    "counts/truth_units.csv": "unit_id,rate\nD1,5\n",
    "oil/oil_units.csv": "unit_id,technology,breathing,oil_volume_l,oil_peer_group,rated_current_a,step_voltage_v,"
    "conservator,main_tank_volume_l,interval_ops,substation\n"
    "D1,vacuum,free,180,P1,400,1000,common,12000,50000,S1\n",
    "oil/oil_samples.csv": "unit_id,sampled_on,compartment,lab,sample_ref,h2,ch4,c2h6,c2h4,c2h2,co,co2,o2,n2,"
    "moisture_ppm,breakdown_kv,oil_temp_c,counter_reading\n"
    "D1,2024-05-01,main_tank,lab_A,7-1,19,16,72,26,<0.5,103,4118,19180,64390,8,64,25,\n"
    "D1,2024-05-01,tap_changer,lab_A,7-2,1001,341,83,623,4946,48,498,,,20,38,24,99990\n",
    "oil/oil_events.csv": "unit_id,date,kind,known\nD1,2024-05-02,overhaul,1\nD1,2024-06-02,oil_changed,1\n"
    "D1,2024-06-03,oil_degassed,1\nD1,2024-06-04,breather_changed,1\nD1,2024-06-05,lab_changed,1\n",
    "oil/asof.csv": "unit_id,as_of\nD1,2024-12-31\n",
}


def test_the_map_for_two_folders_takes_every_row_and_leaves_other_files_alone(
    empty_store: Store, tmp_path: Path
) -> None:
    for name, text in BENCH.items():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8")
    mapping = ROOT / "data" / "maps" / "bench.toml"
    result = bring(empty_store, tmp_path / "counts", tmp_path / "oil", mapping=mapping)
    assert result.findings == ()
    assert {table: told.stored for table, told in result.counts.items()} == {
        "units": 3,
        "events": 4,
        "readings": 2,
        "samples": 2,
        "services": 4,
    }
    assert result.rows_seen == 15
    assert result.sample_counters == 1
    assert [Path(name).name for name in result.files_left_alone] == ["truth_units.csv", "asof.csv"]
    sample = lean("sample", "taken_from", "acetylene_ul_per_l", "acetylene_below", "breakdown_gap_mm", "reference")
    with empty_store.rows() as connection:
        assert connection.execute(sa.select(*sample.c)).all() == [
            ("main_tank", 0.5, True, 2.5, "7-1"),
            ("compartment", 4946.0, False, 2.5, "7-2"),
        ]
    assert bring(empty_store, tmp_path / "counts", tmp_path / "oil", mapping=mapping).total("stored") == 0
