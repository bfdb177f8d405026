"""The due list for people: on a screen one line of columns per due with a few words under it, else plain columns.

The early date leads. What fits the width stands in columns, in order of importance; the rest is told under the row,
so that a narrow screen loses nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tapwear.outlook.types import Due
from tapwear.report.due_choice import Choice
from tapwear.report.due_words import (
    day_words,
    doubt_words,
    driver_words,
    next_words,
    operations_words,
    place_words,
    reading_words,
    remark_words,
    service_words,
    status_words,
)
from tapwear.report.plain import plain
from tapwear.report.terminal import GAP, NARROWEST, cell_width, columns

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

INDENT = 4


@dataclass(frozen=True)
class Column:
    """One column: its heading, what stands in it, how it is told under the row where it has no room."""

    heading: str
    cell: Callable[[Due], str]
    told: Callable[[Due], str]
    rank: int  # 0: always a column; then the lower, the sooner it becomes one


def _no_words(due: Due) -> str:
    return ""


# In the order in which they stand.
COLUMNS = (
    Column("stop", lambda due: due.stop, _no_words, 0),
    Column("early", lambda due: day_words(due.early, due), _no_words, 0),
    Column("middle", lambda due: day_words(due.middle, due), _no_words, 2),
    Column("late", lambda due: day_words(due.late, due), _no_words, 0),
    Column("unit", lambda due: due.unit, _no_words, 0),
    Column("station, bank", place_words, place_words, 3),
    Column("task", lambda due: due.task, lambda due: due.task, 5),
    Column("operations since", operations_words, _no_words, 0),
    Column("last service", service_words, lambda due: _last(due), 6),
    Column("last read", reading_words, lambda due: _read(due), 4),
    Column("governed by", driver_words, lambda due: _driven(due), 1),
)


def _last(due: Due) -> str:
    return "last service unknown" if due.last_service_on is None else f"last {service_words(due)}"


def _driven(due: Due) -> str:
    return "" if due.driver == "unknown" else f"governed by {driver_words(due)}"


def _read(due: Due) -> str:
    return "no usable reading" if due.last_reading_on is None else f"read {reading_words(due)}"


def due_screen(choice: Choice, console: Console) -> list[Text]:
    """Lines for the console's width: headings, then each due with its words under it."""
    from rich.text import Text

    if not choice.dues:
        return []
    cells = {column: [plain(column.cell(due)) for due in choice.dues] for column in _used(choice)}
    widths = {column: max(cell_width(text) for text in [column.heading, *texts]) for column, texts in cells.items()}
    width = max(console.width, NARROWEST)
    shown = _that_fit(widths, width)

    def row(texts: list[str], styles: list[str]) -> Text:
        line = Text()
        for column, text, style in zip(shown, texts, styles, strict=True):
            line.append(text, style)
            line.append(" " * (widths[column] - cell_width(text) + GAP))
        line.rstrip()
        return line

    lines = [row([column.heading for column in shown], ["underline"] * len(shown))]
    for i, due in enumerate(choice.dues):
        styles = ["bold" if column.heading in ("stop", "early", "unit") else "" for column in shown]
        lines.append(row([cells[column][i] for column in shown], styles))
        for text, style in _under(due, shown):
            words = Text(plain(text), style)
            for wrapped in words.wrap(console, width - INDENT):
                wrapped.rstrip()
                lines.append(Text(" " * INDENT) + wrapped)
    return lines


def _used(choice: Choice) -> list[Column]:
    """The columns of this list: without the one of stops where nothing stands."""
    return [column for column in COLUMNS if column.heading != "stop" or any(due.stop for due in choice.dues)]


def _that_fit(widths: dict[Column, int], width: int) -> list[Column]:
    """The columns for this width, in their order: the indispensable ones, then by rank while there is room."""
    chosen = [column for column in widths if column.rank == 0]
    used = sum(widths[column] + GAP for column in chosen) - GAP
    for column in sorted((column for column in widths if column.rank), key=lambda column: column.rank):
        if used + GAP + widths[column] <= width:
            chosen.append(column)
            used += GAP + widths[column]
    return [column for column in COLUMNS if column in chosen]


def _under(due: Due, shown: list[Column]) -> list[tuple[str, str]]:
    """The words under a row, each with its style: what has no column, then state, doubts and the next action."""
    facts = [column.told(due) for column in COLUMNS if column not in shown]
    facts += [due.state] if due.state != "in service" else []
    following, stop = next_words(due), due.must_stop
    lines = [
        (following if stop else "", "bold"),
        ("; ".join(fact for fact in facts if fact), "dim"),
        (remark_words(due), ""),
        (f"Next: {following}" if following and not stop else "", ""),
    ]
    return [(text, style) for text, style in lines if text]


def due_plain(choice: Choice) -> list[str]:
    """Plain columns for a pipe or a file: everything in one line per due, nothing cut off."""
    used = _used(choice)
    headings = [column.heading for column in used] + ["remarks", "data caveats", "next"]
    rows = [
        [column.cell(due) for column in used] + [status_words(due), doubt_words(due), next_words(due)]
        for due in choice.dues
    ]
    return columns(headings, rows)


def headline(choice: Choice) -> str:
    """`As of 2026-06-30: 14 of 61 units due by 2028-06-30 or with no date; 3 overdue, 2 with no date.`"""
    units = {due.unit for due in choice.dues}
    overdue = {due.unit for due in choice.dues if due.overdue}
    unknown = {due.unit for due in choice.dues if not due.known}
    marks = [f"{len(overdue)} overdue"] if overdue else []
    marks += [f"{len(unknown)} with no date"] if unknown else []
    unread = any(due.known and due.readings_used == 0 for due in choice.dues)
    besides = [words for words, some in (("no date", unknown), ("no usable reading", unread)) if some]
    period = " or with ".join([f" due by {choice.until.isoformat()}", *besides]) if choice.until else ""
    return f"As of {choice.as_of.isoformat()}: {len(units)} of {choice.units} units{period}" + (
        f"; {', '.join(marks)}." if marks else "."
    )
