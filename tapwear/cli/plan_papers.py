"""Commands that put a plan on paper and into other programs: plan export."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import open_the_store, say, today
from tapwear.errors import UsageError
from tapwear.report.pages_choice import BoardPaper

if TYPE_CHECKING:
    from tapwear.report.plan_data import PlanView
    from tapwear.store.engine import Store

Name = Annotated[str | None, typer.Argument(metavar="[NAME]", help="The plan; the newest one if left out.")]


class ExportFormat(StrEnum):
    CSV = "csv"
    XLSX = "xlsx"
    ICS = "ics"
    HTML = "html"


def register(plan_app: typer.Typer) -> None:
    """Adds these commands to the group of the plan."""
    plan_app.command("export")(export)


def load_view(store: Store, name: str | None) -> PlanView:
    """A kept plan by its name, or the newest one, as reports take it, with what was recorded since it was made.

    Raises UsageError where there is none.
    """
    from tapwear.plan.document import from_document
    from tapwear.plan.since import told_since
    from tapwear.report.plan_data import PlanView
    from tapwear.store.planning import load_planning, services_since
    from tapwear.store.plans import load_plan

    head, document = load_plan(store, name)
    result = from_document(document)
    with store.rows() as connection:
        notes, done = load_planning(connection, today())["note"], services_since(connection, result.as_of)
    result = told_since(result, notes, done, today())
    return PlanView(head.name, head.status, head.recorded_at, head.recorded_by, head.sequence, result)


def export(
    context: typer.Context,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The file to write.")],
    name: Name = None,
    format_: Annotated[
        ExportFormat, typer.Option("--format", help="csv and xlsx for tables, ics for a calendar, html for paper.")
    ] = ExportFormat.HTML,
    paper: Annotated[
        BoardPaper, typer.Option("--paper", help="For html: two sheets of A4 landscape, or one of A3.")
    ] = BoardPaper.A4,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there already.")] = False,
) -> None:
    """Write a plan to a file: a table, a workbook, a calendar or a board to hang up."""
    store = open_the_store(context)
    view = load_view(store, name)
    if out.exists() and (not force or out.resolve() == store.path.resolve()):
        raise UsageError(f"{out} is there already. Name another file, or write over it with --force.")
    content = _board(view, paper) if format_ is ExportFormat.HTML else _content(store, view, format_)
    try:
        out.write_bytes(content)
    except OSError as error:
        raise UsageError(f"{out} cannot be written: {error.strerror or error}. Name another file.") from error
    say(f"Wrote plan {view.name} to {out}.")
    waiting = len(view.result.unplaced)
    if format_ is ExportFormat.ICS and waiting:
        say(f"{waiting} not placed: a calendar does not show them; see tapwear plan show {view.name}")


def _earlier(store: Store, view: PlanView) -> list[PlanView]:
    """The plans of the same year made before this one, the oldest first."""
    from tapwear.store.plans import list_plans

    heads = [head for head in list_plans(store) if head.year == view.result.year and head.sequence < view.sequence]
    return [load_view(store, head.name) for head in heads]


def _board(view: PlanView, paper: BoardPaper) -> bytes:
    from tapwear.report.plan_html import plan_html

    return plan_html(view, paper).encode()


def _content(store: Store, view: PlanView, format_: ExportFormat) -> bytes:
    if format_ is ExportFormat.CSV:
        from tapwear.report.plan_csv import plan_csv

        return plan_csv(view).encode()
    if format_ is ExportFormat.XLSX:
        from tapwear.report.plan_xlsx import plan_xlsx

        return plan_xlsx(view)
    from tapwear.report.plan_ics import plan_ics

    return plan_ics(view, _earlier(store, view))
