"""Opening a store: ours or not, which version, on which disk; and what a unit of work promises."""

from __future__ import annotations

import os
import re
import sqlite3
import stat
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlmodel import SQLModel, select

from tapwear.errors import SchemaError, StoreError
from tapwear.store import engine, models
from tapwear.store.engine import create_store, network_file_system, open_store
from tapwear.store.lean import lean
from tapwear.store.migrate import STEPS
from tapwear.store.recording import insert
from tapwear.store.version import LATEST


def pragma(path: Path, name: str) -> object:
    connection = sqlite3.connect(path)
    try:
        return connection.execute(f"PRAGMA {name}").fetchone()[0]
    finally:
        connection.close()


def test_a_new_store_is_ours_at_the_latest_version_and_for_its_owner_only(tmp_path: Path) -> None:
    path = tmp_path / "fleet.db"
    create_store(path).close()
    assert pragma(path, "application_id") == engine.APPLICATION_ID
    assert pragma(path, "user_version") == LATEST == max(STEPS)
    assert pragma(path, "journal_mode") == "wal"
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    open_store(path).close()


def test_a_store_is_never_made_over_a_file_or_without_its_folder(tmp_path: Path) -> None:
    path = tmp_path / "fleet.db"
    create_store(path).close()
    with pytest.raises(StoreError, match="is there already"):
        create_store(path)
    with pytest.raises(StoreError, match="is not a folder"):
        create_store(tmp_path / "nowhere" / "fleet.db")
    with pytest.raises(StoreError, match="is a folder"):
        create_store(tmp_path)


def test_a_missing_store_is_not_made_by_opening_it(tmp_path: Path) -> None:
    path = tmp_path / "fleet.db"
    with pytest.raises(StoreError, match="init"):
        open_store(path)
    assert not path.exists()


def test_another_programs_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    text, other = tmp_path / "notes.db", tmp_path / "other.db"
    text.write_text("these are notes, not a database, and long enough to tell\n" * 40, encoding="utf-8")
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE station (id INTEGER)")
    connection.commit()
    connection.close()
    before = text.read_bytes(), other.read_bytes()
    with pytest.raises(StoreError, match="not a Tapwear store"):
        open_store(text)
    with pytest.raises(StoreError, match="another program"):
        open_store(other)
    assert (text.read_bytes(), other.read_bytes()) == before


@pytest.mark.parametrize(("version", "words"), [(LATEST + 1, "newer Tapwear"), (LATEST - 1, "upgrade")])
def test_a_store_of_another_version_is_refused_with_what_to_do(tmp_path: Path, version: int, words: str) -> None:
    path = tmp_path / "fleet.db"
    create_store(path).close()
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version={version}")
    connection.close()
    with pytest.raises(SchemaError, match=words) as caught:
        open_store(path)
    assert caught.value.exit_code == 5


MOUNTS = """/dev/sda1 / ext4 rw 0 0
server:/share /mnt/share nfs4 rw 0 0
//server/team /mnt/team\\040files cifs rw 0 0
/dev/sdb1 /mnt/share/local ext4 rw 0 0
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/home/kim/fleet.db", None),
        ("/mnt/share/fleet.db", "nfs4"),
        ("/mnt/team files/fleet.db", "cifs"),
        ("/mnt/share/local/fleet.db", None),
        ("//server/team/fleet.db", "a network share"),
    ],
)
def test_a_network_drive_is_told_by_the_mount_that_holds_the_path(path: str, kind: str | None) -> None:
    if path.startswith("//"):
        path = "\\\\server\\team\\fleet.db"
    assert network_file_system(Path(path), MOUNTS) == kind


def test_a_store_on_a_network_drive_is_refused_with_the_reason(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "network_file_system", lambda path: "nfs4")
    with pytest.raises(StoreError, match="write-ahead log works on a local disk only"):
        create_store(tmp_path / "fleet.db")
    assert not (tmp_path / "fleet.db").exists()


def test_a_unit_of_work_lands_whole_or_not_at_all(tmp_path: Path) -> None:
    store = create_store(tmp_path / "fleet.db")
    with pytest.raises(sa.exc.IntegrityError), store.unit_of_work() as session:
        session.add_all([models.Station(code="NORTH"), models.Station(code="NORTH")])
    with store.unit_of_work() as session:
        session.add(models.Station(code="SOUTH"))
    twice = sa.insert(lean("station", "code", "name", "region", "neighbourhood", "note"))
    west = {"code": "WEST", "name": "", "region": "", "neighbourhood": "", "note": ""}
    with pytest.raises(sa.exc.IntegrityError), store.rows(writing=True) as connection:
        connection.execute(twice, [west, west])
    with store.reading() as session:
        assert session.exec(select(models.Station.code)).all() == ["SOUTH"]


def test_a_writer_that_waits_too_long_is_told_that_the_store_is_in_use(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(engine, "BUSY_TIMEOUT_MS", 50)
    store = create_store(tmp_path / "fleet.db")
    with store.rows(writing=True) as connection:
        insert(connection, "station", code="NORTH")
        with pytest.raises(StoreError, match="in use"), store.rows(writing=True):
            pass
        with store.rows() as reader:  # a reader sees the state before
            assert reader.execute(sa.select(sa.func.count()).select_from(lean("station", "id"))).scalar() == 0


def test_writers_in_several_processes_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "fleet.db"
    store = create_store(path)
    with store.rows(writing=True) as connection:
        insert(connection, "station", code="0")
    program = """
import sys
from pathlib import Path
import sqlalchemy as sa
from tapwear.store.engine import open_store
from tapwear.store.lean import lean
store = open_store(Path(sys.argv[1]))
station = lean("station", "code")
for _ in range(25):
    with store.rows(writing=True) as connection:
        now = int(connection.execute(sa.select(station.c.code)).scalar_one())
        connection.execute(sa.update(station).values(code=str(now + 1)))
"""
    writers = [subprocess.Popen([sys.executable, "-c", program, str(path)]) for _ in range(3)]
    assert [writer.wait(timeout=60) for writer in writers] == [0, 0, 0]
    with store.rows() as connection:
        assert connection.execute(sa.select(lean("station", "code").c.code)).scalar_one() == "75"


@pytest.mark.parametrize(
    ("table", "values"),
    [
        ("reading", {"counter_id": 99, "read_on": date(2026, 1, 1), "value": 5}),  # no such counter
        ("counter", {"drive_id": 1, "digits": 2}),
        ("counter", {"drive_id": 1, "digits": 6, "source": "guess"}),
        ("counter", {"drive_id": 1, "digits": "many"}),  # STRICT tables take no text for a number
        ("station", {"code": None}),
    ],
)
def test_the_tables_themselves_refuse_what_cannot_be(tmp_path: Path, table: str, values: dict[str, object]) -> None:
    store = create_store(tmp_path / "fleet.db")
    with store.rows(writing=True) as connection:
        assert insert(connection, "drive") == 1
    if table == "reading":
        entry = {"uid": "u", "recorded_at": datetime(2026, 1, 1, tzinfo=UTC), "recorded_by": "Kim", "reason": ""}
        values = {**entry, "withdrawn": False, **values}
    with pytest.raises(sa.exc.IntegrityError), store.rows(writing=True) as connection:
        insert(connection, table, **values)


def test_a_moment_without_a_time_zone_is_refused_and_others_come_back_in_utc(tmp_path: Path) -> None:
    from tapwear.store.recording import Change, Stamp, note_change

    store = create_store(tmp_path / "fleet.db")
    change = Change("station", 1, "name", None, "x")
    with pytest.raises(sa.exc.StatementError, match="time zone"), store.rows(writing=True) as connection:
        note_change(connection, change, Stamp("Kim", datetime(2026, 1, 1)))  # noqa: DTZ001
    moment = datetime.fromisoformat("2026-06-01T10:00:00+02:00")
    with store.rows(writing=True) as connection:
        note_change(connection, change, Stamp("Kim", moment))
        stored = connection.execute(sa.select(lean("register_change", "recorded_at").c.recorded_at)).scalar_one()
    assert stored == moment
    assert stored.utcoffset().total_seconds() == 0


def test_light_tables_tell_the_same_types_as_the_models() -> None:
    kinds = {sa.Date: "date", engine.sa.Boolean: "yes or no"}
    for table in SQLModel.metadata.tables.values():
        light = lean(table.name, *table.c.keys())
        for column in table.c:
            full, lightly = column.type, light.c[column.name].type
            for kind, word in kinds.items():
                assert isinstance(full, kind) == isinstance(lightly, kind), f"{column} {word}"
            moment = type(full).__name__ == "UtcTime"
            assert moment == (type(lightly).__name__ == "UtcTime"), f"{column} moment"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("failed to resolve host 'north': Name or service not known", "cannot be reached: failed .* try again"),
        ("connection is bad: invalid port number", "cannot be reached"),
        ("terminating connection due to administrator command\nCONTEXT: x", "cannot be reached: [^\n]* try again"),
        ("permission denied for table reading\nLINE 1: x", "permission denied for table reading.*can grant"),
        ("no such table: reading", "does not hold what a store .*tapwear restore"),
        ('column "number" does not exist\nLINE 1: SELECT', "does not hold what a store .*tapwear restore"),
    ],
)
def test_what_a_database_complains_of_is_said_in_one_line_with_what_to_do(text: str, said: str) -> None:
    told = str(engine.explain(Path("fleet"), sqlite3.OperationalError(text)))
    assert re.search(said, told), told
    assert "\n" not in told
    assert "Nothing was changed" in told
