"""Stores as older Tapwears wrote them, one small file of SQL for every schema version ever released."""

from __future__ import annotations

import sqlite3
from pathlib import Path

FOLDER = Path(__file__).parents[1] / "data" / "stores"
VERSIONS = sorted(int(path.stem.split("_")[1]) for path in FOLDER.glob("version_*.sql"))


def old_store(version: int, path: Path) -> Path:
    """A store of that version in the file `path`."""
    raw = sqlite3.connect(path)
    raw.executescript((FOLDER / f"version_{version}.sql").read_text(encoding="utf-8"))
    raw.execute("PRAGMA journal_mode=WAL")
    raw.close()
    path.chmod(0o600)
    return path
