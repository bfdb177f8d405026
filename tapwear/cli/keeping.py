"""Commands for whoever keeps the store: init, import, findings, demo, upgrade."""

from __future__ import annotations

import os
import shlex
from pathlib import Path
from typing import Annotated

import typer

from tapwear.cli.context import KEEPING, access_of, now, open_at, say, setup_of, store_place


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
    app.command("init", rich_help_panel=KEEPING)(init)
    app.command("upgrade", rich_help_panel=KEEPING)(upgrade)


def init(context: typer.Context) -> None:
    """Make a new, empty store.

    The file is the one named with --db before the command, with TAPWEAR_DB or in the settings file.
    Where none is named, it is tapwear.db in this folder. Nothing is ever overwritten. A team's store is kept in an
    empty PostgreSQL database named by a URL, as postgresql://USER@HOST/DATABASE.

    Example: tapwear --db north.db init
    """
    place = setup_of(context).db or Path("tapwear.db")
    if isinstance(place, str):
        from tapwear.store.server import create_on_server

        store = create_on_server(place)
        say(f"Made an empty store: {store.path}")
        say("Next: tapwear --db URL import FILES, or tapwear --db URL unit add --help")
        return
    from tapwear.store.disks import synced_folder
    from tapwear.store.engine import create_store

    create_store(place, access_of(setup_of(context))).close()
    say(f"Made an empty store: {place}")
    synced = synced_folder(place)
    if synced:
        say(
            f"Mind: {synced} is copied to other machines file by file, and a store is several files while it is used: "
            "copies can be torn. Keep the store elsewhere, and put backups there (tapwear backup FILE)."
        )
    if os.name == "nt":
        say("On Windows the file is for whoever may use its folder: keep it in a folder of your own.")
    named = shlex.quote(str(place))
    say(f"Next: tapwear --db {named} import FILES, or tapwear --db {named} unit add --help")


def upgrade(
    context: typer.Context,
    backup: Annotated[
        Path | None,
        typer.Option("--backup", metavar="FILE", help="Where the backup goes; else beside the store, with the time."),
    ] = None,
) -> None:
    """Bring a store of an older Tapwear to the schema of this one; a backup is made first.

    A database on a server is not backed up by this command: use the server's own tools before.
    A step that fails leaves the store as it was. A store that is up to date is left alone.

    Example: tapwear --db north.db upgrade
    """
    from tapwear.store.migrate import upgrade as run_steps

    place = store_place(context)
    store = open_at(place, any_version=True)
    path = store.path
    to = backup or path.with_name(f"{path.stem}-before-upgrade-{now():%Y%m%dT%H%M%SZ}{path.suffix}")
    steps = run_steps(store, to)
    if not steps:
        store.close()
        say(f"{path} is up to date; nothing was done.")
        return
    from tapwear.cli.stops import raise_and_tell

    raise_and_tell(context, store, None, None)
    store.close()
    if not store.on_server:
        say(f"Backup: {to}")
    for step in steps:
        say(f"Done: step {step}")
    say(f"{path} is up to date now.")
