"""The book: everything that is current in the store, as the frames that counts, oil, outlook and plan take."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


CONDITION_DATES = ("noted_on", "act_by_on", "closed_on")
CONDITION_COLUMNS = ("unit", *CONDITION_DATES, "kind", "words", "author", "closed_words", "severe")
STOP_DATES = ("opened_on", "work_released_on", "work_from_on", "cleared_on")
STOP_COLUMNS = (
    *("unit", *STOP_DATES, "cause", "words", "work_engineer", "work_words", "cleared_engineer", "cleared_words"),
)
LIMIT_COLUMNS = ("oil_group", "technology", "quantity", "breakdown_method", "value", "breakdown_gap_mm", "source")

DEFERRAL_DATES = ("decided_on", "expires_on")
DEFERRAL_COLUMNS = ("unit", "task", *DEFERRAL_DATES, "engineer", "reason", "extra_checks")
RATE_SETTING_COLUMNS = ("name", "value", "log_se", "tuned_on", "intervals", "gain_percent", "by")
VISIT_RULE_COLUMNS = ("unit", "read_every_days", "sample_every_days", "still_after_days")
OBSERVATION_COLUMNS = (
    *("observation_id", "unit", "observed_on", "visit_id", "compartment", "quantity", "words", "value"),
    *("middle_low", "middle_high"),
)
FOLLOWUP_DATES = ("noted_on", "closed_on")
FOLLOWUP_COLUMNS = ("unit", *FOLLOWUP_DATES, "kind", "compartment", "place", "words", "origin", "closed_words", "by")


def _nothing(columns: tuple[str, ...], dates: tuple[str, ...]) -> pd.DataFrame:
    """A frame of these columns without a row."""
    import pandas as pd

    return pd.DataFrame({name: pd.Series(dtype="datetime64[us]" if name in dates else object) for name in columns})


@dataclass(frozen=True)
class Book:
    """Frames of the current rows (superseded and withdrawn ones left out); text columns are never NaN.

    units            unit, home [station where the register first had it; may be left out], station,
                     station_name, region, neighbourhood, bank, phase, place, state, serial, transformer_serial,
                     technology, breathing, peer_group, oil_group, oil_volume_l,
                     main_tank_volume_l, conservator, rated_current_a, step_voltage_v, commissioned_on, scheme,
                     visit_cadence, positions, sampling_needs_outage, digits, only_drive [name; "" with several
                     drives; may be left out]
    rules            unit, task, interval_operations, interval_years, duration_days, crew_hours, kit,
                     lead_time_weeks, provenance, current_exponent [0 = plain count] (a unit's own rule goes
                     before its scheme's)
    readings, events, stays   as in tapwear.counts.types; readings also with current_a, the mean through-current
                     since the reading before [A, NaN where not known], reader, doubt, remark
    samples, oil_events       as in tapwear.oil.types, without the operations columns
    services         service_id, unit, done_on, work, resets [tuple of tasks], serial_seen, as_found_counter,
                     as_left_counter, contact_left_mm, condemning_limit_mm, done_by, remark
    closures         station, from_on, to_on, why
    transfer_groups  group, station, unit
    crews            region, week, hours

    conditions       unit, noted_on, kind, words, act_by_on [NaT: no date], severe, author, closed_on [NaT: open],
                     closed_words
    stops            unit, opened_on, cause, words, work_released_on, work_from_on, work_engineer, work_words,
                     cleared_on, cleared_engineer, cleared_words [NaT and "": not released, not cleared]
    limits           oil_group, technology ["" = any], quantity [gases as in tapwear.oil.types], value,
                     breakdown_method, breakdown_gap_mm, source
    deferrals        unit, task, decided_on, expires_on, engineer, reason, extra_checks
    observations     observation_id, unit, observed_on, visit_id, compartment, quantity [as in
                     tapwear.visits.observations], value [number; of positions their order; else NaN], words,
                     middle_low, middle_high [of positions: where the change-over selector moves; NaN: not known]
    followups        unit, kind, compartment, place, noted_on, words, origin [hand or observation], closed_on [NaT:
                     open], closed_words, by
    visit_rules      unit, read_every_days, sample_every_days, still_after_days [days; NaN: not said]; only of units
                     that have a rule, of their own or of their scheme
    rate_settings    name [field of RateSettings], value, log_se, tuned_on, intervals, gain_percent, by; none: the
                     shipped ones hold

    A book put together by hand may leave out current_exponent and current_a: every operation then counts as one.
    """

    units: pd.DataFrame
    rules: pd.DataFrame
    readings: pd.DataFrame
    events: pd.DataFrame
    stays: pd.DataFrame
    samples: pd.DataFrame
    oil_events: pd.DataFrame
    services: pd.DataFrame
    closures: pd.DataFrame
    transfer_groups: pd.DataFrame
    crews: pd.DataFrame
    conditions: pd.DataFrame = field(default_factory=lambda: _nothing(CONDITION_COLUMNS, CONDITION_DATES))
    stops: pd.DataFrame = field(default_factory=lambda: _nothing(STOP_COLUMNS, STOP_DATES))
    limits: pd.DataFrame = field(default_factory=lambda: _nothing(LIMIT_COLUMNS, ()))
    deferrals: pd.DataFrame = field(default_factory=lambda: _nothing(DEFERRAL_COLUMNS, DEFERRAL_DATES))
    observations: pd.DataFrame = field(default_factory=lambda: _nothing(OBSERVATION_COLUMNS, ("observed_on",)))
    followups: pd.DataFrame = field(default_factory=lambda: _nothing(FOLLOWUP_COLUMNS, FOLLOWUP_DATES))
    visit_rules: pd.DataFrame = field(default_factory=lambda: _nothing(VISIT_RULE_COLUMNS, ()))
    rate_settings: pd.DataFrame = field(default_factory=lambda: _nothing(RATE_SETTING_COLUMNS, ("tuned_on",)))


@dataclass(frozen=True)
class Sites:
    """The frames of a Book that tell where the units stand and when their stations can spare them."""

    units: pd.DataFrame
    closures: pd.DataFrame
    transfer_groups: pd.DataFrame
    crews: pd.DataFrame
