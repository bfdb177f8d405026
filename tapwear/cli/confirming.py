"""`tapwear confirm`: rows of imports that are held as probably wrong, stored or dropped on a named person's word."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.context import KEEPING, now, open_the_store, say, today, who
from tapwear.cli.entering import asked, at_a_terminal, confirmed, tell
from tapwear.cli.stops import before_list, stops_among, stops_named, tell_notice
from tapwear.errors import DataRejected, UsageError

if TYPE_CHECKING:
    from tapwear.store.engine import Store
    from tapwear.store.holding import Held

CONFIRM_HELP = (
    "Show rows that an import held as probably wrong, and say what is to become of them.\n\n"
    "Held are an interval, a limit or a counter's length ten times or a tenth of what similar units have, work that "
    "seems to be another unit's, a day that seems to be in another century, and a laboratory file in which two columns "
    "seem to be exchanged; with a new unit also the rows that need it. Each is shown with the units that it matters "
    "for.\n\n"
    "Without a number: all that wait. With numbers, or --all: they are stored as they are, or dropped with --drop; who "
    "said so, when and why is kept.\n\n"
    "Examples:\n\n"
    "  tapwear confirm\n\n"
    '  tapwear confirm 3 4 --by "K. Arden" --because "manual, page 12"\n\n'
    '  tapwear confirm 5 --drop --because "the file had columns exchanged"'
)
NUMBERS = typer.Argument(metavar="N...", help="Numbers of held rows.")


def register(app: typer.Typer) -> None:
    """Adds the command to the application."""
    app.command("confirm", help=CONFIRM_HELP, rich_help_panel=KEEPING)(confirm)


def confirm(
    context: typer.Context,
    numbers: Annotated[list[int] | None, NUMBERS] = None,
    everything: Annotated[bool, typer.Option("--all", help="All rows that wait.")] = False,
    drop: Annotated[bool, typer.Option("--drop", help="They are wrong: drop them.")] = False,
    because: Annotated[str | None, typer.Option("--because", metavar="REASON", help="How you know. Needed.")] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who says so; else you.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="List those that wait as JSON.")] = False,
) -> None:
    """Show held rows, and say what is to become of them."""
    from dataclasses import asdict

    from tapwear.report.plain import json_text, plain
    from tapwear.store.holding import decide, held_rows
    from tapwear.store.runs import newest_import

    store = open_the_store(context)
    if not numbers and not everything:
        if drop or because:
            raise UsageError("Say which rows: their numbers, or --all. tapwear confirm lists them.")
        waiting = held_rows(store)
        stops, marks = stops_named(store, [_all_said(held) for held in waiting])
        if as_json:
            typer.echo(json_text([{"stop": mark, **asdict(held)} for mark, held in zip(marks, waiting, strict=True)]))
            return
        typer.echo(before_list(stops), nl=False)
        for mark, held in zip(marks, waiting, strict=True):
            typer.echo(plain(f"{mark}  {held.sentence()}" if mark else held.sentence()))
            if held.row:
                typer.echo(f"   {plain(held.row)}")
        say(f"Rows awaiting confirmation: {len(waiting):,}." if waiting else "No rows awaiting confirmation.")
        return
    if not (because and because.strip()):
        raise UsageError("Say how you know with --because REASON; it is kept with your name.")
    before = newest_import(store)
    chosen = [held for held in held_rows(store) if everything or held.number in (numbers or ())]
    tell_notice(stops_named(store, [_all_said(held) for held in chosen])[0])
    told = decide(
        store,
        None if everything else numbers,
        by=who(context, by),
        at=now(),
        because=because.strip(),
        today=today(),
        drop=drop,
    )
    if not drop:
        _raise_stops(context, store, by, before)
    tell_notice(stops_named(store, [finding.sentence() for finding in told.findings])[0])
    for finding in told.findings:
        say(f"{finding.severity}: {plain(finding.sentence())}")
    say(f"{'Dropped' if drop else 'Stored'}: {len(told.done):,} held rows. Store: {store.path}")
    if any(finding.severity in ("rejected", "conflict") for finding in told.findings):
        raise DataRejected("Not every row could be stored, see above; those go on waiting.")


def _all_said(held: Held) -> str:
    """Everything that a held row says, with all units that it matters for."""
    return " ".join((held.sentence(), *held.units, held.row))


def _raise_stops(context: typer.Context, store: Store, by: str | None, before: int) -> None:
    """Stops for what was stored since the import of that number, said before all else."""
    from tapwear.cli.stops import RAISES, raise_and_tell
    from tapwear.store.runs import newest_import
    from tapwear.store.stops import tags_of_import

    with store.rows() as connection:
        numbers = range(before + 1, newest_import(store) + 1)
        tags = {tag for number in numbers for tag in tags_of_import(connection, number, RAISES)}
    raise_and_tell(context, store, tags, by)


def stood_by(store: Store, unit: str, given: dict[str, Any], sure: str | None) -> str:
    """Why what is said of a unit is right although it looks wrong beside like units; "" where nothing looks wrong.

    sure : the reason given with --sure; without one it is asked for at a terminal. Raises DataRejected when nobody
    stands by it.
    """
    from tapwear.store.holding import units_words
    from tapwear.store.holding_facts import find_doubts
    from tapwear.visits.types import Row

    row = Row("units", "", 0, {**given, "unit": unit})
    with store.rows() as connection:
        doubt = find_doubts(connection, [row], today(), corrects=True).get(id(row))
    if doubt is None:
        return ""
    tell_notice(stops_among(store, [unit, *doubt.units]))
    tell(f"Questioned: {doubt.field.replace('_', ' ')}: {doubt.found}. It matters for {units_words(doubt.units)}.")
    if sure is None and at_a_terminal():
        if not confirmed("Is it right all the same?"):
            raise DataRejected("Nothing was recorded.")
        sure = asked("How do you know")
    if not (sure and sure.strip()):
        raise DataRejected("Not recorded. If it is right all the same, say how you know with --sure REASON.")
    return sure.strip()
