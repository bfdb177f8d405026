"""Visit rules: a unit's own field by field before its scheme's; set, imported, listed, with a history."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.importing import ImportResult, store_intake
from tapwear.store.lean import lean
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.store.visit_rules import VisitRule, list_visit_rules, set_visit_rule
from tapwear.visits.reading import read_paths

NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)
STAMP = Stamp("Robin", NOW, "our standard")


@pytest.fixture
def store(empty_store: Store) -> Store:
    with empty_store.rows(writing=True) as connection:
        for tag in ("T1", "T2", "T3"):
            scheme = {} if tag == "T3" else {"scheme": "resistor"}
            add_unit(connection, {"unit": tag, "station": "NORTH", "counter_digits": 5, **scheme}, STAMP, sure=True)
    return empty_store


def put(store: Store, **values: Any) -> int:
    with store.rows(writing=True) as connection:
        return len(set_visit_rule(connection, values, STAMP))


def effective(store: Store) -> dict[str, tuple[float | None, ...]]:
    frame = load_book(store).visit_rules
    return {
        str(row[0]): tuple(None if math.isnan(value) else value for value in row[1:])
        for row in frame.itertuples(index=False)
    }


def test_a_units_own_rule_goes_before_its_schemes_field_by_field(store: Store) -> None:
    put(store, scheme="resistor", read_every_days=91.0, sample_every_days=365.0)
    put(store, unit="T2", read_every_days=30.0)
    assert effective(store) == {"T1": (91.0, 365.0, None), "T2": (30.0, 365.0, None)}


def test_a_rule_is_changed_and_taken_back_with_its_history(store: Store) -> None:
    assert put(store, scheme="resistor", read_every_days=91.0, provenance="standard 7") == 2
    assert put(store, scheme="resistor", read_every_days=91.0) == 0
    assert put(store, scheme="resistor", read_every_days=None, still_after_days=200.0) == 2
    with store.rows() as connection:
        assert list_visit_rules(connection) == [VisitRule("resistor", "", None, None, 200.0, "standard 7")]
        change = lean("register_change", "id", "table_name", "field", "before", "after", "reason")
        mine = sa.select(change.c.field, change.c.before, change.c.after).where(change.c.table_name == "visit_rule")
        kept = connection.execute(mine.order_by(change.c.id)).all()
    assert [tuple(row) for row in kept] == [
        ("made", None, "visit rule of resistor"), ("read_every_days", "91.0", None), ("still_after_days", None, "200.0")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("values", "complaint"),
    [
        ({"read_every_days": 30.0}, "to a scheme or to a unit"),
        ({"scheme": "resistor", "unit": "T1", "read_every_days": 30.0}, "to a scheme or to a unit"),
        ({"scheme": "none such", "read_every_days": 30.0}, "there are: resistor"),
        ({"unit": "T9", "read_every_days": 30.0}, "T9"),
        ({"unit": "T1", "read_every_days": 0.5}, "read_every_days"),
    ],
)
def test_a_rule_that_belongs_to_nothing_or_asks_for_nonsense_is_refused(
    store: Store, values: dict[str, Any], complaint: str
) -> None:
    with pytest.raises(UsageError, match=complaint):
        put(store, **values)
    assert load_book(store).visit_rules.empty


def bring(store: Store, folder: Path, text: str) -> ImportResult:
    path = folder / "visit_rules.csv"
    path.write_text("scheme,unit,read_every_days,sample_every_days\n" + text, encoding="utf-8")
    return store_intake(store, read_paths([path]), by="Kim", now=NOW, today=date(2026, 11, 2), what="rules")


def test_imported_rules_are_added_filled_in_known_and_in_conflict(store: Store, tmp_path: Path) -> None:
    rows = "resistor,,91,\n,T3,30,180\n"
    assert bring(store, tmp_path, rows).total("stored") == 2
    assert bring(store, tmp_path, rows).total("known") == 2
    assert bring(store, tmp_path, "resistor,,,365\n").total("stored") == 1
    (finding,) = bring(store, tmp_path, ",T3,60,\n").findings
    assert (finding.field, finding.severity) == ("read_every_days", "conflict")
    assert effective(store) == {"T1": (91, 365, None), "T2": (91, 365, None), "T3": (30, 180, None)}
