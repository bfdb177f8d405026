"""What all pages of a plan say in the same words, on the screen too."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from datetime import date

import pytest
from plan_examples import job, view
from rich.console import Console

from tapwear.plan.terms import ORDERED
from tapwear.plan.types import Proof
from tapwear.report.plan_data import PlanView, job_rows, plan_json
from tapwear.report.plan_ics import plan_ics
from tapwear.report.plan_orders import orders
from tapwear.report.plan_table import plan_plain, plan_screen
from tapwear.report.plan_words import (
    kit_items,
    passed_words,
    proof_words,
    request_words,
    requests_words,
    state_words,
    weeks_words,
)


def proven(cost: float, bound: float, limited: bool) -> PlanView:
    plan = view(job("U1"))
    return replace(plan, result=replace(plan.result, proof=Proof(cost, bound, 260.0, 12.5, limited)))


@pytest.mark.parametrize(
    ("cost", "bound", "limited", "says"),
    [
        (200.0, 200.0, False, "Optimal for these limits and costs."),
        (200.0, 199.2, False, "Within 0.4 % of the best possible."),
        (200.0, 184.0, True, "Time-limited: up to 8.0 % of its cost might be saved. Another run, or one with more "
         "seconds, may give another plan."),
        (200.0, 150.0, True, "Time-limited: up to 25 % of its cost might be saved. Another run, or one with more "
         "seconds, may give another plan."),
    ],
)  # fmt: skip
def test_how_good_a_plan_is_known_to_be(cost: float, bound: float, limited: bool, says: str) -> None:
    plan = proven(cost, bound, limited)
    assert proof_words(plan.result) == says
    assert says in "\n".join(plan_plain(plan))
    screen = " ".join(" ".join(line.plain for line in plan_screen(plan, Console(width=80, file=io.StringIO()))).split())
    assert says in screen


def test_a_plan_that_nobody_looked_to_better_claims_nothing() -> None:
    assert proof_words(view(job("U1")).result) == ""


def test_json_gives_costs_and_proof_as_numbers() -> None:
    page = json.loads(plan_json(proven(200.0, 190.0, True)))
    assert page["costs"]["trip"] == 40.0
    assert page["proof"] == {
        "cost": 200.0, "bound": 190.0, "greedy_cost": 260.0, "seconds": 12.5, "time_limited": True, "gap": 0.05,
    }  # fmt: skip
    assert json.loads(plan_json(view(job("U1"))))["proof"] is None


def test_requests_are_counted_without_what_is_done_or_needs_none() -> None:
    rows = job_rows(
        view(
            job("U1", request_status="approved", request_words="approved 2026-06-20 by control room"),
            job("U2", station="BIRCH"),
            job("U3", station="CEDAR", needs_outage=False),
            job("U4", station="ELM", progress="done", done_on=date(2027, 3, 4)),
        ).result
    )
    assert requests_words(rows) == "Outage requests: 1 approved, 1 not submitted."
    assert [request_words(row) for row in rows[:3]] == [
        "approved 2026-06-20 by control room", "not submitted", "no outage: exchanged beside its bypass",
    ]  # fmt: skip


def test_the_answer_about_another_week_leaves_this_one_to_be_asked_for() -> None:
    words = "approved for 2027-W05 on 2026-06-20"
    given = {"request_status": "approved", "request_words": words, "permit_weeks": 2.0}
    moved, there = (view(job("U1", request_week=week, **given)) for week in ("2027-W05", "2027-W09"))
    (row,) = job_rows(moved.result)
    assert request_words(row) == f"not submitted for 2027-W09; {words}"
    assert requests_words([row]) == "Outage requests: 1 not submitted."
    assert b"ask for the outage" in plan_ics(moved)
    assert b"ask for the outage" not in plan_ics(there)
    assert requests_words(job_rows(there.result)) == "Outage requests: 1 approved."


def test_a_kit_taken_as_ordered_is_not_to_be_ordered_again() -> None:
    plan = view(job("U1", kit_weeks=20.0, assumed=(ORDERED,)))
    (row,) = job_rows(plan.result)
    assert row.kit_order_by is None
    assert "kit 7, taken as ordered" in " ".join(plan_plain(plan))
    assert [one.words for one in orders([row]) if one.item == "kit 7"] == [
        "taken as ordered by its day for the published plan"
    ]


def test_the_screen_shows_pins_progress_requests_and_the_day_to_order_the_kit() -> None:
    pinned = job(
        "U1", pinned_week="2027-W09", progress="stopped", request_status="asked", request_words="asked 2026-06-20",
        resources=("mobile transformer",), skill="side-mounted",
    )  # fmt: skip
    for width in (80, 120, 220):
        lines = [line.plain for line in plan_screen(view(pinned), Console(width=width, file=io.StringIO()))]
        text = " ".join(" ".join(lines).split())
        for words in ("pinned; stopped", "asked 2026-06-20", "mobile transformer; side-mounted", "order by 2026-09-28"):
            assert words in text
        assert max(len(line) for line in lines) <= width


def test_weeks_and_states_in_short() -> None:
    one, two = job_rows(view(job("U1"), job("U2", "2027-06-07", "BIRCH", weeks=2)).result)
    assert (weeks_words(one), weeks_words(two)) == ("W09", "W23-24")
    assert state_words(replace(one, progress="done", done_on=date(2027, 3, 4))) == "done 2027-03-04"
    assert state_words(one) == ""
    assert state_words(replace(one, progress="started", pinned_week="2027-W09")) == "started"


def test_what_was_to_be_ordered_or_asked_for_by_now_is_named() -> None:
    rows = job_rows(view(job("U1", kit_weeks=20.0, permit_weeks=3.0)).result)  # 2026-10-12 and 2027-02-08
    assert passed_words(rows, date(2026, 10, 12)) == ""
    assert passed_words(rows, date(2026, 10, 13)) == "kit of U1 (by 2026-10-12)"
    asked = [replace(row, request_status="asked") for row in rows]
    assert passed_words(asked, date(2027, 2, 20)) == "kit of U1 (by 2026-10-12)"
    assert passed_words(rows, date(2027, 2, 20)).endswith("; outage request of U1 (by 2027-02-08)")


def test_work_begun_has_nothing_left_to_order_or_to_ask_for() -> None:
    (row,) = job_rows(view(job("U1", kit_weeks=20.0, permit_weeks=3.0, progress="started")).result)
    assert (row.kit_order_by, row.permit_ask_by, orders([row])) == (None, None, [])


def test_things_of_a_kit_are_named_once() -> None:
    (row,) = job_rows(view(job("U1", kit="contact set, gasket set R; gasket set R; oil")).result)
    assert kit_items(row) == ["contact set", "gasket set R", "oil"]
