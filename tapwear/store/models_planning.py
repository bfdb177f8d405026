"""The tables of the plan: what stations and crews allow, what is decided about single jobs, plans as they were made.

Closures by date, transfer groups and crew weeks say what is so now, like the register, whose history they share. All
the rest is append-only, as in the book.
"""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, Index, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from tapwear.store.models_base import STRICT, Entry, at_least, either, one_of, utc
from tapwear.visits.planning import NOTE_KINDS, PROGRESS_WORDS, REQUEST_WORDS


class Closure(SQLModel, table=True):
    """Weeks in which nothing may be out at a station; the dates are included."""

    __table_args__ = (CheckConstraint("to_on >= from_on", name="from_before_to"), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    station_id: int = Field(foreign_key="station.id", index=True)
    from_on: date
    to_on: date
    why: str = ""
    recorded_at: datetime = utc()
    recorded_by: str


class TransferGroupMember(SQLModel, table=True):
    """A station (all its units) or one tap changer in a group of which one transformer at a time may be out."""

    __tablename__ = "transfer_group_member"
    __table_args__ = (
        either("station_id", "tap_changer_id", "station_or_unit"),
        UniqueConstraint("group_name", "station_id"),
        UniqueConstraint("group_name", "tap_changer_id"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    group_name: str
    station_id: int | None = Field(default=None, foreign_key="station.id")
    tap_changer_id: int | None = Field(default=None, foreign_key="tap_changer.id")


class CrewWeek(SQLModel, table=True):
    """Crew hours on offer in a region and ISO week."""

    __tablename__ = "crew_week"
    __table_args__ = (UniqueConstraint("region", "week"), at_least("hours", 0), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    region: str
    week: str
    hours: float


class Plan(SQLModel, table=True):
    __table_args__ = (one_of("status", ("draft", "published")), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(unique=True)
    name: str = Field(unique=True)
    year: int
    as_of: date
    status: str = "draft"
    recorded_at: datetime = utc()
    recorded_by: str
    assumptions: str = Field(default="", sa_type=Text)


class PlanJob(SQLModel, table=True):
    __tablename__ = "plan_job"
    __table_args__ = (UniqueConstraint("plan_id", "tap_changer_id", "task"), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    plan_id: int = Field(foreign_key="plan.id", index=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    task: str
    start_week: str = ""  # "" = no place found
    weeks: int = 1
    crew_hours: float = 0.0
    early: date | None = None
    middle: date | None = None
    late: date | None = None
    why: str = ""
    stopped_by: str = ""


# --- what is allowed: append-only -----------------------------------------------------------------------------


class YearlyClosure(Entry, table=True):
    """Weeks of every year in which nothing may be out at a station; from 49 to 5 runs over the turn of the year."""

    __tablename__ = "yearly_closure"
    __table_args__ = (
        CheckConstraint("from_week BETWEEN 1 AND 53", name="from_week_range"),
        CheckConstraint("to_week BETWEEN 1 AND 53", name="to_week_range"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="yearly_closure.id", unique=True)
    station_id: int = Field(foreign_key="station.id")
    from_week: int
    to_week: int
    why: str = ""


class Team(Entry, table=True):
    """A named crew: where it works, how many hours in each week, what it is trained for (separated by `;`)."""

    __table_args__ = (at_least("hours_per_week", 0), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="team.id", unique=True)
    team: str
    region: str
    hours_per_week: float
    skills: str = ""


class TeamHoliday(Entry, table=True):
    __tablename__ = "team_holiday"
    __table_args__ = (CheckConstraint("to_on >= from_on", name="from_before_to"), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="team_holiday.id", unique=True)
    team: str
    from_on: date
    to_on: date
    why: str = ""


class Resource(Entry, table=True):
    """How many of a bookable thing there are, always or between two days."""

    __table_args__ = (
        at_least("number", 0),
        CheckConstraint("from_on IS NULL OR to_on IS NULL OR to_on >= from_on", name="from_before_to"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="resource.id", unique=True)
    resource: str
    number: int
    from_on: date | None = None
    to_on: date | None = None


class OutageTerms(Entry, table=True):
    """What an outage takes, at a station, for a service scheme, or for one unit. `resources` are separated by `;`."""

    __tablename__ = "outage_terms"
    __table_args__ = (
        CheckConstraint("station_id IS NULL OR (scheme_id IS NULL AND tap_changer_id IS NULL)", name="one_owner"),
        CheckConstraint("scheme_id IS NULL OR tap_changer_id IS NULL", name="scheme_or_unit"),
        CheckConstraint("COALESCE(station_id, scheme_id, tap_changer_id) IS NOT NULL", name="some_owner"),
        at_least("permit_weeks", 0),
        at_least("recall_hours", 0),
        at_least("consequence", 0, above=True),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="outage_terms.id", unique=True)
    station_id: int | None = Field(default=None, foreign_key="station.id")
    scheme_id: int | None = Field(default=None, foreign_key="scheme.id")
    tap_changer_id: int | None = Field(default=None, foreign_key="tap_changer.id")
    permit_weeks: float | None = None
    recall_hours: float | None = None
    resources: str = ""
    skill: str = ""
    consequence: float | None = None
    exchanged: bool | None = None
    approver: str = ""
    conditions: str = ""
    pcb: str = ""


class OtherOutage(Entry, table=True):
    """Somebody else's outage at a station, or of one unit's transformer."""

    __tablename__ = "other_outage"
    __table_args__ = (
        either("station_id", "tap_changer_id", "station_or_unit"),
        CheckConstraint("to_on >= from_on", name="from_before_to"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="other_outage.id", unique=True)
    station_id: int | None = Field(default=None, foreign_key="station.id")
    tap_changer_id: int | None = Field(default=None, foreign_key="tap_changer.id")
    from_on: date
    to_on: date
    what: str
    who: str = ""


class JobNote(Entry, table=True):
    """What is decided or known about a unit's outage: a pin, forbidden weeks, a request, progress, other work."""

    __tablename__ = "job_note"
    __table_args__ = (
        one_of("kind", NOTE_KINDS),
        one_of("status", (*REQUEST_WORDS, *PROGRESS_WORDS), blank=True),
        Index("job_note_by_unit", "tap_changer_id"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="job_note.id", unique=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    kind: str
    weeks: str = ""
    status: str = ""
    happened_on: date | None = None
    person: str = ""
    words: str = ""


class PlanCost(Entry, table=True):
    """What a plan costs from then on, as in tapwear.plan.types.Costs; the newest current row counts."""

    __tablename__ = "plan_cost"
    __table_args__ = (
        *(at_least(name, 0) for name in ("late_cost", "early_cost", "trip_cost", "unplaced_cost", "move_cost")),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="plan_cost.id", unique=True)
    late_cost: float
    early_cost: float
    trip_cost: float
    unplaced_cost: float
    move_cost: float


class PlanPublication(Entry, table=True):
    """A plan that was handed out; of one year the newest current row counts, the others are its history."""

    __tablename__ = "plan_publication"
    __table_args__ = (STRICT,)
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="plan_publication.id", unique=True)
    plan_id: int = Field(foreign_key="plan.id", index=True)
