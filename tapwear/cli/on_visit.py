"""Commands for the technician: unit, visit, log, sample, service, event, condition, corrections."""

from __future__ import annotations

import typer

from tapwear.cli.context import ON_THE_VISIT
from tapwear.cli.on_visit_amend import amend, undo
from tapwear.cli.on_visit_condition import condition
from tapwear.cli.on_visit_event import event
from tapwear.cli.on_visit_history import history
from tapwear.cli.on_visit_log import log
from tapwear.cli.on_visit_sample import sample
from tapwear.cli.on_visit_service import service
from tapwear.cli.on_visit_unit import unit
from tapwear.cli.on_visit_visit import visit


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
    app.command("visit", rich_help_panel=ON_THE_VISIT)(visit)
    app.command("log", rich_help_panel=ON_THE_VISIT)(log)
    app.command("sample", rich_help_panel=ON_THE_VISIT)(sample)
    app.command("service", rich_help_panel=ON_THE_VISIT)(service)
    app.command("event", rich_help_panel=ON_THE_VISIT)(event)
    app.command("history", rich_help_panel=ON_THE_VISIT)(history)
    app.command("amend", rich_help_panel=ON_THE_VISIT)(amend)
    app.command("undo", rich_help_panel=ON_THE_VISIT)(undo)
    app.add_typer(condition, name="condition", rich_help_panel=ON_THE_VISIT)
    app.add_typer(unit, name="unit", rich_help_panel=ON_THE_VISIT)
