"""Commands for the maintenance scheduler: due, why, backtest."""

from __future__ import annotations

import shlex
import sys
from dataclasses import replace
from datetime import date
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli import backtest_oil, backtests
from tapwear.cli.clock import say_ahead
from tapwear.cli.context import SCHEDULING, as_of_or_today, open_the_store, say, say_waiting, setup_of, with_store
from tapwear.cli.periods import last_day
from tapwear.cli.stops import tell_notice
from tapwear.cli.supposing import show_what_if
from tapwear.errors import UsageError

if TYPE_CHECKING:
    from tapwear.blocks import Dates
    from tapwear.fleet import Assessment
    from tapwear.report.due_choice import Choice
    from tapwear.report.stories import Subject

WITHIN = "2 years"  # how far ahead the list looks unless told otherwise; our choice
# Paragraphs are one line each, since the help keeps line ends as they are.
DUE_HELP = (
    "List the overhauls that come due, the most pressing first.\n\n"
    "Each unit has one row: its contact service, and other tasks that come due before it. The early date leads: by "
    "then the limit is reached with 1 chance in 10 (middle: 5 in 10, late: 9 in 10). The late date is not approval "
    "to wait. Units that are overdue, that have no date or no usable reading, are never left out, unless --station, "
    "--region, --driver or --task says so; standard error then says how many.\n\n"
    "Examples:\n\n"
    "  tapwear due\n\n"
    "  tapwear due --within '18 months' --station BRK\n\n"
    "  tapwear due --driver oil\n\n"
    "  tapwear due --all --csv > due.csv"
)
WHY_HELP = (
    "Show what one unit's dates rest on.\n\n"
    "The dates and what to do next, the doubts, the three clocks, the work done, the rate of operations with a small "
    "chart, the counter readings with doubtful ones explained, and the oil.\n\n"
    "--if, as often as wanted, sets the dates beside those under another interval (interval=60000, years=5), with "
    "operations to come so many times what is expected (rate=1.5@2027-01-01), after an overhaul to come "
    "(overhaul=2026-09-01), or under another limit for the oil (acetylene=60; names as in tapwear limits). Nothing is "
    "stored.\n\n"
    "Examples:\n\n"
    "  tapwear why BRK-T1\n\n"
    "  tapwear why BRK-T1 --as-of 2025-06-30\n\n"
    "  tapwear why BRK-T1 --if interval=60000 --if rate=1.5@2027-01-01"
)
backtest = typer.Typer(no_args_is_help=True, help="Forecasts as of past dates, to see how well they would have done.")


class DriverName(StrEnum):
    """What can drive a date."""

    OPERATIONS = "operations"
    CALENDAR = "calendar"
    OIL = "oil"
    CONDITION = "condition"
    UNKNOWN = "unknown"


AsOf = Annotated[
    str | None,
    typer.Option("--as-of", metavar="DATE", help="Say everything as of this day (ISO), from what was dated by then."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")]


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
    app.command("due", help=DUE_HELP, rich_help_panel=SCHEDULING)(due)
    app.command("why", help=WHY_HELP, rich_help_panel=SCHEDULING)(why)
    app.add_typer(backtest, name="backtest", rich_help_panel=SCHEDULING)
    backtests.register(backtest)
    backtest_oil.register(backtest)


def due(
    context: typer.Context,
    within: Annotated[
        str | None,
        typer.Option(
            "--within",
            metavar="PERIOD",
            help=f"How far ahead to look: '18 months', '90 days', 365. By default {WITHIN}.",
        ),
    ] = None,
    station: Annotated[str | None, typer.Option("--station", metavar="S", help="Only units of this station.")] = None,
    region: Annotated[str | None, typer.Option("--region", metavar="R", help="Only units of this region.")] = None,
    driver: Annotated[
        DriverName | None,
        typer.Option("--driver", metavar="D", help="Only dates driven by this clock."),
    ] = None,
    task: Annotated[
        str | None, typer.Option("--task", metavar="T", help="One task of every unit, e.g. 'contact replacement'.")
    ] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="Every unit and every task, however far ahead (or up to --within).")
    ] = False,
    as_of: AsOf = None,
    as_json: AsJson = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Give CSV on standard output instead of words.")] = False,
) -> None:
    """List the overhauls that come due, the most pressing first."""
    from tapwear.report.due_choice import choose
    from tapwear.report.due_data import due_csv, due_json

    if as_json and as_csv:
        raise UsageError("Give --json or --csv, not both.")
    day = as_of_or_today(as_of)
    until = last_day(within, day) if within is not None else None if everything else last_day(WITHIN, day)
    store = open_the_store(context)
    say_waiting(store)
    say_ahead(store, as_of)
    outlook = _fleet_dates(context, day).outlook
    must_be_known("station", station, {item.station for item in outlook.dues})
    must_be_known("region", region, {item.region for item in outlook.dues})
    must_be_known("task", task, {item.task for item in outlook.dues})
    choice = choose(
        outlook,
        until=until,
        station=station,
        region=region,
        driver=driver.value if driver else None,
        task=task,
        every_task=everything,
    )
    tell_notice(dict.fromkeys(item.unit for item in choice.dues if item.severe))
    if as_json:
        typer.echo(due_json(choice))
    elif as_csv:
        typer.echo(due_csv(choice.dues), nl=False)
    else:
        _show_due(choice)
    _close_due(context, choice, as_of)


def why(
    context: typer.Context,
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="The unit's asset tag.")],
    full: Annotated[bool, typer.Option("--all", help="Every reading and sample, not only the latest.")] = False,
    suppose: Annotated[
        list[str] | None,
        typer.Option("--if", metavar="WHAT", help="interval=N, years=N, rate=F@DATE, overhaul=DATE or GAS=N."),
    ] = None,
    as_of: AsOf = None,
    as_json: AsJson = False,
) -> None:
    """Show what one unit's dates rest on."""
    from tapwear.fleet import assess_units
    from tapwear.report.page import page_plain, print_page
    from tapwear.report.terminal import PAGE_WIDTH, can_draw, is_screen, make_console, note, progress
    from tapwear.report.why_data import why_json
    from tapwear.report.why_view import why_page
    from tapwear.store.find import find_unit
    from tapwear.store.holding import waiting_lines
    from tapwear.words import CAUTION_SHORT

    day = as_of_or_today(as_of)
    store = open_the_store(context)
    with store.rows() as connection:
        tag = find_unit(connection, unit).tag
    waiting = say_waiting(store, [tag])
    say_ahead(store, as_of, [tag])
    with progress(f"Working out the dates of {tag}"):
        assessment = assess_units(store, [tag], day)
    if suppose:
        show_what_if(assessment, tag, suppose, as_json=as_json)
        return
    subject = replace(_subject(assessment, tag), waiting=waiting_lines(waiting))
    if as_json:
        typer.echo(why_json(subject))
        return
    ascii_only = not can_draw(sys.stdout)
    if is_screen(sys.stdout):
        console = make_console(widest=PAGE_WIDTH)
        print_page(why_page(subject, width=console.width - 4, full=full, ascii_only=ascii_only), console)
    else:
        typer.echo("\n".join(page_plain(why_page(subject, full=full, ascii_only=ascii_only))))
    note(f"\n{CAUTION_SHORT}")


def _fleet_dates(context: typer.Context, day: date) -> Dates:
    """The fleet's dates as of a day, with a sign of life where it takes long."""
    from tapwear.blocks import fleet_dates
    from tapwear.report.terminal import progress

    store = open_the_store(context)
    with progress("Working out the dates of the fleet"):
        return fleet_dates(store, day)


def _subject(assessment: Assessment, tag: str) -> Subject:
    """Everything that a page about one unit needs."""
    from tapwear.fleet import contact_wear, count_story, visit_notes
    from tapwear.report.stories import Subject

    book = assessment.book
    rows = book.units[book.units["unit"] == tag].to_dict("records")
    identity = {str(name): value for name, value in rows[0].items() if name != "home"} if rows else {"unit": tag}
    try:
        story = count_story(assessment, tag)
    except KeyError:
        story = None
    seen, still = visit_notes(book, assessment.as_of)
    return Subject(
        unit=tag,
        as_of=assessment.as_of,
        identity=identity,
        dues=assessment.outlook.of_unit(tag),
        stays=book.stays[book.stays["unit"] == tag],
        services=book.services[book.services["unit"] == tag],
        samples=book.samples[book.samples["unit"] == tag],
        oil_events=book.oil_events[book.oil_events["unit"] == tag],
        verdict=assessment.verdicts.get(tag),
        story=story,
        wear=contact_wear(assessment, tag),
        stop=assessment.stops.get(tag),
        noticed=seen.get(tag, ()),
        followups=still.get(tag, ()),
    )


def must_be_known(what: str, wanted: str | None, known: set[str]) -> None:
    """Raises UsageError when a filter names something that the fleet does not have."""
    if wanted is None or wanted.casefold() in {name.casefold() for name in known}:
        return
    from tapwear.store.find import near_names

    names = sorted(name for name in known if name)
    near = near_names(wanted, names)
    otherwise = f"Did you mean {' or '.join(near)}?" if near else f"Known: {', '.join(names) or 'none'}."
    raise UsageError(f"There is no {what} {wanted} in the list. {otherwise}")


def _show_due(choice: Choice) -> None:
    """The list on a screen, or as plain columns into a pipe."""
    from tapwear.report.due_table import due_plain, due_screen, headline
    from tapwear.report.terminal import is_screen, make_console

    if not is_screen(sys.stdout):
        typer.echo("\n".join(due_plain(choice)))
        return
    console = make_console()
    console.print(f"{headline(choice)}\n")
    for line in due_screen(choice, console):
        console.print(line)


def _close_due(context: typer.Context, choice: Choice, as_of: str | None) -> None:
    """What was left out, the caution, and where to look next; all on standard error."""
    from tapwear.report.terminal import note
    from tapwear.words import CAUTION_SHORT

    if choice.hidden:
        note("\n" + "\n".join(hidden.sentence() for hidden in choice.hidden))
    if not choice.units:
        say("The store holds no units in use yet: tapwear import or tapwear unit add brings them in.")
    note(f"\n{CAUTION_SHORT}")
    if choice.dues:
        store = with_store(setup_of(context))
        day = f" --as-of {choice.as_of.isoformat()}" if as_of else ""
        say(f"\nWhat a date rests on:  tapwear{store} why {shlex.quote(choice.dues[0].unit)}{day}")
        say(f"An outage plan:        tapwear{store} plan build {choice.as_of.year + 1}{day}")
