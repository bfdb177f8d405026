"""An outage plan for people: on a screen a line of columns per job with a few words under it, else plain columns."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tapwear.plan.terms import ORDERED
from tapwear.report.plain import plain
from tapwear.report.plan_data import JobRow, PlanView, job_rows, stop_rows
from tapwear.report.plan_words import (
    chance_words,
    cost_words,
    day_words,
    engineer_lines,
    headline,
    kit_items,
    parts,
    proof_words,
    release_words,
    requests_words,
    state_words,
)
from tapwear.report.terminal import GAP, NARROWEST, cell_width, columns
from tapwear.words import CAUTION_SHORT

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

INDENT = 4


def _weeks(row: JobRow) -> str:
    return f"{row.weeks} week{'s' if row.weeks != 1 else ''}"


def _bank(row: JobRow) -> str:
    return " ".join(part for part in (row.bank, row.phase) if part)


def _kit(row: JobRow) -> str:
    by, ready = row.kit_order_by, row.kit_ready_on
    when = f"order by {by.isoformat()}" if by else f"ready {ready.isoformat()}" if ready else ""
    when = "taken as ordered" if ORDERED in row.assumed else when
    return ", ".join(part for part in (" + ".join(kit_items(row)), when) if part)


@dataclass(frozen=True)
class Column:
    """A heading, its cell, and how it is told under the row on a screen that has no room for it. Rank 0: always."""

    heading: str
    cell: Callable[[JobRow], str]
    told: str
    rank: int = 0


STOP = Column("stop", lambda row: row.stop, "")
WEEK = Column("week", lambda row: row.start_week or "", "")
UNIT = Column("unit", lambda row: row.unit, "")
STATION = Column("station", lambda row: row.station, "")
TASK = Column("task", lambda row: row.task, "")
EARLY = Column("due from", lambda row: day_words(row.early), "")
LATE = Column("late", lambda row: day_words(row.late), "late {}", 1)
STARTS = Column("starts", lambda row: day_words(row.start_on), "starts {}", 4)
LASTS = Column("lasts", _weeks, "{}", 3)
HOURS = Column("crew", lambda row: f"{row.crew_hours:g} h", "crew {}", 6)
CHANCE = Column("past due", chance_words, "chance past due when it starts {}", 2)
STATE = Column("settled", state_words, "{}", 5)
REQUEST = Column("request", lambda row: row.request_words or row.request_status, "outage request: {}", 7)
BANK = Column("bank", _bank, "bank {}", 8)
REGION = Column("region", lambda row: row.region, "region {}", 9)
NEEDS = Column("needs", lambda row: "; ".join((*row.resources, *([row.skill] if row.skill else []))), "needs {}", 10)
KIT = Column("kit", _kit, "kit {}", 11)
PLACED = (
    WEEK, UNIT, STATION, TASK, EARLY, LATE, CHANCE, STATE, STARTS, LASTS, HOURS, REQUEST, BANK, REGION, NEEDS, KIT,
)  # fmt: skip
NOT_PLACED = (UNIT, STATION, TASK, EARLY, LATE, STATE, HOURS, LASTS, BANK, REGION, NEEDS, KIT)


def plan_screen(view: PlanView, console: Console) -> list[Text]:
    """Lines for the console's width: what is placed, what is not and why, what the plan rests on, the caution."""
    from rich.text import Text

    placed, waiting = parts(job_rows(view.result))
    width = max(console.width, NARROWEST)
    lines = [
        line for words in engineer_lines(stop_rows(view.result)) for line in _wrapped(words, "bold", console, width, 0)
    ]
    lines += _wrapped(headline(view), "", console, width, indent=0)
    for words in (proof_words(view.result), requests_words(placed)):
        lines += _wrapped(words, "", console, width, indent=0) if words else []
    lines.append(Text(""))
    lines += _table(placed, _offered(placed, PLACED), lambda row: [release_words(row), row.why], console)
    if waiting:
        lines += [Text(""), Text("Not placed", "bold")]
        offered = _offered(waiting, NOT_PLACED)
        lines += _table(waiting, offered, lambda row: [release_words(row), row.stopped_by, row.why], console)
    lines += [Text(""), Text("This plan rests on", "bold")]
    for words in (*view.result.limits.assumptions, cost_words(view.result)):
        lines += _wrapped(words, "", console, width)
    return [*lines, Text(""), *_wrapped(CAUTION_SHORT, "dim", console, width)]


def plan_plain(view: PlanView) -> list[str]:
    """The same for a pipe or a file: one line per job, nothing cut off."""
    placed, waiting = parts(job_rows(view.result))
    head = (headline(view), proof_words(view.result), requests_words(placed))
    lines = [*engineer_lines(stop_rows(view.result)), *(words for words in head if words), ""]
    lines += _columns_of(placed, PLACED, {"why": _why})
    if waiting:
        lines += ["", "Not placed"]
        lines += _columns_of(waiting, NOT_PLACED, {"blocking constraint": lambda row: row.stopped_by, "why": _why})
    lines += ["", "This plan rests on", *(plain(words) for words in view.result.limits.assumptions)]
    lines.append(cost_words(view.result))
    return [*lines, "", CAUTION_SHORT]


def _why(row: JobRow) -> str:
    return " ".join(words for words in (release_words(row), row.why) if words)


def _offered(rows: Sequence[JobRow], offered: Sequence[Column]) -> Sequence[Column]:
    """The columns, and before all of them that of the stops where there is one."""
    return (STOP, *offered) if any(row.stop for row in rows) else offered


def _columns_of(
    rows: Sequence[JobRow], offered: Sequence[Column], last: Mapping[str, Callable[[JobRow], str]]
) -> list[str]:
    shown = _offered(rows, offered)
    cells = [[*(column.cell(row) for column in shown), *(cell(row) for cell in last.values())] for row in rows]
    return columns([*(column.heading for column in shown), *last], cells)


def _table(
    rows: Sequence[JobRow], offered: Sequence[Column], under: Callable[[JobRow], list[str]], console: Console
) -> list[Text]:
    from rich.text import Text

    if not rows:
        return [Text("None.")]
    width = max(console.width, NARROWEST)
    shown = _that_fit(rows, offered, width)
    head, *body = columns(
        [column.heading for column in shown], [[column.cell(row) for column in shown] for row in rows]
    )
    lines = _wrapped(head, "underline", console, width, indent=0)
    for row, line in zip(rows, body, strict=True):
        lines += _wrapped(line, "bold", console, width, indent=0)
        told = [column.told.format(column.cell(row)) for column in offered if column not in shown and column.cell(row)]
        for words, style in (("; ".join(told), "dim"), *((text, "") for text in under(row))):
            if words:
                lines += _wrapped(words, style, console, width)
    return lines


def _that_fit(rows: Sequence[JobRow], offered: Sequence[Column], width: int) -> list[Column]:
    """The columns for this width, in their order: the indispensable ones, then by rank while there is room."""
    chosen = [column for column in offered if column.rank == 0]
    filled = [column for column in offered if column.rank and any(column.cell(row) for row in rows)]
    sizes = {c: GAP + max(cell_width(text) for text in [c.heading, *map(c.cell, rows)]) for c in offered}
    used = sum(sizes[column] for column in chosen) - GAP
    for column in sorted(filled, key=lambda column: column.rank):
        if used + sizes[column] <= width:
            chosen.append(column)
            used += sizes[column]
    return [column for column in offered if column in chosen]


def _wrapped(words: str, style: str, console: Console, width: int, indent: int = INDENT) -> list[Text]:
    """Words broken to the width, the first line flush and the others set in, or all of them set in."""
    from rich.text import Text

    lines = []
    for line in Text(plain(words) if indent else words, style).wrap(console, width - indent):
        line.rstrip()
        lines.append(Text(" " * indent) + line)
    return lines
