"""The oil as JSON."""

from __future__ import annotations

import json
from datetime import date

from oil_examples import AS_OF, HEATING, pulled, sample, unit, verdict

from tapwear.oil.types import OilFinding
from tapwear.report.oil_data import UNIT_FIELDS, fleet_json, requests_json, unit_json
from tapwear.report.oil_fleet import like_groups
from tapwear.report.oil_requests import resample_list
from tapwear.words import CAUTIONS, stop_notice


def test_one_unit_has_every_documented_field_and_its_samples_oldest_first() -> None:
    rows = [sample("2026-03-01"), sample("2025-03-01", acetylene=0.5, acetylene_below=True)]
    tank = sample("2025-06-01", taken_from="main_tank")
    page = json.loads(unit_json(unit(*rows, tank, verdict=pulled(), events=((date(2024, 1, 1), "overhaul"),)), None))
    assert (page["schema"], page["kind"], page["as_of"]) == ("tapwear.oil/1", "unit", "2026-06-30")
    assert list(page["unit"]) == list(UNIT_FIELDS)
    assert page["unit"]["open_by_early"] == "2026-08-01"
    assert page["unit"]["findings"][0]["words"] == HEATING.words
    assert page["unit"]["trend"]["samples"] == 11
    assert [row["sampled_on"] for row in page["samples"]] == ["2025-03-01", "2025-06-01", "2026-03-01"]
    assert [row["ratio_ethylene_acetylene"] for row in page["samples"]] == [None, None, 0.2]
    assert page["samples"][0]["acetylene_below"] is True
    assert page["events"] == [{"on": "2024-01-01", "kind": "overhaul"}]


def test_a_severe_unit_carries_the_warning_and_no_date_for_a_sample() -> None:
    wet = OilFinding("wet oil", "Water rose.")
    told = pulled(severe=True, resample_by=date(2026, 7, 18), oil_work=(wet,))
    page = json.loads(unit_json(unit(sample("2026-03-01"), stop="STOP since 2026-05-01", verdict=told), None))
    assert page["caution"].startswith(stop_notice("AH-T1"))
    one = page["unit"]
    assert next(iter(one.items())) == ("stop", "STOP since 2026-05-01")
    assert one["next_sample_words"] == stop_notice("AH-T1")
    assert (one["resample_by"], one["next_sample_from"], one["next_sample_by"], one["oil_work"]) == (
        None,
        None,
        None,
        [],
    )
    assert "STOP" not in unit_json(unit(sample("2026-03-01")), None)


def test_the_fleet_holds_every_unit_with_its_place() -> None:
    fleet = [unit(sample("2026-03-01", acetylene=100.0 + i), identity={"unit": f"U{i:02d}"}) for i in range(11)]
    page = json.loads(fleet_json(like_groups(fleet), AS_OF))
    (group,) = page["groups"]
    assert (page["kind"], group["name"], group["units"], group["compared"]) == ("fleet", "town", 11, 11)
    assert [one["unit"] for one in group["members"]] == [f"U{i:02d}" for i in reversed(range(11))]
    assert group["members"][1]["share_of_like_units_lower"] == 0.9
    assert group["members"][1]["like_units"] == 10


def test_requests_hold_the_texts_and_who_was_left_out() -> None:
    severe = unit(sample("2026-03-01"), stop="STOP since 2026-05-01", identity={"unit": "S1"})
    flagged = unit(sample("2026-06-20"), verdict=verdict("resample", resample_by=date(2026, 7, 18)))
    page = json.loads(requests_json(resample_list([severe, flagged], AS_OF)))
    assert page["kind"] == "requests"
    assert CAUTIONS[2] in page["caution"]
    assert page["stops"] == [{"stop": "STOP since 2026-05-01", "unit": "S1"}]
    (request,) = page["requests"]
    assert next(iter(request.items())) == ("stop", "")
    assert (request["unit"], request["by"], request["why"]) == ("AH-T1", "2026-07-18", "flagged")
    assert request["bottles"][0]["label"][0] == "unit     AH-T1"
    assert page["left_out"] == {
        "severe": ["S1"], "bank_stopped": [], "low_oil": [], "never_sampled": [], "not_in_service": [],
    }  # fmt: skip
