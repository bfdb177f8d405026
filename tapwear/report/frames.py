"""Reading frames row by row for a page: plain values instead of numpy's, blank instead of NaN."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from tapwear.report.plain import plain

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


def whole_number(value: object) -> str:
    """`102,030`; blank where nothing is recorded."""
    return f"{int(float(str(value))):,}" if given(value) else ""


def newest(frame: pd.DataFrame, column: str, count: int | None) -> list[dict[str, Any]]:
    """The rows as dicts of plain values, newest first by `column`; at most `count` of them."""
    if frame.empty:
        return []
    ordered = frame.sort_values(column, ascending=False, kind="stable")
    rows = (ordered if count is None else ordered.head(count)).to_dict("records")
    return [{str(name): value for name, value in row.items()} for row in rows]


def stay_words(stay: Mapping[str, Any]) -> str:
    """`CF, T2 until 2023-05-18`, `workshop from 2023-05-18`: where a tap changer stood, and since when."""
    from_on, to_on, state = day_of(stay["from_on"]), day_of(stay["to_on"]), str(stay["state"])
    place = re.sub(r"#\d+$", "", str(stay["place"] or ""))  # a number sets apart who stood there at one time
    parts = [] if place.startswith(f"{state}: ") else place.split("/") if place else ["no place"]
    where = ", ".join(part for part in (*parts, "" if state == "in service" else state) if part)
    since = f" from {from_on}" if from_on else ""
    return where + since + (f" {'to' if since else 'until'} {to_on}" if to_on else "")


def stops_first(content: Any, stops: Mapping[str, str]) -> Any:
    """The content with `stop` as the first key of every record about a unit: what stands there, blank for nothing.

    stops : of stopped units, by tag, what stands first in their rows
    """
    if isinstance(content, Mapping):
        inside = {name: stops_first(item, stops) for name, item in content.items()}
        tag = content.get("unit")
        if not isinstance(tag, str):
            return inside
        first = {"stop": content.get("stop") or stops.get(tag, "")}
        return first | {name: item for name, item in inside.items() if name != "stop"}
    return [stops_first(item, stops) for item in content] if isinstance(content, list | tuple) else content


def stop_records(stops: Mapping[str, str]) -> list[dict[str, str]]:
    """The stopped units as the records that a list of other things begins with: stop, unit."""
    return [{"stop": stop, "unit": plain(tag)} for tag, stop in stops.items()]


def json_values(value: Any) -> Any:
    """The value in what JSON knows: ISO dates, null for what is not recorded, no control characters."""
    if isinstance(value, Mapping):
        return {str(name): json_values(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [json_values(item) for item in value]
    if isinstance(value, str):
        return plain(value)
    if not given(value):
        return None
    if isinstance(value, date | datetime):
        day = day_of(value)
        return day.isoformat() if day else None
    if hasattr(value, "item"):  # a numpy scalar
        return json_values(value.item())
    return value
