"""`tapwear plan input`: what stations, crews and stores allow, given by hand; files go through `tapwear import`."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.context import open_the_store
from tapwear.cli.entering import in_words, stamp_of, tell, values_of
from tapwear.errors import UsageError
from tapwear.report.plain import json_text
from tapwear.visits import planning as tables

if TYPE_CHECKING:
    from tapwear.visits.specs import TableSpec

given_app = typer.Typer(
    no_args_is_help=True,
    help=(
        "Say what stations and crews allow: closed weeks, transfer groups, crews, resources, lead times. The same rows "
        "come by file: tapwear import --help. What is given again replaces what was there; the history is kept."
    ),
)
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")]
From = Annotated[str | None, typer.Option("--from", metavar="DATE", help="First day.")]
To = Annotated[str | None, typer.Option("--to", metavar="DATE", help="Last day, included.")]
FirstDay = Annotated[str, typer.Option("--from", metavar="DATE", help="First day.")]
LastDay = Annotated[str, typer.Option("--to", metavar="DATE", help="Last day, included.")]
Why = Annotated[str | None, typer.Option("--why", metavar="TEXT", help="Reason.")]
Station = Annotated[str | None, typer.Option("--station", metavar="CODE", help="The station (or give another).")]
Unit = Annotated[str | None, typer.Option("--unit", metavar="TAG", help="One unit.")]


def register(plan_app: typer.Typer) -> None:
    """Adds the group to that of the plan."""
    short = "Say what stations and crews allow; list it, take it back."
    plan_app.add_typer(given_app, name="input", short_help=short)


def take(context: typer.Context, table: TableSpec, given: dict[str, Any], by: str | None, what: str) -> bool:
    """Stores one row given by hand and says so; whether it was new. Raises UsageError naming what does not fit."""
    from tapwear.store.importing_planning import take_planning
    from tapwear.store.importing_types import Refused
    from tapwear.store.validate import checked

    values = checked(table, values_of(table, given))
    store = open_the_store(context)
    stamp = stamp_of(context, by)
    try:
        with store.rows(writing=True) as connection:
            result = take_planning(connection, table.name, values, stamp, replace=True)
    except Refused as refused:
        field = {"from_on": "--from", "to_on": "--to"}.get(refused.field, refused.field.replace("_", " "))
        raise UsageError(f"{field}: {refused.found}; {refused.remedy}.") from None
    tell(f"Stored: {what}. Store: {store.path}" if result.stored else f"{what} is so already; nothing was added.")
    return result.stored


@given_app.command("close")
def close(
    context: typer.Context,
    station: Annotated[str, typer.Argument(metavar="STATION", help="Code of the station.")],
    weeks: Annotated[
        str | None, typer.Option("--weeks", metavar="WEEKS", help="2027-W20..2027-W36, or W24..W35 for every year.")
    ] = None,
    from_on: From = None,
    to_on: To = None,
    why: Why = None,
    by: By = None,
) -> None:
    """Close a station: nothing may be out there in these weeks or days, once or every year.

    Examples:
      tapwear plan input close AH --weeks W24..W35 --why "summer peak"
      tapwear plan input close AH --weeks W49..W05 --why "winter peak"
      tapwear plan input close AH --from 2027-03-01 --to 2027-03-12 --why "busbar works"
    """
    given = {"station": station, "weeks": weeks, "from_on": from_on, "to_on": to_on, "why": why}
    every = "every year in " if weeks and weeks.strip().upper().startswith("W") else ""
    ends = every and [int(number) for number in re.findall(r"\d+", weeks or "")]
    turn = ", over the turn of the year" if ends and ends[0] > ends[-1] else ""
    take(context, tables.CLOSURES, given, by, f"{station} closed {every}{weeks or f'{from_on} to {to_on}'}{turn}")


@given_app.command("group")
def group(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="GROUP", help="Name of the transfer group.")],
    station: Station = None,
    unit: Unit = None,
    by: By = None,
) -> None:
    """Put a station (all its units) or a unit into a transfer group: one transformer of it at a time may be out.

    A group may span stations.

    Example: tapwear plan input group "north ring" --station AH
    """
    take(
        context, tables.TRANSFER_GROUPS, {"group": name, "station": station, "unit": unit}, by,
        f"{station or unit} in transfer group {name}",
    )  # fmt: skip


@given_app.command("crew")
def crew(
    context: typer.Context,
    region: Annotated[str, typer.Argument(metavar="REGION", help="The crews' region.")],
    week: Annotated[str, typer.Argument(metavar="WEEK", help="ISO week, 2027-W05.")],
    hours: Annotated[str, typer.Argument(metavar="HOURS", help="Hours on offer, beside those of named teams.")],
    by: By = None,
) -> None:
    """Say how many crew hours a region offers in a week.

    Example: tapwear plan input crew North 2027-W05 160
    """
    take(context, tables.CREWS, {"region": region, "week": week, "hours": hours}, by, f"{hours} h of {region}, {week}")


@given_app.command("team")
def team(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="TEAM", help="Name of the team.")],
    region: Annotated[str, typer.Argument(metavar="REGION", help="Its home region.")],
    hours: Annotated[str, typer.Argument(metavar="HOURS", help="Hours that it works in a week.")],
    skills: Annotated[
        str | None, typer.Option("--skills", metavar="A;B", help="What it is trained for, separated by ;.")
    ] = None,
    by: By = None,
) -> None:
    """Name a team with its home region, weekly hours and skills.

    Example: tapwear plan input team "Team 4" North 120 --skills "vacuum;reactor type"
    """
    given = {"team": name, "region": region, "hours_per_week": hours, "skills": skills}
    take(context, tables.TEAMS, given, by, f"{name}, {region}, {hours} h a week")


@given_app.command("holiday")
def holiday(
    context: typer.Context,
    team_name: Annotated[str, typer.Argument(metavar="TEAM", help="Name of the team.")],
    from_on: FirstDay,
    to_on: LastDay,
    why: Why = None,
    by: By = None,
) -> None:
    """Say when a team does not work.

    Example: tapwear plan input holiday "Team 4" --from 2027-07-05 --to 2027-07-23
    """
    given = {"team": team_name, "from_on": from_on, "to_on": to_on, "why": why}
    take(context, tables.TEAM_HOLIDAYS, given, by, f"{team_name} away {from_on} to {to_on}")


@given_app.command("resource")
def resource(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="NAME", help="What can be booked.")],
    number: Annotated[str, typer.Argument(metavar="NUMBER", help="How many there are.")],
    from_on: From = None,
    to_on: To = None,
    by: By = None,
) -> None:
    """Say how many of something there are to be booked for an outage, always or between two days.

    Example: tapwear plan input resource "mobile transformer" 1
    """
    given = {"resource": name, "number": number, "from_on": from_on, "to_on": to_on}
    take(context, tables.RESOURCES, given, by, f"{number} of {name}")


@given_app.command("terms")
def terms(
    context: typer.Context,
    station: Station = None,
    scheme: Annotated[str | None, typer.Option("--scheme", metavar="NAME", help="All units of a scheme.")] = None,
    unit: Unit = None,
    permit_weeks: Annotated[
        str | None, typer.Option("--permit-weeks", metavar="N", help="Lead time of the switching permit.")
    ] = None,
    recall_hours: Annotated[
        str | None, typer.Option("--recall-hours", metavar="N", help="How soon it can be back when called.")
    ] = None,
    resources: Annotated[
        str | None, typer.Option("--resources", metavar="A;B", help="Resources that its outage needs.")
    ] = None,
    skill: Annotated[str | None, typer.Option("--skill", metavar="NAME", help="Skill that the work needs.")] = None,
    consequence: Annotated[
        str | None, typer.Option("--consequence", metavar="N", help="How much being late matters; others 1.")
    ] = None,
    exchanged: Annotated[
        bool | None, typer.Option("--exchanged/--outaged", help="Bypassed and exchanged: needs no outage.")
    ] = None,
    approver: Annotated[str | None, typer.Option("--approver", metavar="NAME", help="Who approves the outage.")] = None,
    conditions: Annotated[
        str | None, typer.Option("--conditions", metavar="TEXT", help="Under which it may be out.")
    ] = None,
    pcb: Annotated[str | None, typer.Option("--pcb", metavar="TEXT", help="PCB status of the oil.")] = None,
    by: By = None,
) -> None:
    """Say what an outage takes at a station, for a scheme, or for one unit; the narrower goes first.

    Examples:
      tapwear plan input terms --station AH --permit-weeks 3 --approver "control room"
      tapwear plan input terms --unit AH-T1 --resources "mobile transformer" --consequence 3
      tapwear plan input terms --scheme regulator --exchanged
    """
    given = {
        "station": station, "scheme": scheme, "unit": unit, "permit_weeks": permit_weeks,
        "recall_hours": recall_hours, "resources": resources, "skill": skill, "consequence": consequence,
        "exchanged": exchanged, "approver": approver, "conditions": conditions, "pcb": pcb,
    }  # fmt: skip
    take(context, tables.OUTAGE_TERMS, given, by, f"terms of {unit or scheme or station}")


@given_app.command("other")
def other(
    context: typer.Context,
    what: Annotated[str, typer.Argument(metavar="WHAT", help="What is out, and why.")],
    from_on: FirstDay,
    to_on: LastDay,
    station: Station = None,
    unit: Unit = None,
    who: Annotated[str | None, typer.Option("--who", metavar="NAME", help="Whose outage it is.")] = None,
    by: By = None,
) -> None:
    """Enter an outage by others: what shares a transfer group with it stays in service meanwhile.

    Example: tapwear plan input other "line 3, tower painting" --station AH --from 2027-04-05 --to 2027-04-16
    """
    given = {"station": station, "unit": unit, "from_on": from_on, "to_on": to_on, "what": what, "who": who}
    take(context, tables.OTHER_OUTAGES, given, by, f"{what}, {from_on} to {to_on}")


@given_app.command("list")
def list_given(
    context: typer.Context,
    kind: Annotated[str | None, typer.Argument(metavar="[KIND]", help="Only this kind, e.g. closure.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for other programs.")] = False,
) -> None:
    """List all that is given, by kind, each with the number by which it is dropped."""
    from tapwear.store.planning import KINDS, list_planning

    if kind is not None and kind not in KINDS:
        raise UsageError(f"There is no kind {kind!r}; one of: {', '.join(KINDS)}.")
    with open_the_store(context).rows() as connection:
        found = {name: list_planning(connection, name) for name in KINDS if kind in (None, name)}
    if as_json:

        typer.echo(json_text(found, default=str))
        return
    rows = [[name, str(row["row_id"]), _told(row)] for name, rows in found.items() for row in rows]
    if not rows:
        tell("Nothing is given yet; what a plan assumes instead, it says.")
        return
    from tapwear.report.terminal import columns_broken, screen_width

    typer.echo("\n".join(columns_broken(["kind", "number", "says"], rows, screen_width(), right=(1,))))


@given_app.command("drop")
def drop(
    context: typer.Context,
    kind: Annotated[str, typer.Argument(metavar="KIND", help="As tapwear plan input list shows it.")],
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="Its number there.")],
    because: Annotated[str, typer.Option("--because", metavar="REASON", help="Why it no longer holds.")],
    by: By = None,
) -> None:
    """Take one input back; it stays in the history.

    Example: tapwear plan input drop closure 3 --because "works moved"
    """
    from tapwear.store.planning import drop_planning

    store = open_the_store(context)
    with store.rows(writing=True) as connection:
        row = drop_planning(connection, kind, number, stamp_of(context, by, because))
    tell(f"Taken back: {kind} {number}: {_told(row)}. Store: {store.path}")


def _told(row: dict[str, Any]) -> str:
    """`station AH, from week 24, to week 35, why summer peak; Kim, 2026-07-01`."""
    said = [
        f"{name.removesuffix('_on').replace('_', ' ')} {in_words(value)}"
        for name, value in row.items()
        if name not in ("row_id", "recorded_on", "recorded_by") and value not in (None, "", ())
    ]
    by = f"; {row['recorded_by']}, {row['recorded_on']}" if row.get("recorded_by") else ""
    return ", ".join(said) + by
