"""Two plans held against one another, in words."""

from __future__ import annotations

from tapwear.plan.compare import Change, Compared
from tapwear.report.plain import plain
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


def _by(change: Change) -> str:
    if change.weeks_later is None:
        return ""
    weeks = abs(change.weeks_later)
    return f"{weeks} week{'s' if weeks != 1 else ''} {'later' if change.weeks_later > 0 else 'sooner'}"


def _why(change: Change) -> str:
    return plain("; ".join(change.reasons))
