"""Many bad rows spread over all tables: each is told by its line and field, and its neighbours are stored."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from tapwear.store.engine import Store
from tapwear.store.importing import store_intake
from tapwear.store.loading import load_book
from tapwear.visits.fields import TABLES
from tapwear.visits.reading import read_paths

NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)
BAD_ROWS = 270
HEADINGS = {
    "places": "station,region,bank",
    "units": "unit,station,counter_digits,serial,state,technology,oil_volume_l,oil_volume_unit,commissioned_on,"
    "interval_operations,sampling_needs_outage,drives",
    "service_rules": "scheme,unit,task,interval_operations,interval_years,crew_hours",
    "visit_rules": "scheme,unit,read_every_days,sample_every_days,still_after_days",
    "events": "unit,happened_on,kind,drive,old_reading,new_reading,to_station,other_unit",
    "readings": "unit,read_on,value,source,drive,remark",
    "samples": "unit,sampled_on,received_on,compartment,taken_from,acetylene_ul_per_l,acetylene_unit,oil_temp_c,"
    "counter_reading",
    "services": "unit,done_on,work,resets,serial_seen,as_left_counter,contact_left_mm",
    "conditions": "unit,noted_on,kind,words,act_by_on,severe,author,closed_on",
    "observations": "unit,observed_on,compartment,position,position_low,position_high,drag_hands_reset,oil_level,"
    "oil_temp_c,oil_temp_unit,pressure_kpa,breather,seepage",
    "limits": "group,technology,quantity,value,breakdown_method,provenance",
    "closures": "station,from_on,to_on,weeks",
    "transfer_groups": "group,station,unit",
    "crews": "region,week,hours",
    "teams": "team,region,hours_per_week,skills",
    "team_holidays": "team,from_on,to_on,why",
    "resources": "resource,number,from_on,to_on",
    "outage_terms": "station,scheme,unit,permit_weeks,recall_hours,resources,skill,consequence,exchanged",
    "other_outages": "station,unit,from_on,to_on,what,who",
    "job_notes": "unit,kind,weeks,status,happened_on,person,words",
}


def good(table: str, n: int) -> dict[str, str]:
    """The n-th good row of a table, about something of its own."""
    day = date(2010, 1, 1) + timedelta(days=n)
    return {
        "places": {"station": f"P{n}", "region": "Hill", "bank": "T1"},
        "units": {"unit": f"U{n}", "station": "NORTH", "counter_digits": "6", "oil_volume_l": "50"},
        "service_rules": {"scheme": f"scheme {n}", "task": "contact service", "interval_years": "7"},
        "visit_rules": {"scheme": f"scheme {n}", "read_every_days": "30"},
        "events": {"unit": "T1", "happened_on": f"{day}", "kind": "inspection"},
        "readings": {"unit": "T1", "read_on": f"{day}", "value": f"{10_000 + n}", "remark": "dry"},
        "samples": {"unit": "T1", "sampled_on": f"{day}", "acetylene_ul_per_l": "<0.5"},
        "services": {"unit": "T1", "done_on": f"{day}", "work": "repair"},
        "conditions": {"unit": "T1", "noted_on": f"{day}", "kind": "infrared", "words": "warm joint"},
        "observations": {"unit": "T1", "observed_on": f"{day}", "position": "5L", "oil_temp_c": "40"},
        "limits": {"group": f"G{n}", "quantity": "acetylene_ul_per_l", "value": "90", "provenance": "own choice"},
        "closures": {"station": "NORTH", "from_on": f"{day}", "to_on": f"{day}"},
        "transfer_groups": {"group": f"group {n}", "station": "NORTH"},
        "crews": {"region": f"region {n}", "week": "2027-W05", "hours": "120"},
        "teams": {"team": f"team {n}", "region": "Hill", "hours_per_week": "120", "skills": "vacuum;reactor"},
        "team_holidays": {"team": "Team 1", "from_on": f"{day}", "to_on": f"{day}"},
        "resources": {"resource": f"mobile {n}", "number": "1"},
        "outage_terms": {"scheme": f"terms {n}", "permit_weeks": "2"},
        "other_outages": {"station": "NORTH", "from_on": f"{day}", "to_on": f"{day}", "what": "line works"},
        "job_notes": {"unit": "T1", "kind": "other work", "words": f"work {n}"},
    }[table]


# table -> the field that is to be named -> what is written there instead (with other fields where they matter)
FAULTS: dict[str, list[tuple[str, Mapping[str, str]]]] = {
    "places": [("station", {"station": ""}), ("region", {"region": "@SUM(A1)"})],
    "units": [
        ("counter_digits", {"counter_digits": "six"}),
        ("counter_digits", {"counter_digits": "12"}),
        ("counter_digits", {"counter_digits": ""}),
        ("station", {"station": ""}),
        ("unit", {"unit": ""}),
        ("serial", {"serial": "=1+1"}),
        ("state", {"state": "broken"}),
        ("technology", {"technology": "steam"}),
        ("oil_volume_l", {"oil_volume_l": "-5"}),
        ("oil_volume_l", {"oil_volume_l": "12", "oil_volume_unit": "buckets"}),
        ("commissioned_on", {"commissioned_on": "1997-02-30"}),
        ("commissioned_on", {"commissioned_on": "1797-02-03"}),
        ("interval_operations", {"interval_operations": "50,000"}),
        ("sampling_needs_outage", {"sampling_needs_outage": "perhaps"}),
        ("drives", {"drives": "A;A"}),
    ],
    "service_rules": [
        ("task", {"task": "painting"}),
        ("interval_years", {"interval_years": "200"}),
        ("interval_operations", {"interval_years": ""}),
        ("scheme", {"unit": "T1"}),
        ("scheme", {"scheme": ""}),
        ("unit", {"scheme": "", "unit": "T99"}),
        ("crew_hours", {"crew_hours": "many"}),
    ],
    "visit_rules": [
        ("scheme", {"unit": "T1"}),
        ("scheme", {"scheme": ""}),
        ("unit", {"scheme": "", "unit": "T99"}),
        ("read_every_days", {"read_every_days": ""}),
        ("read_every_days", {"read_every_days": "monthly"}),
        ("sample_every_days", {"sample_every_days": "0"}),
        ("still_after_days", {"still_after_days": "1"}),
    ],
    "events": [
        ("kind", {"kind": "exploded"}),
        ("happened_on", {"happened_on": "2031-05-01"}),
        ("happened_on", {"happened_on": "May 1st"}),
        ("unit", {"unit": "T9"}),
        ("drive", {"drive": "Z"}),
        ("old_reading", {"kind": "counter_replaced", "old_reading": "1234567"}),
        ("new_reading", {"kind": "counter_replaced", "new_reading": "-1"}),
        ("to_station", {"kind": "moved"}),
        ("other_unit", {"kind": "swapped", "to_station": "NORTH"}),
    ],
    "readings": [
        ("value", {"value": "12x45"}),
        ("value", {"value": "-40"}),
        ("value", {"value": "123456"}),
        ("value", {"value": ""}),
        ("value", {"value": "9" * 30}),
        ("read_on", {"read_on": "2024-13-01"}),
        ("read_on", {"read_on": "01/05/2024"}),
        ("unit", {"unit": "X1"}),
        ("source", {"source": "guess"}),
        ("drive", {"drive": "B"}),
        ("remark", {"remark": "+cmd|' /C calc'!A0"}),
    ],
    "samples": [
        ("acetylene_ul_per_l", {"acetylene_ul_per_l": "trace"}),
        ("acetylene_ul_per_l", {"acetylene_ul_per_l": "<-1"}),
        ("acetylene_ul_per_l", {"acetylene_unit": "umol/mol"}),
        ("acetylene_ul_per_l", {"acetylene_ul_per_l": "1e9"}),
        ("oil_temp_c", {"oil_temp_c": "300"}),
        ("compartment", {"compartment": "C"}),
        ("taken_from", {"taken_from": "bucket"}),
        ("whole row", {"acetylene_ul_per_l": ""}),
        ("whole row", {"received_on": "2001-01-01"}),
        ("counter_reading", {"counter_reading": "about 500"}),
    ],
    "services": [
        ("work", {"work": "tea"}),
        ("resets", {"resets": "everything"}),
        ("serial_seen", {"serial_seen": "S-2"}),
        ("as_left_counter", {"as_left_counter": "1234567"}),
        ("contact_left_mm", {"contact_left_mm": "thin"}),
        ("done_on", {"done_on": "yesterday"}),
    ],
    "conditions": [
        ("unit", {"unit": "T9"}),
        ("kind", {"kind": "odd"}),
        ("words", {"words": ""}),
        ("noted_on", {"noted_on": "2031-05-01"}),
        ("severe", {"severe": "rather"}),
        ("closed_on", {"closed_on": "soon"}),
        ("whole row", {"act_by_on": "2001-01-01"}),
        ("whole row", {"closed_on": "2001-01-01"}),
    ],
    "observations": [
        ("unit", {"unit": "T9"}),
        ("observed_on", {"observed_on": "2031-05-01"}),
        ("compartment", {"compartment": "C"}),
        ("position", {"position": "far up"}),
        ("whole row", {"position_low": "5R", "position_high": "2L"}),
        ("whole row", {"position": "", "oil_temp_c": ""}),
        ("drag_hands_reset", {"drag_hands_reset": "perhaps"}),
        ("oil_level", {"oil_level": "a little"}),
        ("oil_temp_c", {"oil_temp_c": "200"}),
        ("oil_temp_c", {"oil_temp_unit": "K"}),
        ("pressure_kpa", {"pressure_kpa": "-200"}),
        ("breather", {"breather": "pink"}),
        ("seepage", {"seepage": "=1+1"}),
    ],
    "limits": [
        ("quantity", {"quantity": "colour"}),
        ("technology", {"technology": "steam"}),
        ("value", {"value": "0"}),
        ("value", {"value": "high"}),
        ("provenance", {"provenance": ""}),
        ("whole row", {"group": ""}),
        ("whole row", {"quantity": "breakdown_kv"}),
        ("whole row", {"breakdown_method": "IEC 60156"}),
    ],
    "closures": [
        ("station", {"station": "NORHT"}),
        ("weeks", {"from_on": "", "to_on": "", "weeks": "2027-W60"}),
        ("weeks", {"from_on": "", "to_on": "", "weeks": "9999-W52"}),
        ("weeks", {"from_on": "", "to_on": "", "weeks": "2027-W20..2027-W10"}),
        ("weeks", {"weeks": "2027-W20"}),
        ("weeks", {"from_on": "", "to_on": "", "weeks": "W20..W60"}),
        ("weeks", {"from_on": "", "to_on": "", "weeks": "W20..2027-W30"}),
        ("to_on", {"to_on": "2001-01-01"}),
    ],
    "transfer_groups": [
        ("group", {"group": ""}),
        ("station", {"unit": "T1"}),
        ("station", {"station": ""}),
        ("unit", {"station": "", "unit": "T9"}),
    ],
    "crews": [
        ("region", {"region": ""}),
        ("week", {"week": "2027-W54"}),
        ("week", {"week": "5/2027"}),
        ("hours", {"hours": "-8"}),
    ],
    "teams": [
        ("team", {"team": ""}),
        ("region", {"region": ""}),
        ("hours_per_week", {"hours_per_week": "full"}),
        ("skills", {"skills": "A;A"}),
    ],
    "team_holidays": [
        ("team", {"team": "Team 9"}),
        ("from_on", {"from_on": "summer"}),
        ("to_on", {"to_on": "2001-01-01"}),
    ],
    "resources": [
        ("number", {"number": "-1"}),
        ("resource", {"resource": ""}),
        ("to_on", {"from_on": "2027-03-01", "to_on": "2027-02-01"}),
    ],
    "outage_terms": [
        ("station", {"station": "NORTH"}),
        ("station", {"scheme": ""}),
        ("scheme", {"scheme": "no such scheme"}),
        ("unit", {"scheme": "", "unit": "T9"}),
        ("permit_weeks", {"permit_weeks": "soon"}),
        ("consequence", {"consequence": "0"}),
        ("exchanged", {"exchanged": "maybe"}),
        ("whole row", {"permit_weeks": ""}),
    ],
    "other_outages": [
        ("station", {"station": "NORHT"}),
        ("station", {"unit": "T1"}),
        ("what", {"what": ""}),
        ("to_on", {"to_on": "2001-01-01"}),
    ],
    "job_notes": [
        ("unit", {"unit": "T9"}),
        ("kind", {"kind": "wish"}),
        ("words", {"words": ""}),
        ("weeks", {"kind": "pin", "weeks": "2027-W10..2027-W12"}),
        ("weeks", {"kind": "forbid", "weeks": "2027-W54"}),
        ("weeks", {"kind": "request", "status": "asked"}),
        ("status", {"kind": "request", "weeks": "2027-W10", "status": "done"}),
        ("status", {"status": "asked"}),
        ("happened_on", {"kind": "progress", "status": "started"}),
        ("happened_on", {"kind": "progress", "status": "started", "happened_on": "2031-05-01"}),
    ],
}
SPOILED = (b'"' + b"%b", b"%b\xe9\x80", b"%b\0", b"%b,1,2,3", b"%b\xef\xbf\xbd")  # the line as a whole


def line_of(table: str, cells: Mapping[str, str]) -> bytes:
    names = HEADINGS[table].split(",")
    assert cells.keys() <= set(names)
    return ",".join(
        f'"{cells[name]}"' if "," in cells.get(name, "") else cells.get(name, "") for name in names
    ).encode()


def test_every_fault_in_every_table_is_told_by_line_and_field(empty_store: Store, tmp_path: Path) -> None:
    every = [(table, field, change) for table, faults in FAULTS.items() for field, change in faults]
    every += [(table, "whole row", {"spoiled": str(number)}) for table in FAULTS for number in range(len(SPOILED))]
    chance = random.Random(20)
    picked = every + chance.choices(every, k=BAD_ROWS - len(every))
    chance.shuffle(picked)
    lines = {table: [headings.encode()] for table, headings in HEADINGS.items()}
    lines["teams"] += [b"Team 1,Hill,100,"]
    lines["units"] += [b"T1,NORTH,5,S-1,,,,,,,,", b"T2,SOUTH,6,,,,,,,,,"]
    expected: dict[tuple[str, int], str] = {}
    for n, (table, field, change) in enumerate(picked):
        spoiled = change.get("spoiled")
        bad = line_of(table, good(table, 500 + n) | ({} if spoiled else dict(change)))
        lines[table].append(bad if spoiled is None else SPOILED[int(spoiled)] % bad)
        expected[f"{table}.csv", len(lines[table])] = field
        if table == "outage_terms":
            lines["service_rules"] += [b"terms %d,,inspection,,1," % number for number in (n, 500 + n)]
        lines[table].append(line_of(table, good(table, n)))
    for table, rows in lines.items():
        (tmp_path / f"{table}.csv").write_bytes(b"\r\n".join(rows))

    result = store_intake(
        empty_store, read_paths([tmp_path]), by="Kim", now=NOW, today=date(2026, 11, 2), what="all tables"
    )

    assert len(expected) == BAD_ROWS
    assert {(Path(one.file).name, one.line): one.field for one in result.findings} == expected
    assert len(result.findings) == BAD_ROWS
    assert all(one.found and one.remedy and one.row and one.severity == "rejected" for one in result.findings)
    assert all(one.sentence().isprintable() and one.row.isprintable() for one in result.findings)
    asked = Counter(table for table, _, _ in picked)
    stored = {table: told.stored for table, told in result.counts.items()}
    more = {"units": 2, "teams": 1, "service_rules": 2 * asked["outage_terms"]}
    assert stored == {table: asked[table] + more.get(table, 0) for table in TABLES}
    assert {table: told.rejected for table, told in result.counts.items()} == asked
    book = load_book(empty_store)
    assert len(book.readings) == asked["readings"]
    assert len(book.units) == asked["units"] + 2
    assert set(book.readings["value"]) == {10_000 + n for n, (table, _, _) in enumerate(picked) if table == "readings"}


@pytest.mark.parametrize("table", TABLES)
def test_the_good_rows_are_good(empty_store: Store, tmp_path: Path, table: str) -> None:
    (tmp_path / "units.csv").write_text(HEADINGS["units"] + "\nT1,NORTH,5,S-1,,,,,,,,\n", encoding="utf-8")
    (tmp_path / "teams_1.csv").write_text("team,region,hours_per_week\nTeam 1,Hill,100\n", encoding="utf-8")
    rule = "scheme,task,interval_years\nterms 1,inspection,1\n"
    (tmp_path / "service_rules_1.csv").write_text(rule, encoding="utf-8")
    name = "units_2" if table == "units" else table
    text = HEADINGS[table].encode() + b"\n" + line_of(table, good(table, 1)) + b"\n"
    (tmp_path / f"{name}.csv").write_bytes(text)
    result = store_intake(empty_store, read_paths([tmp_path]), by="Kim", now=NOW, today=date(2026, 11, 2), what="one")
    assert result.findings == ()
    assert result.total("stored") == 4
