"""From an outlook and the limits in the book to a plan."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from tapwear.outlook.types import Outlook
from tapwear.plan.jobs import NO_OUTAGE, jobs_from
from tapwear.plan.limits import limits_from
from tapwear.plan.place import place
from tapwear.plan.types import PlanResult

if TYPE_CHECKING:
    import pandas as pd


def build_plan(
    outlook: Outlook,
    year: int,
    *,
    closures: pd.DataFrame,
    transfer_groups: pd.DataFrame,
    crews: pd.DataFrame,
    units: pd.DataFrame,
) -> PlanResult:
    """The plan of a year as of the outlook's date; the frames are those of the book (see `limits_from`)."""
    jobs = jobs_from(outlook, year)
    limits = limits_from(jobs, year, closures=closures, transfer_groups=transfer_groups, crews=crews, units=units)
    away = len({due.unit for due in outlook.dues if due.state in NO_OUTAGE})
    if away:
        words = f"{away} unit{'s' if away != 1 else ''} left out: spare, in the workshop or retired."
        limits = replace(limits, assumptions=(*limits.assumptions, words))
    return place(jobs, limits, outlook.as_of)
