"""The fleet's own settings of the rate model: kept with what they stand on, and taken back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.entries import enter, withdraw
from tapwear.store.lean import is_current, lean
from tapwear.store.recording import Stamp


def keep_settings(connection: Connection, rows: Iterable[Mapping[str, Any]], stamp: Stamp) -> None:
    """Puts each row (name, value, log_se, tuned_on, intervals, gain_percent) in the place of the former of its name."""
    for row in rows:
        enter(connection, "rate_setting", row, row, stamp, replace=True)


def kept_settings(connection: Connection) -> list[dict[str, Any]]:
    """The rows that hold now, with `by`; none where the shipped settings hold."""
    names = ("name", "value", "log_se", "tuned_on", "intervals", "gain_percent", "recorded_by")
    setting = lean("rate_setting", "id", "supersedes_id", "withdrawn", *names)
    query = sa.select(*(setting.c[name] for name in names)).where(is_current(setting)).order_by(setting.c.name)
    rows = connection.execute(query).mappings()
    return [{"by" if name == "recorded_by" else name: value for name, value in row.items()} for row in rows]


def drop_settings(connection: Connection, stamp: Stamp) -> int:
    """Takes all back, so that the shipped ones hold again; how many there were."""
    setting = lean("rate_setting", "id", "supersedes_id", "withdrawn")
    numbers = connection.execute(sa.select(setting.c.id).where(is_current(setting))).scalars().all()
    for number in numbers:
        withdraw(connection, "rate_setting", int(number), stamp)
    return len(numbers)
