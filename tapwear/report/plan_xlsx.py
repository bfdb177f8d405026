"""An outage plan as a workbook: plan, week board, crew load, to order, not placed, assumptions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC
from typing import Any

from tapwear.plan.types import AtEngineer
from tapwear.report.plain import plain
from tapwear.report.plan_board import Board, week_board
from tapwear.report.plan_data import JobRow, PlanView, job_rows, stop_rows
from tapwear.report.plan_orders import CrewWeek, Order, Total, crew_weeks, orders, totals, us_gallons
from tapwear.report.plan_words import (
    COST_WORDS,
    engineer_lines,
    headline,
    kit_words,
    parts,
    proof_words,
    release_words,
    request_words,
    state_words,
)
from tapwear.report.sheets import A3, A4, Column, Workbook, new_sheet, new_workbook, table_sheet, write_cell
from tapwear.words import CAUTIONS


def _field(name: str) -> Callable[[object], object]:
    """A field; blank for a unit whose stop stands where that has no such field."""

    def value(row: object) -> object:
        found = getattr(row, name, None)
        return "; ".join(found) if isinstance(found, tuple) else found

    return value


def _of_job(words: Callable[[JobRow], str]) -> Callable[[object], object]:
    return lambda row: words(row) if isinstance(row, JobRow) else None


def _why(row: JobRow | AtEngineer) -> str:
    if isinstance(row, AtEngineer):
        return f"{row.reason}. {row.words}"
    return " ".join(words for words in (release_words(row), row.why) if words)


PLAN_COLUMNS = (
    Column("stop", 14, _field("stop")),
    Column("no.", 5, _field("number")),
    Column("week", 10, _field("start_week")),
    Column("from", 11, _field("start_on")),
    Column("to", 11, _field("end_on")),
    Column("unit", 16, _field("unit")),
    Column("station", 16, _field("station")),
    Column("region", 12, _field("region")),
    Column("bank", 8, _field("bank")),
    Column("phase", 7, _field("phase")),
    Column("task", 19, _field("task")),
    Column("due from (10 %)", 11, _field("early")),
    Column("middle (50 %)", 11, _field("middle")),
    Column("late (90 %)", 11, _field("late")),
    Column("chance past due", 8, _field("chance_late"), "percent"),
    Column("settled", 12, _of_job(state_words)),
    Column("outage request", 20, _of_job(request_words)),
    Column("ask for the permit by", 11, _field("permit_ask_by")),
    Column("crew hours", 8, _field("crew_hours")),
    Column("skill", 12, _field("skill")),
    Column("resources", 18, _field("resources")),
    Column("recall [h]", 8, _field("recall_hours")),
    Column("other work", 22, _field("other_work")),
    Column("kit", 22, _of_job(kit_words)),
    Column("order the kit by", 11, _field("kit_order_by")),
    Column("serial", 14, _field("serial")),
    Column("oil volume [L]", 9, _field("oil_volume_l")),
    Column("PCB status", 16, _field("pcb")),
    Column("why", 60, _why),
)
NOT_PLACED_COLUMNS = (
    Column("stop", 14, _field("stop")),
    Column("unit", 16, _field("unit")),
    Column("station", 16, _field("station")),
    Column("region", 12, _field("region")),
    Column("task", 19, _field("task")),
    Column("due from (10 %)", 11, _field("early")),
    Column("late (90 %)", 11, _field("late")),
    Column("blocking constraint", 60, _field("stopped_by")),
    Column("why it is due", 60, _why),
)
CREW_COLUMNS: tuple[Column, ...] = (
    Column("week", 10, lambda row: row.week),
    Column("from", 11, lambda row: row.starts_on),
    Column("region", 16, lambda row: row.region or "no region"),
    Column("skill", 20, lambda row: row.skill or "all hours"),
    Column("hours offered", 10, lambda row: row.offered),
    Column("hours used", 10, lambda row: row.used),
    Column("share used", 10, lambda row: _share(row), "percent"),
    Column("in words", 16, lambda row: _load_words(row)),
    Column("jobs (no.)", 24, lambda row: ", ".join(str(number) for number in row.numbers)),
)
ORDER_COLUMNS: tuple[Column, ...] = (
    Column("stop", 14, _field("stop")),
    Column("order by", 11, _field("order_by")),
    Column("needed on", 11, _field("needed_on")),
    Column("what", 30, _field("item")),
    Column("sets", 8, _field("sets")),
    Column("oil [L]", 10, _field("litres")),
    Column("oil [US gal]", 10, _field("us_gallons")),
    Column("unit", 16, _field("unit")),
    Column("station", 16, _field("station")),
    Column("job (no.)", 8, _field("number")),
    Column("remarks", 40, lambda one: f"{one.reason}: no order" if isinstance(one, AtEngineer) else one.words),
)


def plan_xlsx(view: PlanView) -> bytes:
    """The workbook. Dates and numbers are typed cells, text is never read as a formula or a link; the same plan
    gives the same bytes. Raises MissingExtra without XlsxWriter."""
    made = view.recorded_at.astimezone(UTC).replace(tzinfo=None)
    work = new_workbook(f"Outage plan {view.name}", made, "The XLSX export")
    placed, waiting = parts(job_rows(view.result))
    needed, stopped = orders(placed), stop_rows(view.result)
    table_sheet(work, "plan", PLAN_COLUMNS, [*stopped, *placed], A3)
    _board(work, week_board(view.result))
    table_sheet(work, "crew load", CREW_COLUMNS, crew_weeks(view.result), A4)
    _sums(work, table_sheet(work, "to order", ORDER_COLUMNS, [*stopped, *needed], A4), needed, len(stopped))
    table_sheet(work, "not placed", NOT_PLACED_COLUMNS, waiting, A4)
    _assumptions(work, view)
    return work.content()


def _share(row: CrewWeek) -> float | None:
    return row.used / row.offered if row.offered else None


def _load_words(row: CrewWeek) -> str:
    if row.offered is None:
        return "not limited"
    if row.used > row.offered:
        return "over"
    return "free" if not row.used else "full" if row.used >= row.offered else "part used"


def _sums(work: Workbook, sheet: Any, needed: Sequence[Order], above: int) -> None:
    """Totals below the table, out of reach of its filter; `above` are the rows in it that order nothing."""
    line = max(1, above + len(needed)) + 2
    sheet.write_string(line, 3, "in all", work.looks["head"])
    for total in totals(needed):
        line += 1
        for at, value in enumerate(_sum_cells(total)):
            write_cell(work, sheet, line, at, value)


def _sum_cells(total: Total) -> tuple[object, ...]:
    litres = total.litres or None
    gallons = us_gallons(litres) if litres else None
    return (None, total.first_order_by, None, total.item, total.sets or None, litres, gallons)


def _board(work: Workbook, board: Board) -> None:
    """Stations down, weeks across, the jobs' numbers in the cells; crew hours of each region below."""
    looks = work.looks
    out = work.book.add_format({"align": "center", "bold": True, "border": 1, "shrink": True})
    shut = work.book.add_format({"align": "center", "bg_color": "#E3E6E9"})
    head = work.book.add_format({"bold": True, "bottom": 1, "align": "center"})
    centred = work.book.add_format({"align": "center"})
    sheet = new_sheet(work, "week board", A4, frozen_columns=1)
    sheet.set_column(0, 0, 30)
    sheet.set_column(1, len(board.weeks), 5)
    sheet.write_string(0, 0, "station", looks["head"])
    for at, week in enumerate(board.weeks, start=1):
        sheet.write_string(0, at, week[-3:], head)
    for line, row in enumerate(board.rows, start=1):
        sheet.write_string(line, 0, row.station, looks["text"])
        for at, cell in enumerate(row.cells, start=1):
            if cell.numbers:
                sheet.write_string(line, at, ", ".join(str(number) for number in cell.numbers), out)
            elif cell.closed:
                sheet.write_string(line, at, "x", shut)
    # The filter covers the stations alone, so that the crew hours stay in sight.
    sheet.autofilter(0, 0, max(1, len(board.rows)), 0)
    line = len(board.rows) + 2
    for crew in board.crews:
        name = f"region {crew.region}" if crew.region else "no region"
        for what, numbers in (("crew hours planned", crew.planned), ("crew hours on offer", crew.on_offer)):
            if any(number is not None for number in numbers):
                sheet.write_string(line, 0, f"{name}: {what}", looks["text"])
                for at, number in enumerate(numbers, start=1):
                    if number:
                        sheet.write_number(line, at, number, centred)
                line += 1
    words = "Numbers are those of the sheet plan. x on grey: the station is closed in that week."
    sheet.write_string(line + 1, 0, words)


def _assumptions(work: Workbook, view: PlanView) -> None:
    result = view.result
    made = f"Made by {plain(view.recorded_by)} on {view.recorded_at.date().isoformat()}; {view.status}."
    said = [*engineer_lines(stop_rows(result)), headline(view), made, proof_words(result)]
    said += [*result.limits.assumptions, *CAUTIONS]
    lines: list[tuple[str, object]] = [(words, None) for words in said if words]
    lines += [(words, getattr(result.costs, name)) for name, words in COST_WORDS.items()]
    if result.proof:
        lines += [(f"proof: {words}", round(getattr(result.proof, name), 4)) for name, words in PROOF_WORDS.items()]
    columns = (Column("what this plan rests on", 110, lambda one: one[0]), Column("number", 12, lambda one: one[1]))
    table_sheet(work, "assumptions", columns, lines, A4)


PROOF_WORDS = {
    "cost": "cost of this plan",
    "bound": "no plan under these limits costs less than",
    "gap": "share of the cost that could at most be saved",
    "greedy_cost": "cost of the plan made by placing one job after the other",
    "seconds": "seconds spent",
}
