"""What the oil says: of one unit, of the fleet among like units, and which samples to take next."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import SCHEDULING, as_of_or_today, open_the_store, say, setup_of, with_store
from tapwear.cli.writing import TEXT, may_write, named, write_out
from tapwear.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from datetime import date

    from tapwear.report.oil_unit import OilUnit
    from tapwear.report.page import Block

OIL_HELP = (
    "Show what the oil says.\n\n"
    "UNIT: its samples with what happened between them, ratios, how fast acetylene rises, the call and why, and when "
    "to sample next. --fleet: what the oil asks for, and who is unusual among similar units. --requests: the samples "
    "to take next, by station, with texts for the laboratory and for the bottles. A stopped unit comes first "
    "everywhere, and nobody is asked to sample it, nor a unit whose oil is low. Oil never postpones an overhaul.\n\n"
    "Examples:\n\n"
    "  tapwear oil BRK-T1\n\n"
    "  tapwear oil --fleet\n\n"
    "  tapwear oil --requests --out samples.txt"
)


def register(app: typer.Typer) -> None:
    """Adds the command to the application."""
    app.command("oil", help=OIL_HELP, rich_help_panel=SCHEDULING)(oil)


def oil(
    context: typer.Context,
    unit: Annotated[str | None, typer.Argument(metavar="[UNIT]", help="The unit's asset tag.")] = None,
    fleet: Annotated[bool, typer.Option("--fleet", help="All units, by groups of like equipment.")] = False,
    requests: Annotated[bool, typer.Option("--requests", help="The samples to take next.")] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="With --requests: write the list to this file.")
    ] = None,
    full: Annotated[bool, typer.Option("--all", help="Every sample of the unit, or every unit of the fleet.")] = False,
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", metavar="DATE", help="As of this day (ISO), from what was dated by then."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON instead of words.")] = False,
) -> None:
    """Show what the oil says."""
    if (unit is not None) + fleet + requests != 1:
        raise UsageError("Name one unit, or give --fleet or --requests; tapwear oil --help says more.")
    if out is not None and not requests:
        raise UsageError("--out goes with --requests.")
    day = as_of_or_today(as_of)
    if unit is not None:
        _show_unit(context, unit, day, full=full, as_json=as_json)
    elif fleet:
        _show_fleet(context, day, full=full, as_json=as_json, given_day=as_of)
    else:
        _show_requests(context, day, out=out, as_json=as_json)


def _show_unit(context: typer.Context, name: str, day: date, *, full: bool, as_json: bool) -> None:
    from tapwear.report.oil_data import unit_json
    from tapwear.report.oil_fleet import like_groups, member_of
    from tapwear.report.oil_page import oil_page
    from tapwear.report.terminal import PAGE_WIDTH, can_draw, is_screen, make_console
    from tapwear.store.find import find_unit

    with open_the_store(context).rows() as connection:
        tag = find_unit(connection, name).tag
    units, speak = _units(context, day, tag)
    if tag not in units:
        raise UsageError(f"{tag} was not yet in the register on {day}.")
    one, like = units[tag], member_of(like_groups(units.values(), speak), tag)
    if as_json:
        typer.echo(unit_json(one, like[1] if like else None))
        return
    width = min(make_console().width, PAGE_WIDTH) - 4 if is_screen(sys.stdout) else 76
    _print(oil_page(one, like, width=width, full=full, ascii_only=not can_draw(sys.stdout)))


def _show_fleet(context: typer.Context, day: date, *, full: bool, as_json: bool, given_day: str | None) -> None:
    from tapwear.report.oil_data import fleet_json
    from tapwear.report.oil_fleet import fleet_page, like_groups
    from tapwear.report.oil_words import call_order

    units, speak = _units(context, day)
    groups = like_groups(units.values(), speak)
    if as_json:
        typer.echo(fleet_json(groups, day))
        return
    _print(fleet_page(groups, full=full))
    if units:
        first = min(units.values(), key=lambda one: (call_order(one), one.unit))
        store = with_store(setup_of(context))
        when = f" --as-of {day}" if given_day else ""
        say(f"\nOne unit:         tapwear{store} oil {shlex.quote(first.unit)}{when}")
        say(f"Samples to take:  tapwear{store} oil --requests{when}")


def _show_requests(context: typer.Context, day: date, *, out: Path | None, as_json: bool) -> None:
    from tapwear.report.oil_data import requests_json
    from tapwear.report.oil_requests import requests_page, resample_list
    from tapwear.report.page import page_plain

    if out is not None:
        may_write(out, open_the_store(context), force=True, endings=TEXT)
    listed = resample_list(_units(context, day)[0].values(), day)
    if out is None:
        if as_json:
            typer.echo(requests_json(listed))
        else:
            _print(requests_page(listed))
        return
    text = requests_json(listed) if as_json else "\n".join(page_plain(requests_page(listed)))
    write_out(out, f"{text}\n")
    say(f"{len(listed.requests)} units to sample, written to {named(out)}")


def _units(context: typer.Context, day: date, tag: str | None = None) -> tuple[dict[str, OilUnit], Collection[str]]:
    """The oil of every unit as of a day, and who is compared with, with a sign of life where it takes long.

    tag : the one unit that is wanted; the others are then those that bear on it, without a verdict
    """
    from tapwear.fleet import assess_store, assess_units, bank_stopped, low_oil_units, severe_units
    from tapwear.peers import LIKE_OIL, Speakers
    from tapwear.report.oil_unit import oil_units
    from tapwear.report.terminal import progress

    store = open_the_store(context)
    with progress("Reading the oil of the fleet"):
        found = assess_store(store, day) if tag is None else assess_units(store, [tag], day)
    severe = severe_units(found)
    book = found.book
    speak = Speakers.of(book.units, LIKE_OIL[0]).of_groups
    low = low_oil_units(book, day)
    units = oil_units(
        book.units, book.samples, book.oil_events, found.verdicts, severe, day, book.limits, low, bank_stopped(found)
    )
    return units, speak


def _print(blocks: Sequence[Block]) -> None:
    """A page on a screen, or as plain lines into a pipe; the caution on standard error."""
    from tapwear.report.page import page_plain, print_page
    from tapwear.report.terminal import PAGE_WIDTH, is_screen, make_console, note
    from tapwear.words import CAUTION_SHORT

    if is_screen(sys.stdout):
        print_page(blocks, make_console(widest=PAGE_WIDTH))
    else:
        typer.echo("\n".join(page_plain(blocks)))
    note(f"\n{CAUTION_SHORT}")
