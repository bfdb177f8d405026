"""What a plan takes and gives back: jobs and limits in, slots in ISO weeks out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class Job:
    """One overhaul to be placed. Weeks are ISO weeks such as `2027-W05`."""

    job_id: str  # "unit / task"
    unit: str
    task: str
    station: str
    region: str
    bank: str
    early: date | None
    middle: date | None
    late: date | None
    weeks: int  # whole weeks that the outage lasts
    crew_hours: float  # in all
    kit: str = ""
    kit_ready_on: date | None = None
    severe: bool = False
    overdue: bool = False
    why: str = ""


@dataclass(frozen=True)
class Limits:
    """What the stations and crews allow, and which of these limits were assumed for want of input."""

    weeks: tuple[str, ...]
    closed: dict[str, dict[str, str]]  # station -> week -> why it is closed
    groups: dict[str, frozenset[str]]  # transfer group -> job ids of which one at a time may be out
    crew_hours: dict[tuple[str, str], float]  # (region, week) -> hours on offer
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Slot:
    """One job in the plan, or the constraint that stops it."""

    job: Job
    start_week: str | None
    stopped_by: str = ""
    chance_late: float | None = None  # chance of having become due before the Monday of the start week


@dataclass(frozen=True)
class PlanResult:
    year: int
    as_of: date
    slots: tuple[Slot, ...]
    limits: Limits

    @property
    def placed(self) -> tuple[Slot, ...]:
        return tuple(slot for slot in self.slots if slot.start_week)

    @property
    def unplaced(self) -> tuple[Slot, ...]:
        return tuple(slot for slot in self.slots if not slot.start_week)
