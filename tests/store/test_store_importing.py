"""From files to the store: what is stored, known, filled in, in conflict or refused, and that nothing is lost."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from tapwear.store.engine import Store
from tapwear.store.entries import add_reading, add_service, withdraw
from tapwear.store.find import find_unit
from tapwear.store.importing import ImportResult, TableCount, store_intake
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp
from tapwear.store.runs import findings_of, import_runs
from tapwear.visits.reading import read_paths

NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)
TODAY = date(2026, 11, 2)
STAMP = Stamp("Robin", NOW, "read again")
UNITS = "unit,station,counter_digits\nT1,NORTH,5\nT2,SOUTH,6\n"


class Desk:
    """Writes files, imports them, looks into the store."""

    def __init__(self, store: Store, folder: Path) -> None:
        self.store, self.folder = store, folder

    def bring(self, dry_run: bool = False, **files: str) -> ImportResult:
        paths = []
        for name, text in files.items():
            paths.append(self.folder / f"{name}.csv")
            paths[-1].write_text(text, encoding="utf-8")
        intake = read_paths(paths)
        return store_intake(self.store, intake, by="Kim", now=NOW, today=TODAY, what="files", dry_run=dry_run)

    def rows(self, table: str, *columns: str) -> list[Any]:
        rows = lean(table, "id", *columns)
        query = sa.select(*(rows.c[name] for name in columns)).order_by(rows.c.id)
        with self.store.rows() as connection:
            found = connection.execute(query).all()
        return [row[0] for row in found] if len(columns) == 1 else [tuple(row) for row in found]

    def current(self, table: str, column: str) -> list[Any]:
        rows = lean(table, "id", "supersedes_id", "withdrawn", column)
        with self.store.rows() as connection:
            return list(connection.execute(sa.select(rows.c[column]).where(is_current(rows))).scalars())


@pytest.fixture
def desk(empty_store: Store, tmp_path: Path) -> Desk:
    return Desk(empty_store, tmp_path)


@pytest.fixture
def fleet(desk: Desk) -> Desk:
    desk.bring(units=UNITS)
    return desk


def told(result: ImportResult) -> list[tuple[int, str, str]]:
    return [(finding.line, finding.field, finding.severity) for finding in result.findings]


# --- the register ---------------------------------------------------------------------------------------------


def test_a_new_unit_brings_its_station_drive_counter_and_compartment(desk: Desk) -> None:
    result = desk.bring(
        units="unit,station,counter_digits,bank,drives,oil_volume_l,interval_operations\n"
        "T1,NORTH,5,B1,,180,100000\nT2,NORTH,6,B2,A;B;C,,\n"
    )
    assert result.counts == {"units": TableCount(stored=2)}
    assert desk.rows("station", "code") == ["NORTH"]
    assert desk.rows("place", "bank") == ["B1", "B2"]
    assert desk.rows("fitting", "slot") == ["1", "A", "B", "C"]
    assert desk.rows("counter", "digits") == [5, 6, 6, 6]
    assert desk.rows("compartment", "oil_volume_l") == [180.0, None]
    assert desk.rows("service_rule", "task", "interval_operations") == [("contact service", 100_000)]


def test_a_new_unit_without_station_or_digits_is_refused(desk: Desk) -> None:
    result = desk.bring(units="unit,station,counter_digits\nT1,,5\nT2,NORTH,\n")
    assert told(result) == [(2, "station", "rejected"), (3, "counter_digits", "rejected")]
    assert desk.rows("tap_changer", "tag") == []
    assert desk.rows("station", "code") == []


def test_a_second_file_fills_blanks_and_leaves_a_trace(fleet: Desk) -> None:
    result = fleet.bring(units="unit,technology,oil_volume_l,conservator,bank\nT1,vacuum,220,common,B1\n")
    assert result.counts == {"units": TableCount(stored=1)}
    assert result.findings == ()
    assert fleet.rows("tap_changer", "technology") == ["vacuum", ""]
    assert fleet.rows("compartment", "oil_volume_l") == [220.0, None]
    assert fleet.rows("transformer", "conservator") == ["common"]
    assert "B1" in fleet.rows("place", "bank")
    assert ("technology", "", "vacuum") in fleet.rows("register_change", "field", "before", "after")


def test_another_value_for_a_unit_is_a_conflict_and_what_is_stored_stays(fleet: Desk) -> None:
    result = fleet.bring(units="unit,station,counter_digits\nT1,SOUTH,7\nT2,SOUTH,6\n")
    assert told(result) == [(2, "counter_digits", "conflict"), (2, "station", "conflict")]
    assert result.counts == {"units": TableCount(known=1, conflicts=1)}
    assert "5 in the store, this row says 7" in result.findings[0].found
    assert not result.all_taken
    assert fleet.rows("counter", "digits") == [5, 6]


def test_drives_that_the_unit_does_not_have_are_a_conflict_and_more_of_them_are_added(fleet: Desk) -> None:
    assert told(fleet.bring(units="unit,drives\nT1,A;B;C\n")) == [(2, "drives", "conflict")]
    fleet.bring(units="unit,station,counter_digits,drives\nT3,NORTH,6,A;B\n")
    assert fleet.bring(units="unit,drives\nT3,A;B;C\n").counts["units"].stored == 1
    assert fleet.bring(units="unit,drives\nT3,B\n").counts["units"].known == 1


def test_a_serial_number_belongs_to_one_unit_and_the_refused_row_leaves_nothing_behind(fleet: Desk) -> None:
    fleet.bring(units="unit,serial\nT1,1042\n")
    result = fleet.bring(
        units="unit,serial,technology,station,counter_digits\nT2,1042,vacuum,SOUTH,6\nT9,1042,,FAR,6\n"
    )
    assert [finding.line for finding in result.findings] == [2, 3]
    assert fleet.rows("tap_changer", "tag", "technology") == [("T1", ""), ("T2", "")]
    assert "FAR" not in fleet.rows("station", "code")


def test_places_name_stations_and_rules_belong_to_a_scheme_or_a_unit(fleet: Desk) -> None:
    result = fleet.bring(
        places="station,station_name,region,bank\nNORTH,Northern bulk supply,Hill,B1\nEAST,,Vale,\n",
        service_rules="scheme,unit,task,interval_operations,interval_years\n"
        "in-tank,,contact service,80000,7\n,T1,oil change,,6\nin-tank,T1,inspection,,1\n,,inspection,,1\n"
        ",T1,inspection,,\n,T7,inspection,,1\nin-tank,,contact service,90000,\n",
    )
    assert fleet.rows("station", "code", "region") == [("NORTH", "Hill"), ("SOUTH", ""), ("EAST", "Vale")]
    assert fleet.rows("service_rule", "task") == ["contact service", "oil change"]
    assert [(line, severity) for line, _, severity in told(result)] == [
        (4, "rejected"),
        (5, "rejected"),
        (6, "rejected"),
        (7, "rejected"),
        (8, "conflict"),
    ]


# --- the book -------------------------------------------------------------------------------------------------


READINGS = "unit,read_on,value,reader\nT1,2024-05-01,100,Kim\nT1,2024-06-01,250,\nT2,2024-05-01,7,\n"


def test_importing_the_same_file_twice_adds_nothing(fleet: Desk) -> None:
    assert fleet.bring(readings=READINGS).counts == {"readings": TableCount(stored=3)}
    again = fleet.bring(readings=READINGS)
    assert again.counts == {"readings": TableCount(known=3)}
    assert again.findings == ()
    assert again.all_taken
    assert len(fleet.rows("reading", "value")) == 3


def test_another_number_for_the_same_day_is_a_conflict_with_both_numbers(fleet: Desk) -> None:
    fleet.bring(readings=READINGS)
    result = fleet.bring(readings=READINGS.replace("250", "260"))
    assert result.counts == {"readings": TableCount(known=2, conflicts=1)}
    finding = result.findings[0]
    assert (finding.line, finding.field, finding.severity) == (3, "value", "conflict")
    assert "value 250 in the book, 260 here" in finding.found
    assert finding.row == "T1,2024-06-01,260,"
    assert fleet.rows("reading", "value") == [100, 250, 7]


def test_within_one_file_the_earlier_row_is_taken_and_the_later_one_told(fleet: Desk) -> None:
    result = fleet.bring(readings="unit,read_on,value\nT1,2024-05-01,100\nT1,2024-05-01,100\nT1,2024-05-01,111\n")
    assert told(result) == [(3, "whole row", "left aside"), (4, "value", "conflict")]
    assert result.findings[0].found == "line 2 of the file says the same"
    assert "100 in line 2, 111 here" in result.findings[1].found
    assert fleet.rows("reading", "value") == [100]


def test_a_corrected_reading_stays_known_under_its_old_number(fleet: Desk) -> None:
    fleet.bring(readings=READINGS)
    with fleet.store.rows(writing=True) as connection:
        key = find_unit(connection, "T1")
        add_reading(connection, key, {"read_on": date(2024, 6, 1), "value": 255}, STAMP, replace=True)
        withdraw(connection, "reading", 1, STAMP)
    again = fleet.bring(readings=READINGS)
    assert again.counts == {"readings": TableCount(known=3)}
    assert again.findings == ()
    assert sorted(fleet.current("reading", "value")) == [7, 255]
    assert fleet.bring(readings="unit,read_on,value\nT1,2024-05-01,101\n").counts["readings"].stored == 1


def test_other_words_beside_the_same_number_are_told_and_not_taken(fleet: Desk) -> None:
    fleet.bring(readings=READINGS)
    result = fleet.bring(readings="unit,read_on,value,reader,remark\nT1,2024-05-01,100,,wet\nT1,2024-06-01,250,,\n")
    assert told(result) == [(2, "remark", "left aside")]
    assert "remark nothing in the book, wet here" in result.findings[0].found
    assert result.counts["readings"] == TableCount(known=2)
    assert result.all_taken


def test_a_number_longer_than_the_counter_is_refused(fleet: Desk) -> None:
    result = fleet.bring(
        readings="unit,read_on,value\nT1,2024-05-01,123456\nT2,2024-05-01,123456\n",
        events="unit,happened_on,kind,old_reading\nT1,2024-05-01,counter_replaced,123456\n",
        services="unit,done_on,work,as_left_counter\nT1,2024-05-01,overhaul,123456\n",
    )
    assert [finding.field for finding in result.findings] == ["old_reading", "value", "as_left_counter"]
    assert all("too long for the counter of T1, which has 5 digits" in finding.found for finding in result.findings)
    assert fleet.rows("reading", "value") == [123456]


def test_an_unknown_unit_is_refused_with_the_nearest_tag(fleet: Desk) -> None:
    result = fleet.bring(readings="unit,read_on,value\nT11,2024-05-01,1\nZZZ,2024-05-01,1\nt1,2024-05-01,1\n")
    assert [(finding.line, finding.field) for finding in result.findings] == [(2, "unit"), (3, "unit")]
    assert "T1" in result.findings[0].remedy
    assert result.counts["readings"] == TableCount(stored=1, rejected=2)


def test_dates_ahead_are_refused_except_for_what_is_planned(fleet: Desk) -> None:
    result = fleet.bring(
        readings="unit,read_on,value\nT1,2026-11-02,1\nT1,2026-11-03,2\n",
        closures="station,from_on,to_on\nNORTH,2027-05-01,2027-08-31\n",
    )
    assert told(result) == [(3, "read_on", "rejected")]
    assert "2026-11-03 lies in the future" in result.findings[0].found
    assert result.counts["closures"].stored == 1


def test_readings_of_several_drives_have_to_say_which(fleet: Desk) -> None:
    fleet.bring(units="unit,station,counter_digits,drives\nT3,NORTH,5,A;B;C\n")
    result = fleet.bring(
        readings="unit,read_on,value,drive,source\nT3,2024-05-01,1,,\nT3,2024-05-01,2,B,\nT3,2024-05-01,3,D,\n"
        "T3,2024-05-01,4,A,raise\nT3,2024-05-01,123456789,A,controller\nT1,2024-05-01,9,1,lower\n",
    )
    assert [(finding.line, finding.severity) for finding in result.findings] == [(2, "rejected"), (4, "rejected")]
    assert sorted(fleet.rows("reading", "value")) == [2, 4, 9, 123456789]
    assert ("controller", 9) in fleet.rows("counter", "source", "digits")


def test_events_are_kept_and_moves_become_stays_in_the_order_of_their_days(fleet: Desk) -> None:
    events = (
        "unit,happened_on,kind,old_reading,new_reading,to_station,to_state,other_unit\n"
        "T1,2022-05-01,moved,,,,in service,\n"
        "T1,2021-05-01,moved,,,EAST,spare,\n"
        "T1,2020-05-01,counter_replaced,99990,0,,,\n"
        "T2,2023-05-01,swapped,,,,,T1\n"
        "T2,2020-05-01,moved,,,,,\n"
        "T2,2020-05-02,swapped,,,,,\n"
    )
    result = fleet.bring(events=events)
    assert told(result) == [(6, "to_station", "rejected"), (7, "other_unit", "rejected")]
    assert fleet.rows("event", "kind", "old_reading", "new_reading") == [("counter_replaced", 99990, 0)]
    stays = fleet.rows("stay", "from_on", "state")
    assert stays[2:] == [
        (date(2021, 5, 1), "spare"),
        (date(2022, 5, 1), "in service"),
        (date(2023, 5, 1), "in service"),
        (date(2023, 5, 1), "in service"),
    ]
    assert fleet.bring(events=events).counts["events"] == TableCount(known=4, rejected=2)
    changed = fleet.bring(events=events.replace("EAST,spare", "WEST,spare"))
    assert [finding.field for finding in changed.findings if finding.severity == "conflict"] == ["to_station"]


def test_a_sample_brings_its_gases_and_its_counter(fleet: Desk) -> None:
    samples = (
        "unit,sampled_on,taken_from,acetylene_ul_per_l,hydrogen_ul_per_l,counter_reading\n"
        "T1,2024-05-01,compartment,1200,<5,480\n"
        "T1,2024-05-01,main_tank,<0.5,20,490\n"
        "T1,2024-06-01,compartment,1300,,1234567\n"
        "T1,2024-07-01,compartment,,,500\n"
        "T1,2024-08-01,compartment,1,,\n"
    )
    result = fleet.bring(samples=samples)
    assert told(result) == [
        (3, "counter_reading", "note"),
        (4, "counter_reading", "note"),
        (5, "whole row", "rejected"),
    ]
    assert result.counts["samples"] == TableCount(stored=4, rejected=1)
    assert result.sample_counters == 1
    assert fleet.rows("sample", "acetylene_ul_per_l", "acetylene_below", "hydrogen_ul_per_l", "hydrogen_below")[:2] == [
        (1200.0, False, 5.0, True),
        (0.5, True, 20.0, False),
    ]
    assert fleet.rows("counter", "source") == ["mechanical", "mechanical", "sample"]
    assert fleet.bring(samples=samples).counts["samples"] == TableCount(known=4, rejected=1)
    changed = fleet.bring(samples=samples.replace(",1300,", ",<1300,"))
    assert [f.field for f in changed.findings if f.severity == "conflict"] == ["acetylene_below"]


def test_a_sample_of_a_compartment_that_the_unit_has_not_is_refused(fleet: Desk) -> None:
    fleet.bring(units="unit,station,counter_digits,compartments,drives\nT3,NORTH,5,A;B,A;B\n")
    result = fleet.bring(
        samples="unit,sampled_on,compartment,acetylene_ul_per_l,counter_reading\n"
        "T3,2024-05-01,A,5,77\nT3,2024-05-01,,5,\nT1,2024-05-01,A,5,\n"
    )
    assert told(result) == [(3, "compartment", "rejected"), (4, "compartment", "rejected")]
    assert fleet.rows("reading", "value") == [77]


def test_services_start_the_usual_clocks_unless_they_say_otherwise(fleet: Desk) -> None:
    services = (
        "unit,done_on,work,resets,as_found_counter\n"
        "T1,2024-05-01,overhaul,,400\n"
        "T1,2024-06-01,contact replacement,contact replacement,\n"
        "T1,2024-07-01,repair,none,\n"
        "T1,2024-08-01,oil change,everything,\n"
    )
    result = fleet.bring(services=services)
    assert told(result) == [(5, "resets", "rejected")]
    assert fleet.rows("service", "resets") == ["contact service;oil change", "contact replacement", "none"]


def test_a_row_that_leaves_the_clocks_open_agrees_with_the_record_that_names_them(fleet: Desk) -> None:
    with fleet.store.rows(writing=True) as connection:
        key = find_unit(connection, "T1")
        given = {"done_on": date(2024, 5, 1), "work": "overhaul", "resets": ("inspection",), "as_left_counter": 5}
        add_service(connection, key, given, STAMP)
    assert fleet.bring(services="unit,done_on,work\nT1,2024-05-01,overhaul\n").counts["services"].known == 1
    result = fleet.bring(services="unit,done_on,work,resets\nT1,2024-05-01,overhaul,oil change\n")
    assert told(result) == [(2, "resets", "conflict")]


def test_the_wrong_serial_number_on_a_service_is_refused(fleet: Desk) -> None:
    fleet.bring(units="unit,serial\nT1,1042\n")
    result = fleet.bring(services="unit,done_on,work,serial_seen\nT1,2024-05-01,overhaul,1024\n")
    assert result.counts["services"].rejected == 1
    assert "are you at the right unit?" in result.findings[0].found


# --- planning -------------------------------------------------------------------------------------------------


def test_closures_groups_and_crews_are_stored_once(fleet: Desk) -> None:
    files: dict[str, Any] = {
        "closures": "station,from_on,to_on,weeks\nNORTH,,,2027-W20..2027-W21 2027-W50\nNORTH,2027-05-02,2027-05-01,\n"
        "NORTH,,,\nFAR,2027-05-02,2027-05-03,\nNORTH,,,2027-W20..x\n",
        "transfer_groups": "group,station,unit\nring,NORTH,\nring,,T2\nring,NORTH,T1\nring,,T9\n",
        "crews": "region,week,hours\nHill,2027-W05,120\nHill,2027-W06,80\n",
    }
    first = fleet.bring(**files)
    assert fleet.rows("closure", "from_on", "to_on") == [
        (date(2027, 5, 17), date(2027, 5, 30)),
        (date(2027, 12, 13), date(2027, 12, 19)),
    ]
    assert first.counts == {
        "closures": TableCount(stored=1, rejected=4),
        "transfer_groups": TableCount(stored=2, rejected=2),
        "crews": TableCount(stored=2),
    }
    again = fleet.bring(**files)
    assert again.total("stored") == 0
    assert told(fleet.bring(crews="region,week,hours\nHill,2027-W05,100\n")) == [(2, "hours", "conflict")]


# --- the import as a whole ------------------------------------------------------------------------------------


def test_a_dry_run_says_what_would_happen_and_stores_nothing(fleet: Desk) -> None:
    bad = READINGS + "T9,2024-05-01,1,\n"
    dry = fleet.bring(dry_run=True, readings=bad)
    assert dry.number is None
    assert fleet.rows("reading", "value") == []
    assert len(import_runs(fleet.store)) == 1
    wet = fleet.bring(readings=bad)
    assert (wet.counts, wet.findings) == (dry.counts, dry.findings)


def test_the_findings_are_kept_with_the_import(fleet: Desk) -> None:
    result = fleet.bring(readings=READINGS + "T9,2024-05-01,1,\nT1,x,y,\n")
    run, kept = findings_of(fleet.store)
    assert kept == result.findings
    assert run.number == result.number
    assert (run.rows_stored, run.rows_known, run.rows_in_findings) == (3, 0, 2)
    assert (run.recorded_by, run.recorded_at, run.what) == ("Kim", NOW, "files")


def test_an_import_that_fails_midway_leaves_the_store_as_it_was(fleet: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    from tapwear.store import importing

    def fail(*args: object) -> None:
        raise RuntimeError("power gone")

    monkeypatch.setattr(importing, "_close_run", fail)
    with pytest.raises(RuntimeError):
        fleet.bring(readings=READINGS)
    assert fleet.rows("reading", "value") == []
    assert len(import_runs(fleet.store)) == 1


def test_many_rows_are_written_in_batches_and_reported(fleet: Desk, tmp_path: Path) -> None:
    days = [date.fromordinal(date(2000, 1, 1).toordinal() + number) for number in range(5_100)]
    rows = "".join(f"T2,{day},{number}\n" for number, day in enumerate(days))
    (tmp_path / "readings.csv").write_text("unit,read_on,value\n" + rows, encoding="utf-8")
    seen: list[tuple[str, int, int]] = []
    result = store_intake(
        fleet.store,
        read_paths([tmp_path / "readings.csv"]),
        by="Kim",
        now=NOW,
        today=TODAY,
        what="many",
        progress=lambda *step: seen.append(step),
    )
    assert result.counts["readings"].stored == 5_100
    assert len(fleet.rows("reading", "value")) == 5_100
    assert seen == [("storing readings", 2_000, 5_100), ("storing readings", 4_000, 5_100)]


# --- samples in parts, and serial numbers of compartments -----------------------------------------------------


def test_a_later_part_of_a_report_completes_the_sample_and_says_so(fleet: Desk) -> None:
    fleet.bring(samples="unit,sampled_on,acetylene_ul_per_l\nT1,2024-05-01,12\n")
    later = "unit,sampled_on,hydrogen_ul_per_l,moisture_mg_per_kg,breakdown_kv,laboratory\nT1,2024-05-01,<5,9,40,East\n"
    result = fleet.bring(samples=later)
    assert told(result) == [(2, "hydrogen_ul_per_l", "note")]
    assert "completed by hydrogen_ul_per_l, moisture_mg_per_kg, breakdown_kv, laboratory" in result.findings[0].found
    assert fleet.current("sample", "acetylene_ul_per_l") == [12.0]
    assert fleet.current("sample", "hydrogen_below") == [True]
    assert fleet.current("sample", "laboratory") == ["East"]
    assert len(fleet.rows("sample", "uid")) == 2
    again = fleet.bring(samples=later)
    assert (again.total("known"), again.findings) == (1, ())


def test_two_parts_in_one_file_become_one_sample(fleet: Desk) -> None:
    text = "unit,sampled_on,acetylene_ul_per_l,moisture_mg_per_kg\nT1,2024-05-01,12,\nT1,2024-05-01,,9\n"
    assert fleet.bring(samples=text).total("stored") == 2
    assert fleet.current("sample", "moisture_mg_per_kg") == [9.0]
    assert fleet.bring(samples=text).total("known") == 2


@pytest.mark.parametrize("other", ["13", "<12"])
def test_a_part_that_says_otherwise_is_a_conflict_and_completes_nothing(fleet: Desk, other: str) -> None:
    head = "unit,sampled_on,acetylene_ul_per_l,moisture_mg_per_kg\n"
    fleet.bring(samples=f"{head}T1,2024-05-01,12,\n")
    assert [one[2] for one in told(fleet.bring(samples=f"{head}T1,2024-05-01,{other},9\n"))] == ["conflict"]
    assert fleet.current("sample", "moisture_mg_per_kg") == [None]


PARTS = (
    "unit,station,counter_digits,compartments,compartment_serials\nT1,N,5,,C-11\nT2,N,5,,C-22\nT3,N,5,A;B,C-3A;C-3B\n"
)


@pytest.mark.parametrize(
    ("unit", "compartment", "seen", "said"),
    [
        ("T1", "", "C-11", ""),
        ("T1", "", "c 11", ""),
        ("T1", "", "", ""),
        ("T1", "", "C-22", "C-22 was seen, the register has C-11 for T1; C-22 belongs to T2: likely"),
        ("T3", "A", "C-3B", "the register has C-3A for T3, compartment A; C-3B belongs to T3, compartment B"),
        ("T1", "", "C-99", "C-99 is nowhere in the register"),
        ("T4", "", "C-22", ""),
    ],
)
def test_a_serial_number_of_another_compartment_is_told_with_the_unit_it_belongs_to(
    desk: Desk, unit: str, compartment: str, seen: str, said: str
) -> None:
    desk.bring(units=PARTS + "T4,N,5,,\n")
    head = "unit,sampled_on,compartment,compartment_serial,acetylene_ul_per_l"
    result = desk.bring(samples=f"{head}\n{unit},2024-05-01,{compartment},{seen},12\n")
    assert desk.rows("sample", "compartment_serial") == [seen]  # the sample is kept all the same
    assert told(result) == ([(2, "compartment_serial", "note")] if said else [])
    assert all(said in finding.found for finding in result.findings)


def test_a_main_tank_has_no_serial_number_of_a_compartment(desk: Desk) -> None:
    desk.bring(units=PARTS)
    head = "unit,sampled_on,taken_from,compartment_serial,acetylene_ul_per_l"
    assert desk.bring(samples=f"{head}\nT1,2024-05-01,main_tank,C-22,12\n").findings == ()


def test_serial_numbers_of_compartments_are_filled_in_once_and_must_be_as_many(desk: Desk) -> None:
    desk.bring(units=PARTS.replace("C-11", ""))
    assert desk.bring(units=PARTS).total("stored") == 1
    assert desk.bring(units=PARTS).total("known") == 3
    assert desk.rows("compartment", "serial") == ["C-11", "C-22", "C-3A", "C-3B"]
    assert [one[2] for one in told(desk.bring(units=PARTS.replace("C-11", "C-12")))] == ["conflict"]
    (finding,) = desk.bring(units=PARTS.splitlines()[0] + "\nT5,N,5,A;B,C-5\n").findings
    assert "give as many serial numbers, in that order; found 1" in finding.found
