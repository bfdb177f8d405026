"""Which clocks a piece of work starts again, and which of the rules of unit and scheme holds for a unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tapwear.visits import resets
from tapwear.visits.fields import TASKS

# What a piece of work means to the oil.
OIL_EVENTS = {
    "overhaul": "overhaul",
    "oil change": "oil_changed",
    "oil degassing": "oil_degassed",
    "breather change": "breather_changed",
}

RULE_FIELDS = (
    "interval_operations",
    "interval_years",
    "duration_days",
    "crew_hours",
    "kit",
    "lead_time_weeks",
    "provenance",
    "current_exponent",
)


def resets_of(text: str, work: str) -> tuple[str, ...]:
    """The tasks whose clock starts again, from what is stored: `a;b`, blank (as usual for the work) or `none`."""
    words = tuple(word.strip() for word in text.split(";") if word.strip())
    return resets.resets_of(work, words or None)


def resets_text(tasks: Sequence[str]) -> str:
    """How the tasks are stored: `a;b`, or `none`."""
    return ";".join(tasks) or resets.NO_RESETS


def touches_oil(work: str, tasks: Sequence[str]) -> str:
    """What the work means to the oil: an event kind of tapwear.oil.types, or "" for nothing."""
    return OIL_EVENTS.get(work) or ("oil_changed" if "oil change" in tasks else "")


def effective_rules(scheme: Sequence[Mapping[str, Any]], own: Sequence[Mapping[str, Any]]) -> dict[str, dict[str, Any]]:
    """The rule of each task for one unit: its own goes before its scheme's, field by field.

    What a unit's own rule leaves blank is the scheme's, so that an own number of operations does not take the
    scheme's years away. Both arguments are rows of service rules with `task` and RULE_FIELDS.
    """
    result: dict[str, dict[str, Any]] = {}
    for rule in (*scheme, *own):
        merged = result.setdefault(rule["task"], dict.fromkeys(RULE_FIELDS))
        merged.update({name: rule[name] for name in RULE_FIELDS if rule[name] not in (None, "")})
    return {task: result[task] for task in TASKS if task in result}
