"""A visit file to start from, for tests that spoil it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

ID = "0123456789abcdef" * 2


def entry(**changes: Any) -> dict[str, Any]:
    """One visit as a visit file holds it; a change to None leaves the key out."""
    content: dict[str, Any] = {
        "id": ID,
        "unit": "T1",
        "visited_on": "2026-06-03",
        "by": "Kim",
        "counters": [{"value": 48213}],
        "observations": {"oil_level": "low"},
    }
    return {name: value for name, value in (content | changes).items() if value is not None}


def visit_file(path: Path, *visits: Any, **head: Any) -> Path:
    """Writes a visit file and returns its path."""
    content = {"tapwear_visits": 1, "visits": list(visits)} | head
    path.write_text(json.dumps(content, indent=1), encoding="utf-8")
    return path
