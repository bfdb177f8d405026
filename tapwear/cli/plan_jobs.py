"""What is decided or known about one unit's outage: plan pin, unpin, forbid, allow, request, progress, work."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import open_the_store, today
from tapwear.cli.entering import past_day, stamp_of, tell
from tapwear.cli.plan_given import take
from tapwear.cli.stops import refuse_stopped
from tapwear.errors import UsageError
from tapwear.visits.planning import JOB_NOTES
from tapwear.words import as_typed

if TYPE_CHECKING:
    from tapwear.store.engine import Store

Tag = Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")]
Because = Annotated[str | None, typer.Option("--because", metavar="REASON", help="Why.")]
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")]
On = Annotated[str | None, typer.Option("--on", metavar="DATE", help="The day; else today.")]


class Request(StrEnum):
    """What becomes of an outage request."""

    ASKED = "asked"
    APPROVED = "approved"
    REFUSED = "refused"
    CANCELLED = "cancelled"


class Progress(StrEnum):
    """How far the work is."""

    STARTED = "started"
    DONE = "done"
    STOPPED = "stopped"


def register(plan_app: typer.Typer) -> None:
    """Adds these commands to the group of the plan."""
    for name, command in (
        ("pin", pin), ("unpin", unpin), ("forbid", forbid), ("allow", allow),
        ("request", request), ("progress", progress), ("work", work),
    ):  # fmt: skip
        plan_app.command(name)(command)


def pin(
    context: typer.Context,
    unit: Tag,
    week: Annotated[str, typer.Argument(metavar="WEEK", help="ISO week in which its outage must start, 2027-W18.")],
    because: Because = None,
    by: By = None,
) -> None:
    """Pin a unit's outage to a week, for every plan of that year; an earlier pin of the year gives way.

    A pin does not break a limit: where it cannot be kept, the plan says what
    stops it. Refused while the unit's stop stands.

    Example: tapwear plan pin AH-T1 2027-W18 --because "works of the line team"
    """
    from tapwear.store.find import find_unit
    from tapwear.store.planning import drop_notes, list_planning
    from tapwear.store.stops import open_stops
    from tapwear.weeks import iso_week, monday

    try:
        wanted = iso_week(monday(week))
    except ValueError as error:
        raise UsageError(f"WEEK: {error}.") from None
    store = open_the_store(context)
    with store.rows() as connection:
        key = find_unit(connection, unit)
        refuse_stopped(open_stops(connection, key), "Nothing was pinned")
        tag = key.tag
        others = {
            row["weeks"]
            for row in list_planning(connection, "note")
            if row["unit"] == tag and row["kind"] == "pin" and row["weeks"][:4] == wanted[:4] != row["weeks"]
        } - {wanted}
    if others:
        with store.rows(writing=True) as connection:
            for before in sorted(others):
                drop_notes(connection, tag, "pin", stamp_of(context, by, f"pinned to {wanted} instead"), before)
    given = {"unit": tag, "kind": "pin", "weeks": wanted, "words": because}
    instead = f", no longer {', '.join(sorted(others))}" if others else ""
    take(context, JOB_NOTES, given, by, f"{tag} pinned to {wanted}{instead}")
    if wanted < iso_week(today()):
        tell(f"{wanted} is over: a plan made today cannot keep it. If the year is wrong: tapwear plan unpin {tag}")


def unpin(context: typer.Context, unit: Tag, because: Because = None, by: By = None) -> None:
    """Take a unit's pins back.

    Example: tapwear plan unpin AH-T1
    """
    _take_back(context, unit, "pin", None, because, by)


def forbid(
    context: typer.Context,
    unit: Tag,
    weeks: Annotated[str, typer.Argument(metavar="WEEKS", help="2027-W20..2027-W25, several separated by blanks.")],
    because: Because = None,
    by: By = None,
) -> None:
    """Say in which weeks a unit may not be out.

    Example: tapwear plan forbid AH-T1 2027-W20..2027-W25
    """
    given = {"unit": unit, "kind": "forbid", "weeks": weeks, "words": because}
    take(context, JOB_NOTES, given, by, f"{unit} may not be out in {weeks}")


def allow(
    context: typer.Context,
    unit: Tag,
    weeks: Annotated[str | None, typer.Argument(metavar="[WEEKS]", help="As they were forbidden; else all.")] = None,
    because: Because = None,
    by: By = None,
) -> None:
    """Take back that a unit may not be out in some weeks.

    Example: tapwear plan allow AH-T1
    """
    _take_back(context, unit, "forbid", weeks, because, by)


def _take_back(
    context: typer.Context, unit: str, kind: str, weeks: str | None, because: str | None, by: str | None
) -> None:
    from tapwear.store.find import find_unit
    from tapwear.store.planning import drop_notes

    store = open_the_store(context)
    with store.rows(writing=True) as connection:
        tag = find_unit(connection, unit).tag
        gone = drop_notes(connection, tag, kind, stamp_of(context, by, because or ""), weeks)
    what = {"pin": "pinned to", "forbid": "forbidden in"}[kind]
    if not gone:
        raise UsageError(f"{tag} is not {what} {weeks or 'any week'}. All: tapwear plan input list note")
    tell(f"Taken back: {tag} {what} {', '.join(gone)}. Store: {store.path}")


def request(
    context: typer.Context,
    unit: Tag,
    status: Annotated[Request, typer.Argument(help="What became of the outage request.")],
    week: Annotated[
        str | None, typer.Option("--week", metavar="WEEK", help="Week asked for; else the unit's in the plan.")
    ] = None,
    person: Annotated[str | None, typer.Option("--person", metavar="NAME", help="Who asked or answered.")] = None,
    on: On = None,
    because: Because = None,
    by: By = None,
) -> None:
    """Record an outage request and its answer: asked, approved, refused, or cancelled, for weather say.

    An approved week is kept like that of a published plan; a refused or
    cancelled one is not planned again for this unit. Of a unit whose stop
    stands, no outage can be asked for or approved.

    Example: tapwear plan request AH-T1 approved --person "control room"
    """
    from tapwear.store.find import find_unit
    from tapwear.store.stops import open_stops

    day = past_day(JOB_NOTES.field("happened_on"), on)
    store = open_the_store(context)
    if status in (Request.ASKED, Request.APPROVED):
        with store.rows() as connection:
            refuse_stopped(open_stops(connection, find_unit(connection, unit)), "No outage was recorded")
    asked = week or _planned_week(store, unit)
    given = {
        "unit": unit, "kind": "request", "weeks": asked, "status": status.value,
        "happened_on": day.isoformat(), "person": person, "words": because,
    }  # fmt: skip
    take(context, JOB_NOTES, given, by, f"outage of {unit} in {asked} {status.value}")


def _planned_week(store: Store, unit: str) -> str:
    """The week of a unit in the published plan, else in the newest one, of this year or later."""
    from tapwear.store.find import find_unit
    from tapwear.store.plans import list_plans, load_plan

    with store.rows() as connection:
        tag = find_unit(connection, unit).tag
    heads = [head for head in list_plans(store) if head.year >= today().year]
    for head in sorted(reversed(heads), key=lambda head: head.status != "published"):
        for job in load_plan(store, head.name)[1]["jobs"]:
            if job["unit"] == tag and job["start_week"]:
                return str(job["start_week"])
    raise UsageError(f"{tag} has no week in any plan: say which one was asked for with --week 2027-W18.")


def progress(
    context: typer.Context,
    unit: Tag,
    status: Annotated[Progress, typer.Argument(help="How far the work is.")],
    on: On = None,
    because: Because = None,
    by: By = None,
) -> None:
    """Record that the work on a unit was started, done, or stopped before it was done.

    What is under way stays in its week when the plan is built again; what is
    done is left out. Stopped work is planned anew.

    Example: tapwear plan progress AH-T1 started --on 2027-05-03
    """
    day = past_day(JOB_NOTES.field("happened_on"), on)
    given = {
        "unit": unit, "kind": "progress", "status": status.value, "happened_on": day.isoformat(), "words": because,
    }  # fmt: skip
    take(context, JOB_NOTES, given, by, f"work on {unit} {status.value} on {day}")
    if status is Progress.DONE:
        service = f"tapwear service {as_typed(unit)} --work overhaul --on {day}"
        tell(f"The clocks start again with the service itself: {service}")


def work(
    context: typer.Context,
    unit: Tag,
    what: Annotated[str, typer.Argument(metavar="TEXT", help="What else is done while it is out.")],
    person: Annotated[str | None, typer.Option("--person", metavar="NAME", help="Who does it.")] = None,
    by: By = None,
) -> None:
    """Note other work to be done in the same outage.

    Example: tapwear plan work AH-T1 "bushing tests"
    """
    given = {"unit": unit, "kind": "other work", "words": what, "person": person}
    take(context, JOB_NOTES, given, by, f"{unit}: {what}")
