"""Commands for the planner: plan build, show, export."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
