"""One visit to one unit, as a person wrote it: the record that the guided entry, the round sheet and visit files share.

A visit has an identity of its own, made where it was written. Handing it in again therefore adds nothing, and a
later saving of the same visit (a higher `revision`) takes the place of the earlier one.
"""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from typing import Any

from tapwear.words import NEGATIVE_PRESSURE

VISIT_ID = re.compile(r"[0-9a-f]{32}")
TIME_OF_DAY = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")
COUNTER_STATES = ("unreadable", "standing still")
ANSWERS = ("still so", "closed", "worse")


@dataclass(frozen=True)
class CounterSeen:
    """What one counter showed.

    drive : which drive, "" for the only one. source : which counter (COUNTER_SOURCES in tapwear.visits.fields)
    doubt : why the number was questioned when it was written, and what the person said to that; "" if it was not
    """

    value: int
    drive: str = ""
    source: str = "mechanical"
    doubt: str = ""


@dataclass(frozen=True)
class CounterFault:
    """A counter that gave no number to rely on: `state` is one of COUNTER_STATES."""

    state: str
    drive: str = ""
    source: str = "mechanical"


@dataclass(frozen=True)
class Answer:
    """What the visit says of something that was open at the unit.

    item : "follow-up" or "condition"; kind, first_on, words, and for a follow-up compartment, place and origin name
        which one, as in tapwear.outlook.followups. answer : one of ANSWERS. how : what the person said to it
    """

    item: str
    kind: str
    first_on: date
    words: str
    answer: str
    how: str = ""
    compartment: str = ""
    place: str = ""
    origin: str = ""


@dataclass(frozen=True)
class Visit:
    """What one person found at one unit on one day.

    id : 32 hexadecimal digits, made once where the visit was written (`new_visit_id`)
    revision : 1 for the first saving; of several savings of one visit the highest counts
    unit : its tag; "" where only the serial number was seen, of a unit that was not on the sheet
    at : time of day, HH:MM; "" where not noted. station : where an unlisted unit was found
    another_unit : the person read `serial_seen` twice: not the unit of this tag stands here. Its counters and
        observations are then not this unit's
    photos : names or numbers of pictures
    de_energised : the unit was isolated and earthed when the sample was taken
    observations : by quantity, as in tapwear.visits.observations, numbers in the unit that we keep
    """

    id: str
    unit: str
    visited_on: date
    by: str = ""
    serial_seen: str = ""
    another_unit: bool = False
    counters: tuple[CounterSeen, ...] = ()
    observations: Mapping[str, float | str | bool] = field(default_factory=dict)
    sample_taken: bool = False
    de_energised: bool = False
    remark: str = ""
    revision: int = 1
    at: str = ""
    station: str = ""
    transformer_seen: str = ""
    counter_faults: tuple[CounterFault, ...] = ()
    answers: tuple[Answer, ...] = ()
    photos: tuple[str, ...] = ()

    @property
    def empty(self) -> bool:
        """True when nothing was found or said."""
        seen = self.counters or self.counter_faults or self.observations
        said = self.remark or self.answers or self.photos
        return not (seen or said or self.sample_taken or self.another_unit)


def only_de_energised(pressure_kpa: float | None, needs_outage: bool) -> tuple[str, ...]:
    """Why the oil of a unit may be sampled only while it is isolated and earthed; nothing where it may be in service.

    pressure_kpa : as read on the visit, else as read last; None: never. needs_outage : the register says so
    """
    why = ["The oil of this unit can be sampled only when it is out of service."] if needs_outage else []
    return (*why, NEGATIVE_PRESSURE) if pressure_kpa is not None and pressure_kpa < 0 else tuple(why)


def new_visit_id() -> str:
    """An identity for a visit that is being written."""
    return uuid.uuid4().hex


def with_id_of_content(visit: Visit) -> Visit:
    """The visit under an identity that follows from all it says: the same, given again, is the same visit, also where
    its numbers are judged otherwise by then."""
    blank = replace(visit, id="", counters=tuple(replace(seen, doubt="") for seen in visit.counters))
    return replace(visit, id=hashlib.sha256(content_text(blank).encode()).hexdigest()[:32])


def content_of(visit: Visit) -> dict[str, Any]:
    """All of a visit as a visit file holds it: what was left open is left out."""
    content: dict[str, Any] = {
        "id": visit.id,
        "revision": visit.revision,
        "unit": visit.unit,
        "visited_on": visit.visited_on.isoformat(),
        "by": visit.by,
        "serial_seen": visit.serial_seen,
        "another_unit": visit.another_unit,
        "counters": [
            _said(drive=seen.drive, source=seen.source, value=seen.value, doubt=seen.doubt) for seen in visit.counters
        ],
        "observations": dict(visit.observations),
        "sample_taken": visit.sample_taken,
        "de_energised": visit.de_energised,
        "remark": visit.remark,
        "at": visit.at,
        "station": visit.station,
        "transformer_seen": visit.transformer_seen,
        "counter_faults": [_said(**asdict(fault)) for fault in visit.counter_faults],
        "answers": [_said(**{**asdict(one), "first_on": one.first_on.isoformat()}) for one in visit.answers],
        "photos": list(visit.photos),
    }
    return {name: value for name, value in content.items() if value not in ("", False, [], {})}


def _said(**values: Any) -> dict[str, Any]:
    return {name: value for name, value in values.items() if value != ""}


def content_text(visit: Visit) -> str:
    """The content as one line of JSON, the same for the same content: to keep, and to tell two savings apart."""
    return json.dumps(content_of(visit), sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def visit_from(content: Mapping[str, Any]) -> Visit:
    """The visit whose content this is; the content has been checked (see tapwear.visits.visit_file)."""
    return Visit(
        **{
            **content,
            "visited_on": date.fromisoformat(content["visited_on"]),
            "counters": tuple(CounterSeen(**seen) for seen in content.get("counters", ())),
            "counter_faults": tuple(CounterFault(**one) for one in content.get("counter_faults", ())),
            "answers": tuple(
                Answer(**{**one, "first_on": date.fromisoformat(one["first_on"])}) for one in content.get("answers", ())
            ),
            "photos": tuple(content.get("photos", ())),
        }
    )
