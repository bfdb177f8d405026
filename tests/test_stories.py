"""The demo fleet's stories, each found by the tool from the files alone."""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from tapwear.cli.intake import DEMO_AS_OF, demo_folder
from tapwear.fleet import Assessment, assess_store, count_story, unit_followups, visits_overdue
from tapwear.outlook.types import Due
from tapwear.store.engine import Store, create_store
from tapwear.store.importing import ImportResult, store_intake
from tapwear.visits.reading import read_paths
from tapwear.words import stop_notice

AS_OF = date.fromisoformat(DEMO_AS_OF)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    return create_store(tmp_path_factory.mktemp("demo") / "demo.db")


def bring_in(store: Store) -> ImportResult:
    intake = read_paths(sorted(demo_folder().glob("*.csv")))
    now = datetime(2026, 6, 30, tzinfo=UTC)
    return store_intake(store, intake, by="test", now=now, today=AS_OF, what="demo")


@pytest.fixture(scope="module")
def fleet(store: Store) -> Assessment:
    result = bring_in(store)
    assert result.all_taken
    assert result.findings == ()
    return assess_store(store, AS_OF)


def test_importing_the_demo_again_adds_nothing(fleet: Assessment, store: Store) -> None:
    again = bring_in(store)
    assert again.all_taken
    assert again.total("stored") == 0


def contact_service(fleet: Assessment, unit: str) -> Due:
    return next(due for due in fleet.outlook.of_unit(unit) if due.task == "contact service")


def status_of(fleet: Assessment, unit: str, on: str) -> tuple[str, str]:
    rows = fleet.history.readings
    row = rows[(rows["unit"] == unit) & (rows["read_on"] == on) & (rows["source"] == "mechanical")].iloc[0]
    return row["status"], row["reason"]


STORIES = list(csv.DictReader((Path(__file__).parent / "demo" / "stories.csv").read_text().splitlines()))


@pytest.mark.parametrize("story", STORIES, ids=lambda story: str(story["story"]))
def test_each_story_has_the_driver_that_its_teller_meant(fleet: Assessment, story: dict[str, str]) -> None:
    assert contact_service(fleet, story["unit"]).driver == story["drives"]


def test_oil_pulls_a_unit_forward_by_years_and_says_why(fleet: Assessment) -> None:
    due, verdict = contact_service(fleet, "OR-T1"), fleet.verdicts["OR-T1"]
    assert verdict.call == "pull forward"
    assert due.oil_moved_days > 365
    assert any(finding.kind == "heating" for finding in verdict.findings)
    # Ethylene at 1.7 times acetylene from 0.2 is severe: it goes to the engineer, and nothing else is suggested.
    assert due.severe
    assert due.next_action == stop_notice(due.unit)
    assert fleet.outlook.dues[0] == due


def test_vacuum_unit_with_acetylene_is_pulled_and_its_neighbour_is_not(fleet: Assessment) -> None:
    assert fleet.verdicts["SC-T1"].call == "pull forward"
    due = contact_service(fleet, "SC-T1")
    assert due.next_action == (
        "Ask the responsible engineer today whether it may stay in service. Schedule the overhaul now (oil results)"
    )
    assert due.alarms[0].startswith("Tap operations are arcing in the oil: suspect a failed vacuum interrupter.")
    assert fleet.verdicts["SC-T2"].call != "pull forward"


def test_no_other_unit_is_pulled_by_its_oil(fleet: Assessment) -> None:
    pulled = {unit for unit, verdict in fleet.verdicts.items() if verdict.call == "pull forward"}
    assert pulled == {"OR-T1", "SC-T1"}


def test_rollover_is_counted_through(fleet: Assessment) -> None:
    points = fleet.history.points
    mine = points[points["unit"] == "FG-T1"]
    around = mine[(mine["on"] > "2022-06-01") & (mine["on"] < "2023-06-30")]["operations"]
    assert around.is_monotonic_increasing
    assert 0 < around.max() - around.min() < 20_000


def test_misread_last_reading_is_doubted_with_the_likely_number(fleet: Assessment) -> None:
    status, reason = status_of(fleet, "HB-T1", "2026-06-15")
    assert status == "doubtful"
    assert "138073" in reason
    due = contact_service(fleet, "HB-T1")
    assert any(doubt.startswith("last reading doubtful") for doubt in due.doubts)
    assert due.next_action == "read the counter again"


def test_recorded_and_unrecorded_changes_of_rate_are_told_apart(fleet: Assessment) -> None:
    recorded = " ".join(fleet.model.rate_words("KS-T2"))
    assert "after the regulator setting was changed on 2023-03-14" in recorded
    unrecorded = " ".join(fleet.model.rate_words("RM-T1"))
    assert "cause not recorded" in unrecorded
    assert "2024" in unrecorded


def test_furnace_unit_makes_some_sixty_thousand_a_year(fleet: Assessment) -> None:
    rate = contact_service(fleet, "PH-F1").operations_per_year
    assert rate is not None
    assert 50_000 < rate < 72_000


def test_calendar_governs_the_quiet_unit_on_its_very_day(fleet: Assessment) -> None:
    due = contact_service(fleet, "QV-G1")
    assert due.early == due.middle == due.late == date(2027, 9, 16)


def test_swapped_unit_takes_the_place_and_the_old_one_waits_in_the_workshop(fleet: Assessment) -> None:
    units = fleet.book.units.set_index("unit")
    assert units.loc["CF-T2", "state"] == "workshop"
    assert (units.loc["SP-04", "station"], units.loc["SP-04", "bank"]) == ("CF", "T2")
    waiting = contact_service(fleet, "CF-T2")
    assert any(doubt.startswith("workshop") for doubt in waiting.doubts)
    assert waiting.next_action == "do the contact service before it goes into service"
    assert count_story(fleet, "CF-T2").rate_words == ("no operations at present: workshop",)


def test_phases_of_the_bank_are_three_units_at_one_bank(fleet: Assessment) -> None:
    units = fleet.book.units.set_index("unit").loc[["IR-T1A", "IR-T1B", "IR-T1C"]]
    assert set(units["phase"]) == {"A", "B", "C"}
    assert units["bank"].nunique() == 1


def test_overdue_unit_says_since_when(fleet: Assessment) -> None:
    due = contact_service(fleet, "LM-T2")
    assert due.overdue
    assert due.middle is not None
    assert abs((due.middle - date(2025, 4, 21)).days) < 45


def test_unknown_last_services_are_listed_without_a_date(fleet: Assessment) -> None:
    unknown = {due.unit for due in fleet.outlook.dues if due.task == "contact service" and not due.known}
    assert unknown == {"BW-T1", "MF-T3", "RM-T2", "SC-T4", "WS-02"}


def test_unrecorded_counter_replacement_does_not_undo_the_operations(fleet: Assessment) -> None:
    points = fleet.history.points
    mine = points[points["unit"] == "GD-T1"]["operations"]
    assert mine.is_monotonic_increasing
    after = fleet.history.readings.query("unit == 'GD-T1' and read_on > '2024-04-01' and source == 'mechanical'")
    assert (after["status"] == "used").mean() > 0.8


def test_unit_that_nobody_read_is_listed_and_asks_to_be_read(fleet: Assessment) -> None:
    due = contact_service(fleet, "TQ-T3")
    assert due.readings_used == 0
    assert due.next_action == "read the counter"


def test_just_overhauled_unit_starts_again(fleet: Assessment) -> None:
    due = contact_service(fleet, "MF-T1")
    assert due.last_service_on == date(2026, 6, 4)
    assert due.operations_since is not None
    assert due.operations_since < 2_000


def test_what_visits_noted_is_said_of_the_units_that_it_concerns_and_of_no_other(fleet: Assessment) -> None:
    said = {due.unit: due.observed for due in fleet.outlook.dues if due.observed}
    assert set(said) == {"QV-G1", "KS-T2"}
    assert said["QV-G1"][0].startswith("no change-over selector operation recorded 2024-03-18 to 2026-01-26")
    assert said["KS-T2"][0].startswith("compartment 6 K hotter than the main tank on 2026-06-25, as on 2026-06-01")
    followed = {(one.unit, one.kind, one.times) for one in unit_followups(fleet.book, AS_OF)}
    assert followed == {
        ("DL-T2", "breather", 2), ("DL-T2", "oil_level", 1), ("DL-T2", "seepage", 2), ("LM-T3", "gas_blanket", 2),
        ("GD-T3", "heater", 1), ("GD-T3", "coating", 1),
    }  # fmt: skip


def test_visit_rules_ask_for_what_is_overdue_by_them(fleet: Assessment) -> None:
    overdue = visits_overdue(fleet.book, AS_OF)
    by_rule = overdue[overdue["by_rule"]]
    assert set(zip(by_rule["unit"], by_rule["what"], strict=True)) == {("NS-T1", "sample"), ("RM-T3", "sample")}
