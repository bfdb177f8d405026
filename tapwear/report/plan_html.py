"""An outage plan as one HTML file: the year on a board, the list of outages, what found no place and what it rests on.

On a screen every outage has its reason under it. On paper the board and the list stand together: two A4 sheets of
half a year each, or one A3 sheet. Text gets smaller as the plan grows, down to what can still be read; a plan that
does not fit then goes on over further sheets.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tapwear.plan.terms import ORDERED
from tapwear.report.pages_choice import BoardPaper
from tapwear.report.plain import plain
from tapwear.report.plan_board import Board, CrewRow, months, part_of, week_board
from tapwear.report.plan_data import JobRow, PlanView, job_rows, stop_rows
from tapwear.report.plan_words import (
    chance_words,
    day_words,
    engineer_lines,
    headline,
    kit_words,
    parts,
    proof_words,
    release_words,
    request_words,
    requests_words,
    resources_words,
    state_words,
    weeks_words,
)
from tapwear.report.templating import house
from tapwear.words import CAUTION_SHORT, CAUTIONS

# Height within the margins [mm], and the first weeks of each sheet.
HEIGHTS = {BoardPaper.A4: 192.0, BoardPaper.A3: 279.0}
STARTS = {BoardPaper.A4: (0, 26), BoardPaper.A3: (0,)}
# Sizes of text and columns of the list to try, the largest first; 0.7 of 8 points is about the smallest that reads
# on a wall. Our choice.
SIZES = {
    BoardPaper.A4: ((1.0, 2), (0.92, 2), (0.85, 2), (0.77, 3), (0.7, 3)),
    BoardPaper.A3: ((1.0, 3), (0.92, 3), (0.85, 4), (0.77, 4), (0.7, 4)),
}
# Measured on the printed page [mm]: the head of the first sheet, whatever the size of text; and at scale 1 headings
# and notes of each sheet, a row of the board, a line of the list. A sheet is filled to a little less than its height.
HEAD, NOTES, BOARD_ROW, LIST_LINE, FILL = 32.0, 24.0, 3.7, 4.3, 0.95
FEW = 4  # jobs of a column of the list, at least; our choice
LINE_LETTERS = 100  # letters in one of the two columns at the foot of the last sheet


@dataclass(frozen=True)
class Sheet:
    """One sheet of paper: some weeks of the board and the outages that start in them."""

    title: str
    board: Board
    months: list[tuple[str, int]]
    crews: list[tuple[str, list[str]]]
    jobs: list[JobRow]
    scale: float
    columns: int


def plan_html(view: PlanView, paper: BoardPaper = BoardPaper.A4) -> str:
    """The page; everything in it is escaped. Raises MissingExtra without jinja2."""
    page = house("The HTML export").get_template("plan.html")
    rows = job_rows(view.result)
    placed, waiting = parts(rows)
    by_number = {row.number: row for row in placed}

    def told(numbers: Sequence[int]) -> str:
        return "; ".join(f"{number}: {by_number[number].unit}, {by_number[number].task}" for number in numbers)

    words = [plain(text) for text in view.result.limits.assumptions]
    made = page.render(
        paper=paper.value.upper(),
        sheets=_sheets(week_board(view.result), placed, [*words, *(row.stopped_by for row in waiting)], paper),
        name=view.name,
        headline=headline(view),
        proof=proof_words(view.result),
        requests=requests_words(placed),
        recorded_by=view.recorded_by,
        recorded_on=view.recorded_at.date().isoformat(),
        status=view.status,
        stopped=engineer_lines(stop_rows(view.result)),
        released=release_words,
        cautions=CAUTIONS,
        caution=CAUTION_SHORT,
        not_placed=waiting,
        assumptions=words,
        told=told,
        day=day_words,
        weeks=weeks_words,
        chance=chance_words,
        request=request_words,
        state=state_words,
        needs=resources_words,
        kit=kit_words,
        ordered=ORDERED,
    )
    return f"{made}\n"


def _sheets(board: Board, placed: Sequence[JobRow], rest: Sequence[str], paper: BoardPaper) -> list[Sheet]:
    starts = STARTS[paper]
    sheets = []
    for start, end in zip(starts, (*starts[1:], len(board.weeks)), strict=True):
        part = part_of(board, start, end)
        crews = [line for crew in part.crews for line in _crew_lines(crew)]
        jobs = [row for row in placed if row.start_week in part.weeks]
        below = 0.0
        if end == len(board.weeks):
            below = 4 + sum(1.2 * math.ceil(len(words) / LINE_LETTERS) for words in rest) / 2
        height = HEIGHTS[paper] * FILL - (HEAD if start == 0 else 0.0)
        size = _size(len(part.rows) + len(crews) + 2, len(jobs), below, height, paper)
        title = f"Weeks {part.weeks[0][-2:]} to {part.weeks[-1][-2:]}"
        sheets.append(Sheet(title, part, months(part), crews, jobs, *size))
    return sheets


def _size(rows: int, jobs: int, below: float, height: float, paper: BoardPaper) -> tuple[float, int]:
    """The largest text with which a sheet keeps to its height, else the smallest; with the columns of its list."""
    for scale, most in SIZES[paper]:
        columns = min(most, max(1, jobs // FEW))
        lines = math.ceil(jobs / columns) + 1 + below
        if scale * (NOTES + rows * BOARD_ROW + lines * LIST_LINE) <= height:
            return scale, columns
    return SIZES[paper][-1]


def _crew_lines(crew: CrewRow) -> list[tuple[str, list[str]]]:
    """Hours of a region week by week, blank where none; those on offer in the heading where all weeks offer alike."""
    name = f"hours {crew.region}" if crew.region else "hours, no region"
    offers = set(crew.on_offer)
    used = [f"{hours:.0f}" if hours else "" for hours in crew.planned]
    if offers == {None}:
        return [(name, used)]
    if len(offers) == 1:
        return [(f"{name} (of {crew.on_offer[0]:g})", used)]
    offered = ["" if hours is None else f"{hours:.0f}" for hours in crew.on_offer]
    return [(name, used), (f"{name}, offered", offered)]
