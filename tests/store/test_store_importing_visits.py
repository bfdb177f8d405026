"""Visit files of several people: any order and any repetition of them gives the same content of the store."""

from __future__ import annotations

import itertools
import json
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapwear.store.engine import Store, open_store
from tapwear.store.find import find_unit
from tapwear.store.history import counter_past
from tapwear.store.importing import ImportResult, store_intake
from tapwear.store.loading import load_book
from tapwear.store.observations import list_observations
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.visits.observations import BY_NAME
from tapwear.visits.reading import read_paths
from tapwear.visits.types import FiledVisit, Intake
from tapwear.visits.visit import CounterSeen, Visit, content_of

AT = datetime(2026, 7, 1, 8, tzinfo=UTC)
TODAY = date(2026, 7, 1)
STAMP = Stamp("Robin", AT)
DAYS = (date(2026, 6, 3), date(2026, 6, 4))
BOOK = ("visit", "reading", "observation", "condition")
# When and in which import a row was written, and how rows and counters are numbered, depends on the order by nature.
NUMBERS = ("id", "recorded_at", "import_id", "counter_id")


@pytest.fixture(scope="module")
def register(empty_store_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store of two units, one of them with two drives."""
    store = open_store(Path(shutil.copy(empty_store_file, tmp_path_factory.mktemp("register") / "fleet.db")))
    with store.rows(writing=True) as connection:
        add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 5, "serial": "S1"}, STAMP)
        drives = {"unit": "T2", "station": "NORTH", "counter_digits": 6, "serial": "S2", "drives": ("A", "B")}
        add_unit(connection, drives, STAMP)
        connection.exec_driver_sql("UPDATE tap_changer SET positions = '1-33' WHERE tag = 'T1'")
    store.close()
    return path_of(store)


def path_of(store: Store) -> Path:
    return store.path


def bring(store: Store, visits: Sequence[Visit], file: str = "kim.json") -> ImportResult:
    filed = tuple(FiledVisit(one, file, 1, json.dumps(content_of(one))) for one in visits)
    intake = Intake((), (), (), len(filed), visits=filed)
    return store_intake(store, intake, by="Robin", now=AT, today=TODAY, what=file)


def content(store: Store, *, whole: bool) -> dict[str, list[tuple[str, ...]]]:
    """The book, as far as it does not depend on numbering. `whole`: every row ever; else what stands now, as said."""
    left_out = NUMBERS if whole else (*NUMBERS, "uid", "reason", "supersedes_id")
    found: dict[str, list[tuple[str, ...]]] = {}
    with store.rows() as connection:
        counters = {
            number: f"{drive} {source}"
            for number, drive, source in connection.exec_driver_sql("SELECT id, drive_id, source FROM counter")
        }
        for table in BOOK:
            rows = connection.exec_driver_sql(f"SELECT * FROM {table}").mappings().all()  # noqa: S608
            superseded = {row["supersedes_id"] for row in rows}
            found[table] = sorted(
                (counters.get(row.get("counter_id", 0), ""), *(f"{k}={v}" for k, v in row.items() if k not in left_out))
                for row in rows
                if whole or (not row["withdrawn"] and row["id"] not in superseded)
            )
    return found


def after(register: Path, files: Sequence[Sequence[Visit]], *, whole: bool) -> dict[str, list[tuple[str, ...]]]:
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(Path(shutil.copy(register, Path(folder) / "fleet.db")))
        for file in files:
            bring(store, file)
        found = content(store, whole=whole)
        store.close()
    return found


COUNTERS = st.lists(
    st.builds(
        CounterSeen,
        value=st.sampled_from([0, 48213, 48231, 123456]),  # the last is too long for T1
        drive=st.sampled_from(["", "A", "B"]),  # "" does not say enough for T2, A and B are not on T1
        source=st.sampled_from(["mechanical", "controller"]),
        doubt=st.sampled_from(["", "fewer than usual; kept: read twice"]),
    ),
    max_size=2,
).map(tuple)
SEEN = st.fixed_dictionaries(
    {},
    optional={
        "oil_level": st.sampled_from(["low", "normal"]),
        "oil_temp_c": st.sampled_from([20.0, 41.5]),
        "position": st.sampled_from(["5", "33", "40"]),  # T1 has no 40
        "seepage": st.sampled_from(["none", "drain valve"]),
    },
)


VISITS = st.builds(
    Visit,
    id=st.sampled_from(["a" * 32, "b" * 32, "c" * 32]),
    unit=st.sampled_from(["T1", "T2", "t1", "T9"]),
    visited_on=st.sampled_from([*DAYS, date(2027, 1, 1)]),
    by=st.sampled_from(["Kim", "Robin"]),
    serial_seen=st.sampled_from(["", "S1", "s-1", "S2", "X9"]),
    another_unit=st.sampled_from([False, False, True]),
    counters=COUNTERS,
    observations=SEEN,
    sample_taken=st.booleans(),
    remark=st.sampled_from(["", "gate 2 is locked"]),
)


SLOW = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


@SLOW
@given(data=st.data())
def test_any_order_and_repetition_of_files_gives_the_same_rows(register: Path, data: st.DataObject) -> None:
    own = st.lists(VISITS, min_size=1, max_size=3, unique_by=lambda one: one.id)
    pool = data.draw(own)  # every visit is written once, and may stand in several files
    files = data.draw(st.lists(st.lists(st.sampled_from(pool), max_size=3), min_size=1, max_size=4))
    other = data.draw(st.permutations(files)) + data.draw(st.lists(st.sampled_from(files), max_size=3))
    assert after(register, files, whole=True) == after(register, other, whole=True)


# Savings of one visit or two, nearly all of them such that they can be taken.
SAVINGS = st.builds(
    Visit,
    id=st.sampled_from(["a" * 32, "a" * 32, "b" * 32]),
    unit=st.sampled_from(["T1", "T1", "t1", "T2"]),
    visited_on=st.sampled_from(DAYS),
    another_unit=st.sampled_from([False, False, False, True]),
    serial_seen=st.just("X9"),
    counters=st.sampled_from([(), *((CounterSeen(value),) for value in (48213, 48231, 123456))]),
    observations=SEEN,
    remark=st.just("gate 2 is locked"),
    revision=st.integers(1, 4),
).map(lambda one: one if one.another_unit else replace(one, serial_seen=""))


@SLOW
@given(data=st.data())
def test_any_order_of_several_savings_of_a_visit_gives_the_same_as_stands(register: Path, data: st.DataObject) -> None:
    files = data.draw(st.lists(st.lists(SAVINGS, min_size=1, max_size=2), min_size=2, max_size=4))
    other = data.draw(st.permutations(files)) + data.draw(st.lists(st.sampled_from(files), max_size=2))
    assert after(register, files, whole=False) == after(register, other, whole=False)


ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-2, 10**10),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=6),
    st.sampled_from(
        ["T1", "T2", "16L", "N", "9b", "\ud800", "=1+1", "9" * 5000, [], {}, [{}], [{"value": "7"}], "2026-06-03"]
    ),
)
SPOILED = st.fixed_dictionaries(
    {"id": st.uuids().map(lambda one: one.hex), "unit": st.just("T1"), "visited_on": st.just("2026-06-03")},
    optional=dict.fromkeys(("by", "serial_seen", "another_unit", "sample_taken", "remark", "revision"), ODD)
    | {
        "counters": ODD
        | st.lists(st.dictionaries(st.sampled_from(["value", "drive", "source", "doubt"]), ODD), max_size=3),
        "observations": ODD | st.dictionaries(st.sampled_from([*BY_NAME, "oil_temp_unit"]), ODD, max_size=4),
    },
)


@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(spoiled=SPOILED)
def test_whatever_a_file_holds_ends_in_rows_or_findings(
    register: Path, tmp_path: Path, spoiled: dict[str, Any]
) -> None:
    path = tmp_path / "spoiled.json"
    path.write_text(json.dumps({"tapwear_visits": 1, "visits": [spoiled]}), encoding="utf-8")
    store = open_store(register)
    try:
        result = store_intake(store, read_paths([path]), by="R", now=AT, today=TODAY, what="f", dry_run=True)
    finally:
        store.close()
    assert result.rows_seen == 1
    assert result.findings or result.counts["visits"].stored == 1


def visit(**changes: Any) -> Visit:
    base = {"id": "a" * 32, "unit": "T1", "visited_on": DAYS[0], "by": "Kim", "counters": (CounterSeen(48213),)}
    return Visit(**(base | changes))


def test_every_order_of_three_peoples_files_is_the_same(register: Path) -> None:
    three = [
        [visit()],
        [visit(id="b" * 32, by="Robin", counters=(CounterSeen(48231),))],
        [visit(id="c" * 32, by="Sam", observations={"breather": "blocked"})],
    ]
    results = [after(register, order, whole=True) for order in itertools.permutations(three)]
    assert all(one == results[0] for one in results)
    assert len(results[0]["reading"]) == 3


def test_rows_are_named_alike_in_stores_that_number_their_counters_otherwise(register: Path) -> None:
    counters = [CounterSeen(1200, drive, "controller") for drive in ("A", "B")]
    files = [[visit(id=f"{n}" * 32, unit="T2", counters=(one,))] for n, one in enumerate(counters)]
    assert after(register, files, whole=True) == after(register, files[::-1], whole=True)


def test_what_is_loaded_stands_in_the_same_order_whichever_file_came_first(register: Path, tmp_path: Path) -> None:
    files = [
        [visit(observations={"oil_level": "low", "position": "5"})],
        [visit(id="b" * 32, counters=(CounterSeen(48231),), observations={"oil_level": "normal", "position": "7"})],
    ]
    loaded = []
    for number, order in enumerate((files, files[::-1])):
        store = open_store(Path(shutil.copy(register, tmp_path / f"{number}.db")))
        for file in order:
            bring(store, file)
        book = load_book(store)
        frames = (book.readings.drop(columns="reading_id").sort_values("value"), book.observations.iloc[:, 1:])
        loaded.append([frame.to_csv(index=False) for frame in frames])
        with store.rows() as connection:
            loaded[-1] += [repr(replace(one, id=0)) for one in list_observations(connection)]
            past = counter_past(connection, find_unit(connection, "T1"), "", "mechanical", TODAY)
            loaded[-1] += [str(one.value) for one in past.readings]
    assert loaded[0] == loaded[1]
    assert "48213" in loaded[0]


def test_an_import_tells_conflicts_refused_visits_and_what_was_known(register: Path, tmp_path: Path) -> None:
    store = open_store(Path(shutil.copy(register, tmp_path / "fleet.db")))
    bring(store, [visit()])
    result = bring(
        store,
        [
            visit(),
            visit(id="b" * 32, counters=(CounterSeen(48231),)),
            visit(id="c" * 32, unit="T9"),
            visit(id="d" * 32, visited_on=date(2026, 7, 2)),
        ],
        "robin.json",
    )
    counts = result.counts["visits"]
    assert (counts.stored, counts.known, counts.conflicts, counts.rejected) == (1, 1, 1, 2)
    assert [(one.severity, one.field) for one in result.findings] == [
        ("conflict", "counters"), ("rejected", "whole row"), ("rejected", "visited_on"),
    ]  # fmt: skip
    assert not result.all_taken
    assert all(one.file == "robin.json" and one.row for one in result.findings)


def test_a_file_is_read_and_stored_with_what_is_wrong_in_it(register: Path, tmp_path: Path) -> None:
    store = open_store(Path(shutil.copy(register, tmp_path / "fleet.db")))
    path = tmp_path / "kim.json"
    bad = content_of(visit(id="b" * 32)) | {"visited_on": "yesterday"}
    path.write_text(json.dumps({"tapwear_visits": 1, "visits": [content_of(visit()), bad]}), encoding="utf-8")
    intake = read_paths([path])
    result = store_intake(store, intake, by="Robin", now=AT, today=TODAY, what="kim.json")
    assert (result.counts["visits"].stored, result.counts["visits"].rejected) == (1, 1)
    assert result.rows_seen == 2
