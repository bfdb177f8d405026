"""`tapwear plan ahead`: overhauls, crew hours and kits by year."""

from __future__ import annotations

from typing import Annotated

import typer

from tapwear.cli.context import as_of_or_today, open_the_store, say

YEARS = 5


def register(plan_app: typer.Typer) -> None:
    """Adds the command to the group of the plan."""
    plan_app.command("ahead")(ahead)


def ahead(
    context: typer.Context,
    years: Annotated[int, typer.Option("--years", min=1, max=10, help="How many years after this one.")] = YEARS,
    as_of: Annotated[
        str | None, typer.Option("--as-of", metavar="DATE", help="Look from this day; else today.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for other programs.")] = False,
) -> None:
    """Show how many overhauls, crew hours and kits the coming years bring, with an 80 % range.

    Each overhaul falls when it becomes due; after it the next interval runs
    at the present rate. The oil pulls the first one forward, never a later
    one, since nobody knows what it will show.

    Example: tapwear plan ahead --years 5
    """
    from tapwear.fleet import assess_store, ground_of
    from tapwear.outlook.renewed import renewed_outlook
    from tapwear.plan.ahead import years_ahead
    from tapwear.report.plan_ahead import ahead_json, ahead_lines
    from tapwear.report.terminal import progress, screen_width

    day = as_of_or_today(as_of)
    store = open_the_store(context)
    with progress("Reading the store and projecting"):
        found = assess_store(store, day)
        book = found.book
        ground = ground_of(book, found.history, found.model, found.verdicts, day, found.stops)
        renewed = renewed_outlook(book.units, book.rules, book.services, book.events, ground, day)
        result = years_ahead(found.outlook, renewed, years)
    if as_json:
        typer.echo(ahead_json(result))
        return
    if not result.units:
        say("No unit in service has a date for an overhaul: give service rules, readings and services first.")
    typer.echo("\n".join(ahead_lines(result, screen_width())))
