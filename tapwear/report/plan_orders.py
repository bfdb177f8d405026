"""What a plan asks of the stores and the crews: parts and oil by the day to order them, and hours week by week."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from tapwear.measures import LITRES_PER_US_GALLON
from tapwear.plan.terms import ORDERED
from tapwear.plan.types import PlanResult
from tapwear.report.plain import plain
from tapwear.report.plan_data import JobRow
from tapwear.report.plan_words import kit_items
from tapwear.weeks import monday

OIL = "oil"
NO_VOLUME = "volume not given"
TAKEN_AS_ORDERED = "taken as ordered by its day for the published plan"
NO_LEAD_TIME = "lead time not given: taken as in stock"


@dataclass(frozen=True)
class Order:
    """One thing that one job needs. Quantities of oil in litres [L], of parts in sets."""

    order_by: date | None  # None: no lead time given
    needed_on: date
    item: str
    sets: int | None
    litres: float | None
    unit: str
    station: str
    number: int
    words: str
    stop: str = ""  # of the unit: only work de-energised

    @property
    def us_gallons(self) -> float | None:
        return None if self.litres is None else us_gallons(self.litres)


@dataclass(frozen=True)
class Total:
    """All that a plan needs of one thing, and the first day to order some of it."""

    item: str
    sets: int
    litres: float
    first_order_by: date | None


@dataclass(frozen=True)
class CrewWeek:
    """Crew hours of a region in a week; `skill` blank: all of them. Offered None: not limited."""

    week: str
    starts_on: date
    region: str
    skill: str
    offered: float | None
    used: float
    numbers: tuple[int, ...]


def us_gallons(litres: float) -> float:
    """US gallons, to the tenth below 100 and whole above."""
    gallons = litres / LITRES_PER_US_GALLON
    return round(gallons, 1) if gallons < 100 else round(gallons)


def items_of(row: JobRow) -> list[str]:
    """The parts of a job without the oil, which comes by the litre."""
    return [part for part in kit_items(row) if part.lower() != OIL]


def orders(rows: Sequence[JobRow]) -> list[Order]:
    """Every kit and the oil of every placed job that has not begun, the first to be ordered first.

    Whatever is opened is drained and refilled; where oil is filtered and used again, less has to be bought.
    """
    found: list[Order] = []
    for row in rows:
        if row.start_on is None or row.progress in ("started", "done"):
            continue
        lead = "" if row.kit_order_by else TAKEN_AS_ORDERED if ORDERED in row.assumed else NO_LEAD_TIME
        for item in [*items_of(row), OIL]:
            oil = item == OIL
            words = [NO_VOLUME] if oil and row.oil_volume_l is None else []
            found.append(
                Order(
                    order_by=row.kit_order_by,
                    needed_on=row.start_on,
                    item=item,
                    sets=None if oil else 1,
                    litres=row.oil_volume_l if oil else None,
                    unit=row.unit,
                    station=row.station,
                    number=row.number or 0,
                    words="; ".join([*words, *([lead] if lead else [])]),
                    stop=row.stop,
                )
            )
    return sorted(found, key=lambda one: (one.order_by or one.needed_on, one.needed_on, one.number, one.item))


def totals(found: Sequence[Order]) -> list[Total]:
    """Sums by item, in alphabetical order."""
    by_item: dict[str, list[Order]] = defaultdict(list)
    for one in found:
        by_item[one.item].append(one)
    return [
        Total(
            item,
            sum(one.sets or 0 for one in some),
            sum(one.litres or 0.0 for one in some),
            min((one.order_by for one in some if one.order_by), default=None),
        )
        for item, some in sorted(by_item.items())
    ]


def crew_weeks(result: PlanResult) -> list[CrewWeek]:
    """Hours offered and used by week, region and skill, where either is known to be something; weeks in order.

    A row without skill holds all hours of the region, those of its skills included.
    """
    limits = result.limits
    used: dict[tuple[str, str, str], float] = defaultdict(float)
    numbers: dict[tuple[str, str, str], list[int]] = defaultdict(list)
    known = result.numbers
    for slot in result.placed:
        number = known[slot.job.job_id]
        first = limits.weeks.index(slot.start_week or "")
        for week in limits.weeks[first : first + slot.job.weeks]:
            for skill in dict.fromkeys(("", slot.job.skill)):
                used[week, slot.job.region, skill] += slot.job.hours_a_week
                numbers[week, slot.job.region, skill].append(number)
    offered = {(week, region, ""): hours for (region, week), hours in limits.crew_hours.items()}
    offered |= {(week, region, skill): hours for (region, skill, week), hours in limits.skill_hours.items()}
    inside = set(limits.weeks)
    return [
        CrewWeek(
            week,
            monday(week),
            plain(region),
            plain(skill),
            offered.get((week, region, skill)),
            round(used.get((week, region, skill), 0.0), 1),
            tuple(numbers.get((week, region, skill), ())),
        )
        for week, region, skill in sorted(used.keys() | offered.keys())
        if week in inside
    ]
