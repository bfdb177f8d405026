"""`tapwear visit-rule`: how often units are to be read and sampled, by scheme or by unit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import SCHEDULING, open_the_store
from tapwear.cli.entering import stamp_of, tell
from tapwear.cli.stops import before_list, stops_among
from tapwear.errors import UsageError
from tapwear.weeks import cadence_days

if TYPE_CHECKING:
    from tapwear.store.visit_rules import VisitRule

visit_rule = typer.Typer(
    no_args_is_help=True, help="How often units are to be read and sampled, by scheme or unit: list and set."
)
_EVERY = "`30 days`, `3 months`, `1 year`, a number of days, or `none`"
_FIELDS = {"read_every_days": "--read", "sample_every_days": "--sample", "still_after_days": "--still-after"}


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
    app.add_typer(visit_rule, name="visit-rule", rich_help_panel=SCHEDULING)


@visit_rule.command("set")
def set_one(
    context: typer.Context,
    scheme: Annotated[str | None, typer.Option("--scheme", metavar="NAME", help="For all units of a scheme.")] = None,
    unit: Annotated[str | None, typer.Option("--unit", metavar="UNIT", help="For one unit; goes first.")] = None,
    read: Annotated[str | None, typer.Option("--read", metavar="TIME", help=f"Read at least every: {_EVERY}.")] = None,
    sample: Annotated[str | None, typer.Option("--sample", metavar="TIME", help="Sample at least every.")] = None,
    still_after: Annotated[
        str | None,
        typer.Option(
            "--still-after", metavar="TIME", help="Tell of a change-over selector not seen to move for; else 1 year."
        ),
    ] = None,
    because: Annotated[str | None, typer.Option("--because", metavar="TEXT", help="Where the rule comes from.")] = None,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")] = None,
) -> None:
    """Say how often to read and to sample; `tapwear next` and the sheets for a round ask for it.

    What is not given stays as it is. Every change is kept in the register's history.

    Examples:
      tapwear visit-rule set --scheme resistor --read "3 months" --sample "1 year" --because "our standard 7"
      tapwear visit-rule set --unit T1 --read "30 days"
      tapwear visit-rule set --unit T1 --read none
    """
    from tapwear.store.find import find_unit
    from tapwear.store.visit_rules import set_visit_rule

    typed = {"read_every_days": read, "sample_every_days": sample, "still_after_days": still_after}
    given = {name: _days(text, _FIELDS[name]) for name, text in typed.items() if text is not None}
    if not given:
        raise UsageError("Give --read, --sample or --still-after; nothing was changed.")
    said = {"scheme": scheme, "unit": unit, **given} | ({"provenance": because} if because else {})
    store = open_the_store(context)
    with store.rows(writing=True) as connection:
        said["unit"] = find_unit(connection, unit).tag if unit else None
        changes = set_visit_rule(connection, said, stamp_of(context, by, because or ""))
    whose = said["unit"] or f"scheme {scheme}"
    told = "; ".join(f"{_label(one.field)} {_shown(one.after)} (before: {_shown(one.before)})" for one in changes)
    tell(f"Set: {whose}: {told}. Store: {store.path}" if told else f"{whose} has that rule already.")


@visit_rule.command("list")
def show(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")] = False,
) -> None:
    """List the rules, those of schemes first.

    Example: tapwear visit-rule list --json
    """
    from tapwear.store.visit_rules import list_visit_rules

    store = open_the_store(context)
    with store.rows() as connection:
        rows = list_visit_rules(connection)
    stops = stops_among(store, (row.unit for row in rows))
    if as_json:
        from dataclasses import asdict

        from tapwear.report.frames import stops_first
        from tapwear.report.plain import json_text

        typer.echo(json_text(stops_first([asdict(row) for row in rows], stops)))
    elif rows:
        typer.echo(before_list(stops) + _page(rows, stops))
    else:
        tell('No visit rule is set. Set one with: tapwear visit-rule set --scheme NAME --read "3 months"')


def _page(rows: list[VisitRule], stops: Mapping[str, str]) -> str:
    from tapwear.report.terminal import columns_broken, screen_width

    cells = [
        (
            row.unit or f"scheme {row.scheme}",
            *(_shown(getattr(row, name)) for name in _FIELDS),
            row.provenance,
        )
        for row in rows
    ]
    headings = ("for", "read every", "sample every", "still after", "because")
    here = [stops.get(row.unit, "") for row in rows]
    return "\n".join(columns_broken(headings, cells, screen_width(), stops=here))


def _days(text: str, option: str) -> float | None:
    """A time in days; None for `none`. Raises UsageError for what is not understood."""
    if text.strip().casefold() == "none":
        return None
    days = cadence_days(f"{text} days" if text.strip().isdigit() else text)
    if days is None:
        raise UsageError(f"{option}: {text!r} is no time; write {_EVERY}.")
    return float(round(days))


def _label(name: str) -> str:
    return name.removesuffix("_days").replace("_", " ")


def _shown(value: object) -> str:
    if value is None:
        return "none"
    return f"{value:g} days" if isinstance(value, int | float) else str(value)
