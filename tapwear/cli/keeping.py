"""Commands for whoever keeps the store: init, import, findings, demo, upgrade."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
