"""What a page of a report is made of: sections of sentences, tables and drawings, before any markup."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Table:
    """Rows of text under headings; columns in which nothing stands are left out.

    label : what the table holds, for who hears it read aloud; right : headings whose column is set flush right
    row_head : the heading whose cell names its row
    """

    label: str
    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: frozenset[str] = frozenset()
    row_head: str = ""


@dataclass(frozen=True)
class Drawing:
    """A drawing as SVG, with a line under it that says how to read it."""

    svg: str
    caption: str


@dataclass(frozen=True)
class Section:
    """A heading; then sentences, facts (name and words), tables and drawings, in this order."""

    heading: str
    sentences: tuple[str, ...] = ()
    facts: tuple[tuple[str, str], ...] = ()
    drawings: tuple[Drawing, ...] = ()
    tables: tuple[Table, ...] = ()
    after: tuple[str, ...] = ()


@dataclass(frozen=True)
class UnitPage:
    """The page about one unit. `severe`: it opens with the warning, and nothing on it suggests a visit."""

    unit: str
    place: str
    severe: bool
    stop_words: str  # what it opens with; "" where nothing stands
    lead: str
    actions: tuple[str, ...]
    sections: tuple[Section, ...] = field(default=())


def table(
    label: str, headings: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[str] = (), row_head: str = ""
) -> Table:
    """A table without the columns that are empty in every row."""
    used = [i for i in range(len(headings)) if any(row[i] for row in rows)]
    kept = tuple(tuple(row[i] for i in used) for row in rows)
    return Table(label, tuple(headings[i] for i in used), kept, frozenset(right), row_head or headings[0])


def tables(*found: Table) -> tuple[Table, ...]:
    """Those tables that have rows."""
    return tuple(one for one in found if one.rows)
