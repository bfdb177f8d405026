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
        """`oil level low`, `gas cylinder 9,400 kPa`."""
        return f"{observed_label(self.quantity)} {self.said}"


def noticed_of(observations: pd.DataFrame, as_of: date) -> tuple[Noticed, ...]:
    """The observations up to as_of, by unit, day, compartment and quantity. Frame as in tapwear.store.book."""
    import pandas as pd

    known = observations[observations["observed_on"] <= pd.Timestamp(as_of)]
    if known.empty:
        return ()
    days = known["observed_on"].dt.date
    names = ("unit", "compartment", "quantity", "words", "value", "middle_low", "middle_high")
    cells = zip(days, *(known[name].tolist() for name in names), strict=True)
    return in_order(
        Noticed(unit, on, compartment, quantity, _number(value), words, None if low != low else (low, high))
        for on, unit, compartment, quantity, words, value, low, high in cells
    )


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


def _number(value: float) -> float | None:
    return None if value != value else value
