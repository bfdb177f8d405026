"""Column types that SQLite's STRICT tables accept, and the one timestamp type that refuses naive times."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Boolean, Date, DateTime, Dialect, Float, String
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.types import TypeDecorator
from sqlmodel import AutoString


@compiles(Date, "sqlite")
@compiles(DateTime, "sqlite")
@compiles(String, "sqlite")
@compiles(AutoString, "sqlite")
def _text(element: Any, compiler: Any, **kw: Any) -> str:
    return "TEXT"


@compiles(Float, "sqlite")
def _real(element: Any, compiler: Any, **kw: Any) -> str:
    return "REAL"


@compiles(Boolean, "sqlite")
def _integer(element: Any, compiler: Any, **kw: Any) -> str:
    return "INTEGER"


class UtcTime(TypeDecorator[datetime]):
    """A moment, kept in UTC; a time without a zone is refused, since SQLite would lose the difference."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time of recording needs a time zone")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.replace(tzinfo=UTC)
