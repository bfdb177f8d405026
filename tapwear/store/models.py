"""All tables of the store: here, and those of the plan in models_planning.

Who is who: a *place* (station, bank, phase), the *transformer* that stands there, its *tap changer* under the
owner's asset tag, its *compartments*, and its *drives* with their *counters* are separate things with separate
lives. Wear follows the tap changer, the rate follows the place, the counter follows the drive. A `Stay` says
since when a tap changer stands where and in what state; it lasts until the next stay. A `Fitting` does the
same for a drive at a tap changer. What people call a *unit* is the tap changer at its place.

Two kinds of table. The register (stations to service rules) holds what is so now; every change of a field is
written to `RegisterChange`. The book (readings, events, samples, services, conditions, stops, limits, deferrals, stays,
fittings) is append-only: a row is corrected by another that supersedes it, and says who, when and why; `withdrawn`
rows take one back.
"""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, Index, Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from tapwear.store import models_planning  # noqa: F401 - its tables belong to the schema
from tapwear.store.models_base import STRICT, Entry, at_least, either, one_of, utc
from tapwear.visits.fields import (
    BREATHINGS,
    CONSERVATORS,
    COUNTER_SOURCES,
    EVENT_KINDS,
    LIMIT_QUANTITIES,
    STATES,
    TAKEN_FROM,
    TASKS,
    TECHNOLOGIES,
    WORKS,
)
from tapwear.visits.observations import BY_NAME
from tapwear.words import CONDITION_KINDS, FOLLOWUP_KINDS, STOP_CAUSES

# --- the register ---------------------------------------------------------------------------------------------


class Station(SQLModel, table=True):
    __table_args__ = (STRICT,)
    id: int | None = Field(default=None, primary_key=True)
    code: str = Field(unique=True)
    name: str = ""
    region: str = ""
    neighbourhood: str = ""
    note: str = ""


class Place(SQLModel, table=True):
    __table_args__ = (UniqueConstraint("station_id", "bank", "phase"), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    station_id: int = Field(foreign_key="station.id")
    bank: str = ""
    phase: str = ""


class Transformer(SQLModel, table=True):
    __table_args__ = (one_of("conservator", CONSERVATORS, blank=True), at_least("main_tank_volume_l", 0), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    serial: str | None = Field(default=None, unique=True)
    conservator: str = ""
    main_tank_volume_l: float | None = None
    note: str = ""


class Scheme(SQLModel, table=True):
    __table_args__ = (STRICT,)
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    note: str = ""


class TapChanger(SQLModel, table=True):
    __tablename__ = "tap_changer"
    __table_args__ = (
        one_of("technology", TECHNOLOGIES, blank=True),
        one_of("breathing", BREATHINGS, blank=True),
        at_least("rated_current_a", 0),
        at_least("step_voltage_v", 0),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    tag: str = Field(unique=True)
    serial: str | None = Field(default=None, unique=True)
    scheme_id: int | None = Field(default=None, foreign_key="scheme.id")
    technology: str = ""
    breathing: str = ""
    peer_group: str = ""
    oil_group: str = ""
    rated_current_a: float | None = None
    step_voltage_v: float | None = None
    commissioned_on: date | None = None
    sampling_needs_outage: bool = False
    visit_cadence: str = ""
    positions: str = ""  # as in tapwear.visits.positions; "" = not known
    note: str = ""


class Compartment(SQLModel, table=True):
    __table_args__ = (UniqueConstraint("tap_changer_id", "name"), at_least("oil_volume_l", 0, above=True), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    name: str = ""
    serial: str | None = None
    oil_volume_l: float | None = None


class Drive(SQLModel, table=True):
    __table_args__ = (STRICT,)
    id: int | None = Field(default=None, primary_key=True)
    serial: str | None = Field(default=None, unique=True)
    note: str = ""


class Counter(SQLModel, table=True):
    """A counter on a drive. A counter with another number of digits is another counter."""

    __table_args__ = (
        UniqueConstraint("drive_id", "source", "digits"),
        one_of("source", COUNTER_SOURCES),
        CheckConstraint("digits BETWEEN 3 AND 9", name="digits_range"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    drive_id: int = Field(foreign_key="drive.id")
    source: str = "mechanical"
    digits: int


class ServiceRule(SQLModel, table=True):
    """An interval of a scheme, or of one tap changer (which then goes before the scheme's for that task)."""

    __tablename__ = "service_rule"
    __table_args__ = (
        either("scheme_id", "tap_changer_id", "scheme_or_unit"),
        CheckConstraint("interval_operations IS NOT NULL OR interval_years IS NOT NULL", name="interval_of_some_kind"),
        UniqueConstraint("scheme_id", "task"),
        UniqueConstraint("tap_changer_id", "task"),
        one_of("task", TASKS),
        at_least("interval_operations", 0, above=True),
        at_least("interval_years", 0, above=True),
        at_least("duration_days", 0, above=True),
        at_least("crew_hours", 0),
        at_least("lead_time_weeks", 0),
        CheckConstraint("current_exponent IS NULL OR current_exponent BETWEEN 0 AND 2", name="current_exponent_range"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    scheme_id: int | None = Field(default=None, foreign_key="scheme.id")
    tap_changer_id: int | None = Field(default=None, foreign_key="tap_changer.id")
    task: str
    interval_operations: int | None = None
    interval_years: float | None = None
    duration_days: float | None = None
    crew_hours: float | None = None
    kit: str = ""
    lead_time_weeks: float | None = None
    provenance: str = ""
    current_exponent: float | None = None  # None: not said, which counts as 0, the plain count


class VisitRule(SQLModel, table=True):
    """How often units are to be read and sampled, by scheme or for one tap changer, whose own goes first."""

    __tablename__ = "visit_rule"
    __table_args__ = (
        either("scheme_id", "tap_changer_id", "scheme_or_unit"),
        UniqueConstraint("scheme_id"),
        UniqueConstraint("tap_changer_id"),
        at_least("read_every_days", 0, above=True),
        at_least("sample_every_days", 0, above=True),
        at_least("still_after_days", 0, above=True),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    scheme_id: int | None = Field(default=None, foreign_key="scheme.id")
    tap_changer_id: int | None = Field(default=None, foreign_key="tap_changer.id")
    read_every_days: float | None = None
    sample_every_days: float | None = None
    still_after_days: float | None = None  # of a change-over selector that is not seen to move
    provenance: str = ""


class RegisterChange(SQLModel, table=True):
    """One field of one register row, before and after; the register's own history."""

    __tablename__ = "register_change"
    __table_args__ = (STRICT,)
    id: int | None = Field(default=None, primary_key=True)
    table_name: str
    row_id: int
    field: str
    before: str | None = None
    after: str | None = None
    recorded_at: datetime = utc()
    recorded_by: str
    reason: str = ""


# --- the book: append-only ------------------------------------------------------------------------------------


class ImportRun(SQLModel, table=True):
    __tablename__ = "import_run"
    __table_args__ = (STRICT,)
    id: int | None = Field(default=None, primary_key=True)
    recorded_at: datetime = utc()
    recorded_by: str
    what: str
    rows_stored: int = 0
    rows_known: int = 0
    rows_in_findings: int = 0
    # SHA-256 of what was brought in; "" of imports before schema 3
    content_key: str = Field(default="", sa_column_kwargs={"server_default": ""})


class EntryMade(SQLModel, table=True):
    """What one person recorded at once, in the order of the store itself, whatever a clock said."""

    __tablename__ = "entry"
    __table_args__ = (STRICT,)
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(unique=True)
    recorded_at: datetime = utc()
    recorded_by: str
    database_user: str = ""  # of a store on a server, as whom its writer was let in
    import_id: int | None = Field(default=None, foreign_key="import_run.id", unique=True)
    undoes_id: int | None = Field(default=None, foreign_key="entry.id", index=True)


class EntryRow(SQLModel, table=True):
    """Which rows an entry made, by hand; those of an import carry its number themselves."""

    __tablename__ = "entry_row"
    __table_args__ = (UniqueConstraint("table_name", "row_id"), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    entry_id: int = Field(foreign_key="entry.id", index=True)
    table_name: str
    row_id: int


class ImportFinding(SQLModel, table=True):
    __tablename__ = "import_finding"
    __table_args__ = (STRICT,)
    id: int | None = Field(default=None, primary_key=True)
    import_id: int = Field(foreign_key="import_run.id", index=True)
    file: str
    line: int
    field: str
    found: str
    remedy: str
    severity: str
    row: str = ""


class HeldRow(SQLModel, table=True):
    """A row of an import that is well formed and probably wrong; it waits for a person's word."""

    __tablename__ = "held_row"
    __table_args__ = (STRICT,)
    id: int | None = Field(default=None, primary_key=True)
    import_id: int = Field(foreign_key="import_run.id", index=True)
    table_name: str
    content_key: str = Field(unique=True)  # of table and values, so that the same row is held once
    file: str
    line: int
    field: str
    found: str
    units: str = ""  # tags of the units that it matters for, separated by `;`
    payload: str = Field(sa_type=Text)  # its values as JSON of tapwear.store.holding
    row: str = ""


class HeldDecision(SQLModel, table=True):
    """What a person said of a held row: to be stored after all, or dropped."""

    __tablename__ = "held_decision"
    __table_args__ = (one_of("decision", ("stored", "dropped")), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    held_id: int = Field(foreign_key="held_row.id", unique=True)
    decision: str
    recorded_at: datetime = utc()
    recorded_by: str
    reason: str


class Stay(Entry, table=True):
    __table_args__ = (
        one_of("state", STATES),
        CheckConstraint("state <> 'in service' OR place_id IS NOT NULL", name="in_service_somewhere"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="stay.id", unique=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id", index=True)
    place_id: int | None = Field(default=None, foreign_key="place.id", index=True)
    transformer_id: int | None = Field(default=None, foreign_key="transformer.id")
    state: str = "in service"
    from_on: date | None = None


class Fitting(Entry, table=True):
    __table_args__ = (STRICT,)
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="fitting.id", unique=True)
    drive_id: int = Field(foreign_key="drive.id", index=True)
    tap_changer_id: int | None = Field(default=None, foreign_key="tap_changer.id", index=True)
    slot: str = "1"
    from_on: date | None = None
    counter_then: int | None = None


class Reading(Entry, table=True):
    __table_args__ = (
        CheckConstraint("value >= 0 AND value <= 999999999", name="value_range"),
        at_least("current_a", 0),
        Index("reading_by_counter", "counter_id", "read_on"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="reading.id", unique=True)
    counter_id: int = Field(foreign_key="counter.id")
    read_on: date
    value: int
    current_a: float | None = None
    reader: str = ""
    doubt: str = ""
    remark: str = ""
    read_time: str = ""  # HH:MM, "" = not known


class Event(Entry, table=True):
    __table_args__ = (
        one_of("kind", EVENT_KINDS),
        at_least("old_reading", 0),
        at_least("new_reading", 0),
        Index("event_by_unit", "tap_changer_id", "happened_on"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="event.id", unique=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    slot: str = ""
    happened_on: date
    kind: str
    old_reading: int | None = None
    new_reading: int | None = None
    remark: str = ""


class Sample(Entry, table=True):
    """One oil sample. A gas with its `_below` mark is known only to lie below the value (detection limit)."""

    __table_args__ = (
        one_of("taken_from", TAKEN_FROM),
        Index("sample_by_unit", "tap_changer_id", "sampled_on"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="sample.id", unique=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    compartment: str = ""
    compartment_serial: str = ""
    taken_from: str = "compartment"
    sampled_on: date
    received_on: date | None = None
    reported_on: date | None = None
    laboratory: str = ""
    reference: str = ""
    hydrogen_ul_per_l: float | None = None
    hydrogen_below: bool = False
    methane_ul_per_l: float | None = None
    methane_below: bool = False
    ethane_ul_per_l: float | None = None
    ethane_below: bool = False
    ethylene_ul_per_l: float | None = None
    ethylene_below: bool = False
    acetylene_ul_per_l: float | None = None
    acetylene_below: bool = False
    carbon_monoxide_ul_per_l: float | None = None
    carbon_monoxide_below: bool = False
    carbon_dioxide_ul_per_l: float | None = None
    carbon_dioxide_below: bool = False
    oxygen_ul_per_l: float | None = None
    oxygen_below: bool = False
    nitrogen_ul_per_l: float | None = None
    nitrogen_below: bool = False
    moisture_mg_per_kg: float | None = None
    breakdown_kv: float | None = None
    breakdown_method: str = ""
    breakdown_gap_mm: float | None = None
    oil_temp_c: float | None = None
    remark: str = ""


class Service(Entry, table=True):
    """Work that was done. `resets` names the tasks whose clock starts again, separated by `;`."""

    __table_args__ = (
        one_of("work", WORKS),
        at_least("as_found_counter", 0),
        at_least("as_left_counter", 0),
        at_least("contact_left_mm", 0),
        at_least("condemning_limit_mm", 0),
        Index("service_by_unit", "tap_changer_id", "done_on"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="service.id", unique=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    done_on: date
    work: str = "overhaul"
    resets: str = ""
    serial_seen: str = ""
    as_found_counter: int | None = None
    as_left_counter: int | None = None
    contact_left_mm: float | None = None
    condemning_limit_mm: float | None = None
    done_by: str = ""
    witness: str = ""
    remark: str = Field(default="", sa_type=Text)


class Condition(Entry, table=True):
    """Something about a unit's condition that a person noted and judged; the row that closes it supersedes it."""

    __table_args__ = (
        one_of("kind", tuple(CONDITION_KINDS)),
        CheckConstraint("closed_on IS NULL OR closed_on >= noted_on", name="closed_after_noted"),
        Index("condition_by_unit", "tap_changer_id", "noted_on"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="condition.id", unique=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    noted_on: date
    kind: str
    words: str
    act_by_on: date | None = None
    severe: bool = False
    author: str = ""
    closed_on: date | None = None
    closed_words: str = ""


class Stop(Entry, table=True):
    """Suspected arcing or overheating in a unit. It stands until a named engineer ends it: the row of a release
    supersedes that of the stop. Nothing else does: no undo, withdrawal or later result."""

    __table_args__ = (
        one_of("cause", tuple(STOP_CAUSES)),
        CheckConstraint("words <> ''", name="words_given"),
        CheckConstraint(
            "(work_released_on IS NULL) = (work_from_on IS NULL) AND (work_released_on IS NULL) = (work_engineer = '') "
            "AND (work_released_on IS NULL) = (work_words = '')",
            name="work_release_whole",
        ),
        CheckConstraint(
            "(cleared_on IS NULL) = (cleared_engineer = '') AND (cleared_on IS NULL) = (cleared_words = '')",
            name="clearing_whole",
        ),
        Index("stop_by_unit", "tap_changer_id", "opened_on"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="stop.id", unique=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    opened_on: date
    cause: str
    words: str = Field(sa_type=Text)
    work_released_on: date | None = None
    work_from_on: date | None = None
    work_engineer: str = ""
    work_words: str = ""
    cleared_on: date | None = None
    cleared_engineer: str = ""
    cleared_words: str = ""


class Visit(Entry, table=True):
    """One saving of a visit, whole as it was written; the readings and observations that came of it are rows of
    their own, whose `uid` begins with the visit's id."""

    __table_args__ = (
        CheckConstraint("revision >= 1", name="revision_range"),
        Index("visit_by_id", "visit_id"),
        Index("visit_by_unit", "tap_changer_id", "visited_on"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="visit.id", unique=True)
    visit_id: str
    revision: int = 1
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    visited_on: date
    reader: str = ""
    serial_seen: str = ""
    another_unit: bool = False
    sample_taken: bool = False
    content: str = Field(sa_type=Text)  # JSON, as in tapwear.visits.visit


class Observation(Entry, table=True):
    """One thing noted on a visit besides the counter: a number, or words (positions in the unit's own writing)."""

    __table_args__ = (
        one_of("quantity", tuple(BY_NAME)),
        CheckConstraint("(value IS NULL) <> (words = '')", name="number_or_words"),
        Index("observation_by_unit", "tap_changer_id", "observed_on"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="observation.id", unique=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    observed_on: date
    visit_id: str = ""
    compartment: str = ""
    quantity: str
    value: float | None = None
    words: str = ""


class Followup(Entry, table=True):
    """What is to be followed up: put down by hand, or the closing of what observations show (origin says which)."""

    __table_args__ = (
        one_of("kind", tuple(FOLLOWUP_KINDS)),
        one_of("origin", ("hand", "observation")),
        CheckConstraint("closed_on IS NULL OR closed_words <> ''", name="closed_with_a_reason"),
        Index("followup_by_unit", "tap_changer_id", "noted_on"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="followup.id", unique=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    kind: str
    compartment: str = ""
    place: str = ""  # of a seepage
    noted_on: date
    words: str
    origin: str = "hand"
    closed_on: date | None = None
    closed_words: str = ""


class OilLimit(Entry, table=True):
    """A limit that the user set for units of one oil group, or of one technology, or of one technology in a group."""

    __tablename__ = "oil_limit"
    __table_args__ = (
        one_of("technology", TECHNOLOGIES, blank=True),
        one_of("quantity", LIMIT_QUANTITIES),
        CheckConstraint("group_name <> '' OR technology <> ''", name="of_group_or_technology"),
        at_least("value", 0, above=True),
        at_least("breakdown_gap_mm", 0, above=True),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="oil_limit.id", unique=True)
    group_name: str = ""
    technology: str = ""
    quantity: str
    value: float
    breakdown_method: str = ""
    breakdown_gap_mm: float | None = None
    provenance: str


class RateSetting(Entry, table=True):
    """A hyperparameter of the rate model that this fleet's own readings made likeliest (tapwear.counts.tune)."""

    __tablename__ = "rate_setting"
    __table_args__ = (at_least("value", 0, above=True), at_least("log_se", 0), at_least("intervals", 0), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="rate_setting.id", unique=True)
    name: str
    value: float
    log_se: float
    tuned_on: date
    intervals: int
    gain_percent: float | None = None


class Deferral(Entry, table=True):
    """A task put off past its limit: decided by an engineer, for a reason, until a day, with extra checks."""

    __table_args__ = (
        one_of("task", TASKS),
        CheckConstraint("expires_on > decided_on", name="expires_after_decided"),
        CheckConstraint("engineer <> '' AND reason_given <> '' AND extra_checks <> ''", name="nothing_left_open"),
        Index("deferral_by_unit", "tap_changer_id", "decided_on"),
        STRICT,
    )
    id: int | None = Field(default=None, primary_key=True)
    supersedes_id: int | None = Field(default=None, foreign_key="deferral.id", unique=True)
    tap_changer_id: int = Field(foreign_key="tap_changer.id")
    task: str
    decided_on: date
    expires_on: date
    engineer: str
    reason_given: str  # `reason` is why the row was recorded or corrected, as in every row of the book
    extra_checks: str


# --- kept -------------------------------------------------------------------------------------------------------


class Snapshot(SQLModel, table=True):
    """The dates of the fleet as they were told on a day, to be held later against what happened."""

    __table_args__ = (Index("snapshot_by_day", "as_of"), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    uid: str = Field(unique=True)
    as_of: date
    recorded_at: datetime = utc()
    recorded_by: str
    tapwear_version: str
    payload: bytes  # JSON of tapwear.outlook.track, compressed by zlib


# --- the store's own ------------------------------------------------------------------------------------------


class SchemaStep(SQLModel, table=True):
    __tablename__ = "schema_step"
    __table_args__ = (STRICT,)
    number: int = Field(primary_key=True)
    name: str
    applied_at: datetime = utc()
    tapwear_version: str


class Derived(SQLModel, table=True):
    """Results kept so as not to be computed again; no longer written, and still in every store."""

    __table_args__ = (UniqueConstraint("kind", "content_key"), STRICT)
    id: int | None = Field(default=None, primary_key=True)
    kind: str
    content_key: str
    computed_at: datetime = utc()
    payload: bytes
