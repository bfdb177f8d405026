"""`tapwear log`: a counter reading, held against what the counter should show."""

import dataclasses
from typing import Annotated

import typer

from tapwear.cli.context import open_the_store
from tapwear.cli.counter_check import introduce, number_kept
from tapwear.cli.entering import past_day, replacing, settle, stamp_of, tell, values_of
from tapwear.visits.fields import READINGS
from tapwear.visits.values import minute_of


def log(
    context: typer.Context,
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="What the counter shows, all digits.")],
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day of the reading; else today.")] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="HH:MM", help="Time of day, where it is read several times a day.")
    ] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who read it; else you.")] = None,
    drive: Annotated[
        str | None, typer.Option("--drive", metavar="NAME", help="Which drive, where the unit has several.")
    ] = None,
    source: Annotated[
        str | None,
        typer.Option(
            "--source",
            metavar="WHICH",
            help="Which counter: mechanical (as usual), raise, lower, controller, sample.",
        ),
    ] = None,
    current: Annotated[
        str | None,
        typer.Option("--current", metavar="A", help="Mean through-current since the reading before, in amperes."),
    ] = None,
    serial: Annotated[
        str | None,
        typer.Option("--serial", metavar="S", help="Serial number on the nameplate; must be the register's."),
    ] = None,
    remark: Annotated[str | None, typer.Option("--remark", metavar="TEXT", help="What else was seen.")] = None,
    sure: Annotated[
        str | None,
        typer.Option("--sure", metavar="REASON", help="The number is right although it looks odd: record it."),
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Correct the reading of that day in the book.")] = False,
    because: Annotated[
        str | None, typer.Option("--because", metavar="REASON", help="Why the book is corrected.")
    ] = None,
) -> None:
    """Record a counter reading.

    Shows the unit, the last reading and the numbers to expect. A number far outside them, or one that looks like a
    slip, is questioned: at a terminal you are asked; otherwise it is recorded only with --sure and a reason.

    The same number for the same day adds nothing. Another number for the same day is refused, unless --at gives the
    time of day at which it was read, or --replace says that it corrects the book; what was there before is kept.

    Examples:
      tapwear log T1 123456
      tapwear log T1 123456 --on 2026-10-30 --by Kim --remark "drag hands 5 to 13"
      tapwear log T1 123470 --on yesterday --at 16:30
      tapwear log T1 000120 --sure "rolled over, read twice"
      tapwear log T1 123465 --on 2026-10-30 --replace --because "digits transposed"

    Exit codes: 0 recorded or already there; 2 command not understood; 3 questioned or in conflict, not recorded.
    """
    from tapwear.store.entries import add_reading, check_serial
    from tapwear.store.find import find_unit
    from tapwear.store.history import counter_past

    reason = replacing(replace, because)
    day = past_day(READINGS.field("read_on"), on)
    typed = {"value": value, "read_time": at, "source": source, "drive": drive, "current_a": current, "remark": remark}
    given = {**values_of(READINGS, typed), "read_on": day}
    minute = minute_of(given.get("read_time", ""))
    store = open_the_store(context)
    with store.rows() as connection:
        key = find_unit(connection, unit)
        check_serial(connection, key, serial or "")
        past = counter_past(connection, key, given.get("drive", ""), given.get("source", "mechanical"), day)
    introduce(past, day, minute)
    stamp = stamp_of(context, by, reason)
    present = past.same_day(day, minute)
    doubt = ""
    if present is None or present.value != given["value"] or replace:
        if replace and present is not None:
            past = dataclasses.replace(past, readings=tuple(one for one in past.readings if one.id != present.id))
        given["value"], doubt = number_kept(past, day, given["value"], sure, minute)
    with store.rows(writing=True) as connection:
        values = {**given, "drive": past.drive, "reader": stamp.by}
        outcome = add_reading(connection, key, values, stamp, doubt=doubt, replace=replace)
    settle(outcome, f"{key.tag}, reading {given['value']} of {day}", store.path)
    if present is None and past.where.state == "retired":
        tell(f"{key.tag} is retired: is this the right unit?")
