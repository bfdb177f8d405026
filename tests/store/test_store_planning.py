"""What a plan is made from, in the store: given, filled in, replaced, dropped; nothing is forgotten."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.entries import add_service
from tapwear.store.find import find_unit
from tapwear.store.importing import ImportResult, store_intake
from tapwear.store.importing_planning import take_planning
from tapwear.store.importing_types import Refused
from tapwear.store.lean import lean
from tapwear.store.planning import (
    KINDS,
    drop_notes,
    drop_planning,
    list_planning,
    load_planning,
    services_since,
    state_costs,
    stated_costs,
)
from tapwear.store.plans import list_plans, load_plan, plan_of_year, publish_plan, save_plan
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.visits.reading import read_paths

AT = datetime(2026, 7, 1, 9, tzinfo=UTC)
STAMP = Stamp("Robin", AT, "first plan")
SHIPPED = {"late": 10.0, "early": 1.0, "trip": 40.0, "unplaced": 100.0, "move": 60.0}


@pytest.fixture
def store(empty_store: Store) -> Store:
    with empty_store.rows(writing=True) as connection:
        for tag in ("T1", "T2"):
            add_unit(connection, {"unit": tag, "station": "NORTH", "counter_digits": 6}, STAMP)
    return empty_store


def give(connection: Connection, table: str, *, replace: bool = False, **given: Any) -> bool:
    return take_planning(connection, table, given, STAMP, replace=replace).stored


def bring(store: Store, folder: Path, **tables: str) -> ImportResult:
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    paths = [folder / f"{name}.csv" for name in tables]
    return store_intake(store, read_paths(paths), by="Kim", now=AT, today=date(2026, 7, 1), what="files")


def says(connection: Connection, kind: str) -> list[dict[str, Any]]:
    beside = ("row_id", "recorded_on", "recorded_by")
    return [
        {name: value for name, value in row.items() if name not in beside and value not in (None, "", ())}
        for row in list_planning(connection, kind)
    ]


def test_weeks_of_every_year_and_dated_ones_come_from_the_same_table(store: Store, tmp_path: Path) -> None:
    text = "station,weeks,why\nNORTH,W24..W35 W49..W05,peak\nNORTH,2027-W10..2027-W11,works\n"
    assert bring(store, tmp_path, closures=text).all_taken
    with store.rows() as connection:
        yearly, dated = says(connection, "yearly closure"), says(connection, "closure")
    assert [(row["from_week"], row["to_week"]) for row in yearly] == [(24, 35), (49, 5)]
    assert [(row["from_on"], row["to_on"]) for row in dated] == [(date(2027, 3, 8), date(2027, 3, 21))]
    assert bring(store, tmp_path, closures=text).total("stored") == 0


def test_by_hand_what_is_given_again_replaces_and_a_file_is_a_conflict(store: Store, tmp_path: Path) -> None:
    with store.rows(writing=True) as connection:
        assert give(connection, "teams", team="A", region="Hill", hours_per_week=100.0)
        assert give(connection, "teams", replace=True, team="A", region="Hill", hours_per_week=120.0)
        assert not give(connection, "teams", replace=True, team="A", region="Hill", hours_per_week=120.0)
        assert give(connection, "crews", region="Hill", week="2027-W05", hours=80.0)
        assert give(connection, "crews", replace=True, region="Hill", week="2027-W05", hours=40.0)
        assert says(connection, "crew") == [{"region": "Hill", "week": "2027-W05", "hours": 40}]
        history = lean("register_change", "table_name", "field", "before", "after", "recorded_by")
        changes = connection.execute(sa.select(history).where(history.c.table_name == "crew_week")).all()
    assert [tuple(row[1:]) for row in changes] == [("hours", "80.0", "40.0", "Robin")]
    told = bring(store, tmp_path, teams="team,region,hours_per_week\nA,Hill,90\n")
    assert [(one.severity, one.field) for one in told.findings] == [("conflict", "hours_per_week")]
    assert "120 is stored, this says 90" in told.findings[0].found


def test_a_file_fills_in_what_was_left_blank(store: Store, tmp_path: Path) -> None:
    with store.rows(writing=True) as connection:
        give(connection, "outage_terms", station="NORTH", permit_weeks=3.0)
    text = "station,permit_weeks,approver,resources\nNORTH,,control room,mobile;oil plant\n"
    assert bring(store, tmp_path, outage_terms=text).total("stored") == 1
    with store.rows() as connection:
        assert says(connection, "terms") == [
            {"station": "NORTH", "permit_weeks": 3, "approver": "control room", "resources": ("mobile", "oil plant")}
        ]


def test_what_was_taken_back_does_not_come_again_with_an_old_file(store: Store, tmp_path: Path) -> None:
    text = "resource,number\nmobile,1\n"
    bring(store, tmp_path, resources=text)
    with store.rows(writing=True) as connection:
        (row,) = list_planning(connection, "resource")
        assert drop_planning(connection, "resource", row["row_id"], STAMP)["resource"] == "mobile"
    assert bring(store, tmp_path, resources=text).total("stored") == 0
    with store.rows(writing=True) as connection:
        assert says(connection, "resource") == []
        assert give(connection, "resources", resource="mobile", number=1)  # by hand it may


def test_a_dropped_closure_stays_in_the_history(store: Store) -> None:
    with store.rows(writing=True) as connection:
        give(connection, "closures", station="NORTH", weeks="2027-W10", why="works")
        (row,) = list_planning(connection, "closure")
        drop_planning(connection, "closure", row["row_id"], STAMP)
        assert says(connection, "closure") == []
        change = lean("register_change", "table_name", "field", "before", "after", "reason")
        kept = connection.execute(sa.select(change).where(change.c.table_name == "closure")).all()
    assert ("why", "works", None, "first plan") in [tuple(row[1:]) for row in kept]


def test_one_pin_a_year_and_another_in_the_next(store: Store) -> None:
    with store.rows(writing=True) as connection:
        assert give(connection, "job_notes", unit="T1", kind="pin", weeks="2027-W18")
        assert give(connection, "job_notes", unit="T1", kind="pin", weeks="2028-W18")
        with pytest.raises(Refused, match="2027-W18 already"):
            give(connection, "job_notes", unit="T1", kind="pin", weeks="2027-W20")
        assert drop_notes(connection, "T1", "pin", STAMP, "2027-W18") == ["2027-W18"]
        assert give(connection, "job_notes", unit="T1", kind="pin", weeks="2027-W20")
        assert drop_notes(connection, "T2", "pin", STAMP) == []


def test_notes_that_happen_later_are_not_known_yet(store: Store) -> None:
    with store.rows(writing=True) as connection:
        give(connection, "job_notes", unit="T1", kind="progress", status="started", happened_on=date(2026, 6, 20))
        give(connection, "job_notes", unit="T1", kind="forbid", weeks="2027-W18")
        known = {day: len(load_planning(connection, day)["note"]) for day in (date(2026, 6, 19), date(2026, 6, 20))}
    assert known == {date(2026, 6, 19): 1, date(2026, 6, 20): 2}


def test_every_kind_is_read_back_as_it_was_given(store: Store) -> None:
    with store.rows(writing=True) as connection:
        give(connection, "resources", resource="oil plant", number=3)
        give(connection, "resources", resource="mobile", number=2, from_on=date(2027, 3, 1))
        give(connection, "teams", team="A", region="Hill", hours_per_week=80.0, skills=("vacuum", "reactor"))
        give(connection, "other_outages", unit="T1", from_on=date(2027, 3, 1), to_on=date(2027, 3, 5), what="line")
        give(connection, "outage_terms", unit="T2", exchanged=True, consequence=2.5)
        found = {kind: says(connection, kind) for kind in ("resource", "team", "other outage", "terms")}
        ids = [row["row_id"] for row in list_planning(connection, "resource")]
    assert found == {
        "resource": [
            {"resource": "oil plant", "number": 3},
            {"resource": "mobile", "number": 2, "from_on": date(2027, 3, 1)},
        ],
        "team": [{"team": "A", "region": "Hill", "hours_per_week": 80, "skills": ("vacuum", "reactor")}],
        "other outage": [{"unit": "T1", "from_on": date(2027, 3, 1), "to_on": date(2027, 3, 5), "what": "line"}],
        "terms": [{"unit": "T2", "exchanged": True, "consequence": 2.5}],
    }
    assert ids == [1, 2]


def test_what_is_not_there_cannot_be_dropped(store: Store) -> None:
    with store.rows(writing=True) as connection:
        for kind in KINDS:
            with pytest.raises(UsageError, match=f"no {kind} number 7"):
                drop_planning(connection, kind, 7, STAMP)
        with pytest.raises(UsageError, match="no kind 'wish'"):
            drop_planning(connection, "wish", 1, STAMP)


def test_costs_keep_what_was_stated_before(store: Store) -> None:
    with store.rows(writing=True) as connection:
        assert stated_costs(connection) == []
        state_costs(connection, {"late": 20.0}, SHIPPED, STAMP)
        state_costs(connection, {"trip": 5.0}, SHIPPED, STAMP)
        for odd in (float("nan"), float("inf"), -1.0):
            with pytest.raises(UsageError, match="cost of move"):
                state_costs(connection, {"move": odd}, SHIPPED, STAMP)
        rows = stated_costs(connection)
    assert [(row.late, row.early, row.trip, row.stated_by) for row in rows] == [
        (20, 1, 40, "Robin"),
        (20, 1, 5, "Robin"),
    ]


def test_services_are_told_by_unit_after_a_day(store: Store) -> None:
    with store.rows(writing=True) as connection:
        for day in (date(2026, 3, 1), date(2026, 6, 1)):
            add_service(connection, find_unit(connection, "T1"), {"done_on": day, "work": "overhaul"}, STAMP)
        found = services_since(connection, date(2026, 3, 1))
    assert [day for day, _ in found["T1"]] == [date(2026, 6, 1)]
    assert "contact service" in found["T1"][0][1]


def document(year: int, **more: Any) -> dict[str, Any]:
    return {"year": year, "as_of": "2026-06-30", "assumptions": [], "limits": {}, "jobs": [], **more}


def test_of_one_year_the_newest_publication_counts_and_the_others_are_kept(store: Store) -> None:
    for name in ("a", "b", "c"):
        save_plan(store, document(2027, costs={"late": 12.0}), name=name, by="Robin", at=AT)
    save_plan(store, document(2028), name="other year", by="Robin", at=AT)
    assert (plan_of_year(store, 2027), plan_of_year(store, 2027, published_only=True)) == ("c", None)
    assert publish_plan(store, "a", by="Kim", at=AT, reason="") is None
    before = publish_plan(store, "b", by="Kim", at=AT, reason="new sample")
    assert before is not None
    assert before.name == "a"
    assert {head.name: head.status for head in list_plans(store)} == {
        "a": "superseded", "b": "published", "c": "draft", "other year": "draft",
    }  # fmt: skip
    assert plan_of_year(store, 2027) == "b"
    with pytest.raises(UsageError, match="already"):
        publish_plan(store, "b", by="Kim", at=AT, reason="")
    assert publish_plan(store, "a", by="Kim", at=AT, reason="back") is not None
    assert plan_of_year(store, 2027) == "a"
    assert load_plan(store, "a")[1]["costs"] == {"late": 12.0}
    assert plan_of_year(store, 2030) is None
