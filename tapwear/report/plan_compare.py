"""Two plans held against one another, in words."""

from __future__ import annotations

from dataclasses import asdict

from tapwear.plan.compare import Change, Compared
from tapwear.report.frames import stops_first
from tapwear.report.plain import json_text, plain
from tapwear.report.plan_words import engineer_lines
from tapwear.report.terminal import columns_broken


def compare_lines(compared: Compared, first: str, second: str, width: int | None = None) -> list[str]:
    """The units whose stop stands, a headline, what differs for all jobs, then moved, added and dropped jobs, each
    with its reasons.

    width : of the screen; None: not for one, a line each
    """
    counts = [(len(compared.moved), "moved"), (len(compared.added), "added"), (len(compared.dropped), "dropped")]
    told = ", ".join(f"{number} {what}" for number, what in counts)
    without = f", {compared.without} without a place in either" if compared.without else ""
    lines = [plain(words) for words in engineer_lines(compared.at_engineer)]
    lines += [plain(f"From plan {first} to {second}: {told}, {compared.same} in the same week{without}.")]
    lines += [plain(words) for words in compared.inputs]
    for title, changes in (("Moved", compared.moved), ("Added", compared.added), ("Dropped", compared.dropped)):
        if changes:
            rows = [
                [change.unit, change.task, change.before or "none", change.after or "none", _by(change), _why(change)]
                for change in changes
            ]
            lines += ["", title, *columns_broken(["unit", "task", "before", "after", "by", "why"], rows, width)]
    return lines


def compare_json(compared: Compared, first: str, second: str) -> str:
    """The same as JSON text: `at_engineer`, `from`, `to` and the fields of Compared; a stopped unit's stop is the first
    field of each of its records."""
    stops = {one.unit: one.stop for one in compared.at_engineer}
    stopped = [{"stop": one.stop, **asdict(one)} for one in compared.at_engineer]
    content = asdict(compared) | {"at_engineer": stopped}
    content |= {name: stops_first(content[name], stops) for name in ("moved", "added", "dropped")}
    return json_text({"at_engineer": stopped, "from": first, "to": second, **content})


def _by(change: Change) -> str:
    if change.weeks_later is None:
        return ""
    weeks = abs(change.weeks_later)
    return f"{weeks} week{'s' if weeks != 1 else ''} {'later' if change.weeks_later > 0 else 'sooner'}"


def _why(change: Change) -> str:
    return plain("; ".join(change.reasons))
