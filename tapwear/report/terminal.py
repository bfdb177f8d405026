"""What the screen is: one place that makes the console, lays out plain columns and shows that work goes on.

On a screen, pages are made of `rich` texts, which never read markup in what people typed; NO_COLOR, COLUMNS and
TERM are obeyed. Into a pipe or file go plain columns, nothing cut off. Progress shows on standard error only, only
where that is a screen, and only for work that lasts longer than two seconds.
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from threading import Event, Timer
from typing import TYPE_CHECKING, TextIO

from tapwear.report.plain import plain

if TYPE_CHECKING:
    from rich.console import Console

PATIENCE_S = 2.0  # work shorter than this shows no progress [s]
PAGE_WIDTH = 100  # a page of words is no wider than this, however wide the screen; our choice
GAP = 2  # spaces between columns
SENTENCE = 40  # columns that a sentence needs to be read beside others; our choice
NARROWEST = 40  # pages are laid out for at least this many columns; our choice


def is_screen(stream: TextIO) -> bool:
    """Whether somebody looks at this stream, rather than a pipe or a file."""
    return bool(stream.isatty())


def make_console(*, error: bool = False, widest: int | None = None) -> Console:
    """A console on standard output (or standard error) that prints what it is given: no markup, no highlighting.

    widest : columns to use at most, however wide the screen is
    """
    from rich.console import Console

    console = Console(stderr=error, markup=False, highlight=False, emoji=False)
    if widest is not None:
        console.width = min(console.width, widest)
    return console


def note(text: str) -> None:
    """A message on standard error, where somebody takes it; on a screen its words are kept whole at the line's end."""
    with suppress(OSError):
        if is_screen(sys.stderr):
            make_console(error=True, widest=PAGE_WIDTH).print(text)
        else:
            print(text, file=sys.stderr)


def can_draw(stream: TextIO) -> bool:
    """Whether the stream's encoding holds the dots and lines of our charts."""
    try:
        "─┊●○⣿".encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def cell_width(text: str) -> int:
    """How many cells of a terminal the text takes; wide letters take two."""
    if text.isascii() and text.isprintable():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def stops_in_front(
    headings: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int], stops: Sequence[str]
) -> tuple[Sequence[str], Sequence[Sequence[str]], Sequence[int]]:
    """The columns with one more, the first: what stands at each row's unit; as they are where nothing stands."""
    if not any(stops):
        return headings, rows, right
    fronted = [[stop, *row] for stop, row in zip(stops, rows, strict=True)]
    return ["stop", *headings], fronted, [at + 1 for at in right]


def columns(
    headings: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int] = (), stops: Sequence[str] = ()
) -> list[str]:
    """Lines of plain columns two spaces apart, as wide as their longest cell; a heading line first.

    right : indices of columns set flush right. Cells are freed of control characters; widths are cells of a
    terminal, so wide letters line up too. stops : of each row, what stands at its unit, see stops_in_front
    """
    headings, rows, right = stops_in_front(headings, rows, right, stops)
    table = [headings, *rows] if any(headings) else rows
    laid = [_laid(cells, i in right) for i, cells in enumerate(zip(*table, strict=True))]
    return [(" " * GAP).join(cells).rstrip() for cells in zip(*laid, strict=True)]


def columns_broken(
    headings: Sequence[str],
    rows: Sequence[Sequence[str]],
    width: int | None,
    right: Sequence[int] = (),
    stops: Sequence[str] = (),
) -> list[str]:
    """The same for a screen of that width: what the last column says is broken between words, under itself where it
    has room for a sentence, else under its row. None: no screen, nothing is broken."""
    headings, rows, right = stops_in_front(headings, rows, right, stops)
    if width is None:
        return columns(headings, rows, right)
    head, *firsts = columns(headings[:-1], [row[:-1] for row in rows], right)
    start = max(map(cell_width, [head, *firsts])) + GAP
    beside = width - start >= SENTENCE
    indent = start if beside else 4
    lines = [f"{head:<{start}}{headings[-1]}" if beside else head]
    for first, row in zip(firsts, rows, strict=True):
        words = textwrap.wrap(plain(row[-1]), max(width, NARROWEST) - indent, break_on_hyphens=False) or [""]
        if beside:
            lines.append(first + " " * (start - cell_width(first)) + words.pop(0))
        else:
            lines.append(first)
        lines += [" " * indent + part for part in words if part]
    return [line.rstrip() for line in lines]


def screen_width() -> int | None:
    """Columns of the screen that standard output is; None for a pipe or a file."""
    return make_console().width if is_screen(sys.stdout) else None


def _laid(cells: Sequence[str], flush_right: bool) -> list[str]:
    """The cells of one column, each as wide as the longest."""
    together = "".join(cells)
    if together.isascii() and together.isprintable():  # nothing to take out, every letter one cell wide
        width = max(map(len, cells))
        return [cell.rjust(width) if flush_right else cell.ljust(width) for cell in cells]
    cleaned = [plain(cell) for cell in cells]
    sizes = [cell_width(cell) for cell in cleaned]
    pads = [" " * (max(sizes) - size) for size in sizes]
    return [pad + cell if flush_right else cell + pad for cell, pad in zip(cleaned, pads, strict=True)]


@contextmanager
def progress(label: str, total: int | None = None) -> Iterator[Callable[[int], None]]:
    """Shows on standard error that work goes on, once it has lasted two seconds and only on a screen.

    Gives a function that counts steps done. `total` None: how much there is to do is not known.
    """
    if not is_screen(sys.stderr):
        yield lambda steps: None
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, ProgressColumn, TextColumn, TimeElapsedColumn

    parts: list[ProgressColumn] = [TextColumn("{task.description}", markup=False), BarColumn(bar_width=24)]
    parts += [MofNCompleteColumn()] if total is not None else []
    bar = Progress(*parts, TimeElapsedColumn(), console=make_console(error=True), transient=True)
    task = bar.add_task(label, total=total)
    started = Event()

    def start() -> None:
        started.set()
        bar.start()

    timer = Timer(PATIENCE_S, start)
    timer.daemon = True
    timer.start()
    try:
        yield lambda steps: bar.advance(task, steps)
    finally:
        timer.cancel()
        timer.join()
        if started.is_set():
            bar.stop()
