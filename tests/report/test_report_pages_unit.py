from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
from due_examples import AS_OF, SEVERE_ONE, UNKNOWN, due
from pages_examples import oil_unit, page_subject
from why_examples import samples, story, subject, verdict

from tapwear.oil.limits import Limit
from tapwear.oil.types import OilFinding
from tapwear.outlook.conditions import Noted
from tapwear.outlook.types import Weighted
from tapwear.outlook.wear import Wear
from tapwear.report.frames import newest
from tapwear.report.oil_unit import OilUnit
from tapwear.report.pages_parts import Section, UnitPage, table
from tapwear.report.pages_unit import unit_page


def section(page: UnitPage, heading: str) -> Section:
    return next(one for one in page.sections if one.heading == heading)


def sampled(acetylene: list[float], below: list[bool] | None = None, **changed: Any) -> OilUnit:
    rows = tuple(newest(samples(acetylene, below, laboratory="Laboratory B"), "sampled_on", None))
    given: dict[str, Any] = {"found": verdict(), "samples": rows, "events": ((date(2024, 3, 1), "oil_changed"),)}
    return oil_unit("BRK-T1", **(given | changed))


def words_of(page: UnitPage) -> str:
    """Everything that can be read on the page."""
    found = [page.lead, *page.actions]
    for part in page.sections:
        found += [part.heading, *part.sentences, *part.after, *(f"{name} {words}" for name, words in part.facts)]
        found += [cell for one in part.tables for row in one.rows for cell in row]
        found += [drawing.caption for drawing in part.drawings]
    return "\n".join(found)


def test_the_page_leads_with_the_early_date_and_what_drives_it() -> None:
    page = unit_page(subject(), None, (), "u1")
    assert page.lead == (
        "Contact service: early 2026-09-14, middle 2026-12-20, late 2027-05-02; governed by mostly operations."
    )
    assert page.actions == ("contact service: schedule outage before 2026-09-14.",)
    assert [one.heading for one in page.sections] == [
        "Identity",
        "Dates",
        "Noted and doubtful",
        "What drives the contact service",
        "Count of operations",
        "Oil",
        "Work done",
        "Counter readings",
    ]


def test_an_unknown_date_is_said_with_what_bounds_it() -> None:
    page = unit_page(page_subject("OLD-T4", dues=(UNKNOWN,)), None, (), "u1")
    assert page.lead.startswith("Contact service: due date unknown. If never serviced: overdue since 2011-04-02")
    assert section(page, "Noted and doubtful").sentences == ("Last contact service unknown.",)


def test_one_action_for_several_tasks_is_said_once() -> None:
    dues = (due(next_action="visits as usual"), due(task="oil change", next_action="visits as usual"))
    assert unit_page(subject(dues=dues), None, (), "u1").actions == ("contact service, oil change: visits as usual.",)


def test_a_severe_unit_has_no_action_no_sample_and_no_oil_work() -> None:
    work = (OilFinding("wet oil", "water is high: dry or change the oil"),)
    found = verdict(call="resample", resample_by=date(2026, 7, 9), oil_work=work)
    oil = sampled([10.0, 900.0], stop="STOP since 2026-05-01", found=found)
    page = unit_page(page_subject("MIR-T2", dues=(SEVERE_ONE,)), oil, (), "u1")
    text = words_of(page)
    assert page.severe
    assert page.actions == ()
    assert "another oil sample" not in text
    assert "Next sample" not in text
    assert "dry or change" not in text
    assert "2026-07-09" not in text


def test_a_severe_condition_that_a_person_noted_makes_the_page_severe() -> None:
    trip = Noted("relay_trip", "gas relay tripped", date(2026, 6, 1), None, True, "K. Arden")
    page = unit_page(subject(), sampled([1.0, 2.0]), (trip,), "u1")
    assert page.severe
    assert page.actions == ()
    assert "do not re-energise" in section(page, "Noted and doubtful").sentences[0]
    assert "Next sample" not in words_of(page)


def test_a_condition_that_is_also_a_doubt_is_said_once() -> None:
    one = Noted("motor_current", "peak odd", date(2026, 5, 20), date(2027, 3, 31), False, "K. Arden")
    page = unit_page(subject(dues=(due(doubts=(one.sentence, "last reading 14 months old")),)), None, (one,), "u1")
    said = section(page, "Noted and doubtful").sentences
    assert len(said) == 2
    assert said[0].endswith("(act by 2027-03-31).")


def test_doubtful_readings_stand_first_with_the_reason() -> None:
    part = section(unit_page(subject(), None, (), "u1"), "Counter readings")
    assert part.sentences == ("1 of 10 readings is doubtful: kept, and not relied on.",)
    assert part.tables[0].headings == ("Doubtful readings", "counter", "why")
    assert part.tables[0].rows == (("2026-01-24", "103,000", "two digits changed places"),)
    assert part.tables[1].rows[0] == ("2026-05-04", "104,000", "right as understood: 7 in 10")


def test_counters_on_sample_sheets_are_counted_and_left_aside() -> None:
    told = story()
    told.readings.loc[0, ["source", "status", "reason"]] = ["sample", "left aside", "written on an oil sample"]
    part = section(unit_page(subject(story=told), None, (), "u1"), "Counter readings")
    assert part.sentences[1] == "1 more are left aside: written on an oil sample."


def test_long_histories_say_how_much_is_not_shown() -> None:
    page = unit_page(subject(), sampled([1.0] * 12), (), "u1")
    oil = section(page, "Oil")
    assert len(oil.tables[0].rows) == 6
    assert "6 older samples of the compartment not shown." in oil.after
    one_more = section(unit_page(subject(), sampled([1.0] * 7), (), "u1"), "Oil")
    assert "1 older sample of the compartment not shown." in one_more.after


def test_the_oil_has_its_resets_its_limits_and_values_below_the_limit() -> None:
    oil = sampled([0.5, 30.0, 60.0], [True, False, False], limits={"acetylene": Limit(50.0, "own limit")})
    part = section(unit_page(subject(), oil, (), "u1"), "Oil")
    text = " ".join(part.sentences)
    assert "Limits set: acetylene 50 (own limit)." in text
    assert "What happened to the oil: 2024-03-01 oil changed." in text
    assert part.tables[0].rows[-1][:6] == ("2024-01-01", "10", "10", "10", "10", "<0.5")
    assert "limit 50" in part.drawings[0].svg
    assert "nothing is joined across them" in part.drawings[0].caption


def test_without_samples_and_readings_the_page_says_so() -> None:
    page = unit_page(subject(story=None, verdict=None, services=pd.DataFrame(columns=["done_on"])), None, (), "u1")
    assert section(page, "Oil").sentences == ("No recent oil sample: no sample is recorded.",)
    assert section(page, "Count of operations").sentences == ("No usable reading.",)
    assert section(page, "Counter readings").sentences == ("None is recorded.",)
    assert section(page, "Work done").sentences == ("None is recorded.",)


def test_a_retired_unit_has_a_page_without_dates() -> None:
    page = unit_page(subject(dues=()), None, (), "u1")
    assert page.lead == "Nothing is due: the unit is retired or not yet in service."
    assert "Dates" not in [one.heading for one in page.sections]


def test_weighted_operations_are_explained() -> None:
    weighted = Weighted(exponent=1.5, plain_since=61_234.0, plain_limit=143_000.0, ahead=0.35)
    page = unit_page(subject(dues=(due(weighted=weighted),)), None, (), "u1")
    facts = dict(section(page, "What drives the contact service").facts)
    assert facts["current"] == (
        "weighted by current, exponent 1.5; one to come counts as 0.35; as counted, 61,200 since the last service, "
        "of about 143,000 that use the interval up"
    )


def test_measured_contacts_are_told_in_their_own_words() -> None:
    words = ("The interval is unclear for these contacts.",)
    wear = Wear(None, 0, 1, date(2024, 5, 1), 4.2, 2.0, None, "unclear", words)
    page = unit_page(subject(wear=wear), None, (), "u1")
    assert section(page, "Contacts as found").sentences == wear.words


def test_of_inspections_only_the_latest_three_are_shown_and_contacts_are_told() -> None:
    rows = [{"done_on": pd.Timestamp(2020 + i, 5, 1), "work": "inspection", "resets": ()} for i in range(5)]
    rows.append(
        {
            "done_on": pd.Timestamp("2019-03-12"), "work": "overhaul", "resets": ("contact service",),
            "as_found_counter": 104_233.0, "contact_left_mm": 4.2, "condemning_limit_mm": 2.0,
        }
    )  # fmt: skip
    part = section(unit_page(subject(services=pd.DataFrame(rows)), None, (), "u1"), "Work done")
    assert [row[0] for row in part.tables[0].rows] == ["2024-05-01", "2023-05-01", "2022-05-01", "2019-03-12"]
    assert "4.2 mm left, limit 2 mm" in part.tables[0].rows[-1]
    assert part.after == ("2 older inspections not shown.",)


def test_the_drawing_of_the_count_has_forecast_interval_and_range_in_words() -> None:
    one = due(last_service_on=date(2023, 11, 1), operations_since=9_360.0, interval_operations=14_000)
    drawing = section(unit_page(subject(dues=(one,)), None, (), "u1"), "Count of operations").drawings[0]
    assert "interval 14,000" in drawing.svg
    assert "early 2026-09-14, late 2027-05-02" in drawing.svg
    assert "<title" in drawing.svg
    assert f"as of {AS_OF}" in drawing.svg


def test_columns_without_any_content_are_left_out() -> None:
    one = table("x", ("a", "b", "c"), [("1", "", "3"), ("4", "", "")])
    assert one.headings == ("a", "c")
    assert one.rows == (("1", "3"), ("4", ""))
