"""When units are to be read and sampled next: by the visit rule, else by what is usual."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
from books import AS_OF, book, unit_row
from outlook_dues import due

from tapwear.fleet import visits_overdue
from tapwear.outlook.next import SampleWanted, next_round
from tapwear.outlook.types import Outlook
from tapwear.outlook.visits_due import read_by_rule, visits_due, with_samples_by_rule
from tapwear.store.book import Book
from tapwear.words import stop_notice

NAN = float("nan")


def rules(*rows: tuple[str, float, float]) -> pd.DataFrame:
    columns = ["unit", "read_every_days", "sample_every_days"]
    return pd.DataFrame(rows, columns=columns).assign(still_after_days=np.nan)


def read(unit: str, on: str, source: str = "mechanical") -> dict[str, object]:
    row = {"reading_id": 1, "unit": unit, "drive": "1", "source": source, "digits": 6}
    return row | {"read_on": pd.Timestamp(on), "value": 100}


def sampled(unit: str, on: str, compartment: str = "", taken_from: str = "compartment") -> dict[str, object]:
    return {"unit": unit, "compartment": compartment, "taken_from": taken_from, "sampled_on": pd.Timestamp(on)}


def due_of(found: Book, rule: pd.DataFrame) -> dict[tuple[str, str], tuple[str, bool]]:
    frame = visits_due(found.units, rule, found.readings, found.samples, AS_OF)
    rows = zip(frame["unit"], frame["what"], frame["due_on"], frame["by_rule"], strict=True)
    return {(unit, what): (str(on.date()), bool(by_rule)) for unit, what, on, by_rule in rows}


def test_a_rule_counts_from_the_last_reading_that_somebody_made_at_the_drive() -> None:
    rows = [read("T1", "2026-05-01"), read("T1", "2026-06-20", "controller"), read("T1", "2026-02-01")]
    found = due_of(book([unit_row("T1", visit_cadence="weekly")], readings=rows), rules(("T1", 30, NAN)))
    assert found == {("T1", "reading"): ("2026-05-31", True)}


def test_without_a_rule_a_reading_is_due_when_it_is_half_as_old_again_as_usual() -> None:
    rows = [read("T1", "2026-05-01")]
    found = due_of(book([unit_row("T1", visit_cadence="every 20 days")], readings=rows), rules())
    assert found == {("T1", "reading"): ("2026-05-31", False)}


def test_of_several_compartments_the_one_sampled_longest_ago_counts() -> None:
    rows = [sampled("T1", "2026-06-01", "A"), sampled("T1", "2025-06-01", "B"), sampled("T1", "2025-12-01", "B"),
            sampled("T1", "2020-01-01", taken_from="main_tank")]  # fmt: skip
    found = due_of(book([unit_row("T1")], readings=[read("T1", "2026-06-01")], samples=rows), rules(("T1", NAN, 365)))
    assert found["T1", "sample"] == ("2026-12-01", True)


def test_what_was_never_done_is_due_now_and_units_out_of_service_are_left_out() -> None:
    units = [unit_row("T1"), unit_row("T2", state="spare")]
    assert due_of(book(units), rules(("T1", 30, 365), ("T2", 30, 365))) == {
        ("T1", "reading"): (str(AS_OF), True), ("T1", "sample"): (str(AS_OF), True)
    }  # fmt: skip


def test_the_overdue_ones_are_those_whose_day_has_come() -> None:
    rows = [read("T1", str(AS_OF - timedelta(days=30))), read("T2", str(AS_OF - timedelta(days=29)))]
    found = book([unit_row("T1"), unit_row("T2")], readings=rows)
    found = replace(found, visit_rules=rules(("T1", 30, NAN), ("T2", 30, NAN)))
    assert list(visits_overdue(found, AS_OF)["unit"]) == ["T1"]
    assert list(visits_overdue(found, AS_OF + timedelta(days=1))["unit"]) == ["T1", "T2"]


NOW = due(last_reading_on=AS_OF - timedelta(days=20))


def looks(now: Outlook, by: date, read_by: dict[str, tuple[date, float]], usual: float = 1.0) -> list[tuple[str, str]]:
    then = replace(now, as_of=by)
    found = next_round(now, then, {}, {NOW.unit: usual}, {}, set(), read_by=read_by)
    return [(str(look.by), look.reading) for look in found.looks]


def test_next_asks_for_a_reading_by_its_rule_from_the_deadline_that_it_falls_before() -> None:
    now, day = Outlook(AS_OF, (NOW,)), AS_OF + timedelta(days=10)
    asked = {NOW.unit: (day, 30.0)}
    assert looks(now, day, asked) == [(str(day), "last read 20 days ago; the visit rule says every 30 days")]
    assert looks(now, day - timedelta(days=1), asked) == []  # though 20 days are far more than the usual one day
    assert looks(now, day - timedelta(days=1), {})[0][1] == "last read 20 days ago, usually every 1 day"


def test_next_never_sends_anybody_to_a_severe_unit_whatever_the_rule_says() -> None:
    severe = Outlook(AS_OF, (replace(NOW, severe=True, next_action=stop_notice("T1")),))
    assert looks(severe, AS_OF, {NOW.unit: (AS_OF, 30.0)}) == []


def test_a_sample_by_rule_is_wanted_where_the_oil_does_not_ask_already() -> None:
    units = [unit_row(tag) for tag in ("T1", "T2", "T3")]
    samples = [sampled("T1", "2025-04-30"), sampled("T2", "2025-04-30"), sampled("T3", "2026-06-01")]
    found = book(units, samples=samples)
    rule = rules(*((tag, NAN, 365) for tag in ("T1", "T2", "T3")))
    frame = visits_due(found.units, rule, found.readings, found.samples, AS_OF)
    oil = SampleWanted(AS_OF, "flagged", "acetylene rises")
    wanted = with_samples_by_rule({"T2": oil}, frame, AS_OF, AS_OF)
    assert wanted == {
        "T1": SampleWanted(AS_OF, "rule", "last sample 14 months old; the visit rule says every 12 months."), "T2": oil
    }  # fmt: skip
    often = visits_due(found.units, rules(("T1", NAN, 420)), found.readings, found.samples, AS_OF)
    words = with_samples_by_rule({}, often, AS_OF, AS_OF)["T1"].words
    assert words == "last sample 426 days old; the visit rule says every 420 days."
    assert set(with_samples_by_rule({}, frame, AS_OF, date(2027, 6, 1))) == {"T1", "T2", "T3"}
    assert read_by_rule(frame) == {}
