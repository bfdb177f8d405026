"""Loads what happened: readings, events, samples, services, conditions, each with its unit; and the user's limits."""

from __future__ import annotations

from functools import lru_cache

import pandas as pd
import sqlalchemy as sa

from tapwear.store.clocks import resets_of, touches_oil
from tapwear.store.frames import Scope, among, typed
from tapwear.store.lean import is_current
from tapwear.store.whereabouts import FittingRow, by_drive, drive_changes
from tapwear.visits.fields import GASES
from tapwear.visits.observations import POSITIONS
from tapwear.visits.positions import Positions, position_number, positions_of
from tapwear.visits.specs import Unfit

_SAME_NUMBER = ["counter_id", "read_on", "value"]
_NOT_OPERATIONS = ("laboratory_changed",)  # events that concern the oil only


def readings_frame(scope: Scope, fittings: list[FittingRow]) -> pd.DataFrame:
    """Current readings, each with the unit and drive that its counter belonged to on that day, in their order.

    A number that several people read on one day stands there once; different numbers all stand there.
    """
    drives = by_drive(fittings)
    counter = scope.table("counter")
    query = sa.select(counter.c.id.label("counter_id"), counter.c.drive_id, counter.c.source, counter.c.digits)
    if scope.ids is not None:
        query = query.where(among(counter.c.drive_id, drives))
    counters = typed(scope.frame(query), texts=["source"], whole=["counter_id", "drive_id", "digits"])
    reading, conditions = scope.current("reading", "read_on")
    if scope.ids is not None:
        conditions.append(among(reading.c.counter_id, counters["counter_id"].tolist()))
    texts = ["reader", "doubt", "remark"]
    # Readings are the one long table: joining here, after a plain scan, takes half the time of a join in SQL.
    frame = scope.frame(
        sa.select(
            reading.c.id.label("reading_id"),
            reading.c.counter_id,
            sa.cast(reading.c.read_on, sa.Text).label("read_on"),
            reading.c.value,
            reading.c.current_a,
            *(reading.c[name] for name in texts),
        ).where(*conditions)
    )
    whole = ["reading_id", "counter_id", "value"]
    frame = typed(frame, dates=["read_on"], floats=["current_a"], texts=texts, whole=whole)
    if frame.duplicated(_SAME_NUMBER).any():
        frame = frame.sort_values(["current_a", "doubt", "reader", "remark", "reading_id"], kind="stable")
        frame = frame.drop_duplicates(_SAME_NUMBER)
    frame = _on_their_units(frame.merge(counters, on="counter_id", how="left"), drives)
    if scope.tags is not None:
        frame = frame[frame["unit"].isin(scope.tags)]
    columns = ["reading_id", "unit", "drive", "source", "read_on", "value", "digits", "current_a", *texts]
    return frame.sort_values(["unit", "drive", "read_on", "reading_id"], kind="stable")[columns].reset_index(drop=True)


def _on_their_units(readings: pd.DataFrame, drives: dict[int, list[FittingRow]]) -> pd.DataFrame:
    """Adds unit and drive: where each reading's drive was fitted on that day.

    Readings before a drive's first fitting go to that one. A drive still counts for its unit on the day on which
    it is taken off; readings of a drive that was on no unit are left out.
    """
    unit = readings["drive_id"].map({drive: own[0].unit for drive, own in drives.items()}).fillna("").astype(object)
    slot = readings["drive_id"].map({drive: own[0].slot for drive, own in drives.items()}).fillna("").astype(object)
    rows_of = readings.groupby("drive_id").indices
    for drive, own in drives.items():
        if len(own) == 1 or drive not in rows_of:
            continue
        rows = rows_of[drive]
        days = readings["read_on"].iloc[rows]
        for one in own[1:]:
            since = pd.Timestamp(one.from_on) if one.from_on is not None else pd.Timestamp.min
            held = rows[(days >= since if one.unit else days > since).to_numpy()]
            unit.iloc[held], slot.iloc[held] = one.unit, one.slot
    found = readings.assign(unit=unit.astype(str), drive=slot.astype(str))
    return found[found["unit"] != ""]


def events_frames(
    scope: Scope, fittings: list[FittingRow], services: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """What happened to the counts and the place, and what happened to the oil."""
    event, conditions = scope.current("event", "happened_on")
    changer = scope.table("tap_changer")
    query = (
        sa.select(
            changer.c.tag.label("unit"),
            event.c.happened_on,
            event.c.kind,
            event.c.slot.label("drive"),
            event.c.old_reading,
            event.c.new_reading,
            event.c.remark,
        )
        .join_from(event, changer, event.c.tap_changer_id == changer.c.id)
        .where(*conditions, *scope.of_units(event.c.tap_changer_id))
    )
    recorded = scope.frame(query)
    changed = pd.DataFrame(
        [
            (one.unit, one.on, "counter_replaced", one.slot, one.old_reading, one.new_reading, "another drive")
            for one in drive_changes(fittings)
            if scope.has(one.unit)
        ],
        columns=recorded.columns,
    )
    parts = [
        typed(
            part,
            dates=["happened_on"],
            floats=["old_reading", "new_reading"],
            texts=["unit", "kind", "drive", "remark"],
        )
        for part in (recorded, changed)
    ]
    both = pd.concat(parts, ignore_index=True).sort_values(["unit", "happened_on", "kind", "drive"], kind="stable")
    oil = both["kind"].isin(_NOT_OPERATIONS)
    work = services[["unit", "done_on"]].assign(
        kind=[touches_oil(*one) for one in zip(services["work"], services["resets"], strict=True)]
    )
    work = typed(work[work["kind"] != ""].rename(columns={"done_on": "happened_on"}), texts=["unit", "kind"])
    columns = ["unit", "happened_on", "kind"]
    oil_parts = [part for part in (both.loc[oil, columns], work) if len(part)] or [work]
    oil_events = pd.concat(oil_parts, ignore_index=True).sort_values(columns, kind="stable")
    return both[~oil].reset_index(drop=True), oil_events.reset_index(drop=True)


def samples_frame(scope: Scope) -> pd.DataFrame:
    """Current oil samples; gases are named as in tapwear.oil.types."""
    sample, conditions = scope.current("sample", "sampled_on")
    changer = scope.table("tap_changer")
    dates = ["sampled_on", "received_on", "reported_on"]
    floats = [f"{gas}_ul_per_l" for gas in GASES]
    floats += ["moisture_mg_per_kg", "breakdown_kv", "breakdown_gap_mm", "oil_temp_c"]
    texts = ["compartment", "compartment_serial", "taken_from", "laboratory", "reference", "breakdown_method", "remark"]
    marks = [f"{gas}_below" for gas in GASES]
    query = (
        sa.select(
            sample.c.id.label("sample_id"),
            changer.c.tag.label("unit"),
            *(sa.cast(sample.c[name], sa.Text).label(name) for name in dates),
            *(sample.c[name] for name in (*texts, *floats, *marks)),
        )
        .join_from(sample, changer, sample.c.tap_changer_id == changer.c.id)
        .where(*conditions, *scope.of_units(sample.c.tap_changer_id))
        .order_by(changer.c.tag, sample.c.sampled_on, sample.c.id)
    )
    frame = typed(scope.frame(query), dates=dates, floats=floats, texts=["unit", *texts], whole=["sample_id"])
    frame = frame.assign(**{name: frame[name].astype(bool) for name in marks})
    return frame.rename(columns={f"{gas}_ul_per_l": gas for gas in GASES})


def services_frame(scope: Scope) -> pd.DataFrame:
    """Current services, with the tasks whose clock each starts again."""
    service, conditions = scope.current("service", "done_on")
    changer = scope.table("tap_changer")
    floats = ["as_found_counter", "as_left_counter", "contact_left_mm", "condemning_limit_mm"]
    texts = ["work", "serial_seen", "done_by", "remark"]
    query = (
        sa.select(
            service.c.id.label("service_id"),
            changer.c.tag.label("unit"),
            service.c.done_on,
            service.c.work,
            service.c.resets,
            service.c.serial_seen,
            *(service.c[name] for name in floats),
            service.c.done_by,
            service.c.remark,
        )
        .join_from(service, changer, service.c.tap_changer_id == changer.c.id)
        .where(*conditions, *scope.of_units(service.c.tap_changer_id))
        .order_by(changer.c.tag, service.c.done_on, service.c.id)
    )
    frame = scope.frame(query)
    tasks = [resets_of(*one) for one in zip(frame["resets"], frame["work"], strict=True)]
    frame["resets"] = pd.Series(tasks, index=frame.index, dtype=object)
    return typed(frame, dates=["done_on"], floats=floats, texts=["unit", *texts], whole=["service_id"])


def conditions_frame(scope: Scope) -> pd.DataFrame:
    """What people noted about the units; a condition closed after the load's day is open."""
    condition, conditions = scope.current("condition", "noted_on")
    changer = scope.table("tap_changer")
    dates, texts = ["noted_on", "act_by_on", "closed_on"], ["kind", "words", "author", "closed_words"]
    query = (
        sa.select(
            changer.c.tag.label("unit"),
            *(sa.cast(condition.c[name], sa.Text).label(name) for name in dates),
            *(condition.c[name] for name in (*texts, "severe")),
        )
        .join_from(condition, changer, condition.c.tap_changer_id == changer.c.id)
        .where(*conditions, *scope.of_units(condition.c.tap_changer_id))
        .order_by(changer.c.tag, condition.c.noted_on, condition.c.id)
    )
    frame = typed(scope.frame(query), dates=dates, texts=["unit", *texts])
    if scope.as_of is not None:
        known = frame["closed_on"] <= pd.Timestamp(scope.as_of)
        frame["closed_on"] = frame["closed_on"].where(known)
        frame["closed_words"] = frame["closed_words"].where(known, "")
    return frame.assign(severe=frame["severe"].astype(bool))


def observations_frame(scope: Scope) -> pd.DataFrame:
    """What was noted on visits; a position's value is its number in the order of the unit's positions."""
    observation, conditions = scope.current("observation", "observed_on")
    changer = scope.table("tap_changer")
    texts = ["visit_id", "compartment", "quantity", "words"]
    query = (
        sa.select(
            observation.c.id.label("observation_id"),
            changer.c.tag.label("unit"),
            observation.c.observed_on,
            *(observation.c[name] for name in (*texts, "value")),
            changer.c.positions,
        )
        .join_from(observation, changer, observation.c.tap_changer_id == changer.c.id)
        .where(*conditions, *scope.of_units(observation.c.tap_changer_id))
        .order_by(changer.c.tag, observation.c.observed_on, observation.c.visit_id, observation.c.id)
    )
    frame = scope.frame(query)
    frame = typed(frame, dates=["observed_on"], floats=["value"], texts=["unit", *texts], whole=["observation_id"])
    rows = frame.index[frame["quantity"].isin(POSITIONS)]
    read = [_position(*one) for one in zip(frame.loc[rows, "words"], frame.loc[rows, "positions"], strict=True)]
    frame = frame.assign(middle_low=float("nan"), middle_high=float("nan"))
    if read:
        frame.loc[rows, ["value", "middle_low", "middle_high"]] = read
    return frame.drop(columns="positions")


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
    followup, conditions = scope.current("followup", "noted_on")
    changer = scope.table("tap_changer")
    dates = ["noted_on", "closed_on"]
    texts = ["kind", "compartment", "place", "words", "origin", "closed_words", "recorded_by"]
    query = (
        sa.select(
            changer.c.tag.label("unit"),
            *(sa.cast(followup.c[name], sa.Text).label(name) for name in dates),
            *(followup.c[name] for name in texts),
        )
        .join_from(followup, changer, followup.c.tap_changer_id == changer.c.id)
        .where(*conditions, *scope.of_units(followup.c.tap_changer_id))
        .order_by(changer.c.tag, followup.c.noted_on, followup.c.id)
    )
    frame = typed(scope.frame(query), dates=dates, texts=["unit", *texts]).rename(columns={"recorded_by": "by"})
    if scope.as_of is not None:
        known = frame["closed_on"] <= pd.Timestamp(scope.as_of)
        frame["closed_on"] = frame["closed_on"].where(known)
    return frame


def deferrals_frame(scope: Scope) -> pd.DataFrame:
    """Tasks put off past their limit, decided by the load's day."""
    deferral, conditions = scope.current("deferral", "decided_on")
    changer = scope.table("tap_changer")
    dates, texts = ["decided_on", "expires_on"], ["task", "engineer", "extra_checks"]
    query = (
        sa.select(
            changer.c.tag.label("unit"),
            *(sa.cast(deferral.c[name], sa.Text).label(name) for name in dates),
            *(deferral.c[name] for name in texts),
            deferral.c.reason_given.label("reason"),
        )
        .join_from(deferral, changer, deferral.c.tap_changer_id == changer.c.id)
        .where(*conditions, *scope.of_units(deferral.c.tap_changer_id))
        .order_by(changer.c.tag, deferral.c.decided_on, deferral.c.id)
    )
    return typed(scope.frame(query), dates=dates, texts=["unit", *texts, "reason"])


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
