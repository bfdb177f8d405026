"""Reading frames row by row for a page: plain values instead of numpy's, blank instead of NaN."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd


def given(value: object) -> bool:
    """Whether something is recorded: not None, not blank, not NaN or NaT (which differ from themselves)."""
    return value is not None and value != "" and bool(value == value)


def day_of(value: object) -> date | None:
    """The day of a timestamp or date; None for NaT and None."""
    if not given(value):
        return None
    return value.date() if isinstance(value, datetime) else value if isinstance(value, date) else None


def newest(frame: pd.DataFrame, column: str, count: int | None) -> list[dict[str, Any]]:
    """The rows as dicts of plain values, newest first by `column`; at most `count` of them."""
    if frame.empty:
        return []
    ordered = frame.sort_values(column, ascending=False, kind="stable")
    rows = (ordered if count is None else ordered.head(count)).to_dict("records")
    return [{str(name): value for name, value in row.items()} for row in rows]
