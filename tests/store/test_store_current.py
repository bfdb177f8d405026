"""Current at the readings and the exponent of a rule: stored, held against the book, and loaded as they were given."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa

from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.entries import Outcome, add_reading, withdraw
from tapwear.store.find import find_unit
from tapwear.store.guards import drop_triggers
from tapwear.store.importing import ImportResult, store_intake
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.visits.reading import read_paths

NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)
STAMP = Stamp("Robin", NOW, "the ammeter was misread")
DAY = date(2026, 6, 3)
READINGS = "unit,read_on,value,current_a\n"


@pytest.fixture
def store(empty_store: Store) -> Store:
    with empty_store.rows(writing=True) as connection:
        add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 5, "scheme": "resistor"}, STAMP)
    return empty_store


def bring(store: Store, folder: Path, name: str, text: str) -> ImportResult:
    path = folder / f"{name}.csv"
    path.write_text(text, encoding="utf-8")
    return store_intake(store, read_paths([path]), by="Kim", now=NOW, today=date(2026, 11, 2), what=name)


def enter(store: Store, value: int, replace: bool = False, **more: float) -> Outcome:
    with store.rows(writing=True) as connection:
        given = {"value": value, "read_on": DAY, **more}
        return add_reading(connection, find_unit(connection, "T1"), given, STAMP, replace=replace)


def currents(store: Store) -> list[float]:
    return [float(value) for value in load_book(store).readings["current_a"]]


def exponents(store: Store) -> list[float]:
    return [float(value) for value in load_book(store).rules["current_exponent"]]


def test_a_current_comes_back_as_it_was_imported_and_a_blank_one_is_not_known(store: Store, tmp_path: Path) -> None:
    rows = READINGS + "T1,2026-01-01,100,\nT1,2026-06-03,900,212.5\n"
    assert bring(store, tmp_path, "readings", rows).findings == ()
    first, second = currents(store)
    assert math.isnan(first)
    assert second == 212.5
    assert bring(store, tmp_path, "readings", rows).total("stored") == 0


def test_a_reading_handed_in_again_without_its_current_is_known(store: Store, tmp_path: Path) -> None:
    bring(store, tmp_path, "readings", READINGS + "T1,2026-06-03,900,212.5\n")
    again = bring(store, tmp_path, "readings", "unit,read_on,value\nT1,2026-06-03,900\n")
    assert (again.total("known"), again.findings) == (1, ())


def test_another_current_for_the_same_reading_is_a_conflict_with_the_way_to_correct_it(
    store: Store, tmp_path: Path
) -> None:
    bring(store, tmp_path, "readings", READINGS + "T1,2026-06-03,900,212.5\n")
    (finding,) = bring(store, tmp_path, "readings", READINGS + "T1,2026-06-03,900,122.5\n").findings
    assert (finding.field, finding.severity) == ("current_a", "conflict")
    assert "tapwear log T1 900 --on 2026-06-03 --current 122.5 --replace" in finding.remedy
    assert currents(store) == [212.5]


def test_a_corrected_current_supersedes_and_a_corrected_number_keeps_the_current(store: Store) -> None:
    enter(store, 900, current_a=122.5)
    assert enter(store, 900, current_a=212.5).kind == "conflict"
    assert enter(store, 900, replace=True, current_a=212.5).kind == "replaced"
    assert enter(store, 901, replace=True).kind == "replaced"
    assert currents(store) == [212.5]
    with store.rows(writing=True) as connection:
        withdraw(connection, "reading", int(load_book(store).readings["reading_id"].iloc[0]), STAMP)
    assert currents(store) == []


def test_a_current_or_exponent_that_cannot_be_is_refused(store: Store, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="current_a"):
        enter(store, 900, current_a=-1.0)
    (finding,) = bring(store, tmp_path, "readings", READINGS + "T1,2026-06-03,900,much\n").findings
    assert finding.field == "current_a"
    rules = "scheme,task,interval_operations,current_exponent\nresistor,contact service,50000,2.5\n"
    (finding,) = bring(store, tmp_path, "service_rules", rules).findings
    assert finding.field == "current_exponent"
    for statement in ("UPDATE reading SET current_a = -1", "UPDATE service_rule SET current_exponent = 3"):
        enter(store, 900)
        bring(store, tmp_path, "service_rules", rules.replace("2.5", "2"))
        with pytest.raises(sa.exc.IntegrityError, match=r"CHECK|check"), store.rows(writing=True) as connection:
            _past_the_guards(connection, statement)


def _past_the_guards(connection: sa.Connection, statement: str) -> None:
    drop_triggers(connection)  # undone with the rest
    connection.exec_driver_sql(statement)


def test_a_rule_without_an_exponent_counts_plainly_and_a_units_own_goes_before_its_schemes(
    store: Store, tmp_path: Path
) -> None:
    heading = "scheme,unit,task,interval_operations,interval_years,current_exponent\n"
    bring(store, tmp_path, "service_rules", heading + "resistor,,inspection,,1,\n")
    assert exponents(store) == [0.0]
    bring(store, tmp_path, "service_rules", heading + "resistor,,contact service,50000,7,1.5\n")
    assert exponents(store) == [0.0, 1.5]
    bring(store, tmp_path, "service_rules", heading + ",T1,contact service,60000,,\n")
    assert exponents(store) == [0.0, 1.5]
    bring(store, tmp_path, "service_rules", heading + ",T1,contact service,60000,,0\n")
    assert exponents(store) == [0.0, 0.0]
