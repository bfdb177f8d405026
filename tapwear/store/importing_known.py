"""What the book holds already, so that the same row handed in again is known and another number is a conflict."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.entries import COMPARED, SAME
from tapwear.store.importing_types import Result, remark
from tapwear.store.lean import is_current, lean
from tapwear.visits.types import Row

Key = tuple[Any, ...]


@dataclass
class _Held:
    """Of one table: what is current, what was so once (corrected or taken back since), and what this import added."""

    current: dict[Key, Key] = field(default_factory=dict)
    past: dict[Key, list[Key]] = field(default_factory=dict)
    added: dict[Key, tuple[str, int]] = field(default_factory=dict)  # file and line
    owners: set[int] = field(default_factory=set)  # whose rows have been read from the store


@dataclass
class Known:
    """Rows of the book by what they are about, read from the store owner by owner as they are asked for."""

    connection: Connection
    _tables: dict[str, _Held] = field(default_factory=dict)
    _queries: dict[str, Any] = field(default_factory=dict)

    def judge(self, table: str, row: Row, columns: Mapping[str, Any], whose: str, how: str) -> Result | None:
        """None for a row to be stored (and then remembered), otherwise what is to be said of it.

        `columns` holds what goes into the table, with None for all that the row leaves open. A row that says what
        the book says, or once said, is known. `how` tells how a conflict is settled.
        """
        held = self._tables.setdefault(table, _Held())
        key = tuple([columns[name] for name in SAME[table]])
        says = tuple([columns[name] for name in COMPARED[table]])
        if key[0] not in held.owners:
            held.owners.add(key[0])
            self._read(table, key[0], held)
        have = held.current.get(key)
        if have is None and not any(_agrees(old, says) for old in held.past.get(key, ())):
            held.current[key] = says
            held.added[key] = (row.file, row.line)
            return None
        if have is None or _agrees(have, says):
            return self._again(held.added.get(key), row)
        if any(_agrees(old, says) for old in held.past.get(key, ())):
            return Result()
        return self._conflict(table, held.added.get(key), row, have, says, whose, how)

    def _again(self, added: tuple[str, int] | None, row: Row) -> Result:
        if added is None or added[0] != row.file:
            return Result()
        found = f"line {added[1]} of the file says the same"
        return Result((remark("", found, "delete one of the two lines", "left aside"),))

    def _conflict(
        self, table: str, added: tuple[str, int] | None, row: Row, have: Key, says: Key, whose: str, how: str
    ) -> Result:
        differs = [
            (name, old, new)
            for name, old, new in zip(COMPARED[table], have, says, strict=True)
            if new is not None and new != old
        ]
        where = "in the book"
        if added is not None:
            where = f"in line {added[1]}" + ("" if added[0] == row.file else f" of {added[0]}")
            how = "correct one of the two lines; the earlier one was taken"
        told = "; ".join(f"{name} {_word(old)} {where}, {_word(new)} here" for name, old, new in differs)
        return Result((remark(differs[0][0], f"{whose}: {told}", how, "conflict"),))

    def _read(self, table: str, owner: int, held: _Held) -> None:
        same, compared = SAME[table], COMPARED[table]
        if table not in self._queries:
            rows = lean(table, *dict.fromkeys(("id", "supersedes_id", "withdrawn", *same, *compared)))
            self._queries[table] = sa.select(
                is_current(rows).label("now"), *(rows.c[name] for name in (*same, *compared))
            ).where(rows.c[same[0]] == sa.bindparam("owner"))
        width = len(same)
        for now, *values in self.connection.execute(self._queries[table], {"owner": owner}):
            key, said = tuple(values[:width]), tuple(values[width:])
            if now:
                held.current[key] = said
            else:
                held.past.setdefault(key, []).append(said)


def _agrees(have: Key, says: Key) -> bool:
    """Whether the stored row says everything that the new one says; what the new one leaves open agrees."""
    return have == says or all(new is None or new == old for old, new in zip(have, says, strict=True))


def _word(value: Any) -> str:
    return "nothing" if value is None or value == "" else str(value)
