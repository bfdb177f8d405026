"""A dump holds everything in plain CSV, and becomes an equal store again; a changed or foreign one is refused."""

from __future__ import annotations

import csv
import json
import os
import re
import sqlite3
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from store_content import content

from tapwear.errors import SchemaError, StoreError
from tapwear.store.dump import digest_of, dump_store, from_cell, tables, to_cell
from tapwear.store.engine import Store, open_store
from tapwear.store.entries import add_reading, withdraw
from tapwear.store.recording import Stamp, insert
from tapwear.store.register import add_unit
from tapwear.store.snapshots import save_snapshot
from tapwear.store.undump import is_dump, load_dump

AT = datetime(2026, 11, 1, 8, tzinfo=UTC)
NASTY = (
    "",
    "\\N",
    "'",
    "=1+1",
    " =1+1",
    "-",
    "@x",
    "+49",
    "''=x",
    "a,b",
    'say "x"',
    "line\nline",
    "line\rline",
    "\t=2",
)
ODD = ("\x1b[31mred", "<script>", "ÄÖ 油 🛢", "x" * 130_000, "’", "\u202eabc", "＝1", "\\", "\\Nx", "NULL", "None", "0")


@pytest.fixture
def store(file_store: Store) -> Store:
    with file_store.rows(writing=True) as connection:
        unit = add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 6}, Stamp("Robin", AT))
        for value in (5, 6):
            add_reading(
                connection,
                unit,
                {"value": value, "read_on": date(2026, 6, 3)},
                Stamp("Kim", AT, "misread"),
                replace=True,
            )
        withdraw(connection, "reading", 2, Stamp("Kim", AT, "another unit's"))
        for number, text in enumerate(NASTY + ODD):
            insert(connection, "station", code=f"S{number}{text[:50]}", name=text, note=text)
            insert(connection, "register_change", table_name="x", row_id=1, field="f", before=text, after=None,
                   recorded_at=AT, recorded_by=text, reason=text)  # fmt: skip
        insert(connection, "transformer", serial=None, main_tank_volume_l=0.1 + 0.2)
        insert(connection, "transformer", serial="", main_tank_volume_l=1e-300)
        save_snapshot(connection, date(2026, 6, 30), {"any": ["bytes"]}, Stamp("Kim", AT))
    return file_store


def test_a_dump_becomes_an_equal_store_again(store: Store, tmp_path: Path) -> None:
    rows = dump_store(store, tmp_path / "dump", at=AT)
    load_dump(tmp_path / "dump", tmp_path / "again.db")
    before, after = content(store.path), content(tmp_path / "again.db")
    assert before == after
    assert sum(len(part) for name, part in before.items() if name != "version") == sum(rows.values())
    assert len(before["reading"]) == 3
    with open_store(tmp_path / "again.db").rows(writing=True) as connection:
        insert(connection, "station", code="NEXT")


def test_any_language_with_csv_reads_a_dump_by_its_manifest(store: Store, tmp_path: Path) -> None:
    dump_store(store, tmp_path / "dump", at=AT)
    manifest = json.loads((tmp_path / "dump" / "manifest.json").read_text(encoding="utf-8"))
    assert set(manifest["tables"]) == set(tables()) == set(content(store.path)) - {"version"}
    with (tmp_path / "dump" / "station.csv").open(encoding="utf-8", newline="") as file:
        stations = list(csv.DictReader(file))
    assert len(stations) == manifest["tables"]["station"]["rows"]
    assert not [one["name"] for one in stations if one["name"].lstrip()[:1] in ("=", "+", "-", "@")]
    assert is_dump(tmp_path / "dump")
    assert not is_dump(tmp_path)


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    text=st.none() | st.text(st.characters(exclude_categories=["Cs"])), number=st.none() | st.floats(allow_nan=False)
)
@example(text="\\N", number=-0.0)
@example(text="'\\N", number=1e308)
def test_every_value_comes_back_from_its_cell_and_none_runs_as_a_formula(
    text: str | None, number: float | None
) -> None:
    assert from_cell(to_cell(text, "TEXT"), "TEXT") == text
    assert to_cell(text, "TEXT").lstrip()[:1] not in ("=", "+", "-", "@")
    back = from_cell(to_cell(number, "REAL"), "REAL")
    assert repr(back) == repr(number)
    blob = None if text is None else text.encode() or None
    assert from_cell(to_cell(blob, "BLOB"), "BLOB") == blob


def test_a_dump_is_as_private_as_the_store_and_never_overwrites(store: Store, tmp_path: Path) -> None:
    dump_store(store, tmp_path / "dump", at=AT)
    assert (tmp_path / "dump").stat().st_mode & 0o777 == 0o700
    assert {path.stat().st_mode & 0o777 for path in (tmp_path / "dump").iterdir()} == {0o600}
    with pytest.raises(StoreError, match="never overwrites"):
        dump_store(store, tmp_path / "dump", at=AT)
    assert not [path for path in tmp_path.iterdir() if path.name.endswith(".part")]


@pytest.fixture
def dump(store: Store, tmp_path: Path) -> Path:
    dump_store(store, tmp_path / "dump", at=AT)
    return tmp_path / "dump"


def change_manifest(dump: Path, **values: object) -> None:
    path = dump / "manifest.json"
    if isinstance(values.get("tables"), dict):
        values = {"digest": digest_of(values["tables"]), **values}
    path.write_text(json.dumps({**json.loads(path.read_text(encoding="utf-8")), **values}), encoding="utf-8")


def refused(dump: Path, said: str) -> None:
    with pytest.raises(StoreError, match=said):
        load_dump(dump, dump.parent / "again.db")


def test_a_file_that_was_changed_is_refused_by_name(dump: Path) -> None:
    with (dump / "station.csv").open("a", encoding="utf-8") as file:
        file.write("99,EXTRA,,,,\r\n")
    refused(dump, r"station\.csv is not as it was")


def test_a_missing_file_is_told(dump: Path) -> None:
    (dump / "reading.csv").unlink()
    refused(dump, r"reading\.csv is part of the dump and cannot be read")


@pytest.mark.parametrize("text", ["", "[]", "{}", "{", '{"kind": "other"}', "[" * 100_000, '{"kind": "tapwear dump"}'])
def test_a_folder_with_another_manifest_is_no_dump(dump: Path, text: str) -> None:
    (dump / "manifest.json").write_text(text, encoding="utf-8")
    refused(dump, "holds no dump")


def test_a_dump_of_a_newer_schema_asks_for_the_newer_program(dump: Path) -> None:
    change_manifest(dump, schema=999)
    with pytest.raises(SchemaError, match="newer Tapwear"):
        load_dump(dump, dump.parent / "again.db")


@pytest.mark.parametrize("rows", ["x", None, 1.5, True, []])
def test_a_manifest_whose_rows_are_no_number_is_refused(dump: Path, rows: object) -> None:
    tables = json.loads((dump / "manifest.json").read_text(encoding="utf-8"))["tables"]
    change_manifest(dump, tables={**tables, "station": tables["station"] | {"rows": rows}})
    refused(dump, "entries that say nothing")


@pytest.mark.parametrize("table", ["reading", "schema_step"])
def test_a_manifest_that_leaves_a_table_out_does_not_lose_its_rows_in_silence(dump: Path, table: str) -> None:
    listed = json.loads((dump / "manifest.json").read_text(encoding="utf-8"))["tables"]
    change_manifest(dump, tables={name: entry for name, entry in listed.items() if name != table})
    refused(dump, f"leaves out {table}")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_in_place_of_a_file_is_not_waited_for(dump: Path) -> None:
    (dump / "station.csv").unlink()
    os.mkfifo(dump / "station.csv")
    refused(dump, r"station\.csv is part of the dump and cannot be read: it is no file")


def test_names_in_the_manifest_are_never_followed(dump: Path, tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text("id\r\n1\r\n", encoding="utf-8")
    tables = json.loads((dump / "manifest.json").read_text(encoding="utf-8"))["tables"]
    change_manifest(dump, tables={**tables, "../secret": {"file": "../secret.csv", "rows": 1, "sha256": ""}})
    refused(dump, "no store of ours has: '../secret'")
    tables["station"]["file"] = "/etc/passwd"
    change_manifest(dump, tables=tables)
    load_dump(dump, tmp_path / "again.db")  # the table's own file was read


def rewrite(dump: Path, table: str, text: str, rows: int) -> None:
    """A dump whose list of contents agrees with its wrong file."""
    import hashlib

    (dump / f"{table}.csv").write_bytes(text.encode())
    tables = json.loads((dump / "manifest.json").read_text(encoding="utf-8"))["tables"]
    tables[table] |= {"rows": rows, "sha256": hashlib.sha256(text.encode()).hexdigest()}
    change_manifest(dump, tables=tables)


WRONG = [
    ("id,station_id,bank,phase\r\nx,1,,\r\n", 1, "row 2"),
    ("id,station_id,bank,phase\r\n1,1\r\n", 1, "row 2"),
    ("id,station_id,bank,phase\r\n1,987654,,\r\n", 1, "refer"),
    ("id,station_id,bank,phase\r\n1,1,,\r\n", 2, "list of contents says 2"),
    ("id,station_id,bank,other\r\n1,1,,\r\n", 1, "not columns"),
    ("id,station_id,bank,phase\r\n1,1,,\r\n1,1,,b\r\n", 2, "does not fit"),
    ('id,station_id,bank,phase\r\n1,1,"open,\r\n', 1, "not CSV"),
    ("id,station_id,bank,phase\r\n99999999999999999999,1,,\r\n", 1, "does not fit"),
]


@pytest.mark.parametrize(("text", "rows", "said"), WRONG)
def test_a_wrong_row_is_refused_with_its_place_and_nothing_is_made(dump: Path, text: str, rows: int, said: str) -> None:
    rewrite(dump, "place", text, rows)
    refused(dump, said)


def test_columns_that_an_older_dump_lacks_hold_what_a_new_row_holds(dump: Path, tmp_path: Path) -> None:
    raw = sqlite3.connect(tmp_path / "fleet.db")
    stations = raw.execute("SELECT id, code FROM station").fetchall()
    raw.close()
    text = "id,code\r\n" + "".join(f"{number},S{number}\r\n" for number, _ in stations)
    rewrite(dump, "station", text, len(stations))
    load_dump(dump, tmp_path / "again.db")
    assert content(tmp_path / "again.db")["station"][0] == (1, "S1", "", "", "", "")


def test_a_store_on_a_server_is_dumped_in_the_same_form_and_comes_back_as_a_file(
    server_store: Store, file_store: Store, tmp_path: Path
) -> None:
    for store in (server_store, file_store):
        with store.rows(writing=True) as connection:
            unit = add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 6}, Stamp("Robin", AT))
            for value in (5, 6):
                values = {"value": value, "read_on": date(2026, 6, 3), "current_a": 0.1 + 0.2}
                add_reading(connection, unit, values, Stamp("Kim", AT, "=misread"), replace=True)
            save_snapshot(connection, date(2026, 6, 30), {"any": ["bytes"]}, Stamp("Kim", AT))
    dump_store(server_store, tmp_path / "from server", at=AT)
    dump_store(file_store, tmp_path / "from file", at=AT)
    for name in tables():
        first, second = (
            (tmp_path / which / f"{name}.csv").read_text("utf-8") for which in ("from server", "from file")
        )
        if name not in ("schema_step", "snapshot"):
            if name == "entry":  # a server knows who was let in
                assert first.count(",postgres,") == 3
                first = first.replace(",postgres,", ",,")
            assert re.sub(r"[0-9a-f]{32}", "uid", first) == re.sub(r"[0-9a-f]{32}", "uid", second), name
    load_dump(tmp_path / "from server", tmp_path / "again.db")
    again = content(tmp_path / "again.db")
    assert len(again["reading"]) == 2
    assert [row[-1] for row in again["snapshot"]] == [row[-1] for row in content(file_store.path)["snapshot"]]


@pytest.mark.parametrize(("access", "of_folder"), [(0o600, 0o700), (0o660, 0o770)])
def test_a_dump_of_a_store_on_a_server_is_for_whom_it_is_said(
    server_store: Store, tmp_path: Path, access: int, of_folder: int
) -> None:
    before = os.umask(0o007)
    try:
        dump_store(server_store, tmp_path / "dump", at=AT, access=access)
    finally:
        os.umask(before)
    assert (tmp_path / "dump").stat().st_mode & 0o777 == of_folder
    assert {path.stat().st_mode & 0o777 for path in (tmp_path / "dump").iterdir()} == {access}
