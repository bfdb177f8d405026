"""Reading current rows into frames: the scope of a load (fleet or some units, up to a day) and fixed column types."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal

import pandas as pd
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.lean import is_current, lean

DATES: Literal["datetime64[us]"] = "datetime64[us]"


@dataclass(frozen=True)
class Scope:
    """What to load: everything (ids and tags None), or the rows of some tap changers; up to a day, or all."""

    connection: Connection
    ids: tuple[int, ...] | None
    tags: frozenset[str] | None
    as_of: date | None
    _tables: dict[str, sa.TableClause] = field(default_factory=dict, repr=False)

    def table(self, name: str) -> sa.TableClause:
        """A table with the columns that the store has; importing the models for it would take longer than a load."""
        if name not in self._tables:
            held = self.connection.execute(sa.select(sa.text("*")).select_from(sa.table(name)).limit(0)).keys()
            self._tables[name] = lean(name, *held)
        return self._tables[name]

    def rows(self, query: sa.Select[Any]) -> list[tuple[Any, ...]]:
        return [tuple(row) for row in self.connection.execute(query).all()]

    def frame(self, query: sa.Select[Any]) -> pd.DataFrame:
        names = [column.name for column in query.selected_columns if isinstance(column, sa.ColumnElement)]
        return pd.DataFrame.from_records(self.rows(query), columns=names)

    def current(self, name: str, day: str) -> tuple[sa.TableClause, list[sa.ColumnElement[bool]]]:
        """A table of the book, and the conditions that leave its current rows up to the day asked for."""
        table = self.table(name)
        conditions = [is_current(table)]
        if self.as_of is not None:
            conditions.append(sa.or_(table.c[day].is_(None), table.c[day] <= self.as_of))
        return table, conditions

    def of_units(self, column: sa.ColumnElement[Any]) -> list[sa.ColumnElement[bool]]:
        """The conditions that leave the rows of the units asked for; `column` holds row numbers of tap changers."""
        return [] if self.ids is None else [among(column, self.ids)]

    def has(self, tag: str) -> bool:
        return self.tags is None or tag in self.tags


def among(column: sa.ColumnElement[Any], numbers: Iterable[int]) -> sa.ColumnElement[bool]:
    """True where the column holds one of these row numbers, which are written out: parameters are limited in number."""
    return column.in_(sa.bindparam(None, list(numbers), sa.Integer, expanding=True, literal_execute=True))


def typed(
    frame: pd.DataFrame,
    *,
    dates: Iterable[str] = (),
    floats: Iterable[str] = (),
    texts: Iterable[str] = (),
    whole: Iterable[str] = (),
) -> pd.DataFrame:
    """The frame with fixed column types, also where it has no rows: text never NaN, numbers float64 or int64."""
    made: dict[str, pd.Series[Any]] = {name: pd.to_datetime(frame[name]).astype(DATES) for name in dates}
    made |= {name: frame[name].astype("float64") for name in floats}
    made |= {name: frame[name].fillna("").astype(str) for name in texts}
    made |= {name: frame[name].astype("int64") for name in whole}
    return frame.assign(**made)
