"""A guided visit from its first question to the store: the draft, the order of questions, the look back, what then."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import typer

from tapwear.cli.entering import say_severe, tell
from tapwear.cli.visit_asking import Asking, GoBack
from tapwear.cli.visit_doubts import follow_up_words
from tapwear.cli.visit_draft import Draft, draft_path, load_draft, remove_draft, save_draft
from tapwear.cli.visit_steps import Guide, LeaveIt
from tapwear.errors import DataRejected, UsageError
from tapwear.measures import shown_in, unit_in
from tapwear.store.find import UnitKey, find_unit
from tapwear.store.recording import Stamp
from tapwear.store.visit_ground import Ground, visit_ground
from tapwear.store.visiting import VisitOutcome, record_visit
from tapwear.visits.observations import BY_NAME, label
from tapwear.visits.visit import with_id_of_content
from tapwear.words import CAUTIONS, SEVERE, as_typed

if TYPE_CHECKING:
    from tapwear.store.engine import Store


@dataclass(frozen=True)
class How:
    """How a visit is made: the day, who, whether questions are asked, in which units, and what becomes of a draft."""

    on: date
    by: str
    stamp: Stamp
    asks: bool
    system: str
    sure: str | None
    resume: bool
    anew: bool


def make_visit(
    store: Store, unit: str, given: Mapping[str, str], counters: Mapping[str, Sequence[str]], how: How
) -> None:
    """Asks what is not given, and stores the visit in one piece; a draft is kept until then where questions are asked.

    given : answers by key of their question. counters : `[DRIVE=]NUMBER` for `counter` and `controller`
    Raises UsageError for a wrong unit or an answer that cannot be, DataRejected for what nobody stands by.
    """
    with store.rows() as connection:
        key = find_unit(connection, unit)
    path = _draft_of(store, key)
    keeps = how.asks or how.resume
    draft = _begin(path, key, how)
    with store.rows() as connection:
        ground = visit_ground(connection, key, draft.visited_on)
    answers = {**given, **_by_drive(counters, ground)}
    severe = _say_severe(store, ground)
    guide = Guide(store, ground, draft, Asking(answers, how.asks, how.sure, how.system), severe)
    try:
        if how.asks:
            _introduce(guide)
        _ask_all(guide, path if keeps else None)
    except (KeyboardInterrupt, EOFError):
        _stop(path, draft)
    except LeaveIt:
        if keeps:
            remove_draft(path)
        raise
    visit = draft.visit() if keeps else with_id_of_content(draft.visit())
    with store.rows(writing=True) as connection:
        outcome = record_visit(connection, visit, how.stamp)
    if keeps:
        remove_draft(path)
    _say_stored(guide, outcome)


# --- drafts ---------------------------------------------------------------------------------------------------


def _draft_of(store: Store, unit: UnitKey) -> Path:
    """Where the unit's draft lies: beside the store; for a store on a server, in the user's own folder."""
    place = store.path
    if place.exists():
        return draft_path(place.parent, place.name, unit.tag)
    home = Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "tapwear"
    home.mkdir(mode=0o700, parents=True, exist_ok=True)
    return draft_path(home, re.sub(r"[^A-Za-z0-9.-]+", "-", str(place)), unit.tag)


def _begin(path: Path, unit: UnitKey, how: How) -> Draft:
    """A new visit, or the one that was left unfinished."""
    if how.anew:
        remove_draft(path)
    left = load_draft(path, unit.tag) if how.asks or how.resume else None
    if left is None:
        if how.resume:
            begin = f"tapwear visit {as_typed(unit.tag)}"
            raise UsageError(f"There is no unfinished visit to {unit.tag}. Begin one with: {begin}")
        return Draft(unit.tag, how.on, how.by)
    if not how.resume:
        raise UsageError(
            f"A visit to {unit.tag} on {left.visited_on} by {left.by} was left unfinished after {len(left.answered)} "
            f"answers. Go on with it: tapwear visit {as_typed(unit.tag)} --resume; or drop it and begin again: --anew"
        )
    tell(f"Going on with the visit of {left.visited_on} by {left.by}: {len(left.answered)} questions are answered.")
    return left


def _stop(path: Path, draft: Draft) -> NoReturn:
    """Says what is kept after Ctrl-C, and ends."""
    tell("")
    if path.exists():
        tell(
            f"Stopped; nothing is in the store yet. {len(draft.answered)} answers are kept in {path}. Go on with: "
            f"tapwear visit {as_typed(draft.unit)} --resume"
        )
    else:
        tell("Stopped; nothing was recorded.")
    raise typer.Exit(130)


# --- asking ---------------------------------------------------------------------------------------------------


def _ask_all(guide: Guide, path: Path | None) -> None:
    """Asks what is not answered yet, one by one, keeping the draft after each; then shows all and asks for the yes."""
    draft = guide.draft
    while True:
        step = next((step for step in guide.steps() if step.key not in draft.answered), None)
        try:
            if step is None:
                if not guide.asking.asks or _all_right(guide):
                    return
                raise KeyboardInterrupt
            step.run()
        except GoBack:
            _go_back(guide)
            continue
        draft.answered.append(step.key)
        if path is not None:
            save_draft(path, draft)


def _go_back(guide: Guide) -> None:
    """Takes the last typed answer out, so that it is asked again; answers given as options stay."""
    answered = guide.draft.answered
    typed = [number for number, key in enumerate(answered) if key not in guide.asking.given]
    if typed:
        del answered[typed[-1] :]


def _introduce(guide: Guide) -> None:
    ground = guide.ground
    serial = f"serial {ground.serial}" if ground.serial else "serial number not in the register"
    tell(f"{ground.unit.tag}: {ground.where.where}, {serial}")
    if ground.where.state != "in service":
        tell(f"Mind: {ground.unit.tag} is {ground.where.state}.")
    tell("Empty: not read. ? explains. < goes back. Ctrl-C stops; what was answered is kept.")
    afar = "Go on, only to write down what was read before or from afar"
    if guide.severe and not guide.draft.answered and not guide.asking.confirm(afar):
        raise LeaveIt("Nothing was recorded.")


def _all_right(guide: Guide) -> bool:
    """Shows the visit as it would be stored, and asks."""
    for line in summary(guide):
        tell(line)
    return guide.asking.confirm("Record this visit", otherwise=True)


def summary(guide: Guide) -> list[str]:
    """What the visit holds, line by line."""
    draft = guide.draft
    lines = [f"Visit to {draft.unit} on {draft.visited_on} by {draft.by}:"]
    lines.append(f"  serial number {draft.serial_seen or 'not confirmed'}")
    if draft.another_unit:
        return [*lines, "  another unit stands here"]
    for key, seen in draft.counters.items():
        drive, source = key.rsplit("/", 1)
        name = "counter" if source == "mechanical" else source
        which = f" of drive {drive}" if len(guide.ground.drives) > 1 else ""
        lines.append(f"  {name}{which} {seen['value']}" + (f" (doubtful: {seen['doubt']})" if seen["doubt"] else ""))
    for name, value in draft.observations.items():
        measure = BY_NAME[name].measure
        said = shown_in(value, measure, guide.asking.system) if measure else _said(value)
        lines.append(f"  {label(name)} {said}" + (" (questioned)" if name in draft.questioned else ""))
    return [*lines, "  oil sample taken"] if draft.sample_taken else lines


def _said(value: object) -> str:
    return "yes" if value is True else "no" if value is False else str(value)


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


# --- what is severe, and what comes after ---------------------------------------------------------------------


def _say_severe(store: Store, ground: Ground) -> bool:
    """Says first of all when nobody may go near; True then. By open conditions, and by its oil."""
    reasons = list(ground.severe)
    if ground.samples and not reasons:
        reasons = severe_oil(store, ground)
    say_severe(ground.unit.tag, reasons)
    return bool(reasons)


def severe_oil(store: Store, ground: Ground) -> list[str]:
    """What a severe finding of the unit's oil says, sentence by sentence; nothing where its oil is not severe.

    What is usual is learnt from like units: the same answer as in every list.
    """
    from tapwear.report.terminal import progress

    with progress("Looking at what the oil says"):
        from tapwear.fleet import assess_units

        found = assess_units(store, [ground.unit.tag], ground.on)
    mine = [verdict for verdict in found.verdicts.values() if verdict.severe]
    return [finding.words for verdict in mine for finding in verdict.findings]


def _say_stored(guide: Guide, outcome: VisitOutcome) -> None:
    draft, place = guide.draft, guide.store.path
    words = {"known": "is in the book already; nothing was added", "older": "is older than what the book has of it"}
    what = words.get(outcome.kind, f"stored whole, {outcome.rows} row{'s' if outcome.rows != 1 else ''}")
    tell(f"Visit to {draft.unit} on {draft.visited_on}: {what}. Store: {place}")
    if draft.sample_taken and guide.severe:
        tell(f"No label is printed: {SEVERE}")
    elif draft.sample_taken and not draft.another_unit:
        _print_labels(guide)
    if not guide.severe:
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
    for compartment, serial in ground.compartments:
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
        )
        typer.echo("\n".join(boxed(text)))
