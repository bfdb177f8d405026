"""Commands for the maintenance scheduler: due, why, oil, backtest."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
