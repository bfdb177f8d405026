"""Visit files give visits, and a finding for whatever is wrong in them; never a traceback."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from visit_examples import ID, entry, visit_file

from tapwear.visits.reading import read_paths
from tapwear.visits.visit import Answer, CounterFault, CounterSeen, Visit, content_of
from tapwear.visits.visit_file import FORMAT, MARK, VisitFile, read_visit_file


def read(folder: Path, *visits: Any, **head: Any) -> VisitFile:
    return read_visit_file(visit_file(folder / "visits.json", *visits, **head), "visits.json")


def told(found: VisitFile) -> list[tuple[str, str, str]]:
    return [(one.severity, one.field, one.found) for one in found.findings]


def test_a_visit_is_read_with_its_place_in_the_file(tmp_path: Path) -> None:
    found = read(tmp_path, entry(), entry(id="f" * 32, counters=[{"value": "000120", "source": "controller"}]))
    first, second = found.visits
    assert first.visit == Visit(
        ID, "T1", date(2026, 6, 3), "Kim", counters=(CounterSeen(48213),), observations={"oil_level": "low"}
    )
    assert second.visit.counters == (CounterSeen(120, source="controller"),)
    lines = (tmp_path / "visits.json").read_text(encoding="utf-8").splitlines()
    assert [lines[one.line - 1].strip() for one in found.visits] == ["{", "{"]
    assert first.line < second.line
    assert found.findings == ()


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    visit = Visit(
        ID,
        "Tø1",
        date(2026, 6, 3),
        "Kim",
        "S-1",
        counters=(CounterSeen(5, "A", "raise", "two digits transposed; kept: read twice"),),
        observations={"oil_temp_c": 41.5, "drag_hands_reset": False, "position": "9b"},
        sample_taken=True,
        remark='said "no"',
        revision=4,
        at="14:20",
        station="NORTH",
        transformer_seen="X-7",
        counter_faults=(CounterFault("unreadable", "B"),),
        answers=(Answer("follow-up", "seepage", date(2026, 4, 1), "flange", "closed", "gasket", "", "flange", "hand"),),
        photos=("0412", "0413"),
    )
    path = tmp_path / "visits.json"
    path.write_text(json.dumps({MARK: FORMAT, "visits": [content_of(visit)]}), encoding="utf-8")
    assert [one.visit for one in read_visit_file(path, "f").visits] == [visit]


def test_an_id_with_hyphens_or_capitals_is_the_same_id(tmp_path: Path) -> None:
    found = read(tmp_path, entry(id="01234567-89AB-CDEF-0123-456789abcdef"))
    assert [one.visit.id for one in found.visits] == [ID]


def test_numbers_in_another_unit_are_converted_as_in_any_table(tmp_path: Path) -> None:
    found = read(tmp_path, entry(observations={"oil_temp_c": 113, "oil_temp_unit": "F"}))
    assert found.visits[0].visit.observations == {"oil_temp_c": pytest.approx(45.0)}


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"id": None}, "id", "it is missing"),
        ({"id": "17"}, "id", "'17' is no id of a visit"),
        ({"id": 17}, "id", "'17' is not 32 hexadecimal digits"),
        ({"unit": ""}, "unit", "it is missing"),
        ({"unit": ["T1"]}, "unit", "is not the owner's asset tag"),
        ({"visited_on": "03.06.2026"}, "visited_on", "'03.06.2026'"),
        ({"visited_on": 20260603}, "visited_on", "'20260603' is not day of the visit"),
        ({"visited_on": "2026-02-30"}, "visited_on", "2026-02-30"),
    ],
)
def test_a_visit_without_identity_unit_or_day_is_refused(
    tmp_path: Path, change: dict[str, Any], field: str, words: str
) -> None:
    found = read(tmp_path, entry(**change), entry(id="f" * 32))
    assert [one.visit.id for one in found.visits] == ["f" * 32]
    assert [(one.severity, one.field) for one in found.findings] == [("rejected", field)]
    assert words in found.findings[0].found
    assert found.findings[0].remedy
    assert found.faulty == 1


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"counters": {"value": 1}}, "counters"),
        ({"counters": [7]}, "counters"),
        ({"counters": [{"value": -1}]}, "counters.value"),
        ({"counters": [{"value": 1.5}]}, "counters.value"),
        ({"counters": [{"value": True}]}, "counters.value"),
        ({"counters": [{"value": 10**12}]}, "counters.value"),
        ({"counters": [{"value": "48,213"}]}, "counters.value"),
        ({"counters": [{"drive": "1"}]}, "counters.value"),
        ({"counters": [{"value": 1}, {"value": 2}]}, "counters"),
        ({"counters": [{"value": 1, "source": "sundial"}]}, "counters.source"),
        ({"observations": [1]}, "observations"),
        ({"observations": {"oil_temp_c": "warm", "oil_level": "low"}}, "oil_temp_c"),
        ({"observations": {"oil_temp_c": 900, "oil_level": "low"}}, "oil_temp_c"),
        ({"observations": {"oil_temp_c": {"value": 41}, "oil_level": "low"}}, "oil_temp_c"),
        ({"observations": {"breather": "blue", "oil_level": "low"}}, "breather"),
        ({"observations": {"drag_hands_reset": "perhaps", "oil_level": "low"}}, "drag_hands_reset"),
        ({"sample_taken": 7}, "sample_taken"),
        ({"at": "half past two"}, "at"),
        ({"counter_faults": [{"state": "tired"}]}, "counter_faults.state"),
        ({"counter_faults": "all"}, "counter_faults"),
        ({"answers": [{"item": "follow-up", "kind": "seepage", "first_on": "2026-04-01", "words": "flange"}]},
         "answers.answer"),
        ({"photos": "0412"}, "photos"),
        ({"revision": 0}, "revision"),
        ({"remark": "=cmd()"}, "remark"),
        ({"remark": "a\u202eb"}, "remark"),
    ],
)
def test_a_bad_value_costs_that_value_alone(tmp_path: Path, change: dict[str, Any], field: str) -> None:
    found = read(tmp_path, entry(**change))
    assert [(one.severity, one.field) for one in found.findings] == [("rejected", field)]
    assert [one.visit.unit for one in found.visits] == ["T1"]


def test_files_of_the_first_form_are_read_as_ever_and_the_saved_text_under_any_name(tmp_path: Path) -> None:
    path = visit_file(tmp_path / "visits.json", entry())
    first = path.read_text(encoding="utf-8").replace(f'"{MARK}": {FORMAT}', f'"{MARK}": 1')
    copied = tmp_path / "note.txt"
    copied.write_text(first, encoding="utf-8")
    (filed,) = read_paths([copied]).visits
    assert filed.visit.counters == (CounterSeen(48213),)


def test_a_unit_known_by_its_serial_number_alone_is_a_visit(tmp_path: Path) -> None:
    alone = {name: value for name, value in entry(serial_seen="X-9", station="AH").items() if name != "unit"}
    (filed,) = read(tmp_path, alone).visits
    assert (filed.visit.unit, filed.visit.serial_seen, filed.visit.station) == ("", "X-9", "AH")


def test_a_key_that_is_none_of_ours_is_noted_and_the_rest_taken(tmp_path: Path) -> None:
    found = read(tmp_path, entry(mood="good", observations={"oil_level": "low", "colour": "blue"}))
    assert [severity for severity, _, _ in told(found)] == ["note", "note"]
    assert len(found.visits) == 1


def test_a_visit_in_which_nothing_was_noted_is_left_aside(tmp_path: Path) -> None:
    found = read(tmp_path, entry(counters=None, observations=None))
    assert [severity for severity, _, _ in told(found)] == ["left aside"]
    assert found.visits == ()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('{"tapwear_visits": 1, "visits": [{"id": "0123', "no whole JSON"),
        ('{"tapwear_visits": 1}', "no list of visits"),
        ('{"tapwear_visits": 3, "visits": []}', "this Tapwear reads forms 1 to 2"),
        ('{"tapwear_visits": true, "visits": []}', "this Tapwear reads forms 1 to 2"),
        ('["tapwear_visits"]', "no tapwear_visits at the beginning"),
        ('{"tapwear_visits": 1, "visits": [], "visits": []}', "'visits' stands twice"),
        ('{"tapwear_visits": 1, "visits": [NaN]}', "NaN is no number"),
        ('{"tapwear_visits": 1, "visits": ' + "[" * 100_000, "cannot be read"),
        ('{"tapwear_visits": ' + "1" * 5_000 + "}", "cannot be read"),
    ],
)
def test_a_spoiled_file_is_one_finding(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "visits.json"
    path.write_text(text, encoding="utf-8")
    found = read_visit_file(path, "visits.json")
    assert found.visits == ()
    (one,) = found.findings
    assert words in one.found
    assert one.severity == "rejected"
    assert one.remedy


def test_bytes_that_are_no_text_are_one_finding(tmp_path: Path) -> None:
    path = tmp_path / "visits.json"
    path.write_bytes(b'{"tapwear_visits": 1, "\xff\xfe')
    assert "not UTF-8" in read_visit_file(path, "visits.json").findings[0].found


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
NAMES = st.sampled_from(["id", "unit", "visited_on", "counters", "observations", "remark", "revision", "serial_seen"])


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.dictionaries(NAMES, JSON, max_size=5), st.lists(JSON, max_size=2))
def test_whatever_stands_in_a_visit_gives_findings_or_visits(
    tmp_path: Path, changes: dict[str, Any], others: list[Any]
) -> None:
    found = read(tmp_path, {**entry(), **changes}, *others)
    assert found.seen == 1 + len(others)
    for one in found.findings:
        assert all((one.found, one.field, one.remedy))
        assert one.sentence().isprintable()
    assert all(json.loads(one.raw)["unit"] for one in found.visits)


def test_a_folder_gives_its_visit_files_and_leaves_other_json_alone(tmp_path: Path) -> None:
    visit_file(tmp_path / "kim.json", entry())
    (tmp_path / "other.json").write_text('{"settings": 1}', encoding="utf-8")
    intake = read_paths([tmp_path])
    assert [one.visit.unit for one in intake.visits] == ["T1"]
    assert [Path(name).name for name in intake.files_left_alone] == ["other.json"]
    assert intake.rows_seen == 1
