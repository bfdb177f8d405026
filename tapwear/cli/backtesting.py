"""Reads the past dates that a backtest is asked for, and works out what was forecast for them."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from tapwear.errors import UsageError
from tapwear.findings import Finding

if TYPE_CHECKING:
    import pandas as pd

    from tapwear.store.book import Book

MAX_HORIZON_DAYS = 20 * 366  # a longer horizon is a slip of the pen; our choice


@dataclass(frozen=True)
class Origin:
    """One question: the operations of a unit in the days after `origin`. `anchor`: the reading to count from."""

    unit: str
    origin: date
    horizon_days: int
    anchor: date | None


def read_origins(path: Path, units: Iterable[str]) -> tuple[list[Origin], list[Finding]]:
    """The rows of an origins file, and a finding for each that cannot be answered.

    Columns: unit_id (or unit), origin [ISO date], horizon_days [days], and anchor_date [ISO date] where the count
    does not start at the unit's last reading. Raises UsageError when the file or a column is missing.
    """
    known = set(units)
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            headings = reader.fieldnames or []
            tag = next((name for name in ("unit_id", "unit") if name in headings), None)
            missing = [name for name in ("origin", "horizon_days") if name not in headings]
            if tag is None or missing:
                needed = ", ".join(([] if tag else ["unit_id"]) + missing)
                raise UsageError(f"{path} has no column {needed}; its columns are: {', '.join(headings) or 'none'}.")
            origins, findings = [], []
            for row in reader:
                answer = _origin(path, reader.line_num, row, tag, known)
                if isinstance(answer, Origin):
                    origins.append(answer)
                else:
                    findings.append(answer)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise UsageError(f"The origins cannot be read from {path}: {error}") from error
    return origins, findings


def _origin(path: Path, line: int, row: dict[str, str | None], tag: str, known: set[str]) -> Origin | Finding:
    def wrong(field: str, remedy: str) -> Finding:
        return Finding(path.name, line, field, f"found {row.get(field) or 'nothing'!r}", remedy)

    unit = (row.get(tag) or "").strip()
    if unit not in known:
        return wrong(tag, "give the tag of a unit of this store")
    try:
        origin = date.fromisoformat((row.get("origin") or "").strip())
    except ValueError:
        return wrong("origin", "give a date like 2024-12-31")
    try:
        horizon = int((row.get("horizon_days") or "").strip())
    except ValueError:
        return wrong("horizon_days", "give whole days")
    if not 0 < horizon <= MAX_HORIZON_DAYS:
        return wrong("horizon_days", f"give between 1 and {MAX_HORIZON_DAYS} days")
    anchor_text = (row.get("anchor_date") or "").strip()
    try:
        anchor = date.fromisoformat(anchor_text) if anchor_text else None
    except ValueError:
        return wrong("anchor_date", "give a date like 2024-11-26, or leave it blank")
    if anchor is not None and anchor > origin:
        return wrong("anchor_date", "give a day on or before the origin")
    return Origin(unit, origin, horizon, anchor)


def forecast_asked(book: Book, asked: list[Origin]) -> pd.DataFrame:
    """The forecasts for all origins, one past date after the other, in the order asked for."""
    import pandas as pd

    from tapwear.counts.backtest import forecast_origins
    from tapwear.counts.settings import settings_of
    from tapwear.report.due_data import csv_cell
    from tapwear.report.terminal import progress

    rows = pd.DataFrame(
        {
            "unit_id": [row.unit for row in asked],
            "origin": pd.to_datetime([row.origin for row in asked]),
            "horizon_days": [row.horizon_days for row in asked],
            "anchor_date": pd.to_datetime(pd.Series([row.anchor for row in asked], dtype=object)),
        }
    )
    readings = book.readings[book.readings["source"] != "sample"]
    settings = settings_of(book.rate_settings)
    parts = []
    with progress("Forecasting as of past dates", len(rows)) as done:
        # With and without an anchor apart, since a column stands for all rows of a call or for none.
        for _, part in rows.groupby(["origin", rows["anchor_date"].isna()], sort=True):
            question = part.dropna(axis="columns", how="all")
            answer = forecast_origins(book.units, readings, book.events, book.stays, question, settings)
            parts.append(answer.set_axis(part.index))
            done(len(part))
    if not parts:
        return pd.DataFrame(columns=["unit_id", "origin", "horizon_days", "p10", "p50", "p90", "mean"])
    result = pd.concat(parts).sort_index()
    return result.assign(unit_id=[str(csv_cell(tag)) for tag in result["unit_id"]])
