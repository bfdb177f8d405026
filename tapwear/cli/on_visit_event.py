"""`tapwear event`: what happened to a unit or its place and changes how its operations are counted."""

from typing import Annotated

import typer

from tapwear.cli.context import open_the_store
from tapwear.cli.entering import past_day, replacing, settle, stamp_of, values_of
from tapwear.visits.fields import EVENTS


def event(
    context: typer.Context,
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")],
    kind: Annotated[
        str,
        typer.Argument(
            metavar="KIND",
            help=(
                "counter_replaced, regulator_setting_changed, load_transferred, new_generation, out_of_service, "
                "back_in_service, paralleled, inspection, laboratory_changed or other."
            ),
        ),
    ],
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day; else today.")] = None,
    drive: Annotated[
        str | None, typer.Option("--drive", metavar="NAME", help="Which drive; else all of the unit.")
    ] = None,
    old: Annotated[str | None, typer.Option("--old", metavar="N", help="Last number of the old counter.")] = None,
    new: Annotated[str | None, typer.Option("--new", metavar="N", help="First number of the new counter.")] = None,
    digits: Annotated[
        int | None, typer.Option("--digits", metavar="N", help="Digits of the new counter, where they differ.")
    ] = None,
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="Anything else.")] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Correct the same event in the book.")] = False,
    because: Annotated[
        str | None, typer.Option("--because", metavar="REASON", help="Why the book is corrected.")
    ] = None,
) -> None:
    """Record an event, e.g. a replaced counter or a changed regulator setting.

    Moves, swaps and retirements are recorded with: tapwear unit move, swap, retire.

    Examples:
      tapwear event T1 counter_replaced --on 2026-05-04 --old 98765 --new 0 --digits 6
      tapwear event T1 regulator_setting_changed --remark "bandwidth 1.5 to 2 %"

    Exit codes: 0 recorded or already there; 2 command not understood; 3 in conflict with the book, not recorded.
    """
    from tapwear.store.entries import add_event
    from tapwear.store.find import find_unit

    reason = replacing(replace, because)
    typed = {"kind": kind, "drive": drive, "old_reading": old, "new_reading": new, "remark": remark}
    given = {**values_of(EVENTS, typed), "happened_on": past_day(EVENTS.field("happened_on"), on)}
    store = open_the_store(context)
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        stamp = stamp_of(context, by, reason)
        outcome = add_event(connection, key, given, stamp, digits=digits, replace=replace)
    settle(outcome, f"{key.tag}, {given['kind'].replace('_', ' ')} on {given['happened_on']}", store.path)
