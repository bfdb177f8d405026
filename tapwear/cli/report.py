"""The command for pages that people read: one HTML file, a workbook, or the same content as JSON."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.clock import say_ahead
from tapwear.cli.context import SCHEDULING, as_of_or_today, open_the_store, say, say_waiting
from tapwear.cli.writing import HTML, kind_by_name, may_write, named, write_out
from tapwear.errors import UsageError
from tapwear.report.pages_choice import Format, Pages, Paper

if TYPE_CHECKING:
    import pandas as pd

    from tapwear.fleet import Assessment
    from tapwear.report.pages_fleet import Fleet
    from tapwear.report.stories import Subject

REPORT_HELP = (
    "Write a report: the fleet, the coming overhauls, and a page per unit.\n\n"
    "The HTML file needs nothing beside it, reads on a telephone and prints on A4 or Letter. A unit's page has its "
    "dates and what drives them, the count with rate and forecast, the oil, the work done, and doubtful readings "
    "explained. Without UNIT it covers the whole fleet; more than 100 units have pages only where due within two "
    "years or unusual, unless --units says otherwise. JSON follows the schema in tapwear/report/schema, and goes to "
    "standard output where no --out is given.\n\n"
    "Examples:\n\n"
    "  tapwear report --out fleet.html\n\n"
    "  tapwear report BRK-T1 BRK-T2 --out brackwater.html --paper letter\n\n"
    "  tapwear report --out fleet.xlsx"
)
ENDINGS = {**HTML, ".xlsx": "xlsx", ".json": "json"}


def register(app: typer.Typer) -> None:
    """Adds the command to the application."""
    app.command("report", help=REPORT_HELP, rich_help_panel=SCHEDULING)(report)


def report(
    context: typer.Context,
    units: Annotated[list[str] | None, typer.Argument(metavar="[UNIT]...", help="Only these units.")] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="The file to write.")] = None,
    format_: Annotated[
        Format | None, typer.Option("--format", help="By default what the file's name ends with, else html.")
    ] = None,
    pages: Annotated[
        Pages | None,
        typer.Option("--units", help="Which units have a page: those due or unusual, all, none."),
    ] = None,
    paper: Annotated[Paper, typer.Option("--paper", help="Paper of the HTML pages.")] = Paper.A4,
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", metavar="DATE", help="As of this day (ISO), from what was dated by then."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there already.")] = False,
) -> None:
    """Write a report: the fleet, the coming overhauls, and a page per unit."""
    from tapwear.fleet import assess_store, assess_units
    from tapwear.report.pages_fleet import paged_units
    from tapwear.report.terminal import progress
    from tapwear.store.company import all_tags
    from tapwear.store.find import find_unit
    from tapwear.store.holding import waiting_lines

    if out is None and format_ is not Format.JSON:
        raise UsageError("Name the file to write with --out FILE; only JSON goes to standard output without one.")
    day = as_of_or_today(as_of)
    store = open_the_store(context)
    if out is not None:
        may_write(out, store, force=force, endings=None if format_ else ENDINGS)
    kind = format_ or Format(kind_by_name(out or Path(), ENDINGS))
    with store.rows() as connection:
        asked = tuple(dict.fromkeys(find_unit(connection, name).tag for name in units or ()))
        in_store = len(all_tags(connection))
    waiting = say_waiting(store, asked or None)
    say_ahead(store, as_of, asked or None)
    with progress("Working out the dates of the fleet"):
        found = assess_units(store, asked, day) if asked else assess_store(store, day)
    fleet = replace(_fleet(found, asked, in_store), waiting=waiting_lines(waiting))
    tags = paged_units(fleet, pages)
    with progress("Making the pages", len(tags)) as done:
        subjects = (
            replace(one, waiting=waiting_lines(waiting, one.unit)) for one in _subjects(found, fleet, tags)
        )
        content = _content(kind, fleet, tags, subjects, paper, done)
    if out is None:
        typer.echo(content.decode(), nl=False)
        return
    write_out(out, content)
    paged = "" if kind is Format.XLSX else f", {len(tags)} of them with a page of their own"
    say(f"Wrote {named(out)}: {len(fleet.identities)} units as of {day}{paged}.")


def _fleet(found: Assessment, asked: tuple[str, ...], in_store: int) -> Fleet:
    """The fleet that the report covers: the units asked for, else everything."""
    from tapwear.fleet import bank_stopped, low_oil_units, severe_units
    from tapwear.outlook.conditions import open_conditions
    from tapwear.outlook.types import Outlook
    from tapwear.report.oil_unit import oil_units
    from tapwear.report.pages_fleet import Fleet

    book, day = found.book, found.as_of
    dues = found.outlook.dues
    tags = set(asked) or {str(tag) for tag in book.units["unit"]}
    severe, low = severe_units(found), low_oil_units(book, day)
    oil = oil_units(
        book.units, book.samples, book.oil_events, found.verdicts, severe, day, book.limits, low, bank_stopped(found)
    )
    readings = found.history.readings
    return Fleet(
        as_of=day,
        identities=tuple(row for row in _records(book.units) if row["unit"] in tags),
        outlook=Outlook(day, tuple(due for due in dues if due.unit in tags)),
        oil={tag: unit for tag, unit in oil.items() if tag in tags},
        readings=readings[readings["unit"].isin(tags)],
        conditions={tag: noted for tag, noted in open_conditions(book.conditions, day).items() if tag in tags},
        rules=book.rules[book.rules["unit"].isin(tags)],
        asked=asked,
        in_store=in_store,
    )


def _subjects(found: Assessment, fleet: Fleet, tags: list[str]) -> Iterator[Subject]:
    """What each unit's page rests on, one after the other. Frames are split by unit once, not searched for each."""
    from tapwear.counts.types import CounterHistory
    from tapwear.fleet import contact_wear, count_story, visit_notes
    from tapwear.report.stories import Subject

    book, history = found.book, found.history
    seen, still = visit_notes(book, found.as_of)
    identities = {str(row["unit"]): row for row in fleet.identities}
    stays, services, samples, oil_events, readings, points = (
        _by_unit(frame)
        for frame in (book.stays, book.services, book.samples, book.oil_events, history.readings, history.points)
    )
    for tag in tags:
        own = replace(
            found,
            history=CounterHistory(readings(tag), points(tag), history.open_ends),
            book=replace(book, services=services(tag)),
        )
        try:
            story = count_story(own, tag)
        except KeyError:
            story = None
        oil = fleet.oil.get(tag)
        yield Subject(
            unit=tag,
            as_of=found.as_of,
            identity=identities.get(tag, {"unit": tag}),
            dues=fleet.outlook.of_unit(tag),
            stays=stays(tag),
            services=services(tag),
            samples=samples(tag),
            oil_events=oil_events(tag),
            verdict=oil.verdict if oil else None,
            story=story,
            wear=contact_wear(own, tag),
            stop=found.stops.get(tag),
            noticed=seen.get(tag, ()),
            followups=still.get(tag, ()),
        )


def _by_unit(frame: pd.DataFrame) -> Callable[[str], pd.DataFrame]:
    """Looks up the rows of one unit; none for a unit that has none."""
    parts = {str(tag): part for tag, part in frame.groupby("unit", sort=False)}
    return lambda tag: parts.get(tag, frame.iloc[:0])


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(name): value for name, value in row.items() if name != "home"} for row in frame.to_dict("records")]


def _content(
    kind: Format, fleet: Fleet, tags: list[str], subjects: Iterator[Subject], paper: Paper, done: Callable[[int], None]
) -> bytes:
    if kind is Format.HTML:
        from tapwear.report.pages_html import pages_html

        return pages_html(fleet, tags, subjects, paper, done).encode()
    if kind is Format.JSON:
        from tapwear.report.pages_data import pages_json

        return pages_json(fleet, subjects, done).encode()
    from tapwear.report.pages_xlsx import pages_xlsx

    return pages_xlsx(fleet, paper)
