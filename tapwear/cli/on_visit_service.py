"""`tapwear service`: an overhaul or other work, the clocks that it starts again, the counter as found and as left."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.context import open_the_store, today
from tapwear.cli.counter_check import doubt_kept, expected, introduce, say_range
from tapwear.cli.entering import (
    asked,
    asked_value,
    at_a_terminal,
    confirmed,
    past_day,
    replacing,
    say_severe,
    settle,
    stamp_of,
    tell,
    values_of,
)
from tapwear.errors import DataRejected, UsageError
from tapwear.visits.fields import SERVICES, TASKS
from tapwear.visits.resets import resets_of
from tapwear.words import CAUTION_SHORT, as_typed, limits_words

if TYPE_CHECKING:
    from tapwear.store.engine import Store
    from tapwear.store.find import UnitKey


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
            help='Tasks whose clock starts again, e.g. "contact service;oil change", or none; else as usual.',
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
        typer.Option("--witness", metavar="NAME", help="A second person who saw it; see below."),
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
) -> None:
    """Record an overhaul or other work.

    Says which clocks the work starts again before anything is recorded. A serial number that is not the register's
    stops: it would be the wrong unit. At a terminal, what is not given is asked for. Work that ends an overdue task is
    recorded only with the serial number, the counter as found and a second name.

    Examples:
      tapwear service T1 --work overhaul --on 2026-05-12 --serial S-4711 --as-found 84210 --as-left 84216
      tapwear service T1 --work overhaul --resets "contact service;contact replacement" --wear-left-mm 3.2
      tapwear service T1 --work "oil change" --resets none

    Exit codes: 0 recorded or already there; 2 command not understood, or another serial number; 3 the counter is
    questioned, or the book says otherwise, not recorded.
    """
    from tapwear.store.conditions import open_severe
    from tapwear.store.entries import add_event, add_reading, add_service, check_serial
    from tapwear.store.find import find_unit
    from tapwear.store.history import counter_past
    from tapwear.store.overview import unit_rules
    from tapwear.store.stays import standing_now

    reason = replacing(replace, because)
    day = past_day(SERVICES.field("done_on"), on)
    store = open_the_store(context)
    with store.rows() as connection:
        key = find_unit(connection, unit)
        past = None
        if drive or as_found or as_left or not _several(connection, key):
            past = counter_past(connection, key, drive or "", "mechanical", day)
        rules = unit_rules(connection, key)
        where = standing_now(connection, key.id).where
        severe = open_severe(connection, key, today())
    say_severe(key.tag, severe)
    if past is not None:
        introduce(past, day)
    else:
        tell(f"{key.tag}: {where}")
    if at_a_terminal():
        work = work or asked_value(SERVICES.field("work"), "What was done (e.g. overhaul, oil change)")
        serial = asked("Serial number on the nameplate (empty: not read)") if serial is None else serial
        if as_found is None and past is not None:
            as_found = asked_value(SERVICES.field("as_found_counter"), "Counter as found (empty: not read)")
    if not work:
        raise UsageError("Say what was done with --work, e.g. --work overhaul.")
    given = values_of(
        SERVICES,
        {
            "work": work,
            "resets": resets,
            "serial_seen": serial or None,
            "as_found_counter": as_found,
            "as_left_counter": as_left,
            "contact_left_mm": wear_left_mm,
            "condemning_limit_mm": condemning_mm,
            "witness": witness,
            "remark": remark,
        },
    )
    given["done_on"] = day
    _known_tasks(given.get("resets"))
    stamp = stamp_of(context, by, reason)
    given["done_by"] = stamp.by
    with store.rows() as connection:
        check_serial(connection, key, given.get("serial_seen", ""))
    if past is not None and past.serial and not given.get("serial_seen"):
        tell("The serial number was not confirmed.")
    if past is not None and given.get("serial_seen") and not past.serial:
        change = f"tapwear unit change {as_typed(key.tag)} --serial {as_typed(given['serial_seen'])}"
        tell(f"The register has no serial number yet: {change}")
    again = resets_of(given["work"], given.get("resets"))
    _say_clocks(again, rules)
    _ask_for_proof(store, key, given)
    found, left = given.get("as_found_counter"), given.get("as_left_counter")
    reset = _was_reset(found, left, counter_reset)
    doubt = ""
    if past is not None and found is not None:
        check = expected(past, day, found)
        say_range(check, day, past.digits)
        doubt = doubt_kept(check, found, sure)
    _once_only(store, key, given, sure, replace)
    with store.rows(writing=True) as connection:
        outcome = add_service(connection, key, given, stamp, replace=replace)
        if past is not None and found is not None and outcome.kind in ("stored", "replaced"):
            read = {"value": found, "read_on": day, "drive": past.drive, "reader": stamp.by, "remark": "as found"}
            noted = add_reading(connection, key, read, stamp, doubt=doubt, replace=replace)
            if reset:
                exchange = {"kind": "counter_replaced", "happened_on": day, "drive": past.drive}
                exchange |= {"old_reading": found, "new_reading": left, "remark": "at service"}
                add_event(connection, key, exchange, stamp, replace=replace)
        else:
            noted = None
    settle(outcome, f"{key.tag}, {given['work']} on {day}", store.path)
    if noted is not None and noted.kind == "conflict":
        in_book = noted.differs["value"][0]
        tell(f"The book has another reading of that day, {in_book}; it was left as it is (tapwear log --replace).")
    _say_wear(given.get("contact_left_mm"), given.get("condemning_limit_mm"))
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
    if at_a_terminal() and confirmed(f"{words}. Is this another overhaul, of the right unit"):
        return
    raise DataRejected(f"{words}: is it the right unit and day? Nothing was recorded. If it is: --sure REASON")


def _ask_for_proof(store: Store, key: UnitKey, given: dict[str, Any]) -> None:
    """Holds work that ends an overdue task to its proof; a second name is asked for at a terminal."""
    from tapwear.cli.overdue import cleared_overdue, missing_proof, refuse_without_proof

    cleared = cleared_overdue(store, key, given)
    if cleared and missing_proof(given) == ["witness"] and at_a_terminal():
        tell(f"Overdue until now: {' and '.join(cleared)}.")
        name = asked("Name of a second person who saw the work")
        given |= values_of(SERVICES, {"witness": name or None})
    refuse_without_proof(key, given, cleared)


def _several(connection: Any, key: Any) -> bool:
    from tapwear.store.places import drives_of

    return len(drives_of(connection, key.id)) != 1


def _known_tasks(tasks: tuple[str, ...] | None) -> None:
    for task in tasks or ():
        if task not in TASKS and tasks != ("none",):
            raise UsageError(f"--resets: {task!r} is no task; tasks are {', '.join(TASKS)}, or none by itself.")


def _say_clocks(again: tuple[str, ...], rules: Mapping[str, Mapping[str, Any]]) -> None:
    """Names each clock that starts again with its interval, and each that runs on."""
    every = {
        task: f"every {limits_words(rule['interval_operations'], rule['interval_years'])}"
        for task, rule in rules.items()
    }
    for task in again:
        tell(f"Starts again: {task} ({every.get(task, 'no interval is known for it')})")
    for task, words in every.items():
        if task not in again:
            tell(f"Runs on: {task} ({words})")
    if not again and not rules:
        tell("No clock starts again.")


def _was_reset(found: int | None, left: int | None, said: bool) -> bool:
    """Whether the counter starts anew at the as-left number. Raises UsageError for a fall that nobody explains."""
    if said and (found is None or left is None):
        raise UsageError(
            "--counter-reset needs --as-found and --as-left: the old counter's last number, and the new one."
        )
    if said or found is None or left is None or left >= found:
        return said
    question = f"The counter was found at {found} and left at {left}. Was it set back or replaced?"
    if at_a_terminal() and confirmed(question):
        return True
    raise UsageError(f"{question} If so add --counter-reset; otherwise read it again. Nothing was recorded.")


def _say_wear(left: float | None, limit: float | None) -> None:
    if left is None or limit is None:
        return
    if left <= limit:
        tell(f"Contacts: {left:g} mm left, at or below the condemning limit of {limit:g} mm: ask the engineer.")
    else:
        tell(f"Contacts: {left:g} mm left, condemning limit {limit:g} mm.")
