"""The command line: reads the clock, opens the store, calls the functions in order, chooses an exit code."""

import io
import os
import sys

from tapwear.cli.signals import RECEIVED, Stopped, nowhere, open_streams, stop_on_signals

CTRL_C = 130  # 128 and the number of SIGINT (POSIX)


def main() -> None:
    """The entry point of the `tapwear` command. A letter that the output's encoding lacks is spelled out: `\\u0141`."""
    open_streams()
    try:
        stop_on_signals()
        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(errors="backslashreplace")
        from tapwear.cli.app import app

        app(prog_name="tapwear")
    except SystemExit as ended:
        if ended.code == CTRL_C and RECEIVED:
            raise SystemExit(128 + RECEIVED[0]) from None
        raise
    except Stopped as stopped:  # before the first command was read, or after the last word was said
        nowhere(sys.stdout)
        os._exit(stopped.exit_code)


__all__ = ["main"]
