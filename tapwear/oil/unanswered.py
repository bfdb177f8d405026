"""A fall of all gases without recorded oil work is a question, and nothing alarming goes away while it is open.

The oil may have been changed and nobody wrote it down, or the bottle is another unit's. Until somebody records the one
or withdraws the other, what the samples before the fall called for stands, with its earlier date.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from tapwear.oil.types import Call, OilVerdict

QUESTION = "unrecorded reset"
STRENGTH: dict[Call, int] = {"no oil evidence": 0, "nothing unusual": 1, "resample": 2, "pull forward": 3}


def question_of(verdict: OilVerdict) -> date | None:
    """The day of the last sample before the first fall that nobody explained; None where there is none."""
    return min((one.asks_about for one in verdict.findings if one.asks_about is not None), default=None)


def stronger(now: OilVerdict, before: OilVerdict | None) -> OilVerdict:
    """The verdict on all samples, or that on those before the fall where it calls for more, or for the same sooner."""
    if before is None or _weight(before) <= _weight(now):
        return now
    asked = tuple(one for one in now.findings if one.kind == QUESTION)
    told = tuple(one for one in before.findings if one.kind not in ("severe", QUESTION))
    return replace(
        now,
        call=before.call,
        severe=before.severe,
        open_by_early=before.open_by_early,
        open_by_middle=before.open_by_middle,
        open_by_late=before.open_by_late,
        resample_by=before.resample_by,
        findings=(*asked, *told),
    )


def _weight(verdict: OilVerdict) -> tuple[int, int]:
    """For putting verdicts in order: the stronger call first, of two openings the sooner."""
    early = verdict.open_by_early
    return STRENGTH[verdict.call], -(early.toordinal() if early is not None else date.max.toordinal())
