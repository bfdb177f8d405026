"""Commands for the planner: plan build, show, list."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli import plan_ahead, plan_given, plan_jobs, plan_keeping, plan_papers
from tapwear.cli.context import PLANNING, as_of_or_today, now, open_the_store, say, today, who
from tapwear.cli.entering import tell
from tapwear.cli.plan_papers import Name, load_view
from tapwear.cli.tracking import keep_snapshot
from tapwear.errors import PlanIncomplete, TapwearError, UsageError
from tapwear.words import stop_notice

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import date

    from tapwear.blocks import Dates
    from tapwear.plan.types import PlanResult
    from tapwear.report.plan_data import PlanView
    from tapwear.store.engine import Store

SECONDS = 20.0  # a planner's patience; our choice
plan_app = typer.Typer(
    no_args_is_help=True,
    help=(
        "Put the overhauls that are due into weeks that stations and crews can spare. What they allow is given with "
        "plan input or by file; what is not given is assumed, and the plan says so."
    ),
)


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
    short = "Put the overhauls that are due into weeks; give the inputs; show, keep, compare and export plans."
    for module in (plan_keeping, plan_jobs, plan_given, plan_ahead, plan_papers):
        module.register(plan_app)
    app.add_typer(plan_app, name="plan", rich_help_panel=PLANNING, short_help=short)


@plan_app.command("build")
def build(
    context: typer.Context,
    year: Annotated[int, typer.Argument(metavar="YEAR", min=1990, max=2200, help="The year to plan, in ISO weeks.")],
    as_of: Annotated[
        str | None, typer.Option("--as-of", metavar="DATE", help="Plan as of this day; else today.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="Its name; else YEAR-a, YEAR-b and so on.")] = None,
    seconds: Annotated[
        float, typer.Option("--seconds", min=0.0, max=86_400.0, help="How long to look for a better plan.")
    ] = SECONDS,
    keep_close: Annotated[
        bool, typer.Option("--keep-close", help="Move as little as possible against the newest plan of the year.")
    ] = False,
    follow: Annotated[str | None, typer.Option("--follow", metavar="PLAN", help="The same against this plan.")] = None,
    afresh: Annotated[bool, typer.Option("--afresh", help="Follow no plan, not even the published one.")] = False,
    by: Annotated[
        str | None, typer.Option("--by", metavar="NAME", help="Who plans; else TAPWEAR_NAME or the login name.")
    ] = None,
) -> None:
    """Make a plan for a year, show it and keep it as a draft.

    Every overhaul whose early date falls before the end of the year is
    placed where the whole plan costs least: see tapwear plan costs. How far
    it can at most be from the best plan is proved and shown.

    Where the year has a published plan, moving a job away from it costs, so
    that only what must moves. What is done is left out, what is under way
    stays, and what the published plan of an earlier year has still to come
    is left to it. A unit whose stop stands has no place: the engineer
    decides now. One that he has released for work goes before all others.
    What finds no place is listed with the reason; the exit code is then 6.

    Plans are never overwritten: build another beside it.

    Examples:
      tapwear plan build 2027 --as-of 2026-06-30
      tapwear plan build 2027 --keep-close --seconds 120
    """
    from tapwear.plan.check import check
    from tapwear.plan.document import to_document
    from tapwear.report.plan_words import engineer_lines
    from tapwear.store import plans

    day = as_of_or_today(as_of)
    store = open_the_store(context)
    if name is not None:
        plans.check_name(store, name)
    followed = _to_follow(store, year, keep_close, follow, afresh)
    result, dates = _build(store, year, day, seconds, followed)
    broken = check(result)
    if broken:
        raise TapwearError("This plan broke rules of its own and was not kept. Please report it: " + "; ".join(broken))
    if not result.slots:
        tell(*engineer_lines(result.at_engineer))
        say(f"Nothing falls due by the end of {year}, as of {day.isoformat()}: no plan was made.")
        return
    kept = plans.save_plan(store, to_document(result), name=name, by=who(context, by), at=now())
    keep_snapshot(store, dates, who(context, by))
    view = load_view(store, kept)
    _print(view)
    named = shlex.quote(kept)
    say(f"Saved as plan {kept} in {store.path}. Next: tapwear plan export {named} --format html --out plan.html")
    if result.undated:
        say(f"{len(result.undated)} with unknown date: give the last service, the interval or a reading of each.")
    if result.stopped:
        raise PlanIncomplete(f"{len(result.stopped)} found no place; see Not placed for what stops them.")


def _to_follow(
    store: Store, year: int, keep_close: bool, follow: str | None, afresh: bool
) -> tuple[str, PlanResult, bool] | None:
    """The plan to keep close to: the named one, else the published one, else with keep_close the newest of the year;
    last, whether it was ever published."""
    from tapwear.plan.document import from_document
    from tapwear.store.plans import load_plan, plan_of_year

    if afresh and (keep_close or follow):
        raise UsageError("--afresh follows no plan; leave out --keep-close and --follow, or leave out --afresh.")
    name = follow or (None if afresh else plan_of_year(store, year, published_only=not keep_close))
    if name is None:
        if keep_close:
            say(f"There is no plan of {year} to keep close to; this one is made afresh.")
        return None
    head, document = load_plan(store, name)
    if head.year != year:
        raise UsageError(f"{name} is a plan of {head.year}; --follow takes one of {year}. All: tapwear plan list")
    return name, from_document(document), head.status != "draft"


def _planned_before(store: Store, year: int, day: date, released: Collection[str]) -> dict[str, str]:
    """By unit, where a published plan of an earlier year has it in weeks that are not over; of the units released for
    work under a stop only where it was planned as such."""
    from datetime import timedelta

    from tapwear.store.plans import list_plans, load_plan
    from tapwear.weeks import monday

    found: dict[str, str] = {}
    for head in list_plans(store):
        if head.status == "published" and day.year - 1 <= head.year < year:
            for job in load_plan(store, head.name)[1]["jobs"]:
                if job["start_week"] and monday(job["start_week"]) + timedelta(weeks=job["weeks"]) > day:
                    if job["unit"] in released and not job.get("release"):
                        continue
                    found[job["unit"]] = f"plan {head.name}, {job['start_week']}"
    return found


def _build(
    store: Store, year: int, day: date, seconds: float, followed: tuple[str, PlanResult, bool] | None
) -> tuple[PlanResult, Dates]:
    from tapwear.blocks import fleet_dates
    from tapwear.cli.plan_keeping import costs_of
    from tapwear.plan.build import build_plan
    from tapwear.plan.inputs import Inputs
    from tapwear.plan.jobs import last_day
    from tapwear.report.terminal import progress
    from tapwear.store.loading import load_sites
    from tapwear.store.planning import load_planning

    if last_day(year) < day:
        raise UsageError(f"{year} is over on {day.isoformat()}: name a later year, or an earlier --as-of.")
    with progress("Reading the store and projecting"):
        dates = fleet_dates(store, day)
        sites = load_sites(store, day)
    released = {due.unit for due in dates.outlook.dues if due.release}
    with store.rows() as connection:
        inputs = Inputs.of(load_planning(connection, day))
    with progress(f"Looking for a better plan, {seconds:g} s at most"):
        result = build_plan(
            dates.outlook,
            year,
            closures=sites.closures,
            transfer_groups=sites.transfer_groups,
            crews=sites.crews,
            units=sites.units,
            inputs=inputs,
            costs=costs_of(store),
            seconds=seconds,
            follow=followed[1] if followed else None,
            follows=followed[0] if followed else "",
            handed_out=bool(followed and followed[2]),
            elsewhere=_planned_before(store, year, day, released),
        )
    return result, dates


def _print(view: PlanView) -> None:
    import sys

    from tapwear.report.plan_table import plan_plain, plan_screen
    from tapwear.report.terminal import is_screen, make_console

    if not is_screen(sys.stdout):
        typer.echo("\n".join(plan_plain(view)))
        return
    console = make_console()
    for line in plan_screen(view, console):
        console.print(line, soft_wrap=True)


@plan_app.command("show")
def show(
    context: typer.Context,
    name: Name = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for other programs.")] = False,
) -> None:
    """Show a plan: what goes out in which week and why, what found no place, what was assumed."""
    view = load_view(open_the_store(context), name)
    if as_json:
        from tapwear.report.plan_data import plan_json

        typer.echo(plan_json(view))
    else:
        _print(view)


@plan_app.command("list")
def list_all(context: typer.Context) -> None:
    """List the plans of this store, the oldest first."""
    from tapwear.outlook.stops import recorded_stops
    from tapwear.report.terminal import columns
    from tapwear.store.plans import list_plans
    from tapwear.store.stops import list_stops

    store = open_the_store(context)
    with store.rows() as connection:
        stops = recorded_stops(list_stops(connection), today())
    standing = [unit for unit, stop in stops.items() if stop is not None and stop.stands]
    if standing:
        typer.echo(f"{stop_notice(*standing)} Taken out of every plan: the engineer decides now.")
    heads = list_plans(store)
    if not heads:
        say("There is no plan yet. Make one with: tapwear plan build YEAR")
        return
    rows = [
        [
            head.name,
            str(head.year),
            head.as_of.isoformat(),
            str(head.placed),
            str(head.not_placed),
            f"published {head.published_on} by {head.published_by}" if head.status == "published" else head.status,
            head.recorded_at.astimezone().date().isoformat(),
            head.recorded_by,
        ]
        for head in heads
    ]
    headings = ["plan", "year", "as of", "placed", "not placed", "status", "made on", "by"]
    typer.echo("\n".join(columns(headings, rows, right=(3, 4))))
