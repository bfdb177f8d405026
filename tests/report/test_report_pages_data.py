from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest
from due_examples import SEVERE_ONE, UNKNOWN, due, outlook
from pages_examples import fleet, page_subject
from schema_check import faults, schema
from why_examples import story, subject

from tapwear.outlook.conditions import Noted
from tapwear.outlook.types import Weighted
from tapwear.report.due_choice import choose
from tapwear.report.due_data import DUE_FIELDS, due_json, due_record
from tapwear.report.pages_data import pages_json
from tapwear.report.why_data import why_json
from tapwear.words import stop_notice

TRIP = Noted("relay_trip", "gas relay tripped", date(2026, 6, 1), None, True, "K. Arden")


def report(*tags: str, **changed: Any) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(pages_json(fleet(**changed), map(page_subject, tags), lambda count: None))
    return found


def test_the_report_keeps_to_its_published_schema() -> None:
    page = report("MIR-T2", "BRK-T1", "OLD-T4", "NEW-T1", conditions={"BRK-T1": (TRIP,)})
    assert faults(page, "report-1.json") == []
    assert len(page["pages"]) == 4
    assert len(page["dues"]) == 6
    assert page["conditions"][0]["unit"] == "BRK-T1"


def test_the_list_of_dues_keeps_to_its_published_schema() -> None:
    dues = (SEVERE_ONE, UNKNOWN, due(), due(unit="X", station="HAL"))
    chosen = choose(outlook(*dues), until=date(2028, 6, 30), station="Brackwater")
    assert faults(json.loads(due_json(chosen)), "due-1.json") == []


@pytest.mark.parametrize("without", [{"verdict": None}, {"story": None}, {"dues": ()}])
def test_the_page_about_one_unit_keeps_to_its_published_schema(without: dict[str, Any]) -> None:
    assert faults(json.loads(why_json(subject(**without))), "why-1.json") == []


def test_weighted_operations_keep_to_the_schema() -> None:
    one = due(weighted=Weighted(1.5, None, None, 0.35))
    assert faults(json.loads(why_json(subject(dues=(one,), story=story()))), "why-1.json") == []


def test_the_schema_describes_every_field_of_a_due_in_the_same_words() -> None:
    described = schema("due-1.json")["$defs"]["due"]
    assert {name: rule["description"] for name, rule in described["properties"].items()} == DUE_FIELDS
    assert described["required"] == list(DUE_FIELDS) == list(due_record(due()))


def test_the_check_itself_finds_what_is_wrong() -> None:
    page = report("BRK-T1")
    page["dues"][0]["early"] = "next year"
    page["dues"][1]["chance_oil"] = 1.2
    page["pages"][0]["dues"][0]["doubts"] = "none"
    del page["pages"][0]["oil"]["call"]
    page["units"] = "6"
    page["schema"] = "tapwear.report/2"
    assert len(faults(page, "report-1.json")) == 6


def test_a_severe_unit_puts_the_warning_before_the_caution() -> None:
    page = report("MIR-T2")
    assert page["caution"].startswith(stop_notice("MIR-T2"))
    assert page["severe"] == ["MIR-T2"]
    assert "another oil sample" not in json.dumps(page)


def test_named_units_are_named_in_the_report() -> None:
    assert report(asked=("BRK-T1",))["asked"] == ["BRK-T1"]
