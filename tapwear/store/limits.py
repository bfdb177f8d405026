"""The user's own limits for the oil, one table, with where each comes from. It is empty until somebody fills it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.entries import Outcome, enter, withdraw
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp
from tapwear.store.validate import checked
from tapwear.visits.fields import LIMITS

_COLUMNS = ("group_name", "technology", "quantity", "value", "breakdown_method", "breakdown_gap_mm", "provenance")


def limit_columns(given: Mapping[str, Any]) -> dict[str, Any]:
    """The columns of a limit row, from checked fields of LIMITS.

    Raises UsageError for a limit of no group and no technology, and for a breakdown voltage without its test method:
    methods do not convert into one another.
    """
    group, technology, method = (given.get(name, "") for name in ("group", "technology", "breakdown_method"))
    if not group and not technology:
        raise UsageError("A limit holds for an oil group or for a technology: give group, technology or both.")
    electric = given["quantity"] == "breakdown_kv"
    if electric and not method:
        raise UsageError("A limit of the breakdown voltage needs its test method (breakdown_method): none converts.")
    if not electric and (method or given.get("breakdown_gap_mm") is not None):
        raise UsageError(f"A test method or gap goes with breakdown_kv only, not with {given['quantity']}.")
    return {
        "group_name": group,
        "technology": technology,
        "quantity": given["quantity"],
        "value": float(given["value"]),
        "breakdown_method": method,
        "breakdown_gap_mm": given.get("breakdown_gap_mm"),
        "provenance": given["provenance"],
    }


def set_limit(connection: Connection, values: Mapping[str, Any], stamp: Stamp) -> Outcome:
    """A new limit, or another value for one that is there; `values`: fields of LIMITS. The former one is kept."""
    given = checked(LIMITS, values)
    return enter(connection, "oil_limit", limit_columns(given), given, stamp, replace=True)


def drop_limit(connection: Connection, values: Mapping[str, Any], stamp: Stamp) -> None:
    """Takes a limit back; `values`: group, technology, quantity, breakdown_method. Raises UsageError for none such."""
    wanted = [values.get(name) or "" for name in ("group", "technology", "quantity", "breakdown_method")]
    limit = lean("oil_limit", "id", "supersedes_id", "withdrawn", *_COLUMNS)
    names = ("group_name", "technology", "quantity", "breakdown_method")
    same = [limit.c[name] == word for name, word in zip(names, wanted, strict=True)]
    number = connection.execute(sa.select(limit.c.id).where(is_current(limit), *same)).scalar()
    if number is None:
        raise UsageError(f"There is no limit of {wanted[2]} for {wanted[0] or wanted[1]}. All: tapwear limits show")
    withdraw(connection, "oil_limit", int(number), stamp)


def list_limits(connection: Connection) -> list[dict[str, Any]]:
    """The limits that hold now, by fields of LIMITS, with recorded_by and recorded_at; sorted."""
    limit = lean("oil_limit", "id", "supersedes_id", "withdrawn", "recorded_by", "recorded_at", *_COLUMNS)
    rows = connection.execute(
        sa.select(*(limit.c[name] for name in (*_COLUMNS, "recorded_by", "recorded_at")))
        .where(is_current(limit))
        .order_by(limit.c.group_name, limit.c.technology, limit.c.quantity, limit.c.breakdown_method)
    ).mappings()
    return [{"group" if name == "group_name" else name: value for name, value in row.items()} for row in rows]
