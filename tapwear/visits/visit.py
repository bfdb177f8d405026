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
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

VISIT_ID = re.compile(r"[0-9a-f]{32}")


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
class Visit:
    """What one person found at one unit on one day.

    id : 32 hexadecimal digits, made once where the visit was written (`new_visit_id`)
    revision : 1 for the first saving; of several savings of one visit the highest counts
    another_unit : the person read `serial_seen` twice: not the unit of this tag stands here. Its counters and
        observations are then not this unit's
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
    remark: str = ""
    revision: int = 1

    @property
    def empty(self) -> bool:
        """True when nothing was found or said."""
        said = self.counters or self.observations or self.remark
        return not (said or self.sample_taken or self.another_unit)


def new_visit_id() -> str:
    """An identity for a visit that is being written."""
    return uuid.uuid4().hex


def with_id_of_content(visit: Visit) -> Visit:
    """The visit under an identity that follows from all it says: the same, given again, is the same visit."""
    blank = replace(visit, id="")
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
            {
                name: value
                for name, value in (
                    ("drive", seen.drive), ("source", seen.source), ("value", seen.value), ("doubt", seen.doubt)
                )
                if value != ""
            }
            for seen in visit.counters
        ],
        "observations": dict(visit.observations),
        "sample_taken": visit.sample_taken,
        "remark": visit.remark,
    }  # fmt: skip
    return {name: value for name, value in content.items() if value not in ("", False, [], {})}


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
        }
    )
