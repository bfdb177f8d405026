"""What one row of the book says, in words, and what a correction changed in it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from tapwear.cli.entering import in_words
from tapwear.visits.fields import GASES
from tapwear.words import CONDITION_KINDS, observed_label, observed_words

if TYPE_CHECKING:
    from tapwear.store.trail import TrailRow

_NOT_SAID = ("tap_changer_id", "counter_id", "drive_id", "place_id", "transformer_id", "visit_id", "content")
_ENDINGS = ("_ul_per_l", "_mg_per_kg", "_below", "_kpa", "_kv", "_mm", "_c", "_a", "_on")
_USUAL = {"slot": ("", "1"), "drive": ("", "1"), "source": ("mechanical",), "revision": (1,), "taken_from": ()}


def label(column: str) -> str:
    """A column as people call it, without its unit of measure."""
    for ending in _ENDINGS:
        column = column.removesuffix(ending)
    column = "drive" if column == "slot" else column
    return column.replace("_", " ")


def says_words(row: TrailRow) -> str:
    """`65480`, `overhaul, as found counter 84210`, `acetylene 310, hydrogen below 5`."""
    says = row.says
    if row.kind == "observation":
        return _observed(says)
    parts = [_lead(row)] if _lead(row) else []
    for name, value in says.items():
        if name in (*_NOT_SAID, *_lead_columns(row)) or value in (None, "", False, *_USUAL.get(name, ())):
            continue
        if name.endswith("_below") or value == row.day:
            continue
        parts.append(f"{label(name)} {_value(says, name)}" if value is not True else label(name))
    return ", ".join(parts)


def changed_words(before: TrailRow, after: TrailRow) -> str:
    """`value 65480 -> 65840`: what the later row says otherwise."""
    if before.kind == "observation":
        return f"{_observed(before.says)} -> {_observed(after.says)}"
    parts = []
    for name, old in before.says.items():
        if name in ("content", "visit_id") or old == after.says.get(name):
            continue
        if name.endswith("_below"):
            name = name.removesuffix("_below") + "_ul_per_l"
            if before.says[name] != after.says[name]:
                continue
        parts.append(f"{label(name)} {_value(before.says, name)} -> {_value(after.says, name)}")
    return ", ".join(parts)


def _observed(says: Mapping[str, Any]) -> str:
    name = says["quantity"]
    where = f" (compartment {says['compartment']})" if says["compartment"] else ""
    return f"{observed_label(name)} {observed_words(name, says['value'], says['words'])}{where}"


def _lead_columns(row: TrailRow) -> tuple[str, ...]:
    return {
        "reading": ("value",),
        "event": ("kind",),
        "service": ("work",),
        "condition": ("kind", "words"),
        "stay": ("state",),
        "deferral": ("task",),
    }.get(row.kind, ())


def _lead(row: TrailRow) -> str:
    """What the row is mainly about, without a label before it."""
    says = row.says
    if row.kind == "condition":
        return f"{CONDITION_KINDS.get(says['kind'], says['kind'])}: {says['words']}"
    return ", ".join(str(says[name]).replace("_", " ") for name in _lead_columns(row))


def _value(says: Mapping[str, Any], name: str) -> str:
    value = in_words(says[name])
    gas = name.removesuffix("_ul_per_l")
    return f"below {value}" if gas in GASES and says.get(f"{gas}_below") and says[name] is not None else value
