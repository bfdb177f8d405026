"""What a plan costs, which one is published, and how two of them differ: plan costs, publish, compare."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import now, open_the_store, say, today, who
from tapwear.cli.plan_papers import load_view, tell_engineer, with_stops
from tapwear.errors import UsageError

if TYPE_CHECKING:
    from tapwear.plan.types import Costs, PlanResult
    from tapwear.store.engine import Store

By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")]


def register(plan_app: typer.Typer) -> None:
    """Adds these commands to the group of the plan."""
    plan_app.command("costs")(costs)
    plan_app.command("publish")(publish)
    plan_app.command("compare")(compare)


def costs_of(store: Store) -> Costs:
    """What a plan costs now: as stated last, else as Tapwear ships it."""
    from tapwear.plan.types import Costs
    from tapwear.store.planning import stated_costs

    with store.rows() as connection:
        stated = stated_costs(connection)
    if not stated:
        return Costs()
    last = stated[-1]
    return Costs(last.late, last.early, last.trip, last.unplaced, last.move)


def costs(
    context: typer.Context,
    late: Annotated[float | None, typer.Option("--late", min=0, max=1e6, help="Each expected week past due.")] = None,
    early: Annotated[
        float | None, typer.Option("--early", min=0, max=1e6, help="Each week of interval thrown away.")
    ] = None,
    trip: Annotated[
        float | None, typer.Option("--trip", min=0, max=1e6, help="Each neighbourhood and week with work in it.")
    ] = None,
    unplaced: Annotated[
        float | None, typer.Option("--unplaced", min=0, max=1e6, help="Each job left out, besides its lateness.")
    ] = None,
    move: Annotated[
        float | None, typer.Option("--move", min=0, max=1e6, help="Each job moved from the plan that is followed.")
    ] = None,
    because: Annotated[str | None, typer.Option("--because", metavar="REASON", help="Why they change.")] = None,
    by: By = None,
) -> None:
    """Show what a plan costs, or state it anew; only the ratios matter.

    Being late counts times the unit's consequence (tapwear plan input
    terms). What an engineer has released for work under a stop goes into the
    first week that the limits allow, whatever that costs. Each plan keeps
    the costs that it was made with; the former ones are kept too.

    Examples:
      tapwear plan costs
      tapwear plan costs --late 15 --trip 30 --because "two crews share a van"
    """
    from dataclasses import asdict

    from tapwear.plan.types import Costs
    from tapwear.report.plan_words import COST_WORDS
    from tapwear.report.terminal import columns
    from tapwear.store.planning import state_costs, stated_costs
    from tapwear.store.recording import Stamp

    given = {"late": late, "early": early, "trip": trip, "unplaced": unplaced, "move": move}
    changes = {name: value for name, value in given.items() if value is not None}
    store = open_the_store(context)
    if changes:
        if not because or not because.strip():
            raise UsageError("Say why the costs change: --because REASON. Nothing was changed.")
        with store.rows(writing=True) as connection:
            state_costs(connection, changes, asdict(Costs()), Stamp(who(context, by), now(), because.strip()))
    with store.rows() as connection:
        stated = stated_costs(connection)
    rows = [[name, f"{value:g}", COST_WORDS[name]] for name, value in asdict(costs_of(store)).items()]
    typer.echo("\n".join(columns(["name", "value", "what it is"], rows, right=(1,))))
    if stated:
        last = stated[-1]
        say(f"Stated on {last.stated_on} by {last.stated_by}: {last.reason}. Used by the next plan build.")
    else:
        say("As Tapwear ships them; nobody has stated others.")


def publish(
    context: typer.Context,
    name: Annotated[str, typer.Argument(metavar="NAME", help="The plan.")],
    because: Annotated[str, typer.Option("--because", metavar="TEXT", help="What is to be known of it.")] = "",
    by: By = None,
) -> None:
    """Make a plan the published one of its year; the one before is superseded and kept.

    Refused where a slot lies past a job's limit (the task has more probably
    than not become due before it starts), or a job that will be past its
    limit has no place, unless a recorded deferral covers it: tapwear defer
    add. Refused too while a job of the plan is stopped, or its oil calls for
    a stop today.

    Example: tapwear plan publish 2027-b
    """
    from tapwear.plan.publish import past_limit
    from tapwear.report.plan_data import job_rows
    from tapwear.report.plan_words import passed_words
    from tapwear.store.deferrals import list_deferrals
    from tapwear.store.plans import publish_plan

    store = open_the_store(context)
    view = load_view(store, name, worked_out=True)
    tell_engineer(view)
    if view.result.taken_out:
        stopped = {one.unit: one.reason for one in view.result.at_engineer}
        gone = [f"  {slot.job.unit}: {stopped.get(slot.job.unit, slot.stopped_by)}" for slot in view.result.taken_out]
        raise UsageError(
            "\n".join([f"{name} was not published.", *gone])
            + f"\nBuild the plan again without them: tapwear plan build {view.result.year}. "
            "The engineer's release of a unit: tapwear stop release"
        )
    with store.rows() as connection:
        deferred = [(row.unit, row.task, row.decided_on, row.expires_on) for row in list_deferrals(connection)]
    past = past_limit(view.result, deferred, today())
    if past:
        raise UsageError(
            f"{name} was not published: {len(past)} past the limit without a recorded deferral.\n"
            + "\n".join(f"  {words}" for words in past)
            + "\nPlan them sooner, or record the decision: tapwear defer add UNIT --task TASK --engineer NAME "
            "--reason TEXT --until DATE --checks TEXT"
        )
    before = publish_plan(store, name, by=who(context, by), at=now(), reason=because)
    say(f"{name} is the published plan of {view.result.year}." + (f" It supersedes {before.name}." if before else ""))
    passed = passed_words(job_rows(view.result), today())
    if passed:
        say(f"Their day has passed, see to them at once or plan anew: {passed}.")


def compare(
    context: typer.Context,
    first: Annotated[str, typer.Argument(metavar="A", help="The earlier plan.")],
    second: Annotated[str, typer.Argument(metavar="B", help="The later plan.")],
    as_json: Annotated[bool, typer.Option("--json", help="As JSON, for other programs.")] = False,
) -> None:
    """List what differs between two plans: jobs moved, added, dropped, each with the reason.

    Reasons are what the two plans themselves hold: readings, samples,
    services, intervals, pins and requests, closed weeks, crews, costs. A job
    that moved for no reason of its own made room for others.

    Example: tapwear plan compare 2027-a 2027-b
    """

    from tapwear.plan.compare import compare_plans
    from tapwear.report.plan_compare import compare_json, compare_lines
    from tapwear.report.terminal import screen_width

    store = open_the_store(context)
    changes = compare_plans(_kept(store, first), _kept(store, second))
    if as_json:
        typer.echo(compare_json(changes, first, second))
        return
    typer.echo("\n".join(compare_lines(changes, first, second, screen_width())))


def _kept(store: Store, name: str) -> PlanResult:
    from tapwear.plan.document import from_document
    from tapwear.store.plans import load_plan

    return with_stops(store, from_document(load_plan(store, name)[1]))
