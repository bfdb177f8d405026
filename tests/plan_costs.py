"""What a plan costs, part by part, counted from its slots alone: nothing of the optimiser's is used."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from tapwear.plan.lateness import due_day
from tapwear.plan.problem import WEEKS_AFTER
from tapwear.plan.types import PlanResult
from tapwear.weeks import monday


@dataclass(frozen=True)
class CostParts:
    """The parts of a plan's cost; only their ratios mean something."""

    late: float  # expected weeks past the date, weighted by consequence
    early: float  # expected weeks of interval thrown away
    trips: float  # neighbourhoods and weeks with work in them
    left_out: float  # jobs without a place, with the lateness of a year later
    moved: float  # jobs away from the week of the plan that is followed

    @property
    def total(self) -> float:
        return self.late + self.early + self.trips + self.left_out + self.moved


def cost_parts(result: PlanResult) -> CostParts:
    """Counts what a plan costs, from its slots alone. Jobs without a date cost their trip and their move only."""
    costs = result.costs
    late = early = left_out = moved = 0.0
    trips = set()
    after = monday(result.limits.weeks[-1]) + timedelta(weeks=WEEKS_AFTER)
    for slot in result.slots:
        job = slot.job
        if slot.start_week is None and not job.dated and not job.pinned_week:
            continue
        due = due_day(job, result.as_of)
        moved += costs.move if job.kept_week and slot.start_week != job.kept_week else 0.0
        if slot.start_week is None:
            left_out += costs.unplaced * job.weight
            left_out += costs.late * job.weight * due.weeks_late(after) if job.dated else 0.0
            continue
        first = monday(slot.start_week)
        if job.dated:
            late += costs.late * job.weight * due.weeks_late(first)
            early += costs.early * due.weeks_early(first)
        hood = result.limits.neighbourhoods.get(job.station) or f"station {job.station}"
        trips |= {(hood, first + timedelta(weeks=ahead)) for ahead in range(job.weeks)}
    return CostParts(late, early, costs.trip * len(trips), left_out, moved)
