"""The command line: reads the clock, opens the store, calls the functions in order, chooses an exit code."""

from tapwear.cli.app import app


def main() -> None:
    """The entry point of the `tapwear` command."""
    app(prog_name="tapwear")


__all__ = ["app", "main"]
