"""The rows of the book that follow from one visit: readings, observations, what it closes and what it opens.

They follow from the visit alone, in the same way each time, so that two savings of one visit can be compared.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.findings import Severity
from tapwear.store.conditions import condition_columns
from tapwear.store.counters import counter_for, drive_in
from tapwear.store.find import UnitKey
from tapwear.store.observations import positions_known
from tapwear.store.places import drives_of
from tapwear.store.validate import checked
from tapwear.store.visit_ground import whose_serial
from tapwear.visits.observations import OBSERVATIONS, noted
from tapwear.visits.positions import Positions
from tapwear.visits.specs import Unfit
from tapwear.visits.values import LONGEST_TEXT
from tapwear.visits.visit import COUNTER_STATES, Answer, CounterSeen, Visit
from tapwear.words import CONDITION_KINDS, COUNTER_AT_FAULT, FOLLOWUP_KINDS, as_typed, observed_label, observed_words

HANDS = ("position_low", "position_high")


@dataclass(frozen=True)
class Remark:
    """What is to be said about one field of a visit."""

    field: str
    found: str
    remedy: str
    severity: Severity


@dataclass(frozen=True)
class VisitRow:
    """One row of the book that follows from a visit: `name` is the field that a person would look at.

    closes : it takes the place of the open row that its columns name, all but closed_on and closed_words
    """

    table: str
    key: str
    name: str
    columns: Mapping[str, Any]
    closes: bool = False


@dataclass
class Found:
    """The rows of a visit, and what could not be taken."""

    rows: list[VisitRow] = field(default_factory=list)
    slots: dict[int, str] = field(default_factory=dict)  # drive of each counter
    remarks: list[Remark] = field(default_factory=list)

    def refuse(self, name: str, found: str, remedy: str) -> None:
        self.remarks.append(Remark(name, found, remedy, "rejected"))


def rows_of(connection: Connection, unit: UnitKey, visit: Visit) -> Found:
    """What the visit puts into the book."""
    found = Found()
    if visit.another_unit:
        _another_unit(connection, unit, visit, found)
        return found
    for seen in visit.counters:
        _counter_row(connection, unit, visit, seen, found)
    several = len(drives_of(connection, unit.id, visit.visited_on)) > 1
    for fault in visit.counter_faults:
        drive = f", drive {fault.drive}" if fault.drive and several else ""
        source = f", {fault.source}" if fault.source != "mechanical" else ""
        key = f"counter/{fault.drive}/{fault.source}"
        _put_down(unit, visit, found, key, "other", f"counter {fault.state}{drive}{source}", "")
    values = dict(visit.observations)
    said = [str(values.get("remark") or visit.remark)]
    for number, one in enumerate(visit.answers):
        said.append(_answer(unit, visit, one, number, found))
    said += [f"photos: {', '.join(visit.photos)}"] if visit.photos else []
    remark = "; ".join(part for part in said if part)
    if remark:
        values["remark"] = remark if len(remark) <= LONGEST_TEXT else remark[: LONGEST_TEXT - 3] + "..."
    checked(OBSERVATIONS, {"unit": unit.tag, "observed_on": visit.visited_on, **values})
    positions = positions_known(connection, unit)
    try:
        pairs = noted(values, positions)
    except Unfit:
        pairs = _one_by_one(values, positions, found)
    for name, (value, words) in pairs.items():
        columns = {
            "tap_changer_id": unit.id, "observed_on": visit.visited_on, "visit_id": visit.id, "compartment": "",
            "quantity": name, "value": value, "words": words,
        }  # fmt: skip
        found.rows.append(VisitRow("observation", name, name, columns))
    return found


def _another_unit(connection: Connection, unit: UnitKey, visit: Visit, found: Found) -> None:
    """Another unit stands where this one should: that is a condition, and what was read there stands in its words."""
    several = len({seen.drive for seen in visit.counters}) > 1
    numbers = [f"counter {f'{seen.drive} ' if several else ''}{seen.value}" for seen in visit.counters]
    for name, value in visit.observations.items():
        number = None if isinstance(value, bool | str) else float(value)
        text = ("yes" if value else "no") if isinstance(value, bool) else str(value)
        numbers.append(f"{observed_label(name)} {observed_words(name, number, text if number is None else '')}")
    numbers += [visit.remark] if visit.remark else []
    words = f"Another unit stands here: the nameplate says serial number {visit.serial_seen}."
    read = "; ".join(numbers)
    whole = f"{words} Read there: {read}." if read else words
    given = {"noted_on": visit.visited_on, "kind": "other", "words": whole[:LONGEST_TEXT], "author": visit.by}
    columns = condition_columns(unit.id, given | {"severe": False})
    found.rows.append(VisitRow("condition", "another unit", "serial_seen", columns))
    if not read:
        return
    exact, _ = whose_serial(connection, visit.serial_seen)
    whose = f"that is {exact[0]}: enter them there with tapwear visit {as_typed(exact[0])}" if exact else (
        "find out which unit it is, and enter them there with tapwear visit"
    )  # fmt: skip
    told = f"{unit.tag}: serial number {visit.serial_seen} stands there; what was read ({read}) is kept, not booked"
    found.remarks.append(Remark("serial_seen", told, whose, "note"))


def _put_down(unit: UnitKey, visit: Visit, found: Found, key: str, kind: str, words: str, compartment: str) -> None:
    """A follow-up that the visit puts down."""
    columns = {
        "tap_changer_id": unit.id, "kind": kind, "compartment": compartment, "place": "", "noted_on": visit.visited_on,
        "words": words[:LONGEST_TEXT], "origin": "hand", "closed_on": None, "closed_words": "",
    }  # fmt: skip
    found.rows.append(VisitRow("followup", key, "answers", columns))


def _answer(unit: UnitKey, visit: Visit, one: Answer, number: int, found: Found) -> str:
    """The rows that follow from an answer to something open. Returns what goes into the remark, "" for nothing.

    Still so: an observation of the visit says it where there is one of that kind, else the remark. Worse: a new
    follow-up besides.
    """
    kinds = FOLLOWUP_KINDS if one.item == "follow-up" else CONDITION_KINDS
    if one.kind not in kinds:
        found.refuse("answers", f"{one.kind} is none of the kinds", f"they are {', '.join(kinds)}")
        return ""
    key = f"{one.item}/{one.kind}/{one.compartment}/{one.place}/{one.first_on}/{one.words}"
    how = f": {one.how}" if one.how else ""
    if one.answer == "closed":
        ended = {"closed_on": visit.visited_on, "closed_words": f"closed on a visit by {visit.by or 'somebody'}{how}"}
        about = {"tap_changer_id": unit.id, "kind": one.kind, "noted_on": one.first_on, "words": one.words}
        if one.item == "condition":
            found.rows.append(VisitRow("condition", f"closing/{key}", "answers", about | ended, closes=True))
            return ""
        by_hand = one.origin != "observation"
        about |= {"compartment": one.compartment, "place": one.place, "origin": "hand" if by_hand else "observation"}
        found.rows.append(VisitRow("followup", f"closing/{key}", "answers", about | ended, closes=by_hand))
        return ""
    words = one.words.removeprefix("worse: ")
    if one.answer == "worse":
        kind = one.kind if one.item == "follow-up" else "other"
        _put_down(unit, visit, found, f"worse/{key}", kind, f"worse: {words}{how}", one.compartment)
        return ""
    if one.item == "follow-up" and one.kind in visit.observations:
        return ""
    return f"still so: {words}{how}"


def _one_by_one(
    values: Mapping[str, Any], positions: Positions | None, found: Found
) -> dict[str, tuple[float | None, str]]:
    """The observations that can be taken, where they cannot all be; of drag hands both or none."""
    good: dict[str, Any] = {}
    for name, value in values.items():
        try:
            noted({name: value}, positions)
        except Unfit as unfit:
            found.refuse(name, unfit.found, unfit.remedy)
        else:
            good[name] = value
    try:
        return noted(good, positions)
    except Unfit as unfit:
        found.refuse(HANDS[0], unfit.found, f"{unfit.remedy}; neither was taken")
        return noted({name: value for name, value in good.items() if name not in HANDS}, positions)


def _state_of(visit: Visit, seen: CounterSeen, *, several: bool) -> str:
    """What the visit says is wrong with the counter that showed a number; "" for nothing, or where it is not known
    which of several counters is meant."""
    for fault in visit.counter_faults:
        if (fault.drive, fault.source) == (seen.drive, seen.source):
            return fault.state
    state = str(visit.observations.get("counter_state", ""))
    return state if state in COUNTER_STATES and seen.source == "mechanical" and not several else ""


def _counter_row(connection: Connection, unit: UnitKey, visit: Visit, seen: CounterSeen, found: Found) -> None:
    name = "counters"
    try:
        slot = drive_in(connection, unit, seen.drive, visit.visited_on)
        counter = counter_for(connection, unit, slot, seen.source, visit.visited_on)
    except UsageError as error:
        found.refuse(name, str(error), "correct the drive, then hand the visit in again")
        return
    if seen.value >= 10**counter.digits:
        found.refuse(
            name,
            f"{seen.value} is too long for the counter of {unit.tag}, which has {counter.digits} digits",
            f"correct the number; if the counter is longer: tapwear unit change {as_typed(unit.tag)} --digits N",
        )
        return
    if any(row.key == f"{slot}/{seen.source}" for row in found.rows):
        found.refuse(name, f"two numbers of one counter of {unit.tag} in one visit, {seen.value} too", "keep one")
        return
    state = _state_of(visit, seen, several=len(drives_of(connection, unit.id, visit.visited_on)) > 1)
    doubt = "; ".join(part for part in (f"{COUNTER_AT_FAULT}{state}" if state else "", seen.doubt) if part)
    columns = {
        "counter_id": counter.id, "read_on": visit.visited_on, "read_time": visit.at, "value": seen.value,
        "current_a": None, "reader": visit.by, "doubt": doubt, "remark": "",
    }  # fmt: skip
    found.rows.append(VisitRow("reading", f"{slot}/{seen.source}", name, columns))
    found.slots[counter.id] = slot
