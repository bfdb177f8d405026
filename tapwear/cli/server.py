"""`tapwear server roles`: who may do what in a team's database."""

from __future__ import annotations

from typing import Annotated

import typer

from tapwear.cli.context import open_the_store, say
from tapwear.errors import UsageError

server = typer.Typer(help="A team's store on PostgreSQL: roles for readers, technicians, schedulers, planners.")


@server.callback()
def group() -> None:
    """A team's store on PostgreSQL: roles for readers, technicians, schedulers, planners."""


@server.command("roles")
def roles(
    context: typer.Context,
    run: Annotated[bool, typer.Option("--apply", help="Run the statements instead of printing them.")] = False,
) -> None:
    """Print the statements that make the roles of a team and grant each what it needs, or run them.

    Roles: tapwear_reader reads; tapwear_technician adds to the book of visits; tapwear_scheduler sets limits, rules
    and deferrals; tapwear_planner plans; tapwear_engineer releases stops. Give a person one with: GRANT
    tapwear_technician TO kim. The register (units, where they stand) and imports are for the database's owner. Run it
    again after an upgrade.

    Example: tapwear --db postgresql://owner@host/fleet server roles --apply
    """
    from tapwear.store.roles import ROLES, apply, grants

    store = open_the_store(context)
    if not store.on_server:
        raise UsageError("Roles are for a store on a server; a store in a file is for whoever may open the file.")
    if not run:
        with store.rows() as connection:
            typer.echo(";\n".join(grants(connection)) + ";")
        return
    with store.rows(writing=True) as connection:
        apply(connection)
    for role, words in ROLES.items():
        say(f"{role}: {words}")
