from __future__ import annotations

import json
from datetime import date

from due_examples import due
from why_examples import subject, verdict

from tapwear.oil.types import OilFinding
from tapwear.report.due_data import DUE_FIELDS
from tapwear.report.why_data import why_json
from tapwear.words import stop_notice


def test_the_page_as_json_carries_schema_figures_and_evidence() -> None:
    page = json.loads(why_json(subject()))
    assert page["schema"] == "tapwear.why/1"
    assert page["unit"]["serial"] == "48211"
    assert page["unit"]["commissioned_on"] == "2004-05-11"
    assert page["unit"]["rated_current_a"] is None
    assert set(DUE_FIELDS) < set(page["dues"][0])
    assert page["dues"][0]["clocks"][0] == {
        "driver": "operations",
        "early": "2026-09-14",
        "middle": "2026-12-20",
        "late": "2027-05-02",
        "words": "70,000 operations",
    }
    assert page["services"][0]["resets"] == ["contact service", "oil change"]
    assert [row["read_on"] for row in page["readings"]] == sorted(row["read_on"] for row in page["readings"])
    assert page["readings"][8]["status"] == "doubtful"
    assert page["forecast"][0] == {"on": "2026-06-30", "low": 9300.0, "mid": 9360.0, "high": 9420.0}
    assert page["oil"]["trend"]["samples"] == 4


def test_a_severe_finding_takes_suggestions_out_of_the_data_too() -> None:
    oil = verdict(
        call="resample", severe=True, resample_by=date(2026, 7, 5), oil_work=(OilFinding("wet oil", "water rose"),)
    )
    page = json.loads(why_json(subject(verdict=oil, dues=(due(severe=True, next_action="take a sample"),))))
    assert page["caution"].startswith(stop_notice(page["unit"]["unit"]))
    assert page["oil"]["resample_by"] is None
    assert page["oil"]["oil_work"] == []
    assert page["dues"][0]["next_action"] == stop_notice(page["dues"][0]["unit"])


def test_what_is_not_known_is_null() -> None:
    page = json.loads(why_json(subject(verdict=None, story=None, dues=())))
    assert page["oil"] is None
    assert page["readings"] == []
    assert page["dues"] == []
