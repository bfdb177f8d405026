"""What the book holds already, so that the same row handed in again is known and another number is a conflict."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.entries import COMPARED, SAME
from tapwear.store.importing_types import Result, remark
from tapwear.store.lean import is_current, lean
from tapwear.visits.types import WHOLE_ROW, Row

Key = tuple[Any, ...]

# What else a row says: told when it differs, without making the row a conflict.
BESIDES: dict[str, tuple[str, ...]] = {
    "reading": ("reader", "remark"),
    "event": ("remark",),
    "sample": ("laboratory", "received_on", "reported_on", "compartment_serial", "breakdown_method", "remark"),
    "service": ("serial_seen", "done_by", "witness", "remark"),
    "condition": ("author", "closed_words"),
    "observation": (),
    "oil_limit": ("provenance",),
}
# As in `entries`, but a reading with a time of day is held only against those of the same time.
ABOUT = {**SAME, "reading": (*SAME["reading"], "read_time")}
NAMES = {table: COMPARED[table] + besides for table, besides in BESIDES.items()}


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

    def completes(self, table: str, columns: Mapping[str, Any]) -> list[str]:
        """The columns that a row adds to the current one about the same thing; none where it says otherwise too.

        When there are any, they count as known from then on: the caller stores the completed row.
        """
        held, key, says = self._looked_up(table, columns)
        have = held.current.get(key)
        if have is None:
            return []
        before = dict(zip(NAMES[table], have, strict=True))
        after = dict(before)
        for name, new in zip(NAMES[table], says, strict=True):
            if new is None or new == "" or new == before[name]:
                continue
            measured = before.get(name.replace("_below", "_ul_per_l")) if name.endswith("_below") else before[name]
            if measured not in (None, ""):
                return []
            after[name] = new
        held.current[key] = tuple(after.values())
        return [name for name in after if after[name] != before[name]]

    def _looked_up(self, table: str, columns: Mapping[str, Any]) -> tuple[_Held, Key, Key]:
        """What is known of the table, what the row is about, and what it says."""
        held = self._tables.setdefault(table, _Held())
        key = tuple([columns[name] for name in ABOUT[table]])
        if key[0] not in held.owners:
            held.owners.add(key[0])
            self._read(table, key[0], held)
        return held, key, tuple([columns[name] for name in NAMES[table]])

    def judge(
        self,
        table: str,
        row: Row,
        columns: Mapping[str, Any],
        whose: str,
        how: str,
        apart: Callable[[Any, Any], bool] = lambda old, new: False,
    ) -> Result | None:
        """None for a row to be stored (and then remembered), otherwise what is to be said of it.

        `columns` holds what goes into the table, with None or "" for all that the row leaves open. A row that says
        what the book says, or once said, is known. `how` tells how a conflict is settled; `apart` whether two values
        (first of the columns compared) are about different things although the rows look alike.
        """
        held, key, says = self._looked_up(table, columns)
        have = held.current.get(key)
        if have == says:
            return self._again(held.added.get(key), row)
        main = len(COMPARED[table])
        once = any(_agrees(old[:main], says[:main]) for old in held.past.get(key, ()))
        if have is None:
            if once:
                return Result()
            held.current[key] = says
            held.added[key] = (row.file, row.line)
            return None
        if not _agrees(have[:main], says[:main]) and apart(have[0], says[0]):
            if once or (*key, says[0]) in held.current:
                return self._again(held.added.get((*key, says[0])), row)
            held.current[*key, says[0]] = says
            held.added[*key, says[0]] = (row.file, row.line)
            return None
        if not _agrees(have[:main], says[:main]):
            return Result() if once else self._otherwise(table, held.added.get(key), row, have, says, whose, how)
        if not _agrees(have, says) and not once:
            return self._otherwise(table, held.added.get(key), row, have, says, whose, "", aside=True)
        return self._again(held.added.get(key), row)

    def _again(self, added: tuple[str, int] | None, row: Row) -> Result:
        if added is None or added[0] != row.file:
            return Result()
        found = f"line {added[1]} of the file says the same"
        return Result((remark(WHOLE_ROW, found, "delete one of the two lines", "left aside"),))

    def _otherwise(
        self,
        table: str,
        added: tuple[str, int] | None,
        row: Row,
        have: Key,
        says: Key,
        whose: str,
        how: str,
        *,
        aside: bool = False,
    ) -> Result:
        differs = [
            (name, old, new)
            for name, old, new in zip(NAMES[table], have, says, strict=True)
            if new not in (None, "") and new != old
        ]
        where = "in the book"
        if added is not None:
            where = f"in line {added[1]}" + ("" if added[0] == row.file else f" of {added[0]}")
            how = "correct one of the two lines; the earlier one was taken"
        told = "; ".join(f"{name} {_word(old)} {where}, {_word(new)} here" for name, old, new in differs)
        if aside:
            how = "nothing to do if the earlier words are enough; the numbers are the same"
        found = f"{whose}: {told}"
        return Result((remark(differs[0][0], found, how, "left aside" if aside else "conflict"),))

    def _read(self, table: str, owner: int, held: _Held) -> None:
        same, compared = ABOUT[table], NAMES[table]
        if table not in self._queries:
            rows = lean(table, *dict.fromkeys(("id", "supersedes_id", "withdrawn", *same, *compared)))
            self._queries[table] = sa.select(
                is_current(rows).label("now"), *(rows.c[name] for name in (*same, *compared))
            ).where(rows.c[same[0]] == sa.bindparam("owner"))
        width = len(same)
        for now, *values in self.connection.execute(self._queries[table], {"owner": owner}):
            key, said = tuple(values[:width]), tuple(values[width:])
            if now and key not in held.current:
                held.current[key] = said
            else:  # also the second of two numbers for one day, which visits may have left
                held.past.setdefault(key, []).append(said)


def _agrees(have: Key, says: Key) -> bool:
    """Whether the stored row says everything that the new one says; what the new one leaves open agrees."""
    return all(new is None or new == old or new == "" for old, new in zip(have, says, strict=True))


def _word(value: Any) -> str:
    return "nothing" if value is None or value == "" else str(value)
