"""Commands that keep the store safe: backup, restore, dump, check."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import KEEPING, access_of, now, open_at, open_the_store, say, setup_of, store_path, today
from tapwear.cli.stops import before_list, stops_named
from tapwear.report.plain import json_text
from tapwear.words import first_few

if TYPE_CHECKING:
    from tapwear.store.engine import Store

BACKUP_HELP = (
    "Copy the whole store into one file, while others go on working.\n\n"
    "The whole store is looked through first, as by tapwear check: what is found is named, and the command ends in 7. "
    "The copy shows one moment, and is proved complete before it gets its name. Without FILE it goes beside "
    "the store, with the time in its name. Nothing is ever overwritten. Keep a copy on another machine.\n\n"
    "Example: tapwear --db north.db backup /media/stick/north-2026-06.db"
)
RESTORE_HELP = (
    "Put a backup, or the folder of a dump, in place as the store.\n\n"
    "It is looked through first, as by tapwear check; what is not sound is named and not taken. "
    "The store is the one named with --db, with TAPWEAR_DB or in the settings file; where none is "
    "named, it is tapwear.db in this folder. A store that is there already is replaced only with --replace, and is "
    "kept beside it, with the time in its name. Where --db is the URL of an empty database on a server, a dump goes "
    "into that, all of it or nothing.\n\n"
    "Examples:\n\n"
    "  tapwear --db north.db restore north-2026-06.db\n\n"
    "  tapwear --db again.db restore dump-folder\n\n"
    "  tapwear --db postgresql://USER@HOST/DATABASE restore dump-folder"
)
DUMP_HELP = (
    "Write everything in the store as plain CSV files into a new folder.\n\n"
    "One file a table, with all that was ever recorded, who recorded it and what it corrects, and manifest.json, "
    "which says how to read them and how to tell that they are complete. tapwear restore FOLDER makes a store of them "
    "again.\n\n"
    "Example: tapwear --db north.db dump north-2026-06"
)
CHECK_HELP = (
    "Look through the whole store for what cannot be right.\n\n"
    "Damage to the file, references to rows that are not there, corrections that go round in a ring, rows that nothing "
    "leads to, days that cannot be, what is suspicious, and what stopped work left beside the store: one line each "
    "with what to do about it. Nothing is changed. In a database on a server, all but damage is looked for: that is "
    "the server's to prove.\n\n"
    "Exit codes: 0 nothing found that cannot be right; 4 no store; 7 something found.\n\n"
    "Example: tapwear --db north.db check"
)


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
    app.command("backup", help=BACKUP_HELP, rich_help_panel=KEEPING)(backup)
    app.command("restore", help=RESTORE_HELP, rich_help_panel=KEEPING)(restore)
    app.command("dump", help=DUMP_HELP, rich_help_panel=KEEPING)(dump)
    app.command("check", help=CHECK_HELP, rich_help_panel=KEEPING)(check)


def _beside(path: Path, what: str) -> Path:
    return path.with_name(f"{path.stem}-{what}-{now():%Y%m%dT%H%M%SZ}{path.suffix}")


def _tidy(folder: Path) -> None:
    """Clears away what stopped work left in the folder that is written into, and names what only looks like it."""
    from tapwear.store.unfinished import leftovers

    for left in leftovers(folder, clear=True):
        if left.doubt:
            say(f"{left.path} looks like what stopped work leaves, but {left.doubt}. Delete it if nobody needs it.")
        else:
            say(f"Cleared away {left.path} ({left.size / 1e6:,.1f} MB), left by work that was stopped.")


def wrong_in(store: Store) -> list[str]:
    """What a look through the whole store finds that cannot be right, in sentences."""
    from tapwear.store.checking import check_store, wrong

    return [one.sentence() for one in wrong(check_store(store, today=today(), now=now()))]


def _wrong_in_file(path: Path) -> list[str]:
    store = open_at(path)
    try:
        return wrong_in(store)
    finally:
        store.close()


def _name(found: Sequence[str], where: object) -> None:
    """Raises FoundWrong where something was found, with the first of it."""
    from tapwear.errors import FoundWrong

    if found:
        raise FoundWrong(f"{where} holds what cannot be right: {first_few(found)}. All: tapwear check")


def backup(
    context: typer.Context,
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="Where the copy goes; else beside the store.")
    ] = None,
) -> None:
    """Copy the whole store into one file."""
    from tapwear.store.backup import back_up

    store = open_the_store(context)
    to = file or _beside(store.path, "backup")
    found = wrong_in(store)
    _tidy(to.parent)
    proof = back_up(store, to)
    sound = "complete, and like the store not sound" if found else "proved sound and complete"
    say(f"Wrote {to}: {proof.total:,} rows in {len(proof.rows)} tables, {sound}.")
    say(f"The way back: tapwear --db FILE restore {to}")
    _name(found, store.path)


def restore(
    context: typer.Context,
    source: Annotated[Path, typer.Argument(metavar="SOURCE", help="A backup, or a folder made by tapwear dump.")],
    replace: Annotated[
        bool, typer.Option("--replace", help="A store that is there already may be replaced; it is kept aside.")
    ] = False,
    as_it_is: Annotated[
        bool, typer.Option("--as-it-is", help="Also what tapwear check would complain of; damage never.")
    ] = False,
) -> None:
    """Put a backup or a dump in place as the store."""
    from tapwear.store.restore import restore as put_in_place
    from tapwear.store.version import LATEST

    setup = setup_of(context)
    if isinstance(setup.db, str):
        _restore_on_server(source, setup.db, replace)
        return
    path = store_path(context) if setup.db else Path("tapwear.db")
    if path.is_symlink():  # the store is what the link names, and stays where others find it
        path = path.resolve()
    _tidy(path.parent)
    done = put_in_place(
        source, path, aside=_beside(path, "before-restore"), replace=replace, access=access_of(setup),
        look=_wrong_in_file, as_it_is=as_it_is,
    )  # fmt: skip
    if done.aside is not None:
        say(f"The store that was there is kept as {done.aside}")
    older = done.proof.version != LATEST
    sound = "not sound" if done.found else "its pages are sound" if older else "proved sound"
    say(f"{path} holds what {source} held: {done.proof.total:,} rows in {len(done.proof.rows)} tables, {sound}.")
    if older:
        say(f"It has schema {done.proof.version}. Next: tapwear --db {shlex.quote(str(path))} upgrade, then check")
    _name(done.found, path)


def _restore_on_server(source: Path, url: str, replace: bool) -> None:
    from tapwear.errors import UsageError
    from tapwear.store.undump_server import restore_on_server

    if replace:
        raise UsageError("--replace is for a store in a file. A database on a server must be empty: name a new one.")
    store, rows = restore_on_server(source, url)
    say(
        f"{store.path} holds what {source} held: {sum(rows.values()):,} rows in {len(rows)} tables, read back and "
        "found equal."
    )
    _name(wrong_in(store), store.path)


def dump(
    context: typer.Context,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A new folder for the files.")],
) -> None:
    """Write everything in the store as plain CSV files."""
    from tapwear.store.dump import dump_store

    store = open_the_store(context)
    found = wrong_in(store)
    _tidy(folder.parent)
    rows = dump_store(store, folder, at=now(), access=access_of(setup_of(context)))
    say(f"Wrote {folder}: {sum(rows.values()):,} rows in {len(rows)} files, and manifest.json.")
    say(f"The way back: tapwear --db NEWFILE restore {folder}, or with the URL of an empty database for NEWFILE.")
    _name(found, store.path)


def check(
    context: typer.Context,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON on standard output.")] = False,
) -> None:
    """Look through the whole store for what cannot be right."""
    from tapwear.errors import FoundWrong
    from tapwear.report.plain import plain
    from tapwear.store.checking import LOOKED_AT, LOOKED_AT_ON_SERVER, check_beside, check_store, wrong

    store = open_the_store(context)
    found = check_store(store, today=today(), now=now()) + (() if store.on_server else check_beside(store.path))
    stops, marks = ({}, [""] * len(found)) if wrong(found) else stops_named(store, [one.sentence() for one in found])
    if as_json:
        records = [{"stop": mark, **asdict(one)} for mark, one in zip(marks, found, strict=True)]
        typer.echo(json_text({"store": str(store.path), "found": records}))
    else:
        typer.echo(before_list(stops), nl=False)
        for mark, one in zip(marks, found, strict=True):
            typer.echo(plain(f"{mark}  {one.sentence()}" if mark else one.sentence()))
    if wrong(found):
        raise FoundWrong(f"{store.path}: {len(wrong(found)):,} things that cannot be right, as listed.")
    looked_at = LOOKED_AT_ON_SERVER if store.on_server else LOOKED_AT
    say(f"{store.path}: nothing found that cannot be right. {looked_at}")
