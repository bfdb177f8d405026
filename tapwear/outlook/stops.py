"""Stops: what is severe, and which of it still stands as of a day. A pure reading of the book; nothing here ends one.

A stop stands from the day of its evidence until an engineer clears it. Most are rows of the book. One that the oil or
an open condition calls for and that the book does not hold yet is derived, unless an engineer cleared the unit on that
day or later.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

from tapwear.oil.types import OilFinding, OilVerdict
from tapwear.outlook.conditions import Noted
from tapwear.outlook.noticed import Noticed, as_day
from tapwear.outlook.signs import STAYS, Alarm, severe_signs
from tapwear.words import condition_evidence, stop_short

if TYPE_CHECKING:
    import pandas as pd

KEEP_OFF = "Do not go near the bank."
DEAD = "Do not energise or operate the bank until the responsible engineer has cleared it."
# Kinds of findings not said of a unit that the oil has stopped: its evidence says more, or they speak against it.
UNDER_STOPS = ("severe", "withdrawn", "unrecorded reset", "left aside")


@dataclass(frozen=True)
class Stop:
    """What stands at one unit, all of it together.

    since : day of the first evidence; words : all evidence, sentence by sentence
    work_from, work_by, work_words : where an engineer has released everything that stands for work de-energised
    oil_since : first day of what the oil raised, None: nothing
    contradicted_on : day of a newer sample that does not show what the oil's stop rests on
    """

    unit: str
    since: date
    words: tuple[str, ...]
    work_from: date | None = None
    work_by: str = ""
    work_words: str = ""
    oil_since: date | None = None
    contradicted_on: date | None = None

    @property
    def stands(self) -> bool:
        """Whether nobody may work on it yet."""
        return self.work_from is None

    @property
    def release(self) -> str:
        """`released for work de-energised from 2026-07-02 by K. Arden: ...`; "" where it is not."""
        if self.work_from is None:
            return ""
        return f"released for work de-energised from {self.work_from} by {self.work_by}: {self.work_words}"

    @property
    def short(self) -> str:
        """What stands first in the row of every list: `STOP since 2026-05-26`, or the release for work."""
        return stop_short(self.since, self.work_from is not None)

    @property
    def evidence(self) -> tuple[str, ...]:
        """The evidence, and what contradicts it."""
        if self.contradicted_on is None:
            return self.words
        return (*self.words, contradiction_words(self.contradicted_on))


def contradiction_words(on: date) -> str:
    """What is said of a sample that does not show what a stop rests on."""
    return f"The sample of {on} contradicts it: suspect bottle, label or laboratory; the stop stands."


def verdict_words(verdict: OilVerdict) -> str:
    """What of the oil raises a stop: its first finding, with the sample's day."""
    told = [found.words for found in verdict.findings if found.kind != "severe"]
    return f"Sample of {verdict.last_sample_on}: {told[0] if told else 'severe arcing or heating.'}"


def stops_of(
    stops: pd.DataFrame,
    verdicts: Mapping[str, OilVerdict],
    conditions: Mapping[str, Sequence[Noted]],
    noticed: Sequence[Noticed],
    as_of: date,
) -> dict[str, Stop]:
    """What stands as of a day, by unit.

    stops : frame as in tapwear.store.book; verdicts : as the samples alone have it; conditions : open ones;
    noticed : observations up to as_of
    """
    rows = stops.sort_values(["unit", "opened_on"], kind="stable").itertuples(index=False)
    found, cleared, caused = _in_book(rows, as_of)
    for unit, on, cause, words in _called_for(verdicts, conditions, noticed):
        if (unit, cause) in caused or on <= cleared.get(unit, date.min):
            continue
        one = Stop(unit, on, (words,), oil_since=on if cause == "oil" else None)
        found[unit] = _together(found[unit], one) if unit in found else one
    return {unit: _held_against(stop, verdicts.get(unit)) for unit, stop in found.items()}


def recorded_stops(rows: Iterable[Any], as_of: date) -> dict[str, Stop | None]:
    """What the book alone says of every unit that was ever stopped, as of a day; None: an engineer has cleared it.

    rows : with the columns of the frame `stops`, as attributes, by unit and day
    """
    found, cleared, _ = _in_book(rows, as_of)
    return {**dict.fromkeys(cleared), **found}


def _in_book(rows: Iterable[Any], as_of: date) -> tuple[dict[str, Stop], dict[str, date], set[tuple[str, str]]]:
    """The open stops by unit, the day of each unit's last clearing, and what is open by unit and cause."""
    found: dict[str, Stop] = {}
    cleared: dict[str, date] = {}
    caused: set[tuple[str, str]] = set()
    for row in rows:
        unit, opened, ended = str(row.unit), as_day(row.opened_on), as_day(row.cleared_on)
        if opened is None or opened > as_of:
            continue
        if ended is not None and ended <= as_of:
            cleared[unit] = max(ended, cleared.get(unit, ended))
            continue
        released = as_day(row.work_released_on)
        work = released is not None and released <= as_of
        one = Stop(
            unit,
            opened,
            (str(row.words),),
            as_day(row.work_from_on) if work else None,
            str(row.work_engineer) if work else "",
            str(row.work_words) if work else "",
            opened if row.cause == "oil" else None,
        )
        caused.add((unit, str(row.cause)))
        found[unit] = _together(found[unit], one) if unit in found else one
    return found, cleared, caused


def _called_for(
    verdicts: Mapping[str, OilVerdict], conditions: Mapping[str, Sequence[Noted]], noticed: Sequence[Noticed]
) -> list[tuple[str, date, str, str]]:
    """What is severe whether or not the book has a stop for it: unit, day, cause, words."""
    found = [
        (unit, v.last_sample_on, "oil", verdict_words(v))
        for unit, v in verdicts.items()
        if v.severe and v.last_sample_on is not None
    ]
    found += [
        (unit, one.noted_on, "condition", condition_evidence(one.kind, one.noted_on, one.author, one.words))
        for unit, some in conditions.items()
        for one in some
        if one.severe
    ]
    return found + [(unit, on, "visit", words) for unit, on, words in severe_signs(noticed)]


def _together(one: Stop, other: Stop) -> Stop:
    """Two stops of a unit as one; it is released for work only where both are."""
    both = one.work_from is not None and other.work_from is not None
    last = max((one, other), key=lambda stop: stop.work_from or date.min)
    oil = [day for day in (one.oil_since, other.oil_since) if day is not None]
    return Stop(
        one.unit,
        min(one.since, other.since),
        tuple(dict.fromkeys((*one.words, *other.words))),
        last.work_from if both else None,
        last.work_by if both else "",
        last.work_words if both else "",
        min(oil, default=None),
    )


def _held_against(stop: Stop, verdict: OilVerdict | None) -> Stop:
    """The stop with the day of a newer sample that does not show what the oil raised."""
    if stop.oil_since is None or verdict is None or verdict.last_sample_on is None:
        return stop
    fell = any(one.kind == "unrecorded reset" for one in verdict.findings)
    if verdict.call == "pull forward" and not fell:
        return stop
    return replace(stop, contradicted_on=verdict.last_sample_on) if verdict.last_sample_on > stop.oil_since else stop


def under_stops(verdicts: Mapping[str, OilVerdict], stops: Mapping[str, Stop], as_of: date) -> dict[str, OilVerdict]:
    """What the oil of each unit says under the stops that stand: one that the oil raised calls for opening now,
    whatever a newer sample says; one that was cleared is severe no more. Which of two samples that contradict one
    another is wrong is for the engineer to say, so neither is called left aside, and no trend leaves one out."""
    out = {}
    for unit, verdict in verdicts.items():
        stop = stops.get(unit)
        raised = stop is not None and stop.oil_since is not None
        if not raised:
            out[unit] = replace(verdict, severe=False) if verdict.severe else verdict
            continue
        assert stop is not None  # noqa: S101 - raised says so
        told = [OilFinding("severe", words) for words in stop.evidence]
        kept = [one for one in verdict.findings if one.kind not in UNDER_STOPS]
        out[unit] = replace(
            verdict,
            call="pull forward",
            severe=True,
            open_by_early=as_of,
            open_by_middle=as_of,
            open_by_late=as_of,
            resample_by=None,
            findings=(*told, *kept),
            trend=None if stop.contradicted_on else verdict.trend,
        )
    return out


def bank_alarms(banks: Mapping[str, tuple[str, str]], stops: Mapping[str, Stop]) -> dict[str, Alarm]:
    """Of units in whose bank another one is stopped: they stand side by side and are in service together.

    banks : station and bank of each unit in service that has one; stops : open ones by unit
    """
    at: dict[tuple[str, str], list[Stop]] = {}
    for tag in sorted(set(stops) & set(banks)):
        at.setdefault(banks[tag], []).append(stops[tag])
    found = {}
    for unit, bank in banks.items():
        others = [stop for stop in at.get(bank, ()) if stop.unit != unit]
        standing = [stop.unit for stop in others if stop.stands]
        if standing:
            found[unit] = Alarm(f"Stopped in the same bank: {', '.join(standing)}", f"{KEEP_OFF} {STAYS}", True)
        elif others:
            tags = ", ".join(stop.unit for stop in others)
            found[unit] = Alarm(f"Released for work de-energised only, in the same bank: {tags}", DEAD, True)
    return found
