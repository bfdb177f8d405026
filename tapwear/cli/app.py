"""The `tapwear` command: its options before the command, its groups, and the one place where errors become words."""

from __future__ import annotations

import errno
import os
import sys
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from tapwear import __version__
from tapwear.cli.contents import CONTENTS, load
from tapwear.cli.context import access_of, find_store, say
from tapwear.errors import TapwearError

DISK_TROUBLE = (errno.ENOSPC, errno.EIO, errno.EFBIG, errno.EDQUOT)  # while standard output goes to a file
PLACE_TROUBLE = (errno.EACCES, errno.EPERM, errno.EROFS, errno.ENAMETOOLONG, errno.ELOOP)  # of a place that was named


class Commands(TyperGroup):
    """Turns our own errors into one message on standard error and their exit code; never a traceback for them."""

    def list_commands(self, ctx: Any) -> list[str]:
        """The commands in the order of the help."""
        return list(CONTENTS)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command where it has been called, else what the help needs of it."""
        if cmd_name in self.commands or cmd_name not in CONTENTS:
            return self.commands.get(cmd_name)
        return CONTENTS[cmd_name].stand_in(cmd_name)

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """Loads the command that is called."""
        if args and args[0] in CONTENTS:
            self.commands[args[0]] = load(args[0])
        else:
            self.commands.update({name: entry.stand_in(name) for name, entry in CONTENTS.items()})  # for a likely name
        return super().resolve_command(ctx, args)

    def loaded(self) -> Commands:
        """All commands, for whoever wants to see them as they are."""
        self.commands.update({name: load(name) for name in CONTENTS})
        return self

    def invoke(self, ctx: Any) -> Any:
        try:
            done = super().invoke(ctx)
            sys.stdout.flush()
            return done
        except OSError as error:
            if error.errno in PLACE_TROUBLE and error.filename is not None:
                say(f"{error.filename} cannot be used: {error.strerror}. Name another place, or ask whoever owns it.")
                raise typer.Exit(4) from error
            if error.errno not in DISK_TROUBLE or error.filename is not None:
                raise
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # else Python tries once more at its end
            say(f"The output could not be written: {error.strerror}. What stands in it so far is not whole.")
            raise typer.Exit(2) from error
        except TapwearError as error:
            say(str(error))
            raise typer.Exit(error.exit_code) from error
        except (KeyboardInterrupt, typer.Abort, EOFError):
            say("Stopped; nothing more was recorded.")
            raise typer.Exit(130) from None


app = typer.Typer(
    cls=Commands,
    help=(
        "When each on-load tap changer must be opened for its internal overhaul, why, and in which week the station "
        "can spare it. Start with: tapwear demo"
    ),
    epilog=(
        "Exit codes: 0 done; 1 a fault of ours; 2 command not understood; 3 some data not taken; 4 store missing, "
        "in use or not ours; 5 store of another schema version; 6 plan made, not every job placed; "
        "7 check found something; 130 stopped."
    ),
    no_args_is_help=True,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _version(value: bool) -> None:
    if value:
        typer.echo(f"tapwear {__version__}")
        raise typer.Exit


@app.callback()
def root(
    context: typer.Context,
    db: Annotated[
        str | None,
        typer.Option(
            "--db",
            metavar="FILE",
            help="The store to use, a file or postgresql://…; else TAPWEAR_DB, the settings file, ./tapwear.db.",
        ),
    ] = None,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and stop.")
    ] = False,
) -> None:
    context.obj = find_store(db)
    former = os.umask(0o007 if access_of(context.obj) & 0o060 else 0o077)  # for whatever file a command writes
    context.call_on_close(lambda: os.umask(former))

