"""What a round sheet holds: stations, units and their counters, with what to expect; plain values, ready for a page.

The page judges numbers by the limits given here, for the day that is typed, and with nothing else. A unit with a severe
finding has no counters here: its sheet says whom to call.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date
from typing import Any

from tapwear.counts.limits import Beside, Limits


@dataclass(frozen=True)
class Expect:
    """Between which numbers a counter is expected to stand on a day [as on its digits; low > high across zero]."""

    on: date
    low: int
    high: int


@dataclass(frozen=True)
class CounterBox:
    """One counter to read. `name` tells it from others of the unit, "" where there is one.

    limits : what its numbers are judged by. last : the newest reading as (day, number). expected : for the paper, on
        the first and the last day of the sheet, both after the last reading; empty where nothing is known.
        last_doubtful : the last reading looks wrong, so that `expected` does not start from it. exchanged : `last` is
        where a new counter began, not read since
    """

    drive: str
    source: str
    limits: Limits
    name: str = ""
    last: tuple[date, int] | None = None
    expected: tuple[Expect, ...] = ()
    last_doubtful: bool = False
    exchanged: bool = False

    @property
    def digits(self) -> int:
        return self.limits.digits

    def written(self, value: int) -> str:
        """A number as the counter shows it, with its leading zeros."""
        return str(value).zfill(self.digits)

    @property
    def key(self) -> str:
        """Under which name the page keeps its number: the same on every sheet."""
        return f"counter:{self.drive}/{self.source}"

    @property
    def last_words(self) -> str:
        """`last 048213 on 2026-06-03`, with its doubt; "never read" where there is no reading."""
        if self.last is None:
            return "never read"
        on, value = self.last
        if self.exchanged:
            return f"new counter on {on}, began at {self.written(value)}"
        return f"last {self.written(value)} on {on}" + (", which looks wrong" if self.last_doubtful else "")


@dataclass(frozen=True)
class OpenBox:
    """Something open at the unit: a follow-up, or a noted condition (item says which).

    kind, first_on, words, compartment, place, origin : which one, as the book names it. said : as a sentence.
    seen : what to note in the field of that kind where it is still so; "" where no field says it
    engineer : only the responsible engineer closes it
    """

    item: str
    kind: str
    first_on: date
    words: str
    said: str
    compartment: str = ""
    place: str = ""
    origin: str = ""
    seen: str = ""
    engineer: bool = False


@dataclass(frozen=True)
class UnitBox:
    """One unit of the round.

    stop : severe arcing or heating is suspected: nothing is asked for
    positions : as the unit's indicator writes them, in order; empty where the register does not say
    why : what makes the visit due, as sentences' beginnings
    last : what was noted last besides the counters, as (label, words, day)
    normal_levels : oil temperatures at which the level was normal, in the sheet's unit, and when
    """

    unit: str
    serial: str
    place: str
    stop: bool
    counters: tuple[CounterBox, ...] = ()
    positions: tuple[str, ...] = ()
    why: tuple[str, ...] = ()
    sample_needs_outage: bool = False
    vacuum: bool = False
    transformer: str = ""
    last: tuple[tuple[str, str, date], ...] = ()
    normal_levels: tuple[tuple[float, date], ...] = ()
    open: tuple[OpenBox, ...] = ()

    @property
    def last_position(self) -> str:
        return next((words for label, words, _ in self.last if label == "position"), "")


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
    """A whole round: what is asked, where, and how long the expected numbers hold.

    usual_temps, hot, cold, apart, hotter : in the sheet's unit; a low level at `hot` or above and a high one at `cold`
        or below are asked about; a compartment warmer than its tank by `hotter` alarms
    """

    issued: date
    expires: date
    stations: tuple[StationSheet, ...]
    fields: tuple[FieldBox, ...]
    usual_temps: tuple[float, float] = (-40.0, 100.0)
    hot: float = 60.0
    cold: float = 0.0
    apart: float = 30.0
    high_pressure: float = 200.0
    hotter: float = 10.0

    @property
    def units(self) -> tuple[UnitBox, ...]:
        return tuple(unit for station in self.stations for unit in station.units)

    @property
    def key(self) -> str:
        """Tells this round from others, so that a browser keeps their entries apart. The next sheet of the same units
        has the same key: what was typed on an older one and not saved shows up there."""
        names = [unit.unit for unit in self.units]
        return hashlib.sha256(repr(names).encode()).hexdigest()[:16]

    @property
    def title(self) -> str:
        names = [station.station for station in self.stations]
        more = f" and {len(names) - 3} more" if len(names) > 3 else ""
        return f"Round sheet: {', '.join(names[:3])}{more}"


def page_data(sheet: RoundSheet) -> dict[str, Any]:
    """What the page's script needs to know, as JSON has it. Severe units are named and nothing else.

    neighbours : all other counters that any limits name, each once; the limits of a counter say which by number
    """
    neighbours: dict[Beside, int] = {}
    return {
        "key": sheet.key,
        "issued": sheet.issued.isoformat(),
        "expires": sheet.expires.isoformat(),
        "fields": [asdict(field) for field in sheet.fields],
        "usual_temps": sheet.usual_temps,
        "hot": sheet.hot,
        "cold": sheet.cold,
        "apart": sheet.apart,
        "high_pressure": sheet.high_pressure,
        "hotter": sheet.hotter,
        "units": [
            {
                "unit": unit.unit,
                "serial": unit.serial,
                "station": station.station,
                "stop": unit.stop,
                "positions": list(unit.positions),
                "outage": unit.sample_needs_outage,
                "vacuum": unit.vacuum,
                "place": unit.place,
                "transformer": unit.transformer,
                "why": list(unit.why),
                "last": [[label, words, on.isoformat()] for label, words, on in unit.last],
                "normal": [[degrees, on.isoformat()] for degrees, on in unit.normal_levels],
                "open": [{**asdict(one), "first_on": one.first_on.isoformat()} for one in unit.open],
                "counters": [_counter(counter, neighbours) for counter in unit.counters],
            }
            for station in sheet.stations
            for unit in station.units
        ],
        "neighbours": [asdict(one) for one in neighbours],  # after the units, which name them
    }


def _counter(counter: CounterBox, neighbours: dict[Beside, int]) -> dict[str, Any]:
    which = [neighbours.setdefault(one, len(neighbours)) for one in counter.limits.neighbours]
    return {
        "key": counter.key,
        "drive": counter.drive,
        "source": counter.source,
        "digits": counter.digits,
        "name": counter.name,
        "last": counter.last_words,
        "limits": {**replace(counter.limits, neighbours=()).as_plain(), "neighbours": which},
    }


def range_words(counter: CounterBox) -> Sequence[str]:
    """`048200 to 048900 on 2026-07-01`, for each day of which something is known."""
    return [f"{counter.written(one.low)} to {counter.written(one.high)} on {one.on}" for one in counter.expected]
