"""`tapwear history`: who recorded what of a unit, when, and what replaced it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.context import open_the_store, parse_date
from tapwear.cli.entering import tell
from tapwear.cli.stops import stops_among, tell_notice
from tapwear.errors import UsageError
from tapwear.report.plain import json_text

if TYPE_CHECKING:
    from tapwear.report.page import Block
    from tapwear.store.find import UnitKey
    from tapwear.store.trail import TrailRow

SHOWN = 40  # rows shown unless more are asked for; our choice


def history(
    context: typer.Context,
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")],
    kind: Annotated[
        str | None,
        typer.Option("--kind", metavar="KIND", help="Only rows of this kind, e.g. reading, sample, service."),
    ] = None,
    since: Annotated[
        str | None, typer.Option("--since", metavar="DATE", help="Only what was recorded on this day or later.")
    ] = None,
    everything: Annotated[bool, typer.Option("--all", help=f"All rows, not only the last {SHOWN}.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")] = False,
) -> None:
    """Show who recorded what of a unit, when, and what replaced it: the latest last.

    The numbers name the rows; `tapwear amend` takes them. Corrected and withdrawn rows stay in the book and show what
    took their place.

    Examples:
      tapwear history T1
      tapwear history T1 --kind reading --since 2026-01-01
    """
    from tapwear.report.page import stop_blocks
    from tapwear.store.find import find_unit
    from tapwear.store.overview import unit_sheet
    from tapwear.store.trail import book_tables, trail_of

    from_day = parse_date(since, "--since") if since else None
    store = open_the_store(context)
    with store.rows() as connection:
        key = find_unit(connection, unit)
        chosen = known_kind(kind, list(book_tables(connection))) if kind else ""
        rows = trail_of(connection, key, [chosen] if chosen else [])
        changes = () if chosen else unit_sheet(connection, key).changes
    numbers = {(row.kind, row.id): row for row in rows}
    shown = [row for row in rows if from_day is None or row.recorded_at.date() >= from_day]
    changes = tuple(change for change in changes if from_day is None or change[0].date() >= from_day)
    if not as_json and not everything and len(shown) > SHOWN:
        left = len(shown) - SHOWN
        tell(f"{left:,} earlier row{'s are' if left > 1 else ' is'} not shown; --all shows all.")
        shown = shown[-SHOWN:]
    stops = stops_among(store, [key.tag])
    if as_json:
        names = ("recorded_at", "recorded_by", "field", "before", "after", "reason")
        register = [dict(zip(names, change, strict=True)) for change in changes]
        told = {
            "stop": stops.get(key.tag, ""),
            "schema": "tapwear.history/1",
            "unit": key.tag,
            "rows": [_record(row, numbers) for row in shown],
            "register": register,
        }
        typer.echo(json_text(told, default=str))
    elif shown or changes:
        _show([*stop_blocks(stops), *_page(key, shown, numbers, changes)])
    else:
        tell_notice(stops)
        tell(f"Nothing is recorded of {key.tag}{' in that kind or since then' if kind or since else ''}.")


def known_kind(kind: str, tables: list[str]) -> str:
    """The table of the book that is meant. Raises UsageError naming all."""
    wanted = kind.strip().casefold().replace(" ", "_")
    for table in tables:
        if wanted in (table, table + "s"):
            return table
    names = ", ".join(table.replace("_", " ") for table in tables)
    raise UsageError(f"There is no kind {kind!r} in the book; kinds are {names}.")


def _show(blocks: list[Block]) -> None:
    import sys

    from tapwear.report.page import page_plain, print_page
    from tapwear.report.terminal import is_screen, make_console

    if is_screen(sys.stdout):
        print_page(blocks, make_console())
    else:
        typer.echo("\n".join(page_plain(blocks)))


def _page(
    key: UnitKey, rows: list[TrailRow], numbers: dict[tuple[str, int], TrailRow], changes: tuple[tuple[Any, ...], ...]
) -> list[Block]:
    from tapwear.report.page import Block, table

    lines = [
        (
            f"{row.recorded_at.astimezone():%Y-%m-%d}",
            row.recorded_by,
            f"{row.kind.replace('_', ' ')} {row.id}",
            str(row.day or ""),
            _words(row, numbers),
        )
        for row in rows
    ]
    register = [
        (
            f"{at.astimezone():%Y-%m-%d}",
            by,
            f"{field.replace('_', ' ')}: {before or 'nothing'} -> {after or 'nothing'}{f'; {why}' if why else ''}",
        )
        for at, by, field, before, after, why in changes
    ]
    title = f"What was recorded of {key.tag}"
    first = Block("Changes of the register", tuple(table(("recorded", "by", ""), register)))
    last = Block(title, tuple(table(("recorded", "by", "number", "of day", ""), lines)))
    return ([first] if register else []) + ([last] if rows else [])


def _words(row: TrailRow, numbers: dict[tuple[str, int], TrailRow]) -> str:
    """What the row says or changed, why, and what became of it."""
    from tapwear.cli.history_words import changed_words, says_words

    before = numbers.get((row.kind, row.supersedes_id or 0))
    if row.withdrawn and before is not None:
        words = f"withdraws {before.kind.replace('_', ' ')} {before.id}"
    elif before is not None and not before.withdrawn:
        words = f"corrects {before.id}: {changed_words(before, row) or 'nothing changed'}"
    elif before is not None:
        words = f"puts into force again: {says_words(row)}"
    else:
        words = says_words(row)
    words += f"; {row.reason}" if row.reason else ""
    words += f" (import {row.import_id})" if row.import_id is not None else ""
    later = numbers.get((row.kind, row.replaced_by or 0))
    if later is not None:
        words += f". {'Withdrawn' if later.withdrawn else 'Replaced'} by {later.id} of {later.recorded_by}"
    return words


def _record(row: TrailRow, numbers: dict[tuple[str, int], TrailRow]) -> dict[str, Any]:
    later = numbers.get((row.kind, row.replaced_by or 0))
    return {
        "kind": row.kind,
        "number": row.id,
        "day": row.day,
        "says": dict(row.says),
        "recorded_at": row.recorded_at.isoformat(),
        "recorded_by": row.recorded_by,
        "reason": row.reason,
        "import": row.import_id,
        "corrects": row.supersedes_id,
        "replaced_by": row.replaced_by,
        "replaced_by_name": later.recorded_by if later else None,
        "withdraws": row.withdrawn,
        "stands": row.stands,
    }
