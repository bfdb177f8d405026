"""The check of a plan finds each kind of fault by itself."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from plan_instances import AS_OF, group, job, limits

from tapwear.plan.check import check
from tapwear.plan.types import PlanResult, Slot


def result_of(*slots: Slot, **given: Any) -> PlanResult:
    return PlanResult(2027, AS_OF, slots, limits(**given))


@pytest.mark.parametrize(
    ("result", "words"),
    [
        (result_of(Slot(job("A"), "2026-W53")), "outside 2027"),
        (result_of(Slot(job("A", weeks=2), "2027-W52")), "A / contact service is out in 2028-W01, outside 2027"),
        (result_of(Slot(job("A"), "2026-W20")), "before 2026-06-30"),
        (result_of(Slot(job("A", kit_ready_on=date(2027, 2, 2)), "2027-W05")), "its kit is ready on 2027-02-02"),
        (result_of(Slot(job("A"), "2027-W05"), closed={"ALDER": {"2027-W05": "peak"}}), "when ALDER is closed"),
        (
            result_of(Slot(job("A"), "2027-W05"), Slot(job("B"), "2027-W05"), groups=group("A", "B")),
            "transfer group G has A / contact service and B / contact service out in 2027-W05",
        ),
        (
            result_of(Slot(job("A", bank="T1"), "2027-W05"), Slot(job("B", bank="T1"), None, "x")),
            "bank T1 at ALDER does not start together: 2027-W05, not placed",
        ),
        (
            result_of(Slot(job("A", weeks=2), "2027-W05"), crew_hours={("North", "2027-W06"): 39.0}),
            "region North needs 40 crew hours in 2027-W06, 39 on offer",
        ),
        (
            result_of(Slot(job("A", skill="vacuum"), "2027-W05"), skill_hours={("North", "vacuum", "2027-W05"): 79.0}),
            "region North needs 80 vacuum crew hours in 2027-W05, 79 on offer",
        ),
        (
            result_of(Slot(job("A", skill="vacuum"), "2027-W05"), skill_hours={("North", "vacuum", "2027-W06"): 90.0}),
            "region North needs 80 vacuum crew hours in 2027-W05, 0 on offer",
        ),
        (result_of(Slot(job("A", permit_from=date(2027, 2, 2)), "2027-W05")), "its permit is there on 2027-02-02"),
        (result_of(Slot(job("A", weeks=2, forbidden_weeks=("2027-W06",)), "2027-W05")), "2027-W06, which is forbidden"),
        (result_of(Slot(job("A", pinned_week="2027-W06"), "2027-W05")), "it is pinned to 2027-W06"),
        (
            result_of(
                Slot(job("A", resources=("mobile",)), "2027-W05"), Slot(job("B", resources=("mobile",)), "2027-W05"),
                resources={("mobile", "2027-W05"): 1},
            ),
            "A / contact service and B / contact service need mobile in 2027-W05, 1 free",
        ),
        (result_of(Slot(job("A"), None)), "nothing says why"),
        (result_of(Slot(job("A", None), "2027-W05")), "placed without a date"),
        (result_of(Slot(job("A"), "2027-W05"), Slot(job("A"), "2027-W06")), "A has 2 outages in one plan"),
    ],
)  # fmt: skip
def test_the_check_finds_each_kind_of_fault(result: PlanResult, words: str) -> None:
    assert any(words in sentence for sentence in check(result)), check(result)


@pytest.mark.parametrize(
    "result",
    [
        # Exchanged beside a bypass: station, group and resource do not bind.
        result_of(
            Slot(job("A", needs_outage=False, resources=("mobile",)), "2027-W05"), Slot(job("B"), "2027-W05"),
            groups=group("A", "B"), resources={("mobile", "2027-W05"): 0},
        ),
        result_of(Slot(job("A", needs_outage=False), "2027-W05"), closed={"ALDER": {"2027-W05": "peak"}}),
        # One mobile transformer stands in for a whole bank.
        result_of(
            *(Slot(job(unit, bank="T1", resources=("mobile",)), "2027-W05") for unit in "ABC"),
            resources={("mobile", "2027-W05"): 1},
        ),
        # Nobody has said how many hours with this skill there are.
        result_of(Slot(job("A", skill="vacuum"), "2027-W05"), skill_hours={("North", "diverter", "2027-W05"): 0.0}),
        # Pinned without a date, and under way when the plan is made.
        result_of(Slot(job("A", None, pinned_week="2027-W05"), "2027-W05")),
        PlanResult(
            2027, date(2027, 2, 10), (Slot(job("A", weeks=2, pinned_week="2027-W05"), "2027-W05"),), limits()
        ),
    ],
)  # fmt: skip
def test_the_check_passes_what_is_allowed(result: PlanResult) -> None:
    assert check(result) == []
