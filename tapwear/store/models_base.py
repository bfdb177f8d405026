"""What the tables share: strict types, checks on columns, and what every row of the book carries."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel

from tapwear.store.columns import UtcTime

STRICT = {"sqlite_strict": True}


def one_of(column: str, allowed: tuple[str, ...], *, blank: bool = False) -> CheckConstraint:
    words = allowed + (("",) if blank else ())
    listed = ", ".join("'" + word + "'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


def at_least(column: str, lowest: float, *, above: bool = False) -> CheckConstraint:
    sign = ">" if above else ">="
    return CheckConstraint(f"{column} IS NULL OR {column} {sign} {lowest}", name=f"{column}_range")


def either(first: str, second: str, name: str) -> CheckConstraint:
    return CheckConstraint(f"({first} IS NULL) <> ({second} IS NULL)", name=name)


def utc(**kw: bool) -> datetime:
    return Field(sa_type=UtcTime, **kw)  # type: ignore[call-overload, no-any-return]


class Entry(SQLModel):
    """What every row of the book carries: when it was recorded, by whom, from where, and what it replaces."""

    uid: str = Field(unique=True)
    recorded_at: datetime = utc()
    recorded_by: str
    import_id: int | None = Field(default=None, foreign_key="import_run.id")
    reason: str = ""
    withdrawn: bool = False
