"""Tables as SQL knows them, without the models: what light commands read and write with.

Importing the models costs a quarter of a second in each new process; a technician who logs one reading need not
wait for it. The types follow from the names of the columns, as everywhere in our schema: `..._on` and the dates of a
plan are dates, `..._at` is a moment, `withdrawn`, `..._below`, `severe`, `sampling_needs_outage`, `another_unit`,
`sample_taken` and `exchanged` are yes or no. A test holds them against the models.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from tapwear.store.moments import UtcTime

_DAYS = ("as_of", "early", "middle", "late")
_YES_OR_NO = ("withdrawn", "sampling_needs_outage", "severe", "another_unit", "sample_taken", "exchanged")


def _type_of(name: str) -> Any:
    if name in _DAYS or name.endswith("_on"):
        return sa.Date()
    if name.endswith("_at"):
        return UtcTime()
    if name in _YES_OR_NO or name.endswith("_below"):
        return sa.Boolean()
    return sa.types.NullType()


def lean(name: str, *columns: str) -> sa.TableClause:
    """The table `name` with the columns that are needed, each with the type that its name tells."""
    return sa.table(name, *(sa.column(column, _type_of(column)) for column in columns))


def is_current(table: sa.FromClause) -> sa.ColumnElement[bool]:
    """True for rows of the book that no other row supersedes and that are not taken back.

    `table` has the columns id, supersedes_id and withdrawn.
    """
    newer = table.alias()
    superseded = sa.exists(sa.select(newer.c.id).where(newer.c.supersedes_id == table.c.id))
    return sa.and_(table.c.withdrawn == sa.false(), ~superseded)
