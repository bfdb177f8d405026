"""A page of words: blocks with a heading and lines, printed wrapped on a screen and unwrapped into a pipe."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tapwear.report.plain import plain
from tapwear.report.terminal import (
    GAP,
    PAGE_WIDTH,
    cell_width,
    columns,
    is_screen,
    make_console,
    note,
    stops_in_front,
)
from tapwear.words import CAUTION_SHORT, stop_notice

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

INDENT = 2
NARROWEST_LAST = 14  # a last column narrower than this goes on at the left edge instead


@dataclass(frozen=True)
class Line:
    """One line. `wraps` False: a chart, which keeps its shape. `hang`: where the last column of a row of columns
    begins, under which that column goes on when the screen is too narrow."""

    text: str
    wraps: bool = True
    hang: int = 0


@dataclass(frozen=True)
class Block:
    """A heading and the lines under it; `loud` for what must be read first."""

    heading: str
    lines: tuple[Line, ...] = ()
    loud: bool = False


def fixed(lines: Iterable[str]) -> list[Line]:
    """Lines that keep their shape."""
    return [Line(line, wraps=False) for line in lines]


def stop_blocks(tags: Iterable[str]) -> list[Block]:
    """What a page opens with where any of the units that it names is stopped."""
    stopped = list(tags)
    return [Block(stop_notice(*stopped), loud=True)] if stopped else []


def table(
    headings: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int] = (), stops: Sequence[str] = ()
) -> list[Line]:
    """Rows of columns, of which the last may wrap. stops : as for `columns`"""
    headings, rows, right = stops_in_front(headings, rows, right, stops)
    lines = columns(headings, rows, right)
    before = columns(headings[:-1], [row[:-1] for row in rows], right)
    hang = max((cell_width(line) for line in before), default=0) + GAP
    return [Line(line, hang=hang) for line in lines]


def page_plain(blocks: Sequence[Block]) -> list[str]:
    """The page as lines of text, nothing wrapped or cut off."""
    lines: list[str] = []
    for block in blocks:
        lines += [""] if lines else []
        lines.append(plain(block.heading))
        lines += [_indented(line) for line in block.lines]
    return lines


def print_page(blocks: Sequence[Block], console: Console) -> None:
    """Prints the page on a screen: headings in bold, sentences wrapped to its width."""
    from rich.text import Text

    for i, block in enumerate(blocks):
        if i:
            console.print()
        console.print(Text(plain(block.heading), "bold"))
        style = "bold" if block.loud else ""
        for line in block.lines:
            if line.wraps:
                console.print(_wrapped(line, style, console))
            else:
                console.print(Text(_indented(line), style), no_wrap=True, overflow="ignore", crop=False)


def show_page(blocks: Sequence[Block]) -> None:
    """The page on standard output, wrapped where that is a screen, and the caution on standard error."""
    if is_screen(sys.stdout):
        print_page(blocks, make_console(widest=PAGE_WIDTH))
    else:
        print("\n".join(page_plain(blocks)))
    note(f"\n{CAUTION_SHORT}")


def _wrapped(line: Line, style: str, console: Console) -> Text:
    """The line within the console's width, going on under its beginning, or under its last column."""
    from rich.text import Text

    text = Text(plain(line.text), style)
    hang = line.hang if line.hang and console.width - INDENT - line.hang >= NARROWEST_LAST else 0
    head, tail = text.divide([hang])
    parts = [part for part in tail.wrap(console, console.width - INDENT - hang)]
    for part in parts:
        part.rstrip()
    return Text("\n" + " " * (INDENT + hang)).join([Text(" " * INDENT) + head + parts[0], *parts[1:]])


def _indented(line: Line) -> str:
    return (" " * INDENT + plain(line.text)).rstrip()
