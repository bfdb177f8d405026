"""`tapwear limits`: the user's own limits for the oil, one editable table with where each comes from."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.context import SCHEDULING, as_of_or_today, open_the_store, say
from tapwear.cli.entering import at_a_terminal, confirmed, stamp_of, tell, value_of, values_of
from tapwear.cli.stops import before_list
from tapwear.cli.writing import CSV, may_write, named, write_out
from tapwear.errors import DataRejected, UsageError
from tapwear.visits.fields import LIMITS, SAMPLES

if TYPE_CHECKING:
    from tapwear.store.book import Book

TECHNOLOGIES = LIMITS.field("technology").choices
QUANTITIES = LIMITS.field("quantity").choices
NONE = "none"
SET_HELP = (
    "Set a limit, after a look at whose dates it would move.\n\n"
    f"GROUP is an oil group of your units, or a technology ({', '.join(TECHNOLOGIES)}). QUANTITY is a gas (acetylene, "
    "ethylene, ...), ethylene_to_acetylene, moisture or breakdown. VALUE is in ppm, for moisture in mg/kg, for "
    "breakdown in kV; none takes the limit back.\n\n"
    "A gas beyond its limit in the two newest samples since the last oil change or overhaul, or a trend since then "
    "that meets the limit within two years, brings the overhaul forward. Moisture and breakdown ask for oil work only. "
    "A value below its detection limit is never beyond a limit.\n\n"
    "Whose dates would move is shown before anything is stored. At a terminal you are asked; else give --yes.\n\n"
    "Examples:\n\n"
    '  tapwear limits set R1 acetylene 90 --because "our standard 7, 2025"\n\n'
    '  tapwear limits set vacuum acetylene 5 --because "maker\'s letter of 2024-03-02" --yes\n\n'
    '  tapwear limits set R1 breakdown 30 --method "IEC 60156" --gap 2.5 --because "our standard 7"'
)

limits = typer.Typer(
    no_args_is_help=True, help="Your own limits for the oil: show, set, export. None ship with Tapwear."
)


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
    app.add_typer(limits, name="limits", rich_help_panel=SCHEDULING)


@limits.command("show")
def show(
    context: typer.Context,
    as_of: Annotated[
        str | None, typer.Option("--as-of", metavar="DATE", help="Percentiles as of this day; else today.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")] = False,
) -> None:
    """Show the limits that are set, and what like units show.

    For a unit holds your own limit for its group; percentiles of similar units only inform; without either the unit's
    own behaviour decides.

    Example: tapwear limits show
    """
    from tapwear.oil.percentiles import group_percentiles
    from tapwear.oil.verdict import ENOUGH_LIKE_UNITS
    from tapwear.report.limits_view import limit_lines, limits_json, percentile_lines
    from tapwear.store.limits import list_limits
    from tapwear.store.loading import load_book

    day = as_of_or_today(as_of)
    store = open_the_store(context)
    with store.rows() as connection:
        rows = list_limits(connection)
    book = load_book(store, as_of=day)
    groups = group_percentiles(book.samples, book.units[book.units["state"] != "retired"], day)
    if as_json:
        typer.echo(limits_json(rows, groups, ENOUGH_LIKE_UNITS))
        return
    typer.echo("\n".join([*limit_lines(rows), "", *percentile_lines(groups, ENOUGH_LIKE_UNITS)]))


@limits.command("export")
def export(
    context: typer.Context,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write to this file; else to standard output.")
    ] = None,
) -> None:
    """Write the limits as CSV, as `tapwear import` takes them back from a file called limits.csv.

    Example: tapwear limits export --out limits.csv
    """
    from tapwear.report.limits_view import limits_csv
    from tapwear.store.limits import list_limits

    store = open_the_store(context)
    if out is not None:
        may_write(out, store, force=True, endings=CSV)
    with store.rows() as connection:
        rows = list_limits(connection)
    text = limits_csv(rows, [field.name for field in LIMITS.fields])
    if out is None:
        typer.echo(text, nl=False)
        return
    write_out(out, text)
    say(f"{len(rows):,} limits written to {named(out)}")


@dataclass(frozen=True)
class _Change:
    """What is to be set: fields of LIMITS; without a value the limit is taken back."""

    given: dict[str, Any]

    @property
    def key(self) -> tuple[str, ...]:
        names = ("group", "technology", "quantity", "breakdown_method")
        return tuple(str(self.given.get(name, "")) for name in names)


@limits.command("set", help=SET_HELP)
def set_one(
    context: typer.Context,
    group: Annotated[str, typer.Argument(metavar="GROUP", help="An oil group, or a technology.")],
    quantity: Annotated[str, typer.Argument(metavar="QUANTITY", help="What is limited.")],
    value: Annotated[str, typer.Argument(metavar="VALUE", help="The limit, or none.")],
    because: Annotated[str, typer.Option("--because", metavar="TEXT", help="Where the limit comes from.")],
    technology: Annotated[
        str | None, typer.Option("--technology", metavar="KIND", help="Only units of this technology in the group.")
    ] = None,
    method: Annotated[
        str | None, typer.Option("--method", metavar="TEXT", help="Test method of a breakdown voltage.")
    ] = None,
    gap: Annotated[str | None, typer.Option("--gap", metavar="MM", help="Its electrode gap; else any.")] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Set it without a question.")] = False,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who sets it; else you.")] = None,
) -> None:
    """Set a limit, after a look at whose dates it would move."""
    from tapwear.store.limits import drop_limit, limit_columns, set_limit
    from tapwear.store.loading import load_book

    change = _read(group, quantity, value, because, technology, method, gap)
    if "value" in change.given:
        limit_columns(change.given)
    day = as_of_or_today(None)
    store = open_the_store(context)
    book = load_book(store, as_of=day)
    _check_group(book, change)
    _preview(book, change)
    if not yes and not at_a_terminal():
        raise UsageError("Nothing was set. To set it without a question, add --yes.")
    if not yes and not confirmed("Set this limit?"):
        raise DataRejected("Nothing was set.")
    stamp = stamp_of(context, by, because)
    whose = f"limit of {change.given['quantity']} for {group}"
    with store.rows(writing=True) as connection:
        if "value" not in change.given:
            drop_limit(connection, change.given, stamp)
            done = f"Taken back: {whose}"
        else:
            outcome = set_limit(connection, change.given, stamp)
            done = f"In the book already: {whose}" if outcome.kind == "already there" else f"Set: {whose}, {value}"
    tell(f"{done}. Store: {store.path}")


def _read(
    group: str,
    quantity: str,
    value: str,
    because: str,
    technology: str | None,
    method: str | None,
    gap: str | None,
) -> _Change:
    """What was typed, as fields of LIMITS. Raises UsageError."""
    name = _quantity(quantity)
    given: dict[str, Any] = values_of(LIMITS, {"technology": technology}) if technology else {}
    given["quantity"] = name
    if group in TECHNOLOGIES:
        if technology and technology != group:
            raise UsageError(f"{group} is a technology itself; leave --technology out, or name an oil group.")
        given["technology"] = group
    else:
        given["group"] = value_of(LIMITS.field("group"), group, "GROUP")
    if method is not None:
        given["breakdown_method"] = value_of(LIMITS.field("breakdown_method"), method, "--method")
    if gap is not None:
        given["breakdown_gap_mm"] = value_of(LIMITS.field("breakdown_gap_mm"), gap, "--gap")
    if value.strip().casefold() != NONE:
        measured = SAMPLES.field(name) if name != "ethylene_to_acetylene" else LIMITS.field("value")
        given["value"] = value_of(measured, value, "VALUE")
        if not isinstance(given["value"], float):
            raise UsageError(f"VALUE: {value!r} is no limit; write the number alone.")
        given["provenance"] = value_of(LIMITS.field("provenance"), because, "--because")
    return _Change(given)


def _quantity(text: str) -> str:
    """The quantity as stored, from its full name or from the word for it."""
    wanted = text.strip().casefold().replace("-", "_").replace(" ", "_")
    for name in QUANTITIES:
        if wanted == name or name in (f"{wanted}_ul_per_l", f"{wanted}_mg_per_kg", f"{wanted}_kv"):
            return name
    short = [name.removesuffix("_ul_per_l").removesuffix("_mg_per_kg").removesuffix("_kv") for name in QUANTITIES]
    raise UsageError(f"QUANTITY: there is no limit of {text!r}; write one of: {', '.join(short)}.")


def _check_group(book: Book, change: _Change) -> None:
    """Raises UsageError when no unit is of the group, or when a group mixes arcing and vacuum and none is named."""
    from tapwear.store.find import near_names

    group, technology = change.key[:2]
    if not group or "value" not in change.given:
        return
    units = book.units[book.units["state"] != "retired"]
    mine = units[units["oil_group"] == group]
    if mine.empty:
        named = sorted({str(name) for name in units["oil_group"] if name})
        near = near_names(group, named)
        otherwise = f"Did you mean {' or '.join(near)}?" if near else f"Known: {', '.join(named) or 'none'}."
        raise UsageError(f"No unit is of an oil group {group}. {otherwise}")
    kinds = {str(kind) for kind in mine["technology"]}
    if not technology and "vacuum" in kinds and len(kinds) > 1:
        raise UsageError(f"{group} holds vacuum and other units, which have no limit in common: add --technology.")


def _preview(book: Book, change: _Change) -> None:
    """Shows whose dates the change would move, on standard output."""
    from tapwear.fleet import assess_book, under_limits
    from tapwear.report.limits_view import moved_lines, moved_units
    from tapwear.report.terminal import progress

    day = as_of_or_today(None)
    with progress("Working out whose dates would move"):
        before = assess_book(book, day)
        after = under_limits(before, _changed(book, change))
    moved = moved_units(before.outlook, after.outlook, before.verdicts, after.verdicts)
    if not moved:
        typer.echo("No unit's oil call and no date would change.")
        return
    count = f"{len(moved)} unit{'s' if len(moved) > 1 else ''} would change:"
    notice = before_list([one.unit for one in moved if one.after.severe])
    typer.echo(notice + "\n".join([count, "", *moved_lines(moved)]))


def _changed(book: Book, change: _Change) -> Any:
    """The limits frame of the book with the change made."""
    import pandas as pd

    group, technology, quantity, method = change.key
    name = quantity.removesuffix("_ul_per_l")
    held = book.limits
    columns = ["oil_group", "technology", "quantity", "breakdown_method"]
    same = (held[columns] == [group, technology, name, method]).all(axis=1)
    if "value" not in change.given:
        return held[~same]
    row = dict(zip(columns, (group, technology, name, method), strict=True))
    row |= {"value": change.given["value"], "source": change.given["provenance"]}
    row["breakdown_gap_mm"] = change.given.get("breakdown_gap_mm", float("nan"))
    return pd.concat([held[~same], pd.DataFrame([row])], ignore_index=True) if (~same).any() else pd.DataFrame([row])
