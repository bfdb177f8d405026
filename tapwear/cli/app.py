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
from tapwear.cli.context import Setup, access_of, find_store, now, open_at, say, today
from tapwear.cli.signals import Stopped, flush_or_drop, nowhere
from tapwear.errors import StoreError, TapwearError
from tapwear.words import masked

DISK_TROUBLE = (errno.ENOSPC, errno.EIO, errno.EFBIG, errno.EDQUOT)  # while standard output goes to a file
BROKEN_PIPE = 13  # SIGPIPE (POSIX), which Windows has not
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

    def make_context(self, *words: Any, **more: Any) -> Any:
        """As usual, with no password in what is said of words that are not understood."""
        try:
            return super().make_context(*words, **more)
        except Exception as error:
            raise _without_password(error)  # noqa: B904 - the same error

    def invoke(self, ctx: Any) -> Any:
        written = _writes()
        try:
            done = super().invoke(ctx)
            sys.stdout.flush()
            return done
        except OSError as error:
            if error.errno in PLACE_TROUBLE and error.filename is not None:
                say(f"{error.filename} cannot be used: {error.strerror}. Name another place, or ask whoever owns it.")
                raise typer.Exit(4) from error
            if error.errno == errno.EPIPE:  # whoever read the output has had enough
                nowhere(sys.stdout)
                raise typer.Exit(128 + BROKEN_PIPE) from None
            if error.errno not in DISK_TROUBLE or error.filename is not None:
                raise
            nowhere(sys.stdout)
            say(f"The output could not be written: {error.strerror}. What stands in it so far is not whole.")
            raise typer.Exit(2) from error
        except TapwearError as error:
            say(str(error))
            raise typer.Exit(error.exit_code) from error
        except (KeyboardInterrupt, typer.Abort, EOFError) as stopped:
            if _writes() > written:
                say("Stopped, while or after something was recorded: tapwear history UNIT shows what stands.")
            else:
                say("Stopped; nothing more was recorded.")
            raise typer.Exit(stopped.exit_code if isinstance(stopped, Stopped) else 130) from None
        except Exception as error:
            if isinstance(error, typer.Exit) or hasattr(error, "format_message"):
                raise _without_password(error)  # noqa: B904 - the same error
            trouble = _of_the_store(ctx.obj, error)
            if trouble is None:
                raise
            say(str(trouble))
            raise typer.Exit(trouble.exit_code) from error
        finally:
            flush_or_drop(sys.stderr)


def _without_password(error: Exception) -> Exception:
    """The error of the command line's own grammar; its message may repeat a URL."""
    if hasattr(error, "message"):
        error.message = masked(error.message)
    return error


def _writes() -> int:
    """How often this process has begun to record something for good."""
    engine = sys.modules.get("tapwear.store.engine")  # not loaded: nothing was
    return engine.Store.writes if engine else 0


def _of_the_store(setup: Any, error: Exception) -> TapwearError | None:
    """What is wrong with the store in use, where a command met what it did not expect; None where nothing is found:
    then the fault is ours."""
    if not isinstance(setup, Setup) or setup.db is None:
        return None
    from tapwear.store.checking import check_store, wrong

    try:
        store = open_at(setup.db)
        found = wrong(check_store(store, today=today(), now=now()))
    except TapwearError as told:
        return told
    if not found:
        return None
    more = f", and {len(found) - 1:,} more: tapwear check" if len(found) > 1 else ""
    return StoreError(
        f"{store.path} holds what cannot be right, and the command could not go on ({type(error).__name__}): "
        f"{found[0].sentence()}{more}"
    )


app = typer.Typer(
    cls=Commands,
    help=(
        "When each on-load tap changer must be opened for its internal overhaul, why, and in which week the station "
        "can spare it. Start with: tapwear demo"
    ),
    epilog=(
        "Exit codes: 0 done; 1 internal error; 2 command not understood; 3 some data not taken; 4 store missing, "
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

