"""Reads the map that a user writes (TOML), and says what is wrong with it before any file is opened."""

from __future__ import annotations

import codecs
import difflib
import tomllib
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Any

from tapwear.errors import UsageError
from tapwear.measures import MEASURES
from tapwear.visits.dates import strptime_pattern
from tapwear.visits.fields import TABLES, FieldSpec, TableSpec
from tapwear.visits.mapping import Feed, Long, Mapping
from tapwear.visits.values import Unfit, in_kept_unit, parser_for

_KEYS = (
    "file",
    "table",
    "columns",
    "fixed",
    "units",
    "words",
    "where",
    "ignore",
    "date_format",
    "encoding",
    "delimiter",
    "decimal_comma",
    "long",
    "sheet",
)
_LONG_KEYS = ("name", "value", "unit", "names")
_LONG_TABLE = "samples"
_LONG_WORDS = {"name": "quantity", "value": "result"}
_DELIMITER_WORDS = {"comma": ",", "semicolon": ";", "tab": "\t", "pipe": "|"}


def load_mapping(path: Path) -> Mapping:
    """The map in a TOML file. Raises UsageError when it cannot be read, or asks for what does not exist."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not written in UTF-8"
        raise UsageError(f"The mapping {path} cannot be read: {reason}. Name a TOML file.") from None
    return parse_mapping(text, str(path))


def parse_mapping(text: str, source: str) -> Mapping:
    """The map in a TOML text; `source` is how messages call it. Raises UsageError."""
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"The mapping {source} is not TOML: {error}. Correct it and try again.") from None
    _known(content, ("feed",), f"The mapping {source}", "part")
    feeds = content.get("feed")
    if not isinstance(feeds, list) or not feeds or not all(isinstance(feed, dict) for feed in feeds):
        raise UsageError(
            f'The mapping {source} needs at least one [[feed]] with file = "..." and table = "..."; found none. '
            "Write one for each file and table."
        )
    return Mapping(tuple(_feed(raw, f"The mapping {source}, feed {n}") for n, raw in enumerate(feeds, 1)), source)


def _feed(raw: dict[str, Any], where: str) -> Feed:
    _known(raw, _KEYS, where, "setting")
    for name in ("file", "table"):
        if not isinstance(raw.get(name), str) or not raw[name].strip():
            raise UsageError(f'{where} needs {name} = "..."; found {raw.get(name)!r}. Write it as text in quotes.')
    where = f"{where} ({raw['file']} to {raw['table']})"
    table = TABLES.get(raw["table"])
    if table is None:
        _known({raw["table"]: 0}, tuple(TABLES), where, "table")
        raise AssertionError("unreachable")  # pragma: no cover - _known has raised
    specs = {spec.name: spec for spec in table.fields}
    unit_columns = {spec.unit_column for spec in table.fields if spec.measure}
    columns = _texts(raw, "columns", where)
    fixed = _texts(raw, "fixed", where)
    units = _texts(raw, "units", where)
    words = {name: _texts(_table(raw, "words", where), name, f"{where}, words") for name in _table(raw, "words", where)}
    _known(columns, (*specs, *unit_columns), where, "field")
    _known(units, tuple(name for name, spec in specs.items() if spec.measure), where, "field with a unit of measure")
    for names in (fixed, words):
        _known(names, tuple(specs), where, "field")
    for name in fixed:
        if name in columns:
            raise UsageError(f"{where}: {name} is under columns and under fixed. Keep one of the two.")
    _check_values(table, fixed, words, units, where)
    return Feed(
        file=raw["file"].strip(),
        table=table.name,
        columns=columns,
        fixed=fixed,
        units=units,
        words={name: {word.casefold(): ours for word, ours in pairs.items()} for name, pairs in words.items()},
        where=_where(raw, where),
        ignore=tuple(_list(raw.get("ignore", []), f"{where}: ignore")),
        date_format=_date_format(raw, where),
        encoding=known_encoding(raw.get("encoding"), where),
        delimiter=_delimiter(raw, where),
        decimal_comma=_decimal_comma(raw, where),
        long=_long(raw, table, (*columns, *fixed), where),
        sheet=_sheet(raw, where),
    )


def _long(raw: dict[str, Any], table: TableSpec, taken: tuple[str, ...], where: str) -> Long | None:
    if "long" not in raw:
        return None
    if table.name != _LONG_TABLE:
        raise UsageError(f"{where}: long is for files of {_LONG_TABLE} with one row per result. Leave it out.")
    given = _table(raw, "long", where)
    _known(given, _LONG_KEYS, f"{where}, long", "setting")
    texts = {key: _text(value, f"{where}: long {key}") for key, value in given.items() if key != "names"}
    for key in ("name", "value"):
        if not texts.get(key):
            raise UsageError(f'{where}, long: write {key} = "the heading of the {_LONG_WORDS[key]}".')
    names = {word.casefold(): ours for word, ours in _texts(given, "names", f"{where}, long").items()}
    if not any(names.values()):
        raise UsageError(f'{where}, long: name the quantities under names, like C2H2 = "acetylene_ul_per_l".')
    results = tuple(spec.name for spec in table.fields if spec.name not in (*table.key, *taken))
    _known(filter(None, names.values()), results, f"{where}, long, names", "field for a result")
    return Long(texts["name"], texts["value"], texts.get("unit", ""), names)


def _sheet(raw: dict[str, Any], where: str) -> str:
    sheet = _text(raw.get("sheet", ""), f"{where}: sheet")
    if sheet and not raw["file"].strip().lower().endswith(".xlsx"):
        raise UsageError(f"{where}: sheet goes with a workbook; {raw['file']} does not end in .xlsx.")
    return sheet


def _check_values(
    table: TableSpec, fixed: dict[str, str], words: dict[str, dict[str, str]], units: dict[str, str], where: str
) -> None:
    for name, pairs in words.items():
        spec = table.field(name)
        for word, ours in pairs.items():
            if ours:
                _parses(spec, ours, f"{where}, words {name}, {word!r}", units.get(name, ""))
    for name, unit in units.items():
        known = MEASURES[table.field(name).measure]
        if unit.strip().lower().replace("μ", "µ") not in known:
            raise UsageError(f"{where}: the unit {unit!r} of {name} is not known. Write one of: {', '.join(known)}.")
    for name, text in fixed.items():
        _parses(table.field(name), text, f"{where}, fixed {name}", units.get(name, ""))


def _parses(spec: FieldSpec, text: str, where: str, unit: str = "") -> None:
    try:
        value = parser_for(spec)(text)
        if spec.measure:
            in_kept_unit(spec, value, unit)
    except Unfit as error:
        raise UsageError(f"{where}: {error.found}; {error.remedy}.") from None


def _known(found: Iterable[str], known: tuple[str, ...], where: str, what: str) -> None:
    for name in found:
        if name not in known:
            near = difflib.get_close_matches(name, known, n=1)
            hint = f"Did you mean {near[0]!r}?" if near else f"Known: {', '.join(known)}."
            raise UsageError(f"{where}: there is no {what} {name!r}. {hint}")


def _table(raw: dict[str, Any], name: str, where: str) -> dict[str, Any]:
    value = raw.get(name, {})
    if not isinstance(value, dict):
        raise UsageError(f"{where}: {name} has to be a table of names and values; found {value!r}.")
    return value


def _texts(raw: dict[str, Any], name: str, where: str) -> dict[str, str]:
    return {key: _text(value, f"{where}: {name} {key}") for key, value in _table(raw, name, where).items()}


def _text(value: Any, where: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list):
        return ";".join(_text(one, where) for one in value)
    if isinstance(value, (str, int, float)):
        return str(value).strip()
    raise UsageError(f"{where} has to be a text, number, date or list; found {value!r}.")


def _list(value: Any, where: str) -> list[str]:
    if isinstance(value, list):
        return [_text(one, where) for one in value]
    return [_text(value, where)]


def _where(raw: dict[str, Any], where: str) -> dict[str, tuple[str, ...]]:
    return {
        heading: tuple(word.casefold() for word in _list(values, f"{where}: where {heading}"))
        for heading, values in _table(raw, "where", where).items()
    }


def _date_format(raw: dict[str, Any], where: str) -> str | None:
    words = raw.get("date_format")
    if words is None:
        return None
    try:
        strptime_pattern(str(words))
    except UsageError as error:
        raise UsageError(f"{where}: {error}") from None
    return str(words)


def known_encoding(name: Any, where: str) -> str | None:
    """The encoding as Python calls it; None for None. Raises UsageError for one that is not known."""
    if name is None:
        return None
    try:
        info = codecs.lookup(str(name))
    except (LookupError, ValueError):  # ValueError: no name can hold such characters
        info = None
    if info is None or not getattr(info, "_is_text_encoding", True):
        raise UsageError(f"{where}: the encoding {name!r} is not known. Write e.g. utf-8, cp1252, latin-1 or utf-16.")
    return str(name)


def _delimiter(raw: dict[str, Any], where: str) -> str | None:
    given = raw.get("delimiter")
    if given is None:
        return None
    mark = _DELIMITER_WORDS.get(str(given).strip().lower(), str(given))
    if len(mark) != 1 or mark in '"\r\n\0' or mark.isalnum():
        raise UsageError(f"{where}: the delimiter {given!r} is not one mark. Write comma, semicolon, tab or pipe.")
    return mark


def _decimal_comma(raw: dict[str, Any], where: str) -> bool:
    given = raw.get("decimal_comma", False)
    if not isinstance(given, bool):
        raise UsageError(f"{where}: decimal_comma is true or false; found {given!r}.")
    return given
