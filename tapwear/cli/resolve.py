"""`tapwear resolve`: two different numbers for one counter and day, settled by a person."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.context import ON_THE_VISIT, open_the_store, parse_date, say
from tapwear.cli.entering import stamp_of, tell, value_of
from tapwear.cli.stops import before_list, stops_among
from tapwear.errors import UsageError
from tapwear.report.plain import json_text, plain
from tapwear.visits.fields import READINGS

if TYPE_CHECKING:
    from tapwear.store.resolving import Conflict

RESOLVE_HELP = (
    "Resolve conflicting readings of one counter and day.\n\n"
    "Where visits of several people differ, all numbers are kept, and the counts weigh each against the readings "
    "around it. Without --keep the open cases are listed. With --keep the other numbers of that day are taken back, "
    "with your name and reason; they stay in the book. Where both were right at different hours, keep the later "
    "one.\n\n"
    "Examples:\n\n"
    "  tapwear resolve\n\n"
    '  tapwear resolve AH-T1 --on 2026-06-03 --keep 48213 --because "asked Kim, digits transposed"'
)


def register(app: typer.Typer) -> None:
    """Adds the command to the application."""
    app.command("resolve", help=RESOLVE_HELP, rich_help_panel=ON_THE_VISIT)(resolve)


def resolve(
    context: typer.Context,
    unit: Annotated[str | None, typer.Argument(metavar="UNIT", help="Tag of the unit; else all units.")] = None,
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day of the readings.")] = None,
    drive: Annotated[str | None, typer.Option("--drive", metavar="NAME", help="Which drive.")] = None,
    source: Annotated[
        str | None, typer.Option("--source", metavar="WHICH", help="Which counter, e.g. controller.")
    ] = None,
    keep: Annotated[str | None, typer.Option("--keep", metavar="VALUE", help="The number that is right.")] = None,
    because: Annotated[str | None, typer.Option("--because", metavar="REASON", help="Why it is right.")] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who decides; else you.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Give the list as JSON on standard output.")] = False,
) -> None:
    """Resolve conflicting readings of one counter and day."""
    from tapwear.store.find import find_unit
    from tapwear.store.resolving import open_conflicts, pick_conflict, settle_conflict

    day = parse_date(on, "--on") if on else None
    store = open_the_store(context)
    if keep is None:
        if because:
            raise UsageError("--because gives the reason of a decision: add --keep VALUE.")
        with store.rows() as connection:
            key = find_unit(connection, unit) if unit else None
            found = [one for one in open_conflicts(connection, key) if day in (None, one.read_on)]
        _show(found, stops_among(store, (one.unit for one in found)), as_json)
        return
    if unit is None:
        raise UsageError("Say which unit: tapwear resolve UNIT --on DATE --keep VALUE --because REASON.")
    number = value_of(READINGS.field("value"), keep, "--keep")
    stamp = stamp_of(context, by, (because or "").strip())
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        conflict = pick_conflict(open_conflicts(connection, key), key.tag, day, drive, source)
        others = settle_conflict(connection, conflict, number, stamp)
    gone = " and ".join(f"{claim.value}{_by(claim.reader)}" for claim in others)
    tell(f"Settled: {conflict.unit} on {conflict.read_on}: {number} stands; taken back: {gone}. Store: {store.path}")


def _show(found: list[Conflict], stops: Mapping[str, str], as_json: bool) -> None:
    if as_json:
        from tapwear.report.frames import stops_first

        typer.echo(json_text(stops_first([_data(one) for one in found], stops)))
        return
    typer.echo(before_list(stops), nl=False)
    for one in found:
        stop = f"{stops[one.unit]}  " if one.unit in stops else ""
        typer.echo(plain(f"{stop}{one.unit} on {one.read_on}, drive {one.drive}, {one.source} counter"))
        for claim in one.claims:
            doubt = f" (questioned: {claim.doubt})" if claim.doubt else ""
            typer.echo(plain(f"  {str(claim.value).zfill(one.digits)}{_by(claim.reader)}{doubt}"))
    if found:
        say("Decide with: tapwear resolve UNIT --on DATE --keep VALUE --because REASON")
    else:
        say("No counter has two numbers for one day.")


def _data(one: Conflict) -> dict[str, Any]:
    claims = [{"value": claim.value, "reader": claim.reader, "doubt": claim.doubt} for claim in one.claims]
    return {
        "unit": one.unit, "drive": one.drive, "source": one.source, "read_on": one.read_on.isoformat(),
        "numbers": claims,
    }  # fmt: skip


def _by(reader: str) -> str:
    return f" by {reader}" if reader else ""
