"""What is to be followed up after visits until somebody closes it: what observations show, and what people put down.

Follow-ups from observations are worked out anew each time from all observations, so that the order in which visits
came in does not matter and a fault seen again is still one. Each ends with a recorded closing; only an observation of a
later day opens it again. That a later visit found all well is said, and closes nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING, Literal

from tapwear.outlook.noticed import Noticed, as_day
from tapwear.words import FOLLOWUP_KINDS

if TYPE_CHECKING:
    import pandas as pd

Origin = Literal["hand", "observation"]

# What is seen -> what is to be followed up: quantity -> (the kind, the words that are a fault).
FAULTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "oil_level": ("oil_level", ("low", "high")),
    "breather": ("breather", ("to be renewed", "blocked")),
    "heater": ("heater", ("faulty",)),
    "noise": ("noise", ("unusual",)),
    "coating": ("coating", ("damaged",)),
    "counter_state": ("counter_state", ("unreadable", "standing still")),
    "drive_oil": ("drive_oil", ("low", "leaking")),
    "drive_gear": ("drive_gear", ("worn", "broken")),
    "end_stops": ("end_stops", ("faulty",)),
    "crank_interlock": ("crank_interlock", ("faulty",)),
    "relay_window": ("relay_window", ("gas seen",)),
}
NO_SEEPAGE = "none"
# A gas cylinder falls faster than before when it loses this many times what it usually did in a day, over at least so
# many falls before, and by more than temperature explains: a swing of 15 K is 5 % of the pressure of a closed bottle
# (ideal gas at 293 K). The figures are our choice.
FASTER, FALLS_BEFORE, SWING_SHARE = 1.5, 2, 0.05


@dataclass(frozen=True)
class Kept:
    """One row of the book: a follow-up put down by hand, or the closing of one that observations show."""

    unit: str
    kind: str
    compartment: str
    place: str
    noted_on: date
    words: str
    origin: Origin
    closed_on: date | None = None
    closed_words: str = ""
    by: str = ""


@dataclass(frozen=True)
class FollowUp:
    """One thing to follow up. closed_on None: open.

    first_on, last_on, times : when it was seen first and last, and how often. well_on : later day on which all was
    well there; None: not seen since. by : who put it down, or closed it
    """

    unit: str
    kind: str
    compartment: str
    place: str
    words: str
    first_on: date
    last_on: date
    times: int
    origin: Origin
    well_on: date | None = None
    closed_on: date | None = None
    closed_words: str = ""
    by: str = ""

    @property
    def sentence(self) -> str:
        """`seepage: drain valve; seen 2 times, 2026-01-23 to 2026-04-14`."""
        kind = FOLLOWUP_KINDS[self.kind]
        said = self.words if kind in self.words else f"{kind}: {self.words}"
        where = f" (compartment {self.compartment})" if self.compartment else ""
        return f"{said}{where}; {self.when}"

    @property
    def when(self) -> str:
        """When it was seen or put down, and what became of it since."""
        if self.origin == "hand":
            said = f"put down {self.first_on}" + (f" by {self.by}" if self.by and not self.closed_on else "")
        elif self.times == 1:
            said = f"seen {self.first_on}"
        else:
            said = f"seen {self.times} times, {self.first_on} to {self.last_on}"
        said += f", found in order on {self.well_on}" if self.well_on else ""
        return said + (f"; closed {self.closed_on} by {self.by}: {self.closed_words}" if self.closed_on else "")


@dataclass(frozen=True)
class _Fault:
    on: date
    words: str
    place: str = ""


_Key = tuple[str, str, str, str]  # unit, kind, compartment, place without regard to capitals


def follow_ups(noticed: Sequence[Noticed], kept: Iterable[Kept], as_of: date) -> tuple[FollowUp, ...]:
    """All follow-ups known by as_of, open ones first, then by unit, kind and day.

    noticed : observations in order (tapwear.outlook.noticed); kept : the current rows of the book
    """
    rows = [_as_known(row, as_of) for row in kept if row.noted_on <= as_of]
    found = [_by_hand(row) for row in rows if row.origin == "hand"]
    closings: dict[_Key, list[Kept]] = {}
    for row in rows:
        if row.origin == "observation" and row.closed_on is not None:
            closings.setdefault((row.unit, row.kind, row.compartment, folded(row.place)), []).append(row)
    faults, well = _faults([row for row in noticed if row.observed_on <= as_of])
    for key, seen in faults.items():
        found += _episodes(key, seen, well.get(key, []), closings.get(key, []))
    return tuple(
        sorted(found, key=lambda one: (one.closed_on is not None, one.unit, one.kind, one.first_on, one.place))
    )


def open_ones(found: Iterable[FollowUp]) -> tuple[FollowUp, ...]:
    """Those that are not closed, in their order."""
    return tuple(one for one in found if one.closed_on is None)


def kept_of(followups: pd.DataFrame) -> tuple[Kept, ...]:
    """The rows of the book's frame."""
    rows = []
    for row in followups.itertuples(index=False):
        noted = as_day(row.noted_on) or date.min
        closed = as_day(row.closed_on)
        origin: Origin = "observation" if row.origin == "observation" else "hand"
        key = (str(row.unit), str(row.kind), str(row.compartment), str(row.place))
        rows.append(Kept(*key, noted, str(row.words), origin, closed, str(row.closed_words), str(row.by)))
    return tuple(rows)


def folded(place: str) -> str:
    """A place without regard to capitals and blanks."""
    return " ".join(place.casefold().split())


_AMOUNT = re.compile(r"(?:about|approx\.?|ca\.?|circa|some|~|<|>)?\s*[0-9]+(?!st|nd|rd|th|[0-9])", re.IGNORECASE)


def seepage_places(words: str) -> list[tuple[str, str]]:
    """The places that a note of seepage names, set apart by semicolons or commas, and what is said of each.

    What begins with a figure says how much oil comes at the place before it: `drain valve, 2 drops/min` is one place.
    """
    found: list[tuple[str, str]] = []
    for part in re.split(r";|(?<![0-9]),|,(?![0-9])", words):
        said = " ".join(part.split())
        if found and _AMOUNT.match(said):
            place, before = found.pop()
            found.append((place, f"{before}, {said}"))
        elif said:
            found.append((said, said))
    return found


def _as_known(row: Kept, as_of: date) -> Kept:
    later = row.closed_on is not None and row.closed_on > as_of
    return replace(row, closed_on=None, closed_words="") if later else row


def _by_hand(row: Kept) -> FollowUp:
    key, day = (row.unit, row.kind, row.compartment, row.place), row.noted_on
    return FollowUp(*key, row.words, day, day, 1, "hand", None, row.closed_on, row.closed_words, row.by)


def _faults(noticed: Sequence[Noticed]) -> tuple[dict[_Key, list[_Fault]], dict[_Key, list[date]]]:
    """What is a fault, by what it is about and by day; and on which days it was looked at and well."""
    faults: dict[_Key, list[_Fault]] = {}
    looked: dict[tuple[str, str, str], list[date]] = {}
    degrees = {
        (row.unit, row.observed_on, row.compartment): row.said for row in noticed if row.quantity == "oil_temp_c"
    }
    for row in noticed:
        seen: list[_Fault] = []
        kind = row.quantity
        if kind == "seepage":
            if row.words != NO_SEEPAGE:
                seen = [_Fault(row.observed_on, words, place) for place, words in seepage_places(row.words)]
        elif kind in FAULTS and row.words in FAULTS[kind][1]:
            at = degrees.get((row.unit, row.observed_on, row.compartment), "")
            seen = [_Fault(row.observed_on, _fault_words(row, at))]
        if kind == "seepage" or kind in FAULTS:
            looked.setdefault((row.unit, kind, row.compartment), []).append(row.observed_on)
        for fault in seen:
            faults.setdefault((row.unit, kind, row.compartment, folded(fault.place)), []).append(fault)
    for key, some in _falling_bottles(noticed).items():
        faults[key] = some
    well = {}
    for key, some in faults.items():
        bad = {fault.on for fault in some}
        well[key] = [day for day in looked.get(key[:3], []) if day not in bad]
    return faults, well


def _fault_words(row: Noticed, degrees: str) -> str:
    if row.quantity == "oil_level":
        return f"oil level {row.words}" + (f" at {degrees}" if degrees else ", oil temperature not noted")
    return {"noise": "unusual noise", "coating": "coating damaged"}.get(row.quantity, row.sentence)


def _falling_bottles(noticed: Sequence[Noticed]) -> dict[_Key, list[_Fault]]:
    """Days on which a blanket's gas cylinder had fallen faster than it used to: the gas space is not tight."""
    series: dict[tuple[str, str], list[Noticed]] = {}
    for row in noticed:
        if row.quantity == "gas_bottle_kpa" and row.value is not None:
            series.setdefault((row.unit, row.compartment), []).append(row)
    found: dict[_Key, list[_Fault]] = {}
    for (unit, compartment), rows in series.items():
        before: list[float] = []  # kPa a day of each fall so far; a bottle that rose was changed or filled
        for one, other in pairwise(rows):
            days = (other.observed_on - one.observed_on).days
            fall = (one.value or 0.0) - (other.value or 0.0)
            if days <= 0 or fall < 0:
                continue
            usual = median(before) if len(before) >= FALLS_BEFORE else None
            beyond = usual is not None and fall - usual * days > SWING_SHARE * (one.value or 0.0)
            if usual is not None and beyond and fall / days > FASTER * usual:
                words = (
                    f"gas blanket uses more: the bottle fell {fall:,.0f} kPa in {days} days, {fall / days:.1f} kPa a "
                    f"day, before that {usual:.1f}; the gas space may not be tight"
                )
                found.setdefault((unit, "gas_blanket", compartment, ""), []).append(_Fault(other.observed_on, words))
            before.append(fall / days)
    return found


def _episodes(
    key: _Key, faults: Sequence[_Fault], well: Sequence[date], closings: Sequence[Kept]
) -> list[FollowUp]:
    """What was seen up to each closing is one follow-up, and what was seen since the last closing is the open one."""
    ends = sorted(closings, key=lambda row: (row.closed_on or date.max, row.by, row.closed_words))
    found = []
    rest = list(faults)
    for end in [*ends, None]:
        closed = end.closed_on if end else None
        mine = [fault for fault in rest if closed is None or fault.on <= closed]
        rest = [fault for fault in rest if fault not in mine]
        if not mine:
            continue
        last = mine[-1]
        after = [day for day in well if day > last.on and (closed is None or day <= closed)]
        found.append(
            FollowUp(
                *key[:3],
                place=last.place,
                words=last.words,
                first_on=mine[0].on,
                last_on=last.on,
                times=len({fault.on for fault in mine}),
                origin="observation",
                well_on=max(after, default=None),
                closed_on=closed,
                closed_words=end.closed_words if end else "",
                by=end.by if end else "",
            )
        )
    return found
