"""What a round sheet holds: stations, units and their counters, with what to expect; plain values, ready for a page.

The page checks numbers with the ranges given here, and with nothing else. A unit with a severe finding has no
counters here: its sheet says whom to call.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any


@dataclass(frozen=True)
class Expect:
    """Between which numbers a counter is expected to stand on a day [as on its digits; low > high across zero]."""

    on: date
    low: int
    high: int


@dataclass(frozen=True)
class CounterBox:
    """One counter to read. `name` tells it from others of the unit, "" where there is one; `last_on` None: never read.

    expected : on the first and on the last day of the sheet; empty where nothing is known
    """

    drive: str
    source: str
    digits: int
    name: str = ""
    last_value: int | None = None
    last_on: date | None = None
    expected: tuple[Expect, ...] = ()

    def written(self, value: int) -> str:
        """A number as the counter shows it, with its leading zeros."""
        return str(value).zfill(self.digits)


@dataclass(frozen=True)
class UnitBox:
    """One unit of the round.

    stop : severe arcing or heating is suspected: nothing is asked for
    positions : as the unit's indicator writes them, in order; empty where the register does not say
    why : what makes the visit due, as sentences' beginnings
    """

    unit: str
    serial: str
    place: str
    stop: bool
    counters: tuple[CounterBox, ...] = ()
    positions: tuple[str, ...] = ()
    why: tuple[str, ...] = ()
    sample_needs_outage: bool = False
    last_pressure_kpa: float | None = None


@dataclass(frozen=True)
class StationSheet:
    """One station and its units in the order of a walk: by bank and phase."""

    station: str
    name: str
    units: tuple[UnitBox, ...]


@dataclass(frozen=True)
class FieldBox:
    """One thing to note beside the counter.

    kind : "number", "choice" (also yes or no), "position" or "text"; low, high, unit : of a number, in the unit asked
        for; unit_name : under which name a visit file says which unit it is; more : noted where the unit has it
    """

    name: str
    label: str
    kind: str
    choices: tuple[str, ...] = ()
    unit: str = ""
    unit_name: str = ""
    low: float | None = None
    high: float | None = None
    more: bool = False


@dataclass(frozen=True)
class RoundSheet:
    """A whole round: what is asked, where, and how long the expected numbers hold."""

    issued: date
    expires: date
    stations: tuple[StationSheet, ...]
    fields: tuple[FieldBox, ...]

    @property
    def units(self) -> tuple[UnitBox, ...]:
        return tuple(unit for station in self.stations for unit in station.units)

    @property
    def key(self) -> str:
        """Tells this sheet from others, so that a browser keeps their entries apart."""
        names = [unit.unit for unit in self.units]
        return hashlib.sha256(repr((self.issued, self.expires, names)).encode()).hexdigest()[:16]

    @property
    def title(self) -> str:
        names = [station.station for station in self.stations]
        more = f" and {len(names) - 3} more" if len(names) > 3 else ""
        return f"Round sheet: {', '.join(names[:3])}{more}"


def page_data(sheet: RoundSheet) -> dict[str, Any]:
    """What the page's script needs to know, as JSON has it. Severe units are named and nothing else."""
    return {
        "key": sheet.key,
        "issued": sheet.issued.isoformat(),
        "expires": sheet.expires.isoformat(),
        "fields": [asdict(field) for field in sheet.fields],
        "units": [
            {
                "unit": unit.unit,
                "serial": unit.serial,
                "station": station.station,
                "stop": unit.stop,
                "positions": list(unit.positions),
                "outage": unit.sample_needs_outage,
                "vacuum": unit.last_pressure_kpa is not None and unit.last_pressure_kpa < 0,
                "counters": [_counter(counter) for counter in unit.counters],
            }
            for station in sheet.stations
            for unit in station.units
        ],
    }


def _counter(counter: CounterBox) -> dict[str, Any]:
    return {
        "drive": counter.drive,
        "source": counter.source,
        "digits": counter.digits,
        "name": counter.name,
        "last": None if counter.last_value is None else counter.written(counter.last_value),
        "last_on": None if counter.last_on is None else counter.last_on.isoformat(),
        "expected": [[one.on.isoformat(), one.low, one.high] for one in counter.expected],
    }


def range_words(counter: CounterBox) -> Sequence[str]:
    """`048200 to 048900 on 2026-07-01`, for each day of which something is known."""
    return [f"{counter.written(one.low)} to {counter.written(one.high)} on {one.on}" for one in counter.expected]
