"""The draft of a guided entry: a small file beside the store, written anew after each answer, gone when all is stored.

Nothing of it is in the store before its end, so whatever stops it (Ctrl-C, an empty battery) loses at most the
answer that was being typed.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any, ClassVar, Protocol, TypeVar

from tapwear.errors import UsageError
from tapwear.visits.visit import CounterSeen, Visit, new_visit_id


class AnyDraft(Protocol):
    """What the drafts of all guided entries have; `DAY` names the field with the day."""

    KIND: ClassVar[str]  # the command that writes it
    DAY: ClassVar[str]
    unit: str
    by: str
    answered: list[str]

    def __init__(self, **fields: Any) -> None: ...

    @property
    def day(self) -> date: ...

    def checked(self) -> None:
        """Raises TypeError, KeyError or ValueError for a draft that was damaged."""


D = TypeVar("D", bound=AnyDraft)


@dataclass
class Draft:
    """A visit while it is being written.

    counters : by `drive/source`, {"value", "doubt"}; questioned : by quantity, why and what the person said to it
    more : groups of quantities that were asked for (MORE in tapwear.visits.observations)
    answered : keys of the questions that are done, in their order, also those that were left open
    """

    KIND: ClassVar[str] = "visit"
    DAY: ClassVar[str] = "visited_on"
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
    more: list[str] = field(default_factory=list)
    de_energised: bool = False
    answered: list[str] = field(default_factory=list)
    at: str = ""  # time of day, HH:MM

    @property
    def day(self) -> date:
        return self.visited_on

    def checked(self) -> None:
        self.visit()

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
            de_energised=self.de_energised and self.sample_taken and not self.another_unit,
            remark=remark,
            at=self.at,
        )


@dataclass
class ServiceDraft:
    """Work that was done, while it is being written.

    values : by field of a service, as they go into the book, without the day
    drive : whose counter was read; doubt : why its number was questioned, and what the person said to it
    by_hand : operations by hand between the counter as found and as left; was_reset : it was set back or replaced
    """

    KIND: ClassVar[str] = "service"
    DAY: ClassVar[str] = "done_on"
    unit: str
    done_on: date
    by: str
    drive: str = ""
    values: dict[str, Any] = field(default_factory=dict)
    doubt: str = ""
    by_hand: int | None = None
    was_reset: bool = False
    answered: list[str] = field(default_factory=list)

    @property
    def day(self) -> date:
        return self.done_on

    def checked(self) -> None:
        self.service()

    def service(self) -> dict[str, Any]:
        """The fields of the service; the operations by hand stand at the end of its remark."""
        values = {**self.values, "done_on": self.done_on}
        if "resets" in values:
            values["resets"] = tuple(values["resets"])
        if self.by_hand:
            words = f"{self.by_hand} operations by hand between the counter as found and as left"
            values["remark"] = "; ".join(part for part in (values.get("remark", ""), words) if part)
        return values


def draft_path(folder: Path, name: str, unit: str, kind: type[AnyDraft] = Draft) -> Path:
    """Where the draft of an entry for that unit lies: in the store's folder, under the store's name."""
    safe = re.sub(r"[^A-Za-z0-9-]+", "-", unit).strip("-")[:40] or "unit"
    if safe != unit:
        safe += "-" + hashlib.sha256(unit.encode()).hexdigest()[:8]
    return folder / f"{name}.{kind.KIND}-{safe}.json"


def save_draft(path: Path, draft: AnyDraft) -> None:
    """Writes the draft in one move: the file is the old one or the new one, never half of it; for its owner only.

    Raises UsageError when it cannot be written: then nothing would be kept.
    """
    text = json.dumps({"schema": _schema(type(draft)), **vars(draft)}, default=str, ensure_ascii=False, indent=1)
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
            f"free the folder, or give everything by options: tapwear {draft.KIND} --help"
        ) from error


def _schema(kind: type[AnyDraft]) -> str:
    return f"tapwear.{kind.KIND}-draft/1"


def load_draft(path: Path, unit: str, kind: type[D] = Draft) -> D | None:  # type: ignore[assignment]
    """The draft that lies there, None for none. Raises UsageError for one that is damaged, or of another unit."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError, ValueError) as error:
        raise UsageError(f"The draft {path} cannot be read ({error}). Begin anew with --anew.") from error
    try:
        if content.pop("schema") != _schema(kind) or content["unit"] != unit:
            raise ValueError
        draft = kind(**{**content, kind.DAY: date.fromisoformat(content[kind.DAY])})
        draft.checked()
    except (AttributeError, KeyError, TypeError, ValueError):
        raise UsageError(f"The draft {path} is not one of a {kind.KIND} to {unit}. Begin anew with --anew.") from None
    return draft


def remove_draft(path: Path) -> None:
    """Takes the draft away, also one that was being written."""
    path.unlink(missing_ok=True)
    path.with_name(path.name + ".new").unlink(missing_ok=True)
