"""Dated snapshots of the fleet's dates: kept as they were told, never changed. Light, without the models."""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear import __version__
from tapwear.errors import UsageError
from tapwear.store.lean import lean
from tapwear.store.recording import Stamp

_HEAD = ("id", "as_of", "recorded_at", "recorded_by", "tapwear_version")


@dataclass(frozen=True)
class SnapshotHead:
    """What a list of snapshots shows."""

    id: int
    as_of: date
    recorded_at: datetime
    recorded_by: str
    tapwear_version: str


def save_snapshot(connection: Connection, as_of: date, document: Mapping[str, Any], stamp: Stamp) -> int:
    """Keeps a document of tapwear.outlook.track under its day and returns its number; the same one is kept once."""
    rows = lean("snapshot", *_HEAD, "uid", "payload")
    text = json.dumps(document, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
    uid = hashlib.sha256(f"{as_of} {text}".encode()).hexdigest()[:32]
    known = connection.execute(sa.select(rows.c.id).where(rows.c.uid == uid)).scalar()
    if known is not None:
        return int(known)
    values = {
        "uid": uid,
        "as_of": as_of,
        "recorded_at": stamp.at,
        "recorded_by": stamp.by,
        "tapwear_version": __version__,
        "payload": zlib.compress(text.encode(), 9),
    }
    return int(connection.execute(sa.insert(rows).values(values).returning(rows.c.id)).scalar_one())


def list_snapshots(connection: Connection) -> list[SnapshotHead]:
    """All snapshots by their day, of one day by when they were recorded."""
    rows = lean("snapshot", *_HEAD)
    query = sa.select(*(rows.c[name] for name in _HEAD)).order_by(rows.c.as_of, rows.c.id)
    return [SnapshotHead(*row) for row in connection.execute(query)]


def load_snapshot(connection: Connection, number: int) -> dict[str, Any]:
    """The document of a snapshot. Raises UsageError when there is none of that number."""
    rows = lean("snapshot", "id", "payload")
    payload = connection.execute(sa.select(rows.c.payload).where(rows.c.id == number)).scalar()
    if payload is None:
        raise UsageError(f"There is no snapshot number {number}; see tapwear track.")
    document: dict[str, Any] = json.loads(zlib.decompress(bytes(payload)))
    return document
