"""What a round sheet asks about a unit: where it stands, and which of its counters are read. Light, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.find import UnitKey
from tapwear.store.history import CounterPast, counter_past
from tapwear.store.lean import lean
from tapwear.store.observations import Seen, list_observations, positions_known
from tapwear.store.places import drives_of
from tapwear.visits.positions import all_positions

READ_BY_EYE = ("mechanical", "raise", "lower", "controller")  # sources in the order in which they are asked for


@dataclass(frozen=True)
class RoundUnit:
    """A unit in service at a station: the past of each of its counters, and its positions as they are written.

    last : the newest observation of each quantity. normal_levels : at which oil temperatures its level was normal,
        and when [°C, day]
    """

    tag: str
    counters: tuple[CounterPast, ...]
    positions: tuple[str, ...]
    last: Mapping[str, Seen]
    normal_levels: tuple[tuple[float, date], ...]


def round_units(connection: Connection, keys: list[UnitKey], on: date) -> list[RoundUnit]:
    """What there is to read at each unit on that day; of a drive that has no counter yet, its mechanical one."""
    counter = lean("counter", "drive_id", "source")
    found = []
    for key in keys:
        read = []
        for slot, drive in sorted(drives_of(connection, key.id, on).items()):
            rows = connection.execute(sa.select(counter.c.source).where(counter.c.drive_id == drive)).scalars()
            sources = set(rows)
            mine = [source for source in READ_BY_EYE if source in sources]
            read += [counter_past(connection, key, slot, source, on) for source in mine or READ_BY_EYE[:1]]
        seen = [one for one in list_observations(connection, key) if one.observed_on <= on]
        positions = all_positions(positions_known(connection, key))
        last = {one.quantity: one for one in seen}
        found.append(RoundUnit(key.tag, tuple(read), positions, last, _normal_levels(seen)))
    return found


def _normal_levels(seen: list[Seen]) -> tuple[tuple[float, date], ...]:
    degrees = {
        (one.observed_on, one.compartment): one.value
        for one in seen
        if one.quantity == "oil_temp_c" and one.value is not None
    }
    normal = [one for one in seen if one.quantity == "oil_level" and one.words == "normal"]
    pairs = [(degrees.get((one.observed_on, one.compartment)), one.observed_on) for one in normal]
    return tuple((value, on) for value, on in pairs if value is not None)
