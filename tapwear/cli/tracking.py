"""`tapwear snapshot`, `track` and `changes`: dates kept as they were told, and held against what happened since."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import SCHEDULING, as_of_or_today, now, open_the_store, parse_date, say, who
from tapwear.errors import UsageError

if TYPE_CHECKING:
    from datetime import date

    from tapwear.blocks import Dates
    from tapwear.fleet import Assessment
    from tapwear.outlook.track import Told
    from tapwear.store.engine import Store
    from tapwear.store.snapshots import SnapshotHead

TRACK_HELP = (
    "Compare past forecasts with outcomes.\n\n"
    "For each kept snapshot: how many of its ranges can be judged by now, and how often the limit was reached before, "
    "within and after them, read off the count and the calendar. Then how the dates of one snapshot have moved since, "
    "and why: a new reading, a new sample, a service, a changed rule. Snapshots are kept by tapwear snapshot and by "
    "every tapwear plan build.\n\n"
    "Examples:\n\n"
    "  tapwear track\n\n"
    "  tapwear track --snapshot 3 --all"
)
CHANGES_HELP = (
    "Say what has changed since a day: the monthly sheet.\n\n"
    "Dates that have moved and why, conditions noted, work done, readings that turned out doubtful, what the oil newly "
    "shows, samples that are due. The fleet as of that day is worked out anew from what is dated up to it, under "
    "today's rules.\n\n"
    "Example:\n\n"
    "  tapwear changes --since 2026-05-31"
)
AsOf = Annotated[str | None, typer.Option("--as-of", metavar="DATE", help="As of this day (ISO); else today.")]
AsJson = Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")]


def register(app: typer.Typer) -> None:
    """Adds the three commands to the application."""
    app.command("snapshot", rich_help_panel=SCHEDULING)(snapshot)
    app.command("track", help=TRACK_HELP, rich_help_panel=SCHEDULING)(track)
    app.command("changes", help=CHANGES_HELP, rich_help_panel=SCHEDULING)(changes)


def keep_snapshot(store: Store, dates: Dates, by: str) -> int:
    """Keeps the dates as they are, and returns the snapshot's number."""
    from tapwear.outlook.track import to_document, told
    from tapwear.store.recording import Stamp
    from tapwear.store.snapshots import save_snapshot

    document = to_document(told(dates.outlook, dates.verdicts))
    with store.rows(writing=True) as connection:
        return save_snapshot(connection, dates.as_of, document, Stamp(by, now()))


def snapshot(
    context: typer.Context,
    as_of: AsOf = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who keeps it; else you.")] = None,
) -> None:
    """Keep today's dates, to hold them later against what happened.

    Example: tapwear snapshot
    """
    from tapwear.blocks import fleet_dates
    from tapwear.report.terminal import progress

    store = open_the_store(context)
    with progress("Working out the dates of the fleet"):
        dates = fleet_dates(store, as_of_or_today(as_of))
    number = keep_snapshot(store, dates, who(context, by))
    say(f"Kept as snapshot {number}: {len(dates.outlook.dues)} dates as of {dates.as_of}. Store: {store.path}")


def track(
    context: typer.Context,
    number: Annotated[
        int | None, typer.Option("--snapshot", metavar="N", help="Whose moved dates to show; else the oldest one's.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="Dates that have hardly moved too.")] = False,
    as_of: AsOf = None,
    as_json: AsJson = False,
) -> None:
    """Compare past forecasts with outcomes."""
    from tapwear.fleet import severe_units
    from tapwear.outlook.track import compare, outcomes, told
    from tapwear.report.page import show_page
    from tapwear.report.track_view import Tracked, track_json, track_page
    from tapwear.store.snapshots import list_snapshots

    day = as_of_or_today(as_of)
    store = open_the_store(context)
    with store.rows() as connection:
        heads = [head for head in list_snapshots(connection) if head.as_of <= day]
    if not heads:
        say(f"No snapshot of {day} or before is kept. Keep one with: tapwear snapshot")
        return
    if number is not None and number not in {head.id for head in heads}:
        raise UsageError(f"There is no snapshot {number}; there are: {', '.join(str(head.id) for head in heads)}.")
    chosen = heads[0].id if number is None else number
    assessment = _assess(store, day)
    present = told(assessment.outlook, assessment.verdicts)
    found = []
    for head in heads:
        then = _load(store, head)
        rows = compare(then, present) if head.id == chosen else ()
        found.append(Tracked(head.id, head.as_of, outcomes(then, assessment.model), rows))
    stops = severe_units(assessment)
    if as_json:
        typer.echo(track_json(found, day, stops))
    else:
        show_page(track_page(found, day, stops, everything=everything))


def changes(
    context: typer.Context,
    since: Annotated[str, typer.Option("--since", metavar="DATE", help="The day to compare with (ISO).")],
    everything: Annotated[bool, typer.Option("--all", help="Dates that have hardly moved too.")] = False,
    as_of: AsOf = None,
    as_json: AsJson = False,
) -> None:
    """Say what has changed since a day: the monthly sheet."""
    from tapwear.cli.next import samples_wanted
    from tapwear.fleet import severe_units, unit_followups
    from tapwear.outlook.changes import changes_between
    from tapwear.outlook.conditions import open_conditions
    from tapwear.outlook.track import told
    from tapwear.report.changes_view import changes_json, changes_page
    from tapwear.report.page import show_page
    from tapwear.store.rule_changes import rule_changes

    day = as_of_or_today(as_of)
    before = parse_date(since, "--since")
    if before >= day:
        raise UsageError(f"--since: {before} does not lie before {day}.")
    store = open_the_store(context)
    then, present = _assess(store, before), _assess(store, day)
    with store.rows() as connection:
        rules = [row.words for row in rule_changes(connection, before, day)]
    found = changes_between(
        told(then.outlook, then.verdicts),
        told(present.outlook, present.verdicts),
        (then.verdicts, present.verdicts),
        (then.history.readings, present.history.readings),
        present.book.services,
        samples_wanted(present, day),
        rules,
        before,
        day,
        unit_followups(present.book, day),
        (open_conditions(present.book.conditions, before), open_conditions(present.book.conditions, day)),
        (then.stops, present.stops),
        present.book.stops,
    )
    stops = severe_units(present)
    if as_json:
        typer.echo(changes_json(found, stops))
    else:
        show_page(changes_page(found, stops, everything=everything))


def _assess(store: Store, day: date) -> Assessment:
    from tapwear.fleet import assess_store
    from tapwear.report.terminal import progress

    with progress(f"Working out the dates as of {day}"):
        return assess_store(store, day)


def _load(store: Store, head: SnapshotHead) -> tuple[Told, ...]:
    from tapwear.outlook.track import from_document
    from tapwear.store.snapshots import load_snapshot

    with store.rows() as connection:
        return from_document(load_snapshot(connection, head.id))
