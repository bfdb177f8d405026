"""`tapwear next`: which units to visit before the next planning deadline, and what each visit would tell."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.clock import say_ahead
from tapwear.cli.context import SCHEDULING, as_of_or_today, open_the_store, parse_date, say, say_waiting
from tapwear.cli.scheduling import AsJson, AsOf, must_be_known
from tapwear.errors import UsageError

if TYPE_CHECKING:
    from datetime import date

    from tapwear.fleet import Assessment
    from tapwear.outlook.next import Look, Round, SampleWanted, Stopped

NEXT_HELP = (
    "List what to look at next, by station.\n\n"
    "For each unit: whether reading its counter would narrow the range of its date, and by how many days; readings "
    "older than the visit rule says or is usual for the unit; samples that the oil or the rule asks for, and whether "
    "they need an outage. Units that wait for the engineer's decision come first, then stations where most is to be "
    "gained. Stopped units are not visited: they go to the engineer.\n\n"
    "Examples:\n\n"
    "  tapwear next\n\n"
    "  tapwear next --by 2026-09-30 --region North\n\n"
    "  tapwear next --station BRK --csv > round.csv"
)


def register(app: typer.Typer) -> None:
    """Adds the command to the application."""
    app.command("next", help=NEXT_HELP, rich_help_panel=SCHEDULING)(next_visits)


def next_visits(
    context: typer.Context,
    station: Annotated[str | None, typer.Option("--station", metavar="S", help="Only units of this station.")] = None,
    region: Annotated[str | None, typer.Option("--region", metavar="R", help="Only units of this region.")] = None,
    by: Annotated[
        str | None, typer.Option("--by", metavar="DATE", help="The planning deadline (ISO); else a reading today.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help="Units that need no visit too.")] = False,
    as_of: AsOf = None,
    as_json: AsJson = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Give CSV on standard output instead of words.")] = False,
) -> None:
    """List what to look at next, by station."""
    from tapwear.fleet import assess_store
    from tapwear.report.next_view import next_csv, next_json
    from tapwear.report.terminal import progress

    if as_json and as_csv:
        raise UsageError("Give --json or --csv, not both.")
    day = as_of_or_today(as_of)
    deadline = parse_date(by, "--by") if by else day
    if deadline < day:
        raise UsageError(f"--by: {deadline} lies before {day}; a deadline is still to come.")
    store = open_the_store(context)
    say_waiting(store)
    say_ahead(store, as_of)
    with progress("Working out what a visit would tell"):
        assessment = assess_store(store, day)
        found = _round(assessment, deadline, everything)
    units = assessment.book.units
    must_be_known("station", station, set(units["station"]))
    must_be_known("region", region, set(units["region"]))

    def here(one: Look | Stopped) -> bool:
        where = ((station, one.station), (region, one.region))
        return all(asked is None or asked.casefold() == its.casefold() for asked, its in where)

    found = replace(found, looks=tuple(filter(here, found.looks)), stopped=tuple(filter(here, found.stopped)))
    if as_json:
        typer.echo(next_json(found))
    elif as_csv:
        typer.echo(next_csv(found), nl=False)
    else:
        _show(found)


def _round(assessment: Assessment, deadline: date, everything: bool) -> Round:
    from tapwear.fleet import low_oil_units, outlook_if_read, visits_expected
    from tapwear.outlook.next import next_round, usual_intervals
    from tapwear.outlook.visits_due import read_by_rule, with_samples_by_rule

    book = assessment.book
    units = book.units
    due = visits_expected(book, assessment.as_of)
    samples = with_samples_by_rule(samples_wanted(assessment, deadline), due, assessment.as_of, deadline)
    low = low_oil_units(book, assessment.as_of)
    return next_round(
        assessment.outlook,
        outlook_if_read(assessment, deadline),
        assessment.verdicts,
        usual_intervals(units, book.readings),
        {tag: one for tag, one in samples.items() if tag not in low},
        set(units.loc[units["sampling_needs_outage"].astype(bool), "unit"]),
        read_by=read_by_rule(due),
        everything=everything,
    )


def samples_wanted(assessment: Assessment, deadline: date) -> dict[str, SampleWanted]:
    """The samples that the oil asks for, and those that fall due by the deadline; those of alarms first. None of a
    stopped unit, nor of one in its bank, nor of one whose oil is low."""
    from tapwear.fleet import bank_stopped, low_oil_units, moved_if_repeated, severe_units
    from tapwear.outlook.next import SampleWanted
    from tapwear.report.oil_unit import next_sample, oil_units

    book, day = assessment.book, assessment.as_of
    severe, low = severe_units(assessment), low_oil_units(book, day)
    units = oil_units(
        book.units,
        book.samples,
        book.oil_events,
        assessment.verdicts,
        severe,
        day,
        low_oil=low,
        bank_stops=bank_stopped(assessment),
    )
    advice = {tag: next_sample(unit) for tag, unit in units.items()}
    wanted = {
        tag: one
        for tag, one in advice.items()
        if one.why in ("alarm", "flagged", "first") or (one.by is not None and one.by <= deadline)
    }
    moves = moved_if_repeated(assessment, wanted, max(deadline, day))
    told = {tag: days for tag, days in moves.items() if days or wanted[tag].why in ("alarm", "flagged")}
    return {
        tag: SampleWanted(one.by or day, one.why, one.words, told.get(tag))
        for tag, one in sorted(wanted.items(), key=lambda item: item[1].why != "alarm")
    }


def _show(found: Round) -> None:
    from tapwear.report.next_view import next_page
    from tapwear.report.page import show_page

    show_page(next_page(found))
    if not found.looks:
        say("No visit is needed before then; --all lists every unit.")
