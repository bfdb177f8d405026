"""`tapwear condition`: what people note about a unit's condition, besides counter and oil."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import open_the_store, today, who
from tapwear.cli.entering import past_day, replacing, settle, stamp_of, tell, value_of, values_of
from tapwear.cli.stops import before_list, stops_among, tell_stops
from tapwear.report.plain import json_text
from tapwear.visits.fields import CONDITIONS
from tapwear.words import CONDITION_KINDS

if TYPE_CHECKING:
    from tapwear.store.conditions import ConditionRow

condition = typer.Typer(
    no_args_is_help=True, help="What people noted about a unit's condition: add, close and list. It acts as they say."
)

Tag = Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")]
Kind = Annotated[str, typer.Argument(metavar="KIND", help=f"One of: {', '.join(CONDITION_KINDS)}.")]


@condition.command("add")
def add(
    context: typer.Context,
    unit: Tag,
    kind: Kind,
    words: Annotated[str, typer.Option("--words", metavar="TEXT", help="What exactly was noted, in a sentence.")],
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day it was noted; else today.")] = None,
    act_by: Annotated[
        str | None, typer.Option("--act-by", metavar="DATE", help="Day by which it has to be acted on; else no day.")
    ] = None,
    severe: Annotated[
        bool | None,
        typer.Option(
            "--severe/--not-severe", help="Stops the unit until an engineer releases it. A relay trip is severe."
        ),
    ] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who noted and judged it; else you.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Correct the same condition in the book.")] = False,
    because: Annotated[
        str | None, typer.Option("--because", metavar="REASON", help="Why the book is corrected.")
    ] = None,
) -> None:
    """Note a condition: a hot compartment, an infrared finding, a motor current, a relay trip, a maker's bulletin.

    An act-by day brings the unit's date forward like a clock. A severe one stops the
    unit: nobody operates it or goes near until an engineer releases it (tapwear stop).

    Examples:
      tapwear condition add T1 motor_current --words "peak 25 % above last year's" --act-by 2027-03-31
      tapwear condition add T1 relay_trip --on 2026-06-03 --words "surge relay of the compartment"

    Exit codes: 0 recorded or already there; 2 command not understood; 3 in conflict with the book, not recorded.
    """
    from tapwear.store.conditions import add_condition, is_severe
    from tapwear.store.find import find_unit
    from tapwear.store.stops import open_stops

    reason = replacing(replace, because)
    given = values_of(CONDITIONS, {"kind": kind, "words": words})
    given |= {"noted_on": past_day(CONDITIONS.field("noted_on"), on), "author": who(context, by)}
    if act_by is not None:
        given["act_by_on"] = value_of(CONDITIONS.field("act_by_on"), act_by, "--act-by")
    if severe is not None:
        given["severe"] = severe
    store = open_the_store(context)
    stamp = stamp_of(context, by, reason)
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        outcome = add_condition(connection, key, given, stamp, replace=replace)
        stands = open_stops(connection, key) if is_severe(given) else []
    tell_stops({key.tag: stands})
    settle(outcome, f"{key.tag}, {CONDITION_KINDS[given['kind']]} noted on {given['noted_on']}", store.path)


@condition.command("close")
def close(
    context: typer.Context,
    unit: Tag,
    kind: Kind,
    words: Annotated[str, typer.Option("--words", metavar="TEXT", help="How it was settled.")],
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day it was settled; else today.")] = None,
    noted: Annotated[
        str | None, typer.Option("--noted", metavar="DATE", help="Which one, where several of the kind are open.")
    ] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")] = None,
) -> None:
    """Close a condition: it acts no more from that day on, and stays in the book. A stop that it raised stands until an
    engineer releases it.

    Example: tapwear condition close T1 motor_current --words "brake set right, current as before"
    """
    from tapwear.store.conditions import close_condition
    from tapwear.store.find import find_unit

    known = value_of(CONDITIONS.field("kind"), kind, "KIND")
    settled = value_of(CONDITIONS.field("closed_words"), words, "--words")
    day = past_day(CONDITIONS.field("closed_on"), on)
    which = value_of(CONDITIONS.field("noted_on"), noted, "--noted") if noted is not None else None
    store = open_the_store(context)
    stamp = stamp_of(context, by)
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        row = close_condition(connection, key, known, day, settled, stamp, which)
    tell(f"Closed on {day}: {key.tag}, {CONDITION_KINDS[known]} noted on {row.noted_on}. Store: {store.path}")


@condition.command("list")
def show(
    context: typer.Context,
    unit: Annotated[str | None, typer.Argument(metavar="[UNIT]", help="Only of this unit.")] = None,
    everything: Annotated[bool, typer.Option("--all", help="Closed ones too.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")] = False,
) -> None:
    """List what was noted and is open, by unit and day.

    Example: tapwear condition list --all
    """
    from tapwear.store.conditions import list_conditions
    from tapwear.store.find import find_unit

    store = open_the_store(context)
    with store.rows() as connection:
        rows = list_conditions(connection, None if unit is None else find_unit(connection, unit))
    rows = [row for row in rows if everything or row.closed_on is None]
    stops = stops_among(store, (row.unit for row in rows))
    if as_json:
        from dataclasses import asdict

        from tapwear.report.frames import stops_first

        typer.echo(json_text(stops_first([asdict(row) for row in rows], stops), default=str))
    elif rows:
        typer.echo(before_list(stops) + _page(rows, stops))
    else:
        tell("Nothing is noted." if everything else "Nothing noted is open; --all shows closed ones too.")


def _page(rows: list[ConditionRow], stops: Mapping[str, str]) -> str:
    from tapwear.report.terminal import columns_broken, screen_width

    cells = [
        (
            row.unit,
            str(row.noted_on),
            row.author,
            CONDITION_KINDS[row.kind],
            f"{row.act_by_on or ''}" + (" (gone by)" if _gone_by(row) else ""),
            "yes" if row.severe else "",
            row.words + (f"; closed {row.closed_on}: {row.closed_words}" if row.closed_on else ""),
        )
        for row in rows
    ]
    headings = ("unit", "noted", "by", "kind", "act by", "severe", "words")
    here = [stops.get(row.unit, "") for row in rows]
    return "\n".join(columns_broken(headings, cells, screen_width(), stops=here))


def _gone_by(row: ConditionRow) -> bool:
    return row.closed_on is None and row.act_by_on is not None and row.act_by_on < today()
