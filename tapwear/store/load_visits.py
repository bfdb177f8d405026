"""Loads what happened: readings, events, samples, services, conditions, each with its unit; and the user's limits."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import lru_cache

import numpy as np
import pandas as pd
import sqlalchemy as sa
from numpy.typing import NDArray

from tapwear.store.book import (
    CONDITION_COLUMNS,
    CONDITION_DATES,
    DEFERRAL_DATES,
    FOLLOWUP_COLUMNS,
    FOLLOWUP_DATES,
    OBSERVATION_COLUMNS,
    RATE_SETTING_COLUMNS,
    STOP_COLUMNS,
    STOP_DATES,
)
from tapwear.store.clocks import resets_of, touches_oil
from tapwear.store.frames import Scope, among, in_order, row_of, taken, text_array, typed
from tapwear.store.lean import is_current
from tapwear.store.whereabouts import CounterRow, FittingRow, drive_changes, first_days
from tapwear.visits.fields import GASES
from tapwear.visits.observations import POSITIONS
from tapwear.visits.positions import Positions, position_number, positions_of
from tapwear.visits.specs import Unfit

_DAY_0 = np.datetime64("0000-12-31")  # day 0 of date.toordinal
_DAYS = date.max.toordinal() + 2  # more than there are days
_NOT_OPERATIONS = ("laboratory_changed",)  # events that concern the oil only


def readings_frame(scope: Scope, drives: dict[int, list[FittingRow]], counters: list[CounterRow]) -> pd.DataFrame:
    """Current readings, each with the unit and drive that its counter belonged to on that day, in their order.

    A number that several people read on one day stands there once; different numbers all stand there. Readings of a
    drive that was on no unit are left out.
    """
    numbers = [one.id for one in counters]
    texts, rare = ("reader",), ("doubt", "remark")
    frame = scope.columns(
        *("reading", "read_on"),
        [] if scope.ids is None else [among(scope.table("reading").c.counter_id, numbers)],
        whole=("id", "counter_id", "value"),
        floats=("current_a",),
        dates=("read_on",),
        texts=texts,
        rare=rare,
    )
    frame = _each_number_once(frame)
    counter = row_of(frame["counter_id"], pd.Index(numbers, dtype="int64"))
    if (counter < 0).any():
        frame, counter = frame[counter >= 0], counter[counter >= 0]
    fittings = [one for own in drives.values() for one in own]
    unit = row_of([one.unit for one in fittings], pd.Index(scope.units))
    slot, slots = pd.factorize(np.array([one.slot for one in fittings], dtype=object), sort=True)
    fitting = _fittings_then(frame["read_on"].to_numpy(), counter, drives, counters)
    rows = in_order(unit[fitting], slot[fitting], frame["read_on"].to_numpy(), frame["id"].to_numpy())
    rows = rows[unit[fitting[rows]] >= 0]
    frame, fitting, counter = taken(frame, rows), fitting[rows], counter[rows]
    made = {
        "reading_id": frame["id"].array,
        "unit": scope.units.array.take(unit[fitting]),
        "drive": text_array(slots).take(slot[fitting]),
        "source": text_array([one.source for one in counters]).take(counter),
        "read_on": frame["read_on"].array,
        "value": frame["value"].array,
        "digits": np.array([one.digits for one in counters], dtype="int64")[counter],
    }
    made |= {name: frame[name].array for name in ("current_a", *texts, *rare)}
    return pd.DataFrame(made, copy=False)


def _each_number_once(frame: pd.DataFrame) -> pd.DataFrame:
    """The readings without those that say again what another says; only days with several are looked at in full."""
    counter, day = frame["counter_id"].to_numpy(), frame["read_on"].to_numpy()
    order = in_order(counter, day)
    before, after = order[:-1], order[1:]
    again = np.flatnonzero((counter[before] == counter[after]) & (day[before] == day[after]))
    if not len(again):
        return frame
    several = frame.iloc[np.union1d(before[again], after[again])]
    several = several.sort_values(["current_a", "doubt", "reader", "remark", "id"], kind="stable")
    return frame.drop(index=several.index[several.duplicated(["counter_id", "read_on", "value"])])


def _fittings_then(
    days: NDArray[np.datetime64],
    counter: NDArray[np.intp],
    drives: dict[int, list[FittingRow]],
    counters: list[CounterRow],
) -> NDArray[np.intp]:
    """Which of all fittings, drive by drive, each reading's drive was held by on its day; `counter` is its row."""
    first = np.cumsum([0, *(len(own) for own in drives.values())])
    row = {drive: number for number, drive in enumerate(drives)}
    drive = np.array([row[one.drive_id] for one in counters], dtype=np.intp)[counter]
    found = first[drive]
    moved = np.flatnonzero(first[drive + 1] - found > 1)
    if len(moved):
        since = np.array([day for own in drives.values() for day in first_days(own)], dtype=np.int64)
        of_drive = np.repeat(np.arange(len(drives)), np.diff(first)) * _DAYS
        on = drive[moved] * _DAYS + (days[moved].astype("datetime64[D]") - _DAY_0).astype(np.int64)
        found[moved] = np.searchsorted(of_drive + since, on, side="right") - 1
    return found


def events_frames(
    scope: Scope, fittings: list[FittingRow], services: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What happened to the counts and the place, and what happened to the oil."""
    counts, texts = ["old_reading", "new_reading"], ["kind", "slot", "remark"]
    recorded = scope.entries("event", "happened_on", dates=["happened_on"], floats=counts, texts=texts)
    names = ["unit", "happened_on", "kind", "drive", *counts, "remark"]
    tags = set(scope.units.tolist())
    changed = pd.DataFrame(
        [
            (one.unit, one.on, "counter_replaced", one.slot, one.old_reading, one.new_reading, "another drive")
            for one in drive_changes(fittings)
            if one.unit in tags
        ],
        columns=names,
    )
    changed = typed(changed, dates=["happened_on"], floats=counts, texts=["unit", "kind", "drive", "remark"])
    both = pd.concat([recorded.rename(columns={"slot": "drive"})[names], changed], ignore_index=True)
    both = both.sort_values(["unit", "happened_on", "kind", "drive"], kind="stable")
    oil = both["kind"].isin(_NOT_OPERATIONS)
    work = services[["unit", "done_on"]].assign(
        kind=[touches_oil(*one) for one in zip(services["work"].tolist(), services["resets"], strict=True)]
    )
    work = typed(work[work["kind"] != ""].rename(columns={"done_on": "happened_on"}), texts=["unit", "kind"])
    columns = ["unit", "happened_on", "kind"]
    oil_parts = [part for part in (both.loc[oil, columns], work) if len(part)] or [work]
    oil_events = pd.concat(oil_parts, ignore_index=True).sort_values(columns, kind="stable")
    return both[~oil].reset_index(drop=True), oil_events.reset_index(drop=True)


def samples_frame(scope: Scope) -> pd.DataFrame:
    """Current oil samples; gases are named as in tapwear.oil.types."""
    dates = ["sampled_on", "received_on", "reported_on"]
    floats = [f"{gas}_ul_per_l" for gas in GASES]
    floats += ["moisture_mg_per_kg", "breakdown_kv", "breakdown_gap_mm", "oil_temp_c"]
    texts = ["compartment", "compartment_serial", "taken_from", "laboratory", "reference", "breakdown_method", "remark"]
    flags = [f"{gas}_below" for gas in GASES]
    frame = scope.entries("sample", "sampled_on", dates=dates, floats=floats, texts=texts, flags=flags)
    frame = frame[["id", "unit", *dates, *texts, *floats, *flags]]
    return frame.rename(columns={"id": "sample_id"} | {f"{gas}_ul_per_l": gas for gas in GASES})


def services_frame(scope: Scope) -> pd.DataFrame:
    """Current services, with the tasks whose clock each starts again."""
    floats = ["as_found_counter", "as_left_counter", "contact_left_mm", "condemning_limit_mm"]
    texts = ["work", "resets", "serial_seen", "done_by", "remark"]
    frame = scope.entries("service", "done_on", dates=["done_on"], floats=floats, texts=texts)
    said = list(zip(frame["resets"].tolist(), frame["work"].tolist(), strict=True))
    tasks = {one: resets_of(*one) for one in set(said)}
    frame["resets"] = pd.Series([tasks[one] for one in said], index=frame.index, dtype=object)
    frame = frame[["id", "unit", "done_on", *texts[:3], *floats, *texts[3:]]]
    return frame.rename(columns={"id": "service_id"})


def conditions_frame(scope: Scope) -> pd.DataFrame:
    """What people noted about the units; a condition closed after the load's day is open."""
    texts = ["kind", "words", "author", "closed_words"]
    frame = scope.entries("condition", "noted_on", dates=CONDITION_DATES, texts=texts, flags=["severe"])
    _not_before(scope, frame, "closed_on", texts=["closed_words"])
    return frame[list(CONDITION_COLUMNS)]


def _not_before(
    scope: Scope, frame: pd.DataFrame, day: str, dates: Sequence[str] = (), texts: Sequence[str] = ()
) -> None:
    """Blanks what became so only after the load's day: the day itself, and what was noted with it."""
    if scope.as_of is not None:
        known = frame[day] <= pd.Timestamp(scope.as_of)
        frame[[day, *dates]] = frame[[day, *dates]].where(known)
        frame[[*texts]] = frame[[*texts]].where(known, "")


def stops_frame(scope: Scope) -> pd.DataFrame:
    """Stops opened by the load's day; a release or a clearing after it is not there yet."""
    texts = ["cause", "words", "work_engineer", "work_words", "cleared_engineer", "cleared_words"]
    frame = scope.entries("stop", "opened_on", dates=STOP_DATES, texts=texts)
    _not_before(scope, frame, "work_released_on", ["work_from_on"], ["work_engineer", "work_words"])
    _not_before(scope, frame, "cleared_on", texts=["cleared_engineer", "cleared_words"])
    return frame[list(STOP_COLUMNS)]


def observations_frame(scope: Scope) -> pd.DataFrame:
    """What was noted on visits; a position's value is its number in the order of the unit's positions."""
    texts = ["visit_id", "compartment", "quantity", "words"]
    frame = scope.entries(
        "observation", "observed_on", order=["visit_id"], dates=["observed_on"], floats=["value"], texts=texts
    )
    frame = frame.rename(columns={"id": "observation_id"}).assign(middle_low=float("nan"), middle_high=float("nan"))
    rows = frame.index[frame["quantity"].isin(POSITIONS)]
    if len(rows):
        changer = scope.table("tap_changer")
        query = sa.select(changer.c.tag, changer.c.positions).where(*scope.of_units(changer.c.id))
        styles = {unit: style for unit, style in scope.rows(query)}
        noted = zip(frame.loc[rows, "words"], frame.loc[rows, "unit"], strict=True)
        read = [_position(words, styles[unit]) for words, unit in noted]
        frame.loc[rows, ["value", "middle_low", "middle_high"]] = read
    return frame[list(OBSERVATION_COLUMNS)]


@lru_cache(maxsize=4096)
def _position(words: str, style: str) -> tuple[float, float, float]:
    """The position's number, and from where to where the change-over selector moves, NaN where that is not known.

    NaN too where the register's positions were changed since, so that this is none of them.
    """
    known = _positions(style)
    middle = known.change_over if known else (0.0, 0.0) if words[-1:] in ("L", "R", "N") else None
    try:
        return position_number(words, known), *(middle or (float("nan"), float("nan")))
    except Unfit:
        return (float("nan"),) * 3


@lru_cache(maxsize=256)
def _positions(style: str) -> Positions | None:
    return positions_of(style)


def followups_frame(scope: Scope) -> pd.DataFrame:
    """What is to be followed up by hand, and closings of what observations show; closed after the load's day: open."""
    texts = ["kind", "compartment", "place", "words", "origin", "closed_words", "recorded_by"]
    frame = scope.entries("followup", "noted_on", dates=FOLLOWUP_DATES, texts=texts)
    _not_before(scope, frame, "closed_on")
    return frame.rename(columns={"recorded_by": "by"})[list(FOLLOWUP_COLUMNS)]


def deferrals_frame(scope: Scope) -> pd.DataFrame:
    """Tasks put off past their limit, decided by the load's day."""
    texts = ["task", "engineer", "extra_checks", "reason_given"]
    frame = scope.entries("deferral", "decided_on", dates=DEFERRAL_DATES, texts=texts)
    return frame[["unit", *DEFERRAL_DATES, *texts]].rename(columns={"reason_given": "reason"})


def limits_frame(scope: Scope) -> pd.DataFrame:
    """The user's limits that hold now, whatever the load's day: like intervals, they are rules, not events."""
    limit = scope.table("oil_limit")
    texts = ["technology", "quantity", "breakdown_method"]
    query = (
        sa.select(
            limit.c.group_name.label("oil_group"),
            *(limit.c[name] for name in (*texts, "value", "breakdown_gap_mm")),
            limit.c.provenance.label("source"),
        )
        .where(is_current(limit))
        .order_by(limit.c.group_name, limit.c.technology, limit.c.quantity, limit.c.breakdown_method)
    )
    frame = typed(scope.frame(query), floats=["value", "breakdown_gap_mm"], texts=["oil_group", "source", *texts])
    return frame.assign(quantity=frame["quantity"].str.removesuffix("_ul_per_l"))


def rate_settings_frame(scope: Scope) -> pd.DataFrame:
    """The rate model's own settings of this fleet that hold now, whatever the load's day."""
    setting = scope.table("rate_setting")
    columns = [setting.c[name] for name in RATE_SETTING_COLUMNS[:-1]]
    query = sa.select(*columns, setting.c.recorded_by.label("by")).where(is_current(setting)).order_by(setting.c.name)
    floats = ["value", "log_se", "gain_percent"]
    return typed(scope.frame(query), dates=["tuned_on"], floats=floats, texts=["name", "by"])
