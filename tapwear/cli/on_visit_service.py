"""`tapwear service`: an overhaul or other work, the intervals that restart, the counter as found and as left."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.context import open_the_store
from tapwear.cli.entering import at_a_terminal, past_day, replacing, settle, stamp_of, tell
from tapwear.cli.guiding import begin, go_through, path_of
from tapwear.cli.overdue import cleared_overdue, refuse_without_proof
from tapwear.cli.visit_draft import remove_draft
from tapwear.errors import DataRejected
from tapwear.visits.fields import SERVICES
from tapwear.words import CAUTION_SHORT

if TYPE_CHECKING:
    from tapwear.cli.service_guide import ServiceGuide
    from tapwear.store.engine import Store
    from tapwear.store.find import UnitKey
    from tapwear.store.recording import Stamp


def service(
    context: typer.Context,
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")],
    work: Annotated[
        str | None,
        typer.Option(
            "--work",
            metavar="KIND",
            help=(
                "inspection, overhaul, contact replacement, oil change, oil degassing, breather change, repair or "
                "other. Needed; asked for at a terminal."
            ),
        ),
    ] = None,
    on: Annotated[
        str | None, typer.Option("--on", metavar="DATE", help="Day the work was finished; else today.")
    ] = None,
    serial: Annotated[
        str | None,
        typer.Option("--serial", metavar="S", help="Serial number on the nameplate; must be the register's."),
    ] = None,
    as_found: Annotated[
        str | None, typer.Option("--as-found", metavar="N", help="Counter before the work; kept as a reading too.")
    ] = None,
    as_left: Annotated[str | None, typer.Option("--as-left", metavar="N", help="Counter after the work.")] = None,
    counter_reset: Annotated[
        bool, typer.Option("--counter-reset", help="The counter was set back or replaced: as-left starts anew.")
    ] = False,
    drive: Annotated[
        str | None, typer.Option("--drive", metavar="NAME", help="Whose counter, where there are several drives.")
    ] = None,
    resets: Annotated[
        str | None,
        typer.Option(
            "--resets",
            metavar="TASKS",
            help='Tasks whose interval restarts, e.g. "contact service;oil change", or none; else as usual.',
        ),
    ] = None,
    wear_left_mm: Annotated[
        str | None, typer.Option("--wear-left-mm", metavar="MM", help="Contact material left, thinnest contact.")
    ] = None,
    condemning_mm: Annotated[
        str | None, typer.Option("--condemning-mm", metavar="MM", help="Limit at which contacts must be replaced.")
    ] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who did it; else you.")] = None,
    witness: Annotated[
        str | None,
        typer.Option("--witness", metavar="NAME", help="A second person who witnessed it; see below."),
    ] = None,
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="As found, anything else.")] = None,
    sure: Annotated[
        str | None,
        typer.Option("--sure", metavar="REASON", help="The counter, or an overhaul soon after another, is right."),
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Correct the same work in the book.")] = False,
    because: Annotated[
        str | None, typer.Option("--because", metavar="REASON", help="Why the book is corrected.")
    ] = None,
    resume: Annotated[bool, typer.Option("--resume", help="Go on with the work that was left unfinished.")] = False,
    anew: Annotated[bool, typer.Option("--anew", help="Drop unfinished work.")] = False,
    ask: Annotated[
        bool | None, typer.Option("--ask/--no-ask", help="Ask for what is not given; else only at a terminal.")
    ] = None,
) -> None:
    """Record an overhaul or other work.

    At a terminal what is not given is asked for, the day and the right unit first, and all is shown with the intervals
    that restart before anything is stored; until then the answers are in a draft: --resume goes on. Work that ends an
    overdue task is recorded only with the serial number, the counter as found and a second name.

    Examples:
      tapwear service T1 --work overhaul --on 2026-05-12 --serial S-1042 --as-found 84210 --as-left 84216
      tapwear service T1 --work overhaul --resets "contact service;contact replacement" --wear-left-mm 3.2
      tapwear service T1 --work "oil change" --resets none

    Exit codes: 0 recorded or already there; 2 command not understood, or another serial number; 3 the counter is
    questioned, or the log has another value, not recorded; 130 stopped, draft kept.
    """
    from tapwear.cli.followups import open_words
    from tapwear.cli.service_guide import DRIVE, ServiceGuide
    from tapwear.cli.visit_asking import Asking
    from tapwear.cli.visit_draft import ServiceDraft
    from tapwear.store.find import find_unit
    from tapwear.store.overview import unit_rules
    from tapwear.store.visit_ground import visit_ground

    reason = replacing(replace, because)
    day = past_day(SERVICES.field("done_on"), on)
    asks = at_a_terminal() if ask is None else ask
    given: dict[str, str | None] = {
        "done_on": on, "serial_seen": serial, "work": work, DRIVE: drive, "as_found_counter": as_found,
        "as_left_counter": as_left, "counter reset": "yes" if counter_reset else None, "done_by": by,
        "witness": witness, "contact_left_mm": wear_left_mm, "condemning_limit_mm": condemning_mm,
        "resets": resets, "remark": remark,
    }  # fmt: skip
    asking = Asking({name: text for name, text in given.items() if text is not None}, asks, sure, "metric")
    store = open_the_store(context)
    stamp = stamp_of(context, by, reason)
    with store.rows() as connection:
        key = find_unit(connection, unit)
    path = path_of(store, key.tag, ServiceDraft)
    keeps = asks or resume
    draft = begin(path, ServiceDraft(key.tag, day, stamp.by), asks=asks, resume=resume, anew=anew)
    with store.rows() as connection:
        ground, rules = visit_ground(connection, key, draft.done_on), unit_rules(connection, key)
    guide = ServiceGuide(store, key, ground.where.where, ground.serial, ground.drives, rules, draft, asking)
    go_through(guide, path, open_words(store, key, draft.done_on), lambda: None, keeps)
    if not asks:
        refuse_without_proof(key, draft.service(), cleared_overdue(store, key, draft.service()))
        _once_only(store, key, draft.service(), sure, replace)
    _store(store, key, guide, stamp, replace=replace)
    if keeps:
        remove_draft(path)
    tell(CAUTION_SHORT)


def _once_only(store: Store, key: UnitKey, given: dict[str, Any], sure: str | None, replace: bool) -> None:
    """Asks, as an import does, whether an overhaul soon after another is one. Raises DataRejected unless it is said."""
    if given["work"] != "overhaul" or replace:
        return
    from tapwear.store.holding_facts import overhauled_soon

    with store.rows() as connection:
        near = overhauled_soon(connection, key.tag, given["done_on"])
    if near is None or (sure and sure.strip()):
        return
    words = f"{key.tag} was overhauled on {near}, too"
    raise DataRejected(f"{words}: is it the right unit and day? Nothing was recorded. If it is: --sure REASON")


def _store(store: Store, key: UnitKey, guide: ServiceGuide, stamp: Stamp, *, replace: bool) -> None:
    """The service, the counter as found as a reading, and a counter that was replaced, in one piece."""
    from tapwear.store.entries import add_event, add_reading, add_service

    draft, past = guide.draft, guide.past()
    values, day = draft.service(), draft.done_on
    found = values.get("as_found_counter")
    noted = None
    with store.rows(writing=True) as connection:
        outcome = add_service(connection, key, values, stamp, replace=replace)
        if past is not None and found is not None and outcome.kind in ("stored", "replaced"):
            read = {"value": found, "read_on": day, "drive": past.drive, "reader": stamp.by, "remark": "as found"}
            noted = add_reading(connection, key, read, stamp, doubt=draft.doubt, replace=replace)
            if draft.was_reset:
                exchange = {"kind": "counter_replaced", "happened_on": day, "drive": past.drive}
                exchange |= {"old_reading": found, "new_reading": values["as_left_counter"], "remark": "at service"}
                add_event(connection, key, exchange, stamp, replace=replace)
    settle(outcome, f"{key.tag}, {values['work']} on {day}", store.path)
    if noted is not None and noted.kind == "conflict":
        in_book = noted.differs["value"][0]
        tell(f"The book has another reading of that day, {in_book}; it was left as it is (tapwear log --replace).")
    _say_wear(values.get("contact_left_mm"), values.get("condemning_limit_mm"))


def _say_wear(left: float | None, limit: float | None) -> None:
    if left is None or limit is None:
        return
    if left <= limit:
        tell(f"Contacts: {left:g} mm left, at or below the condemning limit of {limit:g} mm: ask the engineer.")
    else:
        tell(f"Contacts: {left:g} mm left, condemning limit {limit:g} mm.")
