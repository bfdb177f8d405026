"""The command line: reads the clock, opens the store, calls the functions in order, chooses an exit code."""

import io
import sys

from tapwear.cli.app import app


def main() -> None:
    """The entry point of the `tapwear` command. A letter that the output's encoding lacks is spelled out: `\\u0141`."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")
    app(prog_name="tapwear")


__all__ = ["app", "main"]
