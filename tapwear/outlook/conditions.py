"""What people noted about a unit's condition, as the outlook uses it: words beside the clocks, and an act-by day that
counts as a clock of its own. It acts as its author said, neither more nor less."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from tapwear.outlook.noticed import as_day
from tapwear.words import CONDITION_KINDS

if TYPE_CHECKING:
    import pandas as pd

RELEASE = "do not re-energise or operate until the engineer releases it"


@dataclass(frozen=True)
class Noted:
    """One open condition. act_by None: its author set no day."""

    kind: str
    words: str
    noted_on: date
    act_by: date | None
    severe: bool
    author: str

    @property
    def sentence(self) -> str:
        """`motor current: peak odd, noted 2026-05-02 by K. (act by 2026-09-01)`."""
        by = f" by {self.author}" if self.author else ""
        said = f"{CONDITION_KINDS[self.kind]}: {self.words.rstrip('.')}, noted {self.noted_on}{by}"
        said += f" (act by {self.act_by})" if self.act_by else ""
        return f"{said}; {RELEASE}" if self.severe and self.kind == "relay_trip" else said


def open_conditions(conditions: pd.DataFrame, as_of: date) -> dict[str, tuple[Noted, ...]]:
    """The open conditions by unit, severe ones first, then by act-by day. Frame as in tapwear.store.book."""
    found: dict[str, list[Noted]] = {}
    for row in conditions.itertuples(index=False):
        closed = as_day(row.closed_on)
        noted = as_day(row.noted_on)
        if noted is None or noted > as_of or (closed is not None and closed <= as_of):
            continue
        one = Noted(str(row.kind), str(row.words), noted, as_day(row.act_by_on), bool(row.severe), str(row.author))
        found.setdefault(str(row.unit), []).append(one)
    return {unit: tuple(sorted(some, key=pressing)) for unit, some in found.items()}


def governing(noted: Sequence[Noted]) -> Noted | None:
    """The condition whose act-by day comes first, None where none has one."""
    dated = [one for one in noted if one.act_by is not None]
    return min(dated, key=lambda one: one.act_by or date.max, default=None)


def pressing(one: Noted) -> tuple[bool, date, date]:
    """What open conditions are sorted by: severe ones first, then by act-by day."""
    return not one.severe, one.act_by or date.max, one.noted_on
