"""`tapwear defer`: a task put off past its limit by an engineer's recorded decision, shown everywhere until it ends."""

from __future__ import annotations

from typing import Annotated

import typer

from tapwear.cli.context import SCHEDULING, as_of_or_today, open_the_store, parse_date, today
from tapwear.cli.entering import stamp_of, tell
from tapwear.errors import UsageError
from tapwear.report.plain import json_text
from tapwear.words import stop_notice

defer_app = typer.Typer(
    no_args_is_help=True,
    help=(
        "Put a task off past its limit, by an engineer's recorded decision only. It is said at every due of the unit "
        "until the work is done or the deferral ends; no date moves."
    ),
)
Tag = Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")]
Task = Annotated[str, typer.Option("--task", metavar="TASK", help="Which task.")]
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")]


def register(app: typer.Typer) -> None:
    """Adds the group to the application."""
    short = "Put a task off past its limit, by a recorded decision; list those."
    app.add_typer(defer_app, name="defer", rich_help_panel=SCHEDULING, short_help=short)


@defer_app.command("add")
def add(
    context: typer.Context,
    unit: Tag,
    engineer: Annotated[str, typer.Option("--engineer", metavar="NAME", help="Who decided it and answers for it.")],
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why it can wait.")],
    until: Annotated[str, typer.Option("--until", metavar="DATE", help="Its last day (ISO).")],
    checks: Annotated[str, typer.Option("--checks", metavar="TEXT", help="Extra checks until then.")],
    task: Task = "contact service",
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day of the decision; else today.")] = None,
    by: By = None,
) -> None:
    """Record that a task is put off: who decided it, why, until when, and what is checked meanwhile.

    Refused while the unit's stop stands: the engineer decides now.

    Example:
      tapwear defer add T1 --engineer "K. Lund" --reason "winter peak" --until 2027-03-01 --checks "monthly oil sample"

    Exit codes: 0 recorded; 2 command not understood, or something is missing.
    """
    from tapwear.cli.stops import refuse_stopped
    from tapwear.store.deferrals import add_deferral
    from tapwear.store.find import find_unit
    from tapwear.store.stops import open_stops

    decided = parse_date(on, "--on") if on else today()
    if decided > today():
        raise UsageError(f"--on: {decided} lies in the future; today is {today()}.")
    ends = parse_date(until, "--until")
    store = open_the_store(context)
    stamp = stamp_of(context, by)
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        refuse_stopped(open_stops(connection, key), "Nothing was put off")
        add_deferral(
            connection,
            key,
            task=task,
            decided_on=decided,
            expires_on=ends,
            engineer=engineer,
            reason=reason,
            extra_checks=checks,
            stamp=stamp,
        )
    tell(f"Recorded: {task} of {key.tag} deferred to {ends} by {engineer.strip()}. Store: {store.path}")


@defer_app.command("end")
def end(
    context: typer.Context,
    unit: Tag,
    because: Annotated[str, typer.Option("--because", metavar="REASON", help="Why it no longer holds.")],
    task: Task = "contact service",
    by: By = None,
) -> None:
    """Take the newest deferral of a task back before its day; it stays in the book.

    Example: tapwear defer end T1 --because "oil sample of May calls for an internal inspection"
    """
    from tapwear.store.deferrals import take_back
    from tapwear.store.find import find_unit

    store = open_the_store(context)
    stamp = stamp_of(context, by, because)
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        row = take_back(connection, key, task, stamp)
    tell(f"Taken back: {row.task} of {key.tag}, deferred to {row.expires_on} by {row.engineer}. Store: {store.path}")


@defer_app.command("list")
def show(
    context: typer.Context,
    unit: Annotated[str | None, typer.Argument(metavar="[UNIT]", help="Only of this unit.")] = None,
    as_of: Annotated[
        str | None, typer.Option("--as-of", metavar="DATE", help="Which have ended by this day; else today.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")] = False,
) -> None:
    """List the deferrals, by unit and day of decision; those that have ended say so.

    Example: tapwear defer list
    """
    from tapwear.outlook.stops import recorded_stops
    from tapwear.store.deferrals import list_deferrals
    from tapwear.store.find import find_unit
    from tapwear.store.stops import list_stops

    day = as_of_or_today(as_of)
    with open_the_store(context).rows() as connection:
        key = None if unit is None else find_unit(connection, unit)
        rows = list_deferrals(connection, key)
        found = recorded_stops(list_stops(connection, key), day)
    stops = {tag: stop for tag, stop in found.items() if stop is not None}
    first = {tag: stop.short for tag, stop in stops.items()}
    if as_json:
        from dataclasses import asdict

        records = [
            {"stop": first.get(row.unit, ""), **asdict(row), "ended": row.expires_on < day} for row in rows
        ]
        typer.echo(json_text(records, default=str))
        return
    if not rows:
        tell("No deferral is recorded.")
        return
    from tapwear.report.terminal import columns

    standing = dict.fromkeys(row.unit for row in rows if row.unit in stops and stops[row.unit].stands)
    if standing and unit is None:
        tell(stop_notice(*standing))
    headings = ("stop", "unit", "task", "decided", "until", "engineer", "reason", "checks")
    lines = [
        (
            first.get(row.unit, ""),
            row.unit,
            row.task,
            str(row.decided_on),
            f"{row.expires_on}{' (ended)' if row.expires_on < day else ''}",
            row.engineer,
            row.reason,
            row.extra_checks,
        )
        for row in rows
    ]
    typer.echo("\n".join(columns(headings, lines)))
