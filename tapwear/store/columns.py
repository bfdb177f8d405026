"""Column types that SQLite's STRICT tables accept; `UtcTime` is handed on for the models."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Boolean, Date, DateTime, Float, String
from sqlalchemy.ext.compiler import compiles
from sqlmodel import AutoString

from tapwear.store.moments import UtcTime

__all__ = ["UtcTime"]


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
