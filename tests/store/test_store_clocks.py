"""Which clocks work starts again, which rules hold, and what work means to the oil."""

from __future__ import annotations

from typing import Any

from tapwear.store.clocks import RULE_FIELDS, effective_rules, resets_of, resets_text, touches_oil


def rule(task: str, **fields: Any) -> dict[str, Any]:
    return {"task": task, **dict.fromkeys(RULE_FIELDS), "kit": "", "provenance": "", **fields}


def test_blank_means_as_usual_and_none_means_no_clock() -> None:
    assert resets_of("", "oil change") == ("oil change",)
    assert resets_of("none", "overhaul") == ()
    assert resets_of("contact service;contact replacement", "overhaul") == ("contact service", "contact replacement")
    assert resets_text(()) == "none"
    assert resets_of(resets_text(("inspection",)), "overhaul") == ("inspection",)


def test_an_oil_change_resets_no_contact_rule() -> None:
    assert not {"contact service", "contact replacement"} & set(resets_of("", "oil change"))


def test_a_units_own_rule_goes_before_its_schemes_field_by_field() -> None:
    scheme = [
        rule("contact service", interval_operations=50_000, interval_years=7.0, crew_hours=30.0),
        rule("inspection"),
    ]
    own = [rule("contact service", interval_operations=80_000)]
    found = effective_rules(scheme, own)
    assert list(found) == ["inspection", "contact service"]
    assert found["contact service"]["interval_operations"] == 80_000
    assert found["contact service"]["interval_years"] == 7.0
    assert found["contact service"]["crew_hours"] == 30.0


def test_work_that_renews_the_oil_is_an_oil_change_to_the_oil() -> None:
    assert touches_oil("overhaul", ()) == "overhaul"
    assert touches_oil("oil degassing", ()) == "oil_degassed"
    assert touches_oil("breather change", ()) == "breather_changed"
    assert touches_oil("repair", ("oil change",)) == "oil_changed"
    assert touches_oil("repair", ()) == ""
