"""Commands that put a plan on paper and into other programs: plan export, outage-requests, job-sheets."""

from __future__ import annotations

import shlex
from collections import Counter
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import open_the_store, say, today
from tapwear.cli.entering import tell
from tapwear.cli.writing import HTML, kind_by_name, may_write, named, write_out
from tapwear.errors import UsageError
from tapwear.report.pages_choice import BoardPaper

if TYPE_CHECKING:
    from tapwear.plan.types import PlanResult
    from tapwear.report.plan_data import PlanView
    from tapwear.store.engine import Store

Name = Annotated[str | None, typer.Argument(metavar="[NAME]", help="The plan; the newest one if left out.")]

Force = Annotated[bool, typer.Option("--force", help="Write over a file that is there already.")]
Units = Annotated[
    list[str] | None, typer.Option("--unit", metavar="TAG", help="Only this unit; may be given several times.")
]


class ExportFormat(StrEnum):
    CSV = "csv"
    XLSX = "xlsx"
    ICS = "ics"
    HTML = "html"


ENDINGS = {**HTML, ".csv": "csv", ".xlsx": "xlsx", ".ics": "ics"}


def register(plan_app: typer.Typer) -> None:
    """Adds these commands to the group of the plan."""
    plan_app.command("export")(export)
    plan_app.command("outage-requests")(outage_requests)
    plan_app.command("job-sheets")(job_sheets)


def load_view(store: Store, name: str | None, *, worked_out: bool = False) -> PlanView:
    """A kept plan by its name, or the newest one, as reports take it, with what was recorded since it was made: first
    of all the stops that stand today; worked_out : as for `with_stops`.

    Raises UsageError where there is none.
    """
    from tapwear.plan.document import from_document
    from tapwear.plan.since import told_since
    from tapwear.report.plan_data import PlanView
    from tapwear.store.planning import load_planning, services_since
    from tapwear.store.plans import load_plan
    from tapwear.store.stops import list_stops

    head, document = load_plan(store, name)
    result = from_document(document)
    with store.rows() as connection:
        notes, done = load_planning(connection, today())["note"], services_since(connection, result.as_of)
        rows = list_stops(connection)
    revised: Counter[str] = Counter()
    for row in rows:
        revised[row.unit] += 1 + (row.work_released_on is not None) + (row.cleared_on is not None)
    result = with_stops(store, told_since(result, notes, done, today()), worked_out=worked_out)
    return PlanView(head.name, head.status, head.recorded_at, head.recorded_by, head.sequence, result, revised)


def with_stops(store: Store, result: PlanResult, *, worked_out: bool = False) -> PlanResult:
    """A kept plan under the stops of today.

    worked_out : not only those in the book, but what its units' oil and visits call for today as well, which takes as
        long as `why`
    """
    from tapwear.outlook.stops import recorded_stops
    from tapwear.plan.since import under_stops
    from tapwear.store.find import find_unit
    from tapwear.store.stays import standing_now
    from tapwear.store.stops import list_stops

    with store.rows() as connection:
        stops = recorded_stops(list_stops(connection), today())
    if worked_out:
        from tapwear.fleet import assess_units
        from tapwear.store.company import all_tags

        with store.rows() as connection:
            known = {slot.job.unit for slot in result.slots} & set(all_tags(connection))
        stops |= assess_units(store, known, today()).stops
    with store.rows() as connection:
        standing = {unit: standing_now(connection, find_unit(connection, unit).id) for unit in stops}
    return under_stops(result, stops, {unit: (row.station, row.bank) for unit, row in standing.items()})


def tell_engineer(view: PlanView) -> None:
    """Says before all else what stands above the plan."""
    from tapwear.report.plan_data import stop_rows
    from tapwear.report.plan_words import engineer_lines

    tell(*engineer_lines(stop_rows(view.result)))


def export(
    context: typer.Context,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The file to write.")],
    name: Name = None,
    format_: Annotated[
        ExportFormat | None,
        typer.Option(
            "--format",
            help="csv and xlsx for tables, ics for a calendar, html for paper; else what the file's name ends with.",
        ),
    ] = None,
    paper: Annotated[
        BoardPaper, typer.Option("--paper", help="For html: two sheets of A4 landscape, or one of A3.")
    ] = BoardPaper.A4,
    force: Force = False,
) -> None:
    """Write a plan to a file: a table, a workbook, a calendar or a board to hang up."""
    store = open_the_store(context)
    view = load_view(store, name)
    tell_engineer(view)
    may_write(out, store, force=force, endings=None if format_ else ENDINGS)
    kind = format_ or ExportFormat(kind_by_name(out, ENDINGS))
    write_out(out, _board(view, paper) if kind is ExportFormat.HTML else _content(store, view, kind))
    say(f"Wrote plan {view.name} to {named(out)}.")
    waiting = len(view.result.unplaced)
    if kind is ExportFormat.ICS and waiting:
        say(f"{waiting} not placed: a calendar does not show them; see tapwear plan show {shlex.quote(view.name)}")


def outage_requests(
    context: typer.Context,
    name: Name = None,
    units: Units = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="An HTML file, one A4 page each; else as text.")
    ] = None,
    force: Force = False,
) -> None:
    """Write the outage request of each job: what goes out, when, for how long, under what conditions, who approves.

    What is still to be done, in the order of its weeks; with --unit also
    what is done. What becomes of a request is recorded with plan request.

    Example: tapwear plan outage-requests --unit AH-T1 --out request.html
    """
    import sys

    from tapwear.report.page import page_plain, print_page
    from tapwear.report.plan_requests import outage_requests as requests_of
    from tapwear.report.plan_requests import requests_html, requests_text
    from tapwear.report.terminal import PAGE_WIDTH, is_screen, make_console

    store = open_the_store(context)
    view = load_view(store, name)
    if out is not None or units:
        tell_engineer(view)
    wanted = _placed(view, units)
    requests = requests_of(view, wanted)
    exchanged = [unit for unit in wanted if unit not in {one.unit for one in requests}]
    if exchanged:
        say(f"No outage to ask for: {', '.join(exchanged)}, exchanged beside the bypass.")
    if not requests:
        say(f"Plan {view.name} has no outage to ask for.")
    elif out is not None:
        may_write(out, store, force=force, endings=HTML)
        write_out(out, requests_html(view, requests).encode())
        count = "1 outage request" if len(requests) == 1 else f"{len(requests)} outage requests"
        say(f"Wrote {count} of plan {view.name} to {named(out)}.")
    elif is_screen(sys.stdout):
        print_page(requests_text(view, requests), make_console(widest=PAGE_WIDTH))
    else:
        typer.echo("\n".join(page_plain(requests_text(view, requests))))


def job_sheets(
    context: typer.Context,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The HTML file; each sheet is two sides of A4.")],
    name: Name = None,
    units: Units = None,
    force: Force = False,
) -> None:
    """Write a job sheet for each job: what to know before, steps to tick, room for what is found, left and tested.

    What is still to be done, in the order of its weeks; with --unit also
    what is done.

    Example: tapwear plan job-sheets --unit AH-T1 --out sheet.html
    """
    from tapwear.report.plan_jobsheets import job_sheets as sheets_of
    from tapwear.report.plan_jobsheets import sheets_html

    store = open_the_store(context)
    view = load_view(store, name)
    tell_engineer(view)
    may_write(out, store, force=force, endings=HTML)
    sheets = sheets_of(view, _placed(view, units))
    if not sheets:
        say(f"Plan {view.name} has no job to do.")
        return
    write_out(out, sheets_html(view, sheets).encode())
    count = "1 job sheet" if len(sheets) == 1 else f"{len(sheets)} job sheets"
    say(f"Wrote {count} of plan {view.name} to {named(out)}.")


def _placed(view: PlanView, units: list[str] | None) -> list[str]:
    """The units named, as the plan spells them. Raises UsageError for one that is stopped, or has no week in it."""
    away = {one.unit.strip().casefold(): one for one in view.result.at_engineer}
    jobs = {slot.job.unit.strip().casefold(): slot for slot in (*view.result.unplaced, *view.result.placed)}
    named = []
    for unit in units or ():
        stopped = away.get(unit.strip().casefold())
        if stopped is not None:
            raise UsageError(f"{stopped.unit} has neither outage nor job sheet: {stopped.reason}")
        slot = jobs.get(unit.strip().casefold())
        if slot is None:
            shown = f"tapwear plan show {shlex.quote(view.name)}"
            raise UsageError(f"Plan {view.name} has no job for {unit}. Its jobs: {shown}")
        if slot.start_week is None:
            raise UsageError(f"{slot.job.unit} has no week in plan {view.name}: {slot.stopped_by}")
        named.append(slot.job.unit)
    return named


def _earlier(store: Store, view: PlanView) -> list[PlanView]:
    """The plans of the same year that people may have been told before this one, the oldest first."""
    from tapwear.store.plans import list_plans

    heads = [head for head in list_plans(store) if head.year == view.result.year and head.sequence < view.sequence]
    return [load_view(store, head.name) for head in sorted(heads, key=lambda head: head.sequence)]


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
