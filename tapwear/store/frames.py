"""Reading current rows into frames: the scope of a load (fleet or some units, up to a day) and fixed column types."""

from __future__ import annotations

import json
import operator
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property, reduce
from typing import Any, Literal, NoReturn

import numpy as np
import pandas as pd
import sqlalchemy as sa
from numpy.typing import NDArray
from sqlalchemy.engine import Connection

from tapwear.errors import StoreError
from tapwear.store.lean import is_current, lean
from tapwear.store.possible import REFERS, impossible

DATES: Literal["datetime64[us]"] = "datetime64[us]"
_NO_DAY = " " * 10  # as wide as a day is written
_SHORT = 32  # bytes of a text that is short, a multiple of 8: names, kinds, numbers of forms; our choice


@dataclass(frozen=True)
class Scope:
    """What to load: everything (ids None), or the rows of some tap changers; up to a day, or all."""

    connection: Connection
    ids: tuple[int, ...] | None
    as_of: date | None
    _tables: dict[str, sa.TableClause] = field(default_factory=dict, repr=False)

    def table(self, name: str) -> sa.TableClause:
        """A table with the columns that the store has; importing the models for it would take longer than a load."""
        if name not in self._tables:
            held = self.connection.execute(sa.select(sa.text("*")).select_from(sa.table(name)).limit(0)).keys()
            self._tables[name] = table = lean(name, *held)
            self.only_references(table)
            if "withdrawn" not in held:  # the rows of the book are looked at where they are loaded
                whose = table.c.get("id" if name == "tap_changer" else "tap_changer_id")
                self.only_possible(table, [] if whose is None else self.of_units(whose))
        return self._tables[name]

    @cached_property
    def units(self) -> pd.Series[str]:
        """Tags of the units asked for, in their order, by row number."""
        changer = self.table("tap_changer")
        found = self.rows(sa.select(changer.c.tag, changer.c.id).where(*self.of_units(changer.c.id)))
        tags, numbers = zip(*sorted(map(tuple, found)), strict=True) if found else ((), ())
        return pd.Series(tags, index=pd.Index(numbers, dtype="int64"), dtype=object).astype(str)

    def rows(self, query: sa.Select[Any]) -> Sequence[Any]:
        return self.connection.execute(query).all()

    def frame(self, query: sa.Select[Any]) -> pd.DataFrame:
        names = [column.name for column in query.selected_columns if isinstance(column, sa.ColumnElement)]
        return pd.DataFrame([tuple(row) for row in self.rows(query)], columns=names)

    def current(self, name: str, day: str) -> tuple[sa.TableClause, list[sa.ColumnElement[bool]]]:
        """A table of the book, and the conditions that leave its current rows up to the day asked for."""
        table = self.table(name)
        conditions = [is_current(table)]
        if self.as_of is not None:
            conditions.append(sa.or_(table.c[day].is_(None), table.c[day] <= self.as_of))
            self.only_days(table, day, [])
        self.only_possible(table, [])
        return table, conditions

    def only_possible(self, table: sa.TableClause, conditions: Sequence[sa.ColumnElement[bool]]) -> None:
        """Raises StoreError where rows hold what cannot be (tapwear.store.possible): it would change what is said."""
        on_server = self.connection.dialect.name != "sqlite"
        wrong = impossible(table.name, tuple(table.c.keys()), on_server)
        parts: list[sa.ColumnElement[bool]] = [sa.literal_column(f"({one.condition})", sa.Boolean) for one in wrong]
        if "supersedes_id" in table.c:
            parts.append(_nobodys(table, "supersedes_id", table.name))
        if not parts:
            return
        query = sa.select(*parts).select_from(table).where(sa.or_(*parts), *conditions).limit(1)
        for row in self.connection.execute(query):
            which = next((one for one, so in zip(wrong, row, strict=False) if so), None)
            self._refuse(table, f"{which.column} {which.words}" if which else "it corrects a row that is not there")

    def only_references(self, table: sa.TableClause) -> None:
        """Raises StoreError where rows name a unit, counter or the like of a number that there is none of: they would
        be left out. Found at either end of an index, however long the table."""
        for name, parent in REFERS.items():
            if name in table.c:
                last = sa.select(sa.func.max(lean(parent, "id").c.id)).scalar_subquery()
                for beyond in (table.c[name] < 1, table.c[name] > last):
                    if self.rows(sa.select(sa.literal(1)).select_from(table).where(beyond).limit(1)):
                        self._refuse(table, f"its {parent.replace('_', ' ')} is not there")

    def _refuse(self, table: sa.TableClause, words: str) -> NoReturn:
        raise StoreError(
            f"The store holds a row of {table.name.replace('_', ' ')} that cannot be right: {words}. What follows from "
            "it would be wrong. All that is wrong: tapwear check"
        )

    def only_days(self, table: sa.TableClause, day: str, conditions: Sequence[sa.ColumnElement[bool]]) -> None:
        """Raises StoreError where a file holds rows whose day is none: left out as if they lay in the future, they
        would change what is said without a word."""
        if self.connection.dialect.name != "sqlite":  # a server takes no such value
            return
        text = sa.type_coerce(table.c[day], sa.Text)
        none = sa.func.coalesce(sa.func.date(text, _said("+0 days")), _said("")) != text
        late = table.c[day] > self.as_of
        found = self.connection.execute(
            sa.select(text).select_from(table).where(late, none, *conditions).limit(1)
        ).scalar()
        if found is not None:
            raise StoreError(
                f"The store holds a {table.name.replace('_', ' ')} of {found!r}, which is no day of the calendar, so "
                "that nothing can be said of its unit. All that is wrong: tapwear check"
            )

    def of_units(self, column: sa.ColumnElement[Any]) -> list[sa.ColumnElement[bool]]:
        """The conditions that leave the rows of the units asked for; `column` holds row numbers of tap changers."""
        return [] if self.ids is None else [among(column, self.ids)]

    def entries(self, name: str, day: str, *, order: Sequence[str] = (), **columns: Sequence[str]) -> pd.DataFrame:
        """The units' current rows of a table of the book: `unit`, `id` and `columns`, named by kind as in `columns`.

        They stand in the order of unit, day, the texts of `order`, row number.
        """
        own = self.of_units(self.table(name).c.tap_changer_id)
        whole = ("id", "tap_changer_id", *columns.pop("whole", ()))
        frame = self.columns(name, day, own, whole=whole, **columns)
        unit = row_of(frame.pop("tap_changer_id"), self.units.index)
        frame = frame.assign(unit=self.units.array.take(unit))
        keys = (pd.factorize(frame[one], sort=True)[0] for one in order)
        rows = in_order(unit, frame[day].to_numpy(), *keys, frame["id"].to_numpy())
        return taken(frame, rows).reset_index(drop=True)

    def columns(
        self,
        name: str,
        day: str,
        conditions: Sequence[sa.ColumnElement[bool]],
        *,
        whole: Sequence[str] = (),
        floats: Sequence[str] = (),
        dates: Sequence[str] = (),
        flags: Sequence[str] = (),
        texts: Sequence[str] = (),
        rare: Sequence[str] = (),
    ) -> pd.DataFrame:
        """The current rows of a table of the book up to the day asked for, in no order, column by column.

        The database writes each column as one text, numbers with 15 digits or more: of a long table that takes a
        third of the time of fetching rows, and there is no object for each value. `whole` has the id; text is never
        NaN. `rare` are texts that most rows lack: they are written with the ids of the rows that have them.
        """
        table = self.table(name)
        if self.as_of is not None:
            self.only_days(table, day, conditions)
        self.only_possible(table, conditions)
        on_server = self.connection.dialect.name == "postgresql"
        join = sa.func.string_agg if on_server else sa.func.group_concat
        listed = sa.func.json_agg if on_server else sa.func.json_group_array

        def joined(value: sa.ColumnElement[Any], missing: str, separator: str) -> sa.ColumnElement[str]:
            return join(sa.func.coalesce(sa.cast(value, sa.Text), _said(missing)), _said(separator))

        def where_said(column: str, value: str) -> sa.ColumnElement[str]:
            return sa.cast(listed(table.c[value]).filter(table.c[column] != _said("")), sa.Text)

        rows, *found = self.connection.execute(
            sa.select(
                sa.func.count(),
                *(joined(table.c[column], "nan", " ") for column in (*whole, *floats)),
                *(joined(table.c[column], _NO_DAY, "") for column in dates),
                *(joined(together, "0", " ") for together in _together([table.c[column] for column in flags])),
                *(sa.cast(listed(sa.func.coalesce(table.c[column], _said(""))), sa.Text) for column in texts),
                *(where_said(column, value) for column in rare for value in ("id", column)),
            ).where(
                table.c.withdrawn == sa.false(),
                *conditions,
                *(() if self.as_of is None else (table.c[day] <= self.as_of,)),
            )
        ).one()
        readers = [_whole] * len(whole) + [_floats] * len(floats) + [_dates] * len(dates)
        readers += [_whole] * bool(flags) + [_texts] * len(texts)
        names = (*whole, *floats, *dates, *flags[:1], *texts)
        written = [text or "" for text in found]
        columns = zip(names, readers, written[: len(names)], strict=True)
        read: dict[str, Any] = {name: reader(text, rows) for name, reader, text in columns}
        for place, name in reversed(list(enumerate(flags))):
            read[name] = (read[flags[0]] & 1 << place) > 0
        said = iter(written[len(names) :])
        for name, ids, words in zip(rare, said, said, strict=True):
            read[name] = _rare(ids, words, read["id"])
        frame = pd.DataFrame(read, copy=False)
        superseded = self.rows(sa.select(table.c.supersedes_id).where(table.c.supersedes_id.is_not(None)))
        old = np.isin(frame["id"].to_numpy(), [row[0] for row in superseded])
        return frame[~old] if old.any() else frame


def _nobodys(table: sa.TableClause, column: str, parent: str) -> sa.ColumnElement[bool]:
    """True of a row that names a row of the other table which is not there."""
    other = lean(parent, "id").alias("named")
    return sa.and_(table.c[column].is_not(None), ~sa.exists().where(other.c.id == table.c[column]))


def _said(text: str) -> sa.ColumnElement[str]:
    """The text written out in the statement; as a parameter it would cost the time of a column."""
    return sa.literal_column(f"'{text}'", sa.Text)


def _together(flags: Sequence[sa.ColumnElement[bool]]) -> list[sa.ColumnElement[int]]:
    """One number that holds all the flags, the first as 1, the next as 2, 4, ...; none where there are no flags."""
    parts = [sa.cast(flag, sa.Integer) * sa.literal_column(str(1 << place)) for place, flag in enumerate(flags)]
    return [reduce(operator.add, parts)] if parts else []


def _whole(text: str, rows: int) -> NDArray[np.int64]:
    return np.fromstring(text, np.int64, rows, sep=" ")


def _floats(text: str, rows: int) -> NDArray[np.float64]:
    if text.count("nan") == rows:  # a column that nobody fills takes as long to read as any
        return np.full(rows, np.nan)
    return np.fromstring(text, np.float64, rows, sep=" ")


def _dates(text: str, rows: int) -> NDArray[np.datetime64]:
    """Days of ten characters each, blank for none."""
    days = np.frombuffer(text.encode(), f"S{len(_NO_DAY)}", rows)
    return np.where(days == _NO_DAY.encode(), b"NaT", days).astype("datetime64[D]").astype(DATES)


def _texts(text: str, rows: int) -> Any:
    """The texts of a JSON list; each different one is kept once."""
    if (told := _short_texts(text, rows)) is not None:
        which, different = told
        return text_array(different).take(which)
    codes, others = _different(json.loads(text or "[]"))
    return text_array(others).take(codes)


def _different(texts: list[str]) -> tuple[NDArray[np.intp], list[str]]:
    """Which of the different texts each is; pandas before 3 takes what differs behind a NUL for the same."""
    known: dict[str, int] = {}
    codes = np.fromiter((known.setdefault(text, len(known)) for text in texts), np.intp, len(texts))
    return codes, list(known)


def _short_texts(text: str, rows: int) -> tuple[NDArray[np.intp], list[str]] | None:
    """Which text each row has, and the different ones; None where some are long or written with a backslash.

    They are told apart eight bytes at a time, as whole numbers, without an object for each.
    """
    data = text.encode() + bytes(_SHORT)
    letters = np.frombuffer(data, np.uint8)
    quotes = np.flatnonzero(letters == ord('"'))
    begin, length = quotes[::2] + 1, quotes[1::2] - quotes[::2][: len(quotes) // 2] - 1
    if "\\" in text or len(quotes) != 2 * rows or length.max(initial=0) > _SHORT:
        return None
    numbers: NDArray[np.uint64] = np.ndarray((len(data) - 7,), "<u8", data, strides=(1,))
    which = np.zeros(rows, dtype=np.intp)
    for at in range(0, int(length.max(initial=0)), 8):
        beyond = np.clip(8 * (8 + at - length), 0, 64).astype(np.uint64)
        codes, different = pd.factorize(numbers[np.minimum(begin + at, len(numbers) - 1)] << beyond)
        which = pd.factorize(which * len(different) + codes)[0] if at else codes
    first = np.zeros(int(which.max(initial=-1)) + 1, dtype=np.intp)
    first[which[::-1]] = np.arange(rows)[::-1]
    return which, [data[begin[row] : begin[row] + length[row]].decode() for row in first]


def _rare(ids: str, texts: str, among: NDArray[np.int64]) -> Any:
    """The texts of the rows of these ids, which stand in the same order as those of all rows; "" for the others."""
    codes, different = _different(json.loads(texts or "[]"))
    which = np.zeros(len(among), dtype=np.intp)
    which[np.isin(among, np.array(json.loads(ids or "[]"), dtype=np.int64))] = codes + 1
    return text_array(["", *different]).take(which)


def text_array(texts: Sequence[str] | NDArray[np.object_]) -> Any:
    """The texts as a column's array, of the type that text has in this pandas."""
    return pd.Series(texts, dtype=object).astype(str).array


def row_of(values: pd.Series[Any] | Sequence[Any], among: pd.Index[Any]) -> NDArray[np.intp]:
    """At which row of the index each value stands; -1 for none."""
    return among.get_indexer(pd.Index(values))


def in_order(*keys: NDArray[Any]) -> NDArray[np.intp]:
    """The order of rows by these keys, whole numbers or days, the first before the others."""
    numbers = [key.view(np.int64) for key in reversed(keys)]
    fits = np.ones(max(len(numbers[0]) - 1, 0), dtype=bool)
    for key in numbers:
        fits = (key[1:] > key[:-1]) | (key[1:] == key[:-1]) & fits
    return np.arange(len(numbers[0])) if fits.all() else np.lexsort(numbers)


def taken(frame: pd.DataFrame, rows: NDArray[np.intp]) -> pd.DataFrame:
    """These rows of the frame, which itself comes back where they are all in their order."""
    return frame if len(rows) == len(frame) and (np.diff(rows) == 1).all() else frame.take(rows)


class _Numbers(sa.types.UserDefinedType[Sequence[int]]):
    """Whole numbers written out in a statement, all at once; one by one SQLAlchemy takes as long as the query."""

    cache_ok = True

    def literal_processor(self, dialect: sa.Dialect) -> Callable[[Sequence[int]], str]:
        return lambda numbers: f"({', '.join(map(str, numbers)) or 'NULL'})"


def among(column: sa.ColumnElement[Any], numbers: Iterable[int]) -> sa.ColumnElement[bool]:
    """True where the column holds one of these row numbers, which are written out: parameters are limited in number."""
    return column.bool_op("IN")(sa.bindparam(None, list(numbers), _Numbers(), literal_execute=True))


def typed(
    frame: pd.DataFrame,
    *,
    dates: Iterable[str] = (),
    floats: Iterable[str] = (),
    texts: Iterable[str] = (),
    whole: Iterable[str] = (),
) -> pd.DataFrame:
    """The frame with fixed column types, also where it has no rows: text never NaN, numbers float64 or int64."""
    made: dict[str, pd.Series[Any]] = {name: pd.to_datetime(frame[name]).astype(DATES) for name in dates}
    made |= {name: frame[name].astype("float64") for name in floats}
    made |= {name: frame[name].fillna("").astype(str) for name in texts}
    made |= {name: frame[name].astype("int64") for name in whole}
    return frame.assign(**made)
