"""What a table that can be handed in is made of: fields and what each may hold; and a cell that does not fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal[
    "text", "count", "number", "date", "time", "choice", "yes or no", "gas", "list", "week", "position", "positions"
]


class Unfit(ValueError):
    """A cell that does not hold what it should: what was found, and what to do."""

    def __init__(self, found: str, remedy: str) -> None:
        super().__init__(found)
        self.found = found
        self.remedy = remedy


@dataclass(frozen=True)
class FieldSpec:
    """One column: its heading, what it holds, whether a row needs it, and how it is explained to a person."""

    name: str
    kind: Kind
    help: str
    required: bool = False
    choices: tuple[str, ...] = ()
    measure: str = ""  # a kind of quantity in tapwear.measures; the unit then comes from a column or the mapping
    low: float | None = None
    high: float | None = None

    @property
    def unit_column(self) -> str:
        """The heading of the column that may name another unit for this one, e.g. `oil_volume_unit`."""
        stem = self.name
        for ending in ("_ul_per_l", "_mg_per_kg", "_l", "_c", "_kpa", "_kv", "_mm"):
            if stem.endswith(ending):
                stem = stem.removesuffix(ending)
                break
        return f"{stem}_unit"


@dataclass(frozen=True)
class TableSpec:
    """One table: its name (also its file's name), what it is for, its fields, and what makes two rows the same."""

    name: str
    help: str
    fields: tuple[FieldSpec, ...]
    key: tuple[str, ...]

    def field(self, name: str) -> FieldSpec:
        return next(field for field in self.fields if field.name == name)
