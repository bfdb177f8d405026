"""The draft of a guided visit: a small file beside the store, written anew after each answer, gone when all is stored.

Nothing of a visit is in the store before its end, so whatever stops it (Ctrl-C, an empty battery) loses at most the
answer that was being typed.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import asdict, dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from tapwear.errors import UsageError
from tapwear.visits.visit import CounterSeen, Visit, new_visit_id

SCHEMA = "tapwear.visit-draft/1"


@dataclass
class Draft:
    """A visit while it is being written.

    counters : by `drive/source`, {"value", "doubt"}; questioned : by quantity, why and what the person said to it
    answered : keys of the questions that are done, in their order, also those that were left open
    """

    unit: str
    visited_on: date
    by: str
    id: str = field(default_factory=new_visit_id)
    serial_seen: str = ""
    another_unit: bool = False
    counters: dict[str, dict[str, Any]] = field(default_factory=dict)
    observations: dict[str, Any] = field(default_factory=dict)
    questioned: dict[str, str] = field(default_factory=dict)
    sample_taken: bool = False
    answered: list[str] = field(default_factory=list)
    visited_time: str = ""

    def visit(self) -> Visit:
        """The visit as it goes into the book; what was questioned stands at the end of its remark."""
        counters = []
        for key, seen in self.counters.items():
            drive, _, source = key.rpartition("/")
            counters.append(CounterSeen(seen["value"], drive, source, seen["doubt"]))
        observations = {name: value for name, value in self.observations.items() if name != "remark"}
        remark = "; ".join(part for part in (self.observations.get("remark", ""), *self.questioned.values()) if part)
        return Visit(
            id=self.id,
            unit=self.unit,
            visited_on=self.visited_on,
            by=self.by,
            serial_seen=self.serial_seen,
            another_unit=self.another_unit,
            counters=() if self.another_unit else tuple(counters),
            observations={} if self.another_unit else observations,
            sample_taken=self.sample_taken and not self.another_unit,
            remark=remark,
            visited_time=self.visited_time,
        )


def draft_path(folder: Path, name: str, unit: str) -> Path:
    """Where the draft of a visit to that unit lies: in the store's folder, under the store's name."""
    safe = re.sub(r"[^A-Za-z0-9-]+", "-", unit).strip("-")[:40] or "unit"
    if safe != unit:
        safe += "-" + hashlib.sha256(unit.encode()).hexdigest()[:8]
    return folder / f"{name}.visit-{safe}.json"


def save_draft(path: Path, draft: Draft) -> None:
    """Writes the draft in one move: the file is the old one or the new one, never half of it; for its owner only.

    Raises UsageError when it cannot be written: then nothing would be kept.
    """
    text = json.dumps({"schema": SCHEMA, **asdict(draft)}, default=str, ensure_ascii=False, indent=1)
    fresh = path.with_name(path.name + ".new")
    try:
        fresh.unlink(missing_ok=True)
        with os.fdopen(os.open(fresh, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(fresh, path)
    except OSError as error:
        raise UsageError(
            f"The draft {path} cannot be written ({error.strerror}); without it answers could be lost. Make room or "
            "free the folder, or give everything by options: tapwear visit --help"
        ) from error


def load_draft(path: Path, unit: str) -> Draft | None:
    """The draft that lies there, None for none. Raises UsageError for one that is damaged, or of another unit."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError, ValueError) as error:
        raise UsageError(f"The draft {path} cannot be read ({error}). Begin anew with --anew.") from error
    try:
        if content.pop("schema") != SCHEMA or content["unit"] != unit:
            raise ValueError
        draft = Draft(**{**content, "visited_on": date.fromisoformat(content["visited_on"])})
        draft.visit()
    except (AttributeError, KeyError, TypeError, ValueError):
        raise UsageError(f"The draft {path} is not one of a visit to {unit}. Begin anew with --anew.") from None
    return draft


def remove_draft(path: Path) -> None:
    """Takes the draft away, also one that was being written."""
    path.unlink(missing_ok=True)
    path.with_name(path.name + ".new").unlink(missing_ok=True)
