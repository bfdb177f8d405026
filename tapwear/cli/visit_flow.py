"""A guided visit from its first question to the store: the draft, the order of questions, the look back, what then."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

import typer

from tapwear.cli.entering import tell
from tapwear.cli.followups import open_words
from tapwear.cli.guiding import LeaveIt, begin, go_through, path_of
from tapwear.cli.stops import tell_alarms, tell_stops
from tapwear.cli.visit_asking import Asking
from tapwear.cli.visit_doubts import follow_up_words
from tapwear.cli.visit_draft import Draft, remove_draft
from tapwear.cli.visit_steps import Guide, seen_on
from tapwear.errors import DataRejected, UsageError
from tapwear.measures import shown_in, unit_in
from tapwear.outlook.signs import NO_OIL, seen_alarms, severe_signs
from tapwear.store.find import find_unit
from tapwear.store.recording import Stamp
from tapwear.store.stops import Severe, open_stop, open_stops
from tapwear.store.visit_ground import Ground, visit_ground
from tapwear.store.visiting import VisitOutcome, record_visit, visits_by_id
from tapwear.visits.visit import with_id_of_content
from tapwear.words import CAUTIONS, stop_notice

if TYPE_CHECKING:
    from tapwear.store.engine import Store


@dataclass(frozen=True)
class How:
    """How a visit is made: the day, perhaps the time, who, whether questions are asked, in which units, the draft."""

    on: date
    by: str
    stamp: Stamp
    asks: bool
    system: str
    sure: str | None
    resume: bool
    anew: bool
    at: str = ""


def make_visit(
    store: Store, unit: str, given: Mapping[str, str], counters: Mapping[str, Sequence[str]], how: How
) -> None:
    """Asks what is not given, and stores the visit in one piece; a draft is kept until then where questions are asked.

    given : answers by key of their question. counters : `[DRIVE=]NUMBER` for `counter` and `controller`
    Raises UsageError for a wrong unit or an answer that cannot be, DataRejected for what nobody stands by.
    """
    with store.rows() as connection:
        key = find_unit(connection, unit)
    path = path_of(store, key.tag, Draft)
    keeps = how.asks or how.resume
    draft = begin(path, Draft(key.tag, how.on, how.by, at=how.at), asks=how.asks, resume=how.resume, anew=how.anew)
    with store.rows() as connection:
        ground = visit_ground(connection, key, draft.visited_on)
    answers = {**given, **_by_drive(counters, ground)}
    guide = Guide(store, ground, draft, Asking(answers, how.asks, how.sure, how.system), bool(ground.stops))
    go_through(guide, path, open_words(store, key, draft.visited_on), partial(_introduce, guide), keeps)
    visit = draft.visit() if keeps else with_id_of_content(draft.visit())
    with store.rows(writing=True) as connection:
        saved = [] if keeps else visits_by_id(connection, visit.id)  # the same command given again
        outcome = record_visit(connection, saved[-1] if saved else visit, how.stamp)
        seen = seen_on(draft)
        for _, on, words in severe_signs(seen):
            open_stop(connection, key, Severe(key.tag, on, "visit", words), how.stamp)
        stands = open_stops(connection, key)
    if keeps:
        remove_draft(path)
    if len(stands) > len(ground.stops):
        tell_stops({key.tag: stands})
        guide.stopped = True
    else:
        tell_alarms(key.tag, seen_alarms(seen))
    _say_stored(guide, outcome)


# --- asking ---------------------------------------------------------------------------------------------------


def _introduce(guide: Guide) -> None:
    ground = guide.ground
    serial = f"serial {ground.serial}" if ground.serial else "serial number not in the register"
    tell(f"{ground.unit.tag}: {ground.where.where}, {serial}")
    if ground.where.state != "in service":
        tell(f"Mind: {ground.unit.tag} is {ground.where.state}.")
    afar = "Go on, only to write down what was read before or from afar"
    if guide.stopped and not guide.draft.answered and not guide.asking.confirm(
        afar, explain="Nobody is to go near this unit: go on only with what was read before, or from afar."
    ):
        raise LeaveIt("Nothing was recorded.")


def _by_drive(counters: Mapping[str, Sequence[str]], ground: Ground) -> dict[str, str]:
    """`A=1200` by the key of its question. Raises UsageError for a drive that the unit has not, or one left unsaid."""
    found: dict[str, str] = {}
    for name, texts in counters.items():
        for text in texts:
            drive, sign, number = text.partition("=")
            if not sign and len(ground.drives) == 1:
                drive, number = ground.drives[0], text
            slot = next((one for one in ground.drives if one.casefold() == drive.strip().casefold()), None)
            if slot is None:
                listed = ", ".join(ground.drives) or "none"
                raise UsageError(f"--{name}: {text!r}: say which drive, like A=1200; {ground.unit.tag} has {listed}.")
            if found.setdefault(f"{name}/{slot}", number) != number:
                raise UsageError(f"--{name}: two numbers for drive {slot} of {ground.unit.tag}; give only one.")
    return found


# --- what comes after -----------------------------------------------------------------------------------------


def _say_stored(guide: Guide, outcome: VisitOutcome) -> None:
    draft, place = guide.draft, guide.store.path
    words = {"known": "is in the book already; nothing was added", "older": "is older than what the book has of it"}
    what = words.get(outcome.kind, f"saved ({outcome.rows} {'entry' if outcome.rows == 1 else 'entries'})")
    tell(f"Visit to {draft.unit} on {draft.visited_on} {what}. Store: {place}")
    low = draft.observations.get("oil_level") == "low"
    if draft.sample_taken and (guide.stopped or low):
        tell(f"No label is printed: {stop_notice(draft.unit) if guide.stopped else NO_OIL}")
    elif draft.sample_taken and not draft.another_unit:
        _print_labels(guide)
    if not guide.stopped:
        tell(*follow_up_words(draft.observations, draft.unit))
    for remark in outcome.remarks:
        tell(f"{remark.field}: {remark.found}; {remark.remedy}.")
    if any(remark.severity in ("rejected", "conflict") for remark in outcome.remarks):
        raise DataRejected("The visit is stored, and something of it is open: see above.")


def _print_labels(guide: Guide) -> None:
    """The labels of the bottles, one for each compartment, on standard output."""
    from tapwear.report.bottle import COMPARTMENT, boxed, label_text

    draft, ground, system = guide.draft, guide.ground, guide.asking.system
    name = ground.station_name if ground.station_name != ground.where.station else ""
    oil = draft.observations.get("oil_temp_c")
    blank = f"______ {unit_in('temperature', system)[1]}"
    tell(CAUTIONS[2], "For the bottle:")
    said = str(draft.observations.get("bottle_number", ""))
    bottles = [one.strip() for one in said.split(";")]
    if len(bottles) != len(ground.compartments):
        bottles = [said] * len(ground.compartments)
    for (compartment, serial), bottle in zip(ground.compartments, bottles, strict=True):
        drive = compartment if compartment in ground.drives else ground.drives[0] if ground.drives else ""
        seen = draft.counters.get(f"{drive}/mechanical")
        text = label_text(
            draft.unit,
            serial or ground.serial or draft.serial_seen,
            f"{COMPARTMENT} {compartment}".rstrip(),
            f"{ground.where.where} {name}".rstrip(),
            on=draft.visited_on.isoformat(),
            oil_temperature=blank if oil is None else shown_in(oil, "temperature", system),
            counter="____________" if seen is None else str(seen["value"]),
            by=draft.by,
            bottle=bottle,
        )
        typer.echo("\n".join(boxed(text)))
