"""What a plan takes and gives back: jobs and limits in, slots in ISO weeks out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from tapwear.words import stop_short


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
    severe: bool = False  # a stop is open at the unit; it has a job only where an engineer has released it for work
    overdue: bool = False
    why: str = ""
    phase: str = ""
    weight: float = 1.0  # consequence of being late, relative to other jobs
    assumed: tuple[str, ...] = ()  # what was not given and taken instead, such as "1 week of outage"
    skill: str = ""  # which part of the crew hours it needs; "" for any
    permit_from: date | None = None  # first day on which the switching permit can be there
    pinned_week: str | None = None  # must start then
    forbidden_weeks: tuple[str, ...] = ()  # may not be out then
    kept_week: str | None = None  # where the plan that this one follows has it; moving it away costs
    needs_outage: bool = True  # False: exchanged beside a bypass (step-voltage regulator); station rules do not bind
    resources: tuple[str, ...] = ()  # bookable things needed while it is out, such as a mobile transformer
    recall_hours: float | None = None  # how soon the transformer can be back when the control room calls [h]
    other_work: tuple[str, ...] = ()  # other people's work to be done in the same outage
    request_status: str = ""  # of the outage request: asked, approved, refused, cancelled; "" not submitted
    request_words: str = ""  # since when and by whom, such as "approved for 2027-W09 on 2027-01-12 by control room"
    request_week: str | None = None  # the week that was asked for
    permit_week: str | None = None  # for which the permit is granted, or was asked for in time
    progress: str = ""  # started, done, stopped; "" not begun. A job done is kept in the plan, closed
    done_on: date | None = None
    serial: str = ""  # of the tap changer; "" where not given
    oil_volume_l: float | None = None  # of the compartments that are opened [L]; None where not given
    technology: str = ""  # arcing_resistor, arcing_reactor, vacuum; "" where not recorded
    suspected: tuple[str, ...] = ()  # what the oil, visits and people's conditions show, as sentences for the crew
    release: str = ""  # by whom a stopped unit was released for work de-energised, since when and why; "" for none
    pcb: str = ""  # PCB status of the oil in the user's words; "" where not given
    rests_on: tuple[str, ...] = ()  # what the dates rest on, one "head: words" each, such as "reading: 65480 on ..."
    days: float | None = None  # of outage as given; None: taken as whole weeks
    kit_weeks: float | None = None  # lead time of the kit: order it this long before the start [weeks]
    permit_weeks: float | None = None  # lead time of the switching permit [weeks]
    approver: str = ""  # who approves the outage
    conditions: str = ""  # under which it may be out, in the user's words
    task_middles: tuple[tuple[str, str], ...] = ()  # each task of the outage with its middle date (ISO), "" unknown
    forbidden_why: tuple[str, ...] = ()  # why, for each of forbidden_weeks, such as "line works by others"; may be ""
    work_from: date | None = None  # first day of the work that it is released for
    alarms: tuple[str, ...] = ()  # what the engineer has to decide today, below a stop

    @property
    def dated(self) -> bool:
        """Whether there is something to place it by; a job without is listed as "date unknown"."""
        return self.early is not None or self.severe or self.overdue

    @property
    def stop(self) -> str:
        """What stands first in its row where a stop is open: `STOP: only work de-energised`."""
        return stop_short(self.work_from or date.min, True) if self.release else ""

    @property
    def block(self) -> tuple[str, str]:
        """What goes out together: the phases of one bank of a station, else the unit by itself."""
        return (self.station, self.bank) if self.bank else ("", self.job_id)

    @property
    def hours_a_week(self) -> float:
        """Crew hours in each of its weeks; they are spread evenly."""
        return self.crew_hours / self.weeks


@dataclass(frozen=True)
class Limits:
    """What the stations and crews allow, and which of these limits were assumed for want of input."""

    weeks: tuple[str, ...]
    closed: dict[str, dict[str, str]]  # station -> week -> why it is closed
    groups: dict[str, frozenset[str]]  # transfer group -> job ids of which one at a time may be out
    crew_hours: dict[tuple[str, str], float]  # (region, week) -> hours on offer; a region without is not limited
    assumptions: tuple[str, ...] = ()
    neighbourhoods: dict[str, str] = field(default_factory=dict)  # station -> where it shares a trip with others
    skill_hours: dict[tuple[str, str, str], float] = field(default_factory=dict)  # (region, skill, week) -> hours,
    # the part of crew_hours that has the skill; a region and skill without any entry is not limited
    resources: dict[tuple[str, str], int] = field(default_factory=dict)  # (resource, week) -> how many are free


@dataclass(frozen=True)
class Costs:
    """What a plan costs; only the ratios matter. Our choice, and the planner's to change.

    late         per weight and expected week past the date of becoming due
    early        per expected week of interval thrown away
    trip         per neighbourhood and week with at least one job on
    unplaced     per weight of a job left out, on top of its lateness a year after the last week
    move         per job moved away from its week in the plan that is followed
    """

    late: float = 10.0
    early: float = 1.0
    trip: float = 40.0
    unplaced: float = 100.0
    move: float = 60.0


@dataclass(frozen=True)
class Proof:
    """How good a plan is known to be. `bound` is a proven lower bound of the cost of any plan under these limits."""

    cost: float
    bound: float
    greedy_cost: float
    seconds: float
    time_limited: bool  # stopped by its time limit: another run may give another plan

    @property
    def gap(self) -> float:
        """The share of the cost that could at most be saved, 0 to 1."""
        return max(0.0, self.cost - self.bound) / self.cost if self.cost > 0 else 0.0


@dataclass(frozen=True)
class Slot:
    """One job in the plan, or the constraint that stops it."""

    job: Job
    start_week: str | None
    stopped_by: str = ""
    chance_late: float | None = None  # chance of having become due before the Monday of the start week
    was_in: str = ""  # week that it was taken out of since the plan was made, on account of a stop; it has none now


@dataclass(frozen=True)
class LeftOut:
    """A unit that has no job in the plan: why, and what that rests on (as in Job.rests_on)."""

    unit: str
    words: str
    rests_on: tuple[str, ...] = ()


AT_ENGINEER = "stopped, the engineer decides now"


@dataclass(frozen=True)
class AtEngineer:
    """A unit whose stop stands. It has no place in a plan and stands above it, until an engineer releases it.

    stop : what stands first in its row; words : what the stop rests on, as sentences
    was_in : week that it was taken out of since the plan was made; "": it had none
    """

    unit: str
    station: str
    stop: str
    words: str
    was_in: str = ""

    @property
    def reason(self) -> str:
        """Why it has no place."""
        return f"taken out of {self.was_in}: {AT_ENGINEER}" if self.was_in else f"taken out: {AT_ENGINEER}"


@dataclass(frozen=True)
class PlanResult:
    """A plan of one year: every job with its week or what stops it, and all that it rests on."""

    year: int
    as_of: date
    slots: tuple[Slot, ...]
    limits: Limits
    costs: Costs = Costs()
    proof: Proof | None = None  # None: placed by the greedy alone
    left_out: tuple[LeftOut, ...] = ()
    follows: str = ""  # name of the plan that this one was kept close to
    at_engineer: tuple[AtEngineer, ...] = ()  # units whose stop stands, above the plan

    @property
    def numbers(self) -> dict[str, int]:
        """The number of each job, from 1 on; what was taken out since keeps its own, so that papers agree."""
        mine = (slot for slot in self.slots if slot.start_week or slot.was_in)
        return {slot.job.job_id: number for number, slot in enumerate(mine, start=1)}

    @property
    def placed(self) -> tuple[Slot, ...]:
        return tuple(slot for slot in self.slots if slot.start_week)

    @property
    def unplaced(self) -> tuple[Slot, ...]:
        """Jobs without a week; of units at the engineer there are none."""
        away = {one.unit for one in self.at_engineer}
        return tuple(slot for slot in self.slots if not slot.start_week and slot.job.unit not in away)

    @property
    def taken_out(self) -> tuple[Slot, ...]:
        """Jobs that a stop has taken out of their weeks since the plan was made."""
        return tuple(slot for slot in self.slots if slot.was_in)

    @property
    def stopped(self) -> tuple[Slot, ...]:
        """Jobs with a date that found no place."""
        return tuple(slot for slot in self.unplaced if slot.job.dated)

    @property
    def undated(self) -> tuple[Slot, ...]:
        """Jobs that cannot be placed because nobody knows when they are due."""
        return tuple(slot for slot in self.unplaced if not slot.job.dated)
