"""What a plan asks of stores and crews, worked by hand."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date

import pytest
from openpyxl import load_workbook
from plan_examples import HOSTILE, WEEKS, job, usual, view

from tapwear.plan.types import Proof
from tapwear.report.plan_data import PlanView, job_rows
from tapwear.report.plan_orders import crew_weeks, orders, totals, us_gallons
from tapwear.report.plan_xlsx import plan_xlsx


def needs(*jobs: object) -> list[tuple[object, ...]]:
    rows = job_rows(view(*jobs).result)  # type: ignore[arg-type]
    return [(one.order_by, one.unit, one.item, one.sets, one.litres) for one in orders(rows)]


def test_a_kit_is_ordered_as_long_before_its_slot_as_it_takes_to_come() -> None:
    # Ordered on 30 June it is there on 1 December, 154 days later; the slot starts on 1 March.
    assert needs(job("U1", kit="kit 7; oil", oil_volume_l=300.0)) == [
        (date(2026, 9, 28), "U1", "kit 7", 1, None),
        (date(2026, 9, 28), "U1", "oil", None, 300.0),
    ]


def test_what_two_tasks_of_one_outage_both_need_is_ordered_once() -> None:
    found = needs(job("U1", kit="contact set, gasket set R; gasket set R; oil"))
    assert [item for _, _, item, *_ in found] == ["contact set", "gasket set R", "oil"]
    assert needs(job("U1", kit="ring 12,5 mm"))[1][2] == "ring 12,5 mm"


def test_oil_of_unknown_volume_is_listed_and_says_so() -> None:
    (_, oil) = orders(job_rows(view(job("U1")).result))
    assert (oil.item, oil.litres, oil.us_gallons, oil.words) == ("oil", None, None, "volume not given")


def test_what_has_no_lead_time_is_listed_by_the_day_it_is_needed() -> None:
    first, second, *_ = orders(job_rows(view(job("U1", kit_ready_on=None), job("U2", "2027-11-01", "BIRCH")).result))
    assert (first.order_by, first.needed_on) == (None, date(2027, 3, 1))
    assert "lead time not given" in first.words
    assert first.unit == second.unit == "U1"


def test_jobs_without_a_place_and_jobs_done_order_nothing() -> None:
    done = job("U1", progress="done", done_on=date(2027, 3, 3))
    assert needs(done, job("U3", station="SHUT")) == []


def test_totals_add_sets_and_litres_and_name_the_first_day_to_order() -> None:
    rows = job_rows(view(job("U1", oil_volume_l=300.0), job("U2", "2027-06-07", oil_volume_l=2400.0)).result)
    kit, oil = totals(orders(rows))
    assert (kit.item, kit.sets, kit.first_order_by) == ("kit 7", 2, date(2026, 9, 28))
    assert (oil.item, oil.litres) == ("oil", 2700.0)


@pytest.mark.parametrize(("litres", "gallons"), [(300.0, 79.3), (2400.0, 634), (3.785411784, 1.0)])
def test_us_gallons_are_231_cubic_inches(litres: float, gallons: float) -> None:
    assert us_gallons(litres) == gallons


def loaded() -> PlanView:
    return view(
        job("U1", weeks=2, skill="side-mounted"),
        job("U2", station="BIRCH"),
        crew_hours={("North", week): 160.0 for week in WEEKS},
        skill_hours={("North", "side-mounted", week): 40.0 for week in WEEKS},
    )


def test_crew_hours_are_told_by_week_in_all_and_by_skill() -> None:
    weeks = {(row.week, row.skill): row for row in crew_weeks(loaded().result)}
    assert len(weeks) == 2 * len(WEEKS)
    in_all, skilled = weeks["2027-W09", ""], weeks["2027-W09", "side-mounted"]
    assert (in_all.offered, in_all.used, in_all.numbers) == (160.0, 120.0, (1, 2))
    assert (skilled.offered, skilled.used, skilled.numbers) == (40.0, 40.0, (1,))
    assert weeks["2027-W12", ""].used == 0


def test_a_region_without_limit_shows_only_the_weeks_in_which_it_works() -> None:
    (row,) = crew_weeks(view(job("U1")).result)
    assert (row.week, row.offered, row.used) == ("2027-W09", None, 80.0)


# --- in the workbook ------------------------------------------------------------------------------------------


def cells(plan: PlanView, sheet: str) -> list[tuple[object, ...]]:
    return list(load_workbook(io.BytesIO(plan_xlsx(plan)))[sheet].iter_rows(values_only=True))


def test_the_sheet_of_crew_load_says_in_words_how_full_a_week_is() -> None:
    head, *rows = cells(loaded(), "crew load")
    week = [dict(zip(head, row, strict=True)) for row in rows if row[0] == "2027-W09"]
    assert [(row["skill"], row["hours used"], row["share used"], row["in words"]) for row in week] == [
        ("all hours", 120, 0.75, "part used"),
        ("side-mounted", 40, 1, "full"),
    ]


def test_the_sheet_of_orders_ends_with_totals_that_its_filter_leaves_alone() -> None:
    plan = view(job("U1", oil_volume_l=300.0), job("U2", "2027-06-07", oil_volume_l=2400.0))
    sheet = load_workbook(io.BytesIO(plan_xlsx(plan)))["to order"]
    assert sheet.auto_filter.ref == "A1:K5"
    below = [row for row in sheet.iter_rows(min_row=6, values_only=True) if any(row)]
    assert [row[3] for row in below] == ["in all", "kit 7", "oil"]
    assert (below[1][4], below[2][5], below[2][6]) == (2, 2700, 713)


def test_the_sheet_of_assumptions_gives_costs_and_proof_as_numbers() -> None:
    plan = usual()
    plan = replace(plan, result=replace(plan.result, proof=Proof(200.0, 190.0, 260.0, 12.5, False)))
    told = {row[0]: row[1] for row in cells(plan, "assumptions")}
    assert told["cost of a week with work in a neighbourhood of stations"] == 40
    assert told["proof: cost of this plan"] == 200
    assert told["proof: share of the cost that could at most be saved"] == 0.05
    assert "Within 5.0 % of the best possible." in told


def test_hostile_names_stay_text_on_every_sheet() -> None:
    jobs = [job(text, station=text, kit=text, resources=(text,), skill=text, serial=text, pcb=text) for text in HOSTILE]
    book = load_workbook(io.BytesIO(plan_xlsx(view(*jobs))))
    kinds = {cell.data_type for sheet in book.worksheets for row in sheet.iter_rows() for cell in row}
    assert kinds <= {"s", "n", "d"}
    assert all(not sheet._hyperlinks for sheet in book.worksheets)
