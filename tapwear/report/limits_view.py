"""Limits for people and programs: which hold, what like units show, and whose dates a change would move."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from tapwear.oil.limits import amount
from tapwear.oil.percentiles import GroupPercentiles
from tapwear.oil.types import OilVerdict
from tapwear.outlook.types import Due, Outlook
from tapwear.report.due_data import csv_cell
from tapwear.report.due_words import day_words
from tapwear.report.plain import json_text, plain
from tapwear.report.terminal import columns

LIMITS_SCHEMA = "tapwear.limits/1"
UNITS = {"ethylene_to_acetylene": "", "moisture_mg_per_kg": "mg/kg", "breakdown_kv": "kV"}  # else ppm
Row = Mapping[str, Any]


def quantity_words(quantity: str) -> str:
    """`acetylene`, `ethylene to acetylene`, `moisture`, `breakdown`."""
    for ending in ("_ul_per_l", "_mg_per_kg", "_kv"):
        quantity = quantity.removesuffix(ending)
    return quantity.replace("_", " ")


def value_words(quantity: str, value: float) -> str:
    """`90 ppm`."""
    return f"{amount(value)} {UNITS.get(quantity, 'ppm')}".rstrip()


def holder_words(row: Row) -> str:
    """For whom a limit holds: `R1`, `vacuum`, `R1, vacuum`."""
    return ", ".join(str(row[name]) for name in ("group", "technology") if row[name])


def limit_lines(rows: Sequence[Row]) -> list[str]:
    """The user's limits in columns."""
    if not rows:
        return ["No limit is set. Percentiles of similar units inform; each unit's own behaviour decides."]
    told = []
    for row in rows:
        test = " ".join(part for part in (row["breakdown_method"], _gap(row)) if part)
        name = quantity_words(row["quantity"]) + (f", {test}" if test else "")
        recorded = f"{row['recorded_at']:%Y-%m-%d} by {row['recorded_by']}"
        told.append((holder_words(row), name, value_words(row["quantity"], row["value"]), row["provenance"], recorded))
    return columns(("for", "quantity", "limit", "from", "set"), told, right=(2,))


def _gap(row: Row) -> str:
    return f"{row['breakdown_gap_mm']:g} mm" if row["breakdown_gap_mm"] is not None else ""


def percentile_lines(groups: Sequence[GroupPercentiles], enough: int) -> list[str]:
    """What like units show, in columns; groups that are too small are named."""
    told, small = [], []
    for group in groups:
        for quantity, (count, high, higher) in group.quantities.items():
            told.append((_group_words(group), quantity_words(quantity), f"{count}", amount(high), amount(higher)))
        if not group.quantities:
            small.append(f"{_group_words(group)} ({group.units})")
    headings = ("similar units", "quantity", "compartments", "90 % below", "95 % below")
    lines = columns(headings, told, right=(2, 3, 4)) if told else []
    if small:
        listed = plain("; ".join(small))
        lines.append(f"Fewer than {enough} compartments with a fresh sample, so own behaviour only: {listed}.")
    return lines


def _group_words(group: GroupPercentiles) -> str:
    named = group.oil_group or "no oil group"
    return ", ".join(part.replace("_", " ") for part in (named, group.technology, group.breathing) if part)


def limits_json(rows: Sequence[Row], groups: Sequence[GroupPercentiles], enough: int) -> str:
    """{schema, limits: [fields of the table limits], like_units: [{oil_group, technology, breathing, units,
    quantities: {name: [compartments, 90 %, 95 %]}}], enough}."""
    page = {
        "schema": LIMITS_SCHEMA,
        "limits": list(rows),
        "like_units": [asdict(group) for group in groups],
        "enough": enough,
    }
    return json_text(page, default=str)


def limits_csv(rows: Iterable[Row], names: Sequence[str]) -> str:
    """The user's limits as the file that `tapwear import` takes back."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    for row in rows:
        writer.writerow([csv_cell(row[name]) for name in names])
    return out.getvalue()


@dataclass(frozen=True)
class Moved:
    """One unit whose call or dates a change of limits would move."""

    unit: str
    call_before: str
    call_after: str
    before: Due
    after: Due


def moved_units(
    before: Outlook, after: Outlook, verdicts: Mapping[str, OilVerdict], new_verdicts: Mapping[str, OilVerdict]
) -> list[Moved]:
    """The units whose oil call, or whose early, middle or late date of any task, differs; the most pressing first."""
    old = {(due.unit, due.task): due for due in before.dues}
    found: dict[str, Moved] = {}
    for due in after.dues:
        was = old[due.unit, due.task]
        call, new_call = (_call(source, due.unit) for source in (verdicts, new_verdicts))
        dates = (was.early, was.middle, was.late) != (due.early, due.middle, due.late)
        if due.unit not in found and (dates or (call != new_call and _only(due, after))):
            found[due.unit] = Moved(due.unit, call, new_call, was, due)
    return list(found.values())


def _call(verdicts: Mapping[str, OilVerdict], unit: str) -> str:
    return verdicts[unit].call if unit in verdicts else "no oil evidence"


def _only(due: Due, outlook: Outlook) -> bool:
    """Whether this row speaks for the unit's call: its contact service, or any where it has none."""
    return due.task == "contact service" or all(one.task != "contact service" for one in outlook.of_unit(due.unit))


def moved_lines(moved: Sequence[Moved]) -> list[str]:
    """Whose dates would move, in columns; what stands at a unit comes first."""
    rows = [
        (
            plain(one.unit),
            _change(one.call_before, one.call_after),
            one.after.task,
            _change(day_words(one.before.early, one.before), day_words(one.after.early, one.after)),
        )
        for one in moved
    ]
    return columns(("unit", "oil call", "task", "early date"), rows, stops=[one.after.stop for one in moved])


def _change(before: str, after: str) -> str:
    return before if before == after else f"{before} -> {after}"
