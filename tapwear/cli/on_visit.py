"""Commands for the technician: unit, log, sample, service."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
