"""Outage requests and job sheets: what a control room and a crew read on them."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest
from plan_examples import HOSTILE, WEEKS, job, released, stopped, usual, view
from test_report_plan_html import Tags

from tapwear.report.page import page_plain
from tapwear.report.plan_data import PlanView
from tapwear.report.plan_jobsheets import JobSheet, job_sheets, sheets_html
from tapwear.report.plan_requests import outage_requests, requests_html, requests_text
from tapwear.words import CAUTION_SHORT, CAUTIONS, stop_notice


def facts(plan: PlanView, unit: str = "U1") -> dict[str, str]:
    (one,) = outage_requests(plan, [unit])
    return dict(one.facts)


# --- outage requests ------------------------------------------------------------------------------------------


def test_a_request_says_what_goes_out_when_for_how_long_and_who_decides() -> None:
    asked = job(
        "U1", days=3.0, recall_hours=12.0, permit_weeks=6.0, permit_from=date(2026, 8, 11), approver="control room",
        conditions="load below 40 MVA", resources=("mobile transformer",), other_work=("relay test",), phase="B",
        request_status="asked", request_words="asked 2026-06-20 by A. Planner", skill="side-mounted",
    )  # fmt: skip
    told = facts(view(asked))
    assert told["equipment out"] == "transformer with tap changer U1, station ALDER, bank T1, phase B"
    assert told["dates"] == "Monday 2027-03-01 to Sunday 2027-03-07 (week 2027-W09)"
    assert told["outage"] == "3 working days within these dates"
    assert told["work"] == "contact service; relay test"
    assert told["emergency return to service"] == "12 h"
    assert told["conditions"].startswith("load below 40 MVA; ")
    assert told["resources"] == "mobile transformer"
    assert told["crew"] == "80 crew hours, side-mounted, region North"
    assert told["switching permit"] == "ask by 2027-01-18"
    assert told["request"] == "asked 2026-06-20 by A. Planner"
    (one,) = outage_requests(view(asked))
    assert one.signed[-1] == "approver control room (day, signature)"


def test_what_is_not_given_is_said_and_not_made_up() -> None:
    told = facts(view(job("U1", station="BIRCH")))
    assert told["outage"] == "7 days (length not given: taken as whole weeks)"
    assert told["emergency return to service"] == told["conditions"] == "not given"
    assert told["switching permit"] == "lead time not given: ask in time"
    assert told["request"] == "not submitted"


def test_conditions_name_the_transfer_group_and_the_next_closed_week() -> None:
    groups = {"busbar 2": frozenset({"U1 / contact service", "U2 / contact service"})}
    plan = view(job("U1"), job("U2", "2027-06-07"), groups=groups)
    assert facts(plan)["conditions"] == (
        "not out at the same time: U2 (transfer group busbar 2); the station is closed from 2027-W30 (summer peak)"
    )


def test_phases_of_one_bank_name_each_other_and_not_as_a_conflict() -> None:
    ids = frozenset({"U1 / contact service", "U2 / contact service"})
    plan = view(job("U1", bank="T1", phase="A"), job("U2", bank="T1", phase="B"), groups={"g": ids})
    assert facts(plan)["out together with"] == "U2"
    assert "not out at the same time" not in facts(plan)["conditions"]


def test_there_is_no_request_for_what_needs_no_outage_is_done_or_has_no_place() -> None:
    plan = view(
        job("U1", needs_outage=False), job("U2", progress="done", done_on=date(2027, 3, 3)), job("U3", station="SHUT")
    )
    assert outage_requests(plan) == []
    (again,) = outage_requests(plan, ["U2"])  # named, it is printed again
    assert again.unit == "U2"


def test_the_text_holds_every_fact_the_decision_and_the_caution() -> None:
    plan = usual()
    lines = page_plain(requests_text(plan, outage_requests(plan)))
    text = "\n".join(lines)
    assert [line for line in lines if line.startswith("Outage request")] == [
        "Outage request: U1, ALDER",
        "Outage request: U2, BIRCH",
    ]
    assert text.count("[ ] approved as asked") == 2
    assert CAUTION_SHORT in text
    for one in outage_requests(plan):
        assert all(words in text for _, words in one.facts)


def test_each_request_is_a_page_of_its_own() -> None:
    page = requests_html(usual(), outage_requests(usual()))
    assert page.count("<article") == 2
    assert ".page { break-after: page;" in page
    assert "size: A4;" in page
    assert "No outage to ask for." in requests_html(usual(), [])


# --- job sheets -----------------------------------------------------------------------------------------------


def full() -> PlanView:
    return view(
        job(
            "U1", serial="D 2210", oil_volume_l=2400.0, pcb="under 2 mg/kg, 2024-05-02", kit="kit 7; oil",
            rests_on=("reading: 48,213 on 2026-05-02", "interval: 50,000 operations"),
            resources=("mobile transformer",),
        )
    )  # fmt: skip


def test_a_sheet_says_which_unit_why_now_and_what_the_date_rests_on() -> None:
    (sheet,) = job_sheets(full())
    assert dict(sheet.identity)["serial"] == "D 2210"
    assert dict(sheet.identity)["out from"] == "2027-03-01 to 2027-03-07"
    assert sheet.why == (
        "operations drive the date", "due from 2027-03-01 to 2027-03-01 (10 and 90 %)",
        "probability of being overdue at start: under 1 %",
        "reading: 48,213 on 2026-05-02", "interval: 50,000 operations",
    )  # fmt: skip


def ticked(sheet: JobSheet) -> list[str]:
    return [words for _, steps in (*sheet.steps, *sheet.closing) for words in steps]


def sheet_of(**given: object) -> JobSheet:
    (sheet,) = job_sheets(view(job("U1", **given)))
    return sheet


def test_steps_follow_from_how_the_unit_interrupts() -> None:
    resistor, reactor, vacuum, unknown = (
        " ".join(ticked(sheet_of(technology=kind))) for kind in ("arcing_resistor", "arcing_reactor", "vacuum", "")
    )
    assert all("carbon cleaned out of compartment" in words for words in (resistor, reactor))
    assert "transition resistors inspected" in resistor
    assert "autotransformer" not in resistor
    assert "preventive autotransformer (reactor) and its leads" in reactor
    assert "resistors" not in reactor
    assert "carbon cleaned" not in vacuum
    assert "each interrupter's vacuum tested" in vacuum
    assert "interrupter's gauge" in vacuum
    assert "if vacuum: each interrupter's vacuum" in unknown
    assert "if arcing in oil: carbon" in unknown
    assert "interrupter" not in resistor + reactor


def test_tests_and_technology_on_the_sheet_follow_it_too() -> None:
    assert sheet_of(technology="arcing_resistor").tests[0] == "transition resistance [ohm]"
    assert "transition resistance [ohm]" not in sheet_of(technology="arcing_reactor").tests
    assert sheet_of(technology="vacuum").tests[0] == "vacuum of each interrupter"
    assert dict(sheet_of(technology="vacuum").identity)["technology"] == "vacuum interrupters"
    assert "take it from the nameplate" in dict(sheet_of().identity)["technology"]


@pytest.mark.parametrize("kind", ["arcing_resistor", "arcing_reactor", "vacuum", ""])
def test_every_sheet_makes_safe_in_order_and_restores_what_was_isolated(kind: str) -> None:
    text = " | ".join(ticked(sheet_of(technology=kind)))
    order = (
        "earthed on all sides and at the neutral", "no back-feed", "current-transformer circuits closed",
        "same position", "stored energy released", "hand-crank interlock", "compartment relay, on-line filter or pump",
        "carbon and old oil", "spill control", "oil cool enough", "conservator valves shut",
        "equalised before a cover is loosened", "drained through earthed", "until the atmosphere test is below",
        "insert lifted", "tools accounted for", "air bled", "oil level set", "conservator valves opened; relay, filter",
        "end stops tested", "same position at both ends", "through to the trip", "permit cleared",
        "first energisation without load", "baseline sample",
    )  # fmt: skip
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "15 minutes" not in text


def test_a_unit_exchanged_beside_its_bypass_is_bypassed_at_verified_neutral() -> None:
    assert "bypassed only at verified neutral" in " ".join(ticked(sheet_of(needs_outage=False)))
    assert "bypassed" not in " ".join(ticked(sheet_of()))


def test_the_crew_is_told_at_the_head_what_is_suspected_and_who_released_it() -> None:
    release = "Released for work de-energised from 2027-02-20 by A. Engineer: opened to find the fault"
    sheet = sheet_of(suspected=("Ethylene rose to 900 ppm, which suggests heating.",), release=release)
    text = Tags(sheets_html(full(), [sheet])).text
    assert text.index(release) < text.index("suggests heating") < text.index("Why now")
    assert "What is suspected" not in Tags(sheets_html(full(), [sheet_of()])).text


def test_oil_is_given_in_litres_and_us_gallons_and_pcb_status_as_told() -> None:
    (sheet,) = job_sheets(full())
    assert dict(sheet.needs)["oil volume"] == "2,400 L (634 US gal)"
    assert dict(sheet.needs)["PCB status"] == "under 2 mg/kg, 2024-05-02"
    assert sheet.kit == ("kit 7",)


def test_a_sheet_without_serial_volume_or_pcb_status_says_what_to_do_first() -> None:
    (sheet,) = job_sheets(view(job("U1")))
    assert "check the unit before anything else" in dict(sheet.identity)["serial"]
    assert dict(sheet.needs)["PCB status"] == "not given: have it established before oil is drained"
    assert dict(sheet.needs)["oil volume"].startswith("not given")


def test_the_sheet_has_cautions_steps_and_room_for_what_is_found_left_and_tested() -> None:
    page = sheets_html(full(), job_sheets(full()))
    text = Tags(page).text
    assert all(caution in text for caution in CAUTIONS)
    for words in ("counter", "as found", "as left", "condemning limit [mm]", "contact timing [ms]",
                  "drained through earthed conductive hoses", "witnessed by (name, day, signature)",
                  "done by (name, day, signature)"):  # fmt: skip
        assert words in text
    order = ("de-energised, isolated", "drained through", "refilled", "first energisation")
    assert sorted(order, key=text.index) == list(order)
    assert "tapwear service U1 --work overhaul --on DATE" in text


def test_contacts_are_asked_for_only_where_the_work_reaches_them() -> None:
    (contact,) = job_sheets(view(job("U1")))
    assert contact.phases == ("A", "A", "B", "B", "C", "C")
    (single,) = job_sheets(view(job("U1", phase="B")))
    assert set(single.phases) == {"B"}
    (changed,) = job_sheets(view(replace(job("U1"), task="oil change")))
    assert changed.phases == ()
    assert "contacts" not in " ".join(ticked(changed))
    assert '--work "oil change"' in changed.command


def test_a_stopped_unit_has_neither_request_nor_sheet_and_stands_first_on_both() -> None:
    plan = stopped("U1", job("U1"), job("U2", station="BIRCH"))
    requests, sheets = outage_requests(plan), job_sheets(plan)
    assert ([one.unit for one in requests], [one.unit for one in sheets]) == (["U2"], ["U2"])
    assert (outage_requests(plan, ["U1"]), job_sheets(plan, ["U1"])) == ([], [])
    assert dict(sheets[0].identity)["plan"] == "2027-a, job 2"  # as on what was printed before the stop
    lines = page_plain(requests_text(plan, requests))
    assert lines[0].startswith(stop_notice("U1"))
    assert lines[0].endswith("the engineer decides now.")
    for page in (requests_html(plan, requests), sheets_html(plan, sheets)):
        text = Tags(page).text
        assert text.index(stop_notice("U1")) < text.index("taken out of 2027-W09") < text.index("U2")


def test_a_release_for_work_stands_at_the_head_of_request_and_sheet_with_what_is_suspected() -> None:
    plan = view(released("U1"))
    (one,), (sheet,) = outage_requests(plan), job_sheets(plan)
    assert one.severe.startswith("STOP: only work de-energised; released for work de-energised from 2027-02-01")
    assert page_plain(requests_text(plan, [one]))[1].strip() == one.severe
    assert sheet.suspected == ("Ethylene rose.",)
    assert sheet.steps
    assert sheet.command
    text = Tags(sheets_html(plan, [sheet])).text
    assert text.index("by K. Arden: open it") < text.index("Ethylene rose.") < text.index("Steps")
    assert text.index("Steps") < text.index("as found and as left")


@pytest.mark.parametrize("kind", ["requests", "sheets"])
def test_hostile_text_stays_text_on_both(kind: str) -> None:
    plan = view(
        *(
            job(
                text, station=text, why=text, kit=text, serial=text, pcb=text, rests_on=(text,), other_work=(text,),
                resources=(text,), conditions=text, suspected=(text,), release=text, technology=text,
                approver=text, request_words=text,
            )
            for text in HOSTILE
        ),
        closed={HOSTILE[0]: dict.fromkeys(WEEKS[40:], '"><img src=x>')},
    )  # fmt: skip
    page = requests_html(plan, outage_requests(plan)) if kind == "requests" else sheets_html(plan, job_sheets(plan))
    tags = Tags(page)
    assert not {"script", "img"} & set(tags.tags)
    assert not {"src", "href", "onerror"} & tags.names
    assert "<script>alert(1)</script>" in tags.text
    assert "{{ 7*7 }}" in tags.text
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", page)
