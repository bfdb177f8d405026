"""What was noted on visits besides the counter, as the outlook takes it: plain rows in the order of their days."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from tapwear.words import observed_label, observed_words

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Noticed:
    """One observation. value : number, of a position its place in the order; None: words only.

    middle : from where to where the change-over selector moves, as such numbers; None: not known, or no position
    """

    unit: str
    observed_on: date
    compartment: str
    quantity: str
    value: float | None
    words: str
    middle: tuple[float, float] | None = None

    @property
    def said(self) -> str:
        """`62 °C`, `9b`, `to be renewed`."""
        return observed_words(self.quantity, self.value, self.words)

    @property
    def sentence(self) -> str:
        """`oil level low`, `gas bottle 9,400 kPa`."""
        return f"{observed_label(self.quantity)} {self.said}"


def noticed_of(observations: pd.DataFrame, as_of: date) -> tuple[Noticed, ...]:
    """The observations up to as_of, by unit, day, compartment and quantity. Frame as in tapwear.store.book."""
    rows = []
    for row in observations.itertuples(index=False):
        on = as_day(row.observed_on)
        if on is None or on > as_of:
            continue
        low, high = _number(row.middle_low), _number(row.middle_high)
        middle = None if low is None or high is None else (low, high)
        value = _number(row.value)
        rows.append(Noticed(str(row.unit), on, str(row.compartment), str(row.quantity), value, str(row.words), middle))
    return in_order(rows)


def in_order(rows: Iterable[Noticed]) -> tuple[Noticed, ...]:
    """The rows in an order that does not depend on how they came."""
    return tuple(sorted(rows, key=lambda row: (row.unit, row.observed_on, row.compartment, row.quantity, row.words)))


def newest_of_each(rows: Iterable[Noticed]) -> tuple[Noticed, ...]:
    """Of each unit, compartment and quantity the newest; rows as from `in_order`."""
    return tuple({(row.unit, row.compartment, row.quantity): row for row in rows}.values())


def as_day(value: object) -> date | None:
    """A cell of a frame as a day; None where it is blank."""
    import pandas as pd

    return None if pd.isna(value) else pd.Timestamp(value).date()  # type: ignore[call-overload, arg-type]


def _number(value: object) -> float | None:
    number = float(value)  # type: ignore[arg-type]
    return None if number != number else number
