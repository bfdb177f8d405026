"""Results that can be computed again, kept under a key of the content that they rest on, so that none is ever stale.

    key = content_key(store, "2026-11-01")
    payload = get_derived(store, "outlook", key)     # None: compute it, then put_derived(store, "outlook", key, ...)

The key changes with every row of the register and of the book, with the program's version, and with whatever else
the caller names (the as-of date, settings). Take the key before loading the book.
"""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import TYPE_CHECKING

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear import __version__
from tapwear.store.lean import lean

if TYPE_CHECKING:
    from tapwear.store.engine import Store

# Rows of these are only ever added, so their number and the newest one tell whether there is anything new.
APPENDED = (
    *("register_change", "stay", "fitting", "reading", "event", "sample", "service", "condition", "oil_limit"),
    *("deferral", "visit", "observation", "followup"),
    *("yearly_closure", "team", "team_holiday", "resource", "outage_terms", "other_outage", "job_note", "plan_cost"),
)
# Rows of these may change: their whole content goes into the key.
CHANGING: dict[str, tuple[str, ...]] = {
    "station": ("id", "code", "name", "region", "neighbourhood", "note"),
    "place": ("id", "station_id", "bank", "phase"),
    "transformer": ("id", "serial", "conservator", "main_tank_volume_l", "note"),
    "scheme": ("id", "name", "note"),
    "tap_changer": (
        *("id", "tag", "serial", "scheme_id", "technology", "breathing", "peer_group", "oil_group"),
        *("rated_current_a", "step_voltage_v", "commissioned_on", "sampling_needs_outage", "visit_cadence"),
        *("positions", "note"),
    ),
    "compartment": ("id", "tap_changer_id", "name", "serial", "oil_volume_l"),
    "drive": ("id", "serial", "note"),
    "counter": ("id", "drive_id", "source", "digits"),
    "service_rule": (
        *("id", "scheme_id", "tap_changer_id", "task", "interval_operations", "interval_years", "duration_days"),
        *("crew_hours", "kit", "lead_time_weeks", "provenance", "current_exponent"),
    ),
    "visit_rule": (
        *("id", "scheme_id", "tap_changer_id", "read_every_days", "sample_every_days", "still_after_days"),
        "provenance",
    ),
    "closure": ("id", "station_id", "from_on", "to_on", "why"),
    "transfer_group_member": ("id", "group_name", "station_id", "tap_changer_id"),
    "crew_week": ("id", "region", "week", "hours"),
}


def content_key(store: Store, *also: str) -> str:
    """A key of all that the register and the book hold now, and of the words in `also`."""
    digest = hashlib.sha256()
    digest.update(repr((__version__, also)).encode())
    with store.rows() as connection:
        for name in APPENDED:
            digest.update(repr((name, *_extent(connection, name))).encode())
        for name, columns in CHANGING.items():
            rows = lean(name, *columns)
            digest.update(name.encode())
            for row in connection.execute(sa.select(rows).order_by(rows.c.id)):
                digest.update(repr(tuple(row)).encode())
    return digest.hexdigest()


def _extent(connection: Connection, name: str) -> tuple[int, int]:
    rows = lean(name, "id")
    newest, number = connection.execute(sa.select(sa.func.max(rows.c.id), sa.func.count(rows.c.id))).one()
    return int(newest or 0), int(number)


def get_derived(store: Store, kind: str, key: str) -> bytes | None:
    """The result of that kind that rests on just that content, or None."""
    derived = lean("derived", "kind", "content_key", "payload")
    with store.rows() as connection:
        payload = connection.execute(
            sa.select(derived.c.payload).where(derived.c.kind == kind, derived.c.content_key == key)
        ).scalar()
    return None if payload is None else bytes(payload)


def put_derived(store: Store, kind: str, key: str, payload: bytes, at: datetime) -> None:
    """Keeps a result; the one kept before of that kind goes, for it rests on other content."""
    derived = lean("derived", "kind", "content_key", "computed_at", "payload")
    with store.rows(writing=True) as connection:
        connection.execute(sa.delete(derived).where(derived.c.kind == kind))
        connection.execute(sa.insert(derived).values(kind=kind, content_key=key, computed_at=at, payload=payload))
