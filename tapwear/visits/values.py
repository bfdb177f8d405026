"""One cell at a time: text into a value of the right kind, or what is wrong with it and what to do."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable
from datetime import date
from typing import Any

from tapwear import measures
from tapwear.visits.dates import ISO_WORDS, date_parser
from tapwear.visits.positions import position_words, positions_of
from tapwear.visits.specs import FieldSpec
from tapwear.visits.specs import Unfit as Unfit
from tapwear.visits.types import Below
from tapwear.weeks import iso_week, monday

Parser = Callable[[str], Any]

LONGEST_TEXT = 2_000  # our choice, in characters
MOST_REMEMBERED = 50_000  # distinct texts whose result is kept per column, so that equal cells share one object
_TIME = re.compile(r"([0-9]{1,2}):([0-9]{2})")
_COUNT = re.compile(r"\+?([0-9]{1,15})(?:\.0)?")  # 1234.0 is how spreadsheets and frames write a whole number
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:[ ,.'’\u00a0\u202f][0-9]{3})+")
_WITH_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_FORMULA = ("=", "+", "-", "@")
_YES = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}


def show(text: str, longest: int = 60) -> str:
    """The text in quotes, cut when long, with unprintable characters spelled out: safe for a screen or a file."""
    cut = text if len(text) <= longest else text[:longest] + "..."
    return "'" + printable(cut) + "'"


def printable(text: str) -> str:
    """The text with undecodable bytes, NUL and control characters spelled out, e.g. `\\xe9`."""
    if text.isprintable():
        return text
    return "".join(
        char
        if char.isprintable()
        else (f"\\x{ord(char) - 0xDC00:02x}" if 0xDC80 <= ord(char) <= 0xDCFF else repr(char)[1:-1])
        for char in text
    )


def parser_for(spec: FieldSpec, *, date_format: str | None = None, decimal_comma: bool = False) -> Parser:
    """A function from the text of a cell (stripped, not blank) to the value of that field.

    It raises Unfit. Numbers come back in the unit that they were written in; `in_kept_unit` converts and then
    checks the range.
    """
    if spec.kind == "count":
        return lambda text: in_range(spec, _count(text))
    if spec.kind == "number":
        if spec.measure:
            return lambda text: number(text, decimal_comma=decimal_comma)
        return lambda text: in_range(spec, number(text, decimal_comma=decimal_comma))
    if spec.kind == "gas":
        return lambda text: _gas(text, decimal_comma)
    if spec.kind == "date":
        return _remembering(_date(date_format))
    if spec.kind == "choice":
        return _remembering(_choice(spec))
    if spec.kind == "list":
        return _remembering(_list(spec))
    return _remembering(_BY_KIND.get(spec.kind, clean_text))


def in_range(spec: FieldSpec, value: Any) -> Any:
    """The value itself; raises Unfit when it lies outside what the field may hold."""
    named = spec.help.partition(";")[0]  # what follows explains how it is written
    if spec.low is not None and value < spec.low:
        what = "is negative" if value < 0 and spec.low == 0 else f"lies below {_figure(spec.low)}"
        raise Unfit(f"{_figure(value)} {what}", f"give {named} within {_span(spec)}")
    if spec.high is not None and value > spec.high:
        raise Unfit(f"{_figure(value)} lies above {_figure(spec.high)}", f"give {named} within {_span(spec)}")
    return value


def in_kept_unit(spec: FieldSpec, value: float | Below, unit: str) -> float | Below:
    """The value in the unit that we keep, within its range. Raises Unfit for an unknown unit or a value outside."""
    try:
        if isinstance(value, Below):
            return Below(in_range(spec, measures.convert(value.limit, spec.measure, unit) if unit else value.limit))
        converted = measures.convert(value, spec.measure, unit) if unit else value
    except KeyError as error:
        raise Unfit(str(error.args[0]), "write one of the known units, or none for the usual one") from None
    return float(in_range(spec, converted))


def number(text: str, *, decimal_comma: bool = False) -> float:
    """A finite number. Raises Unfit for words, NaN, infinity, separators of thousands, a comma not announced."""
    plain = text
    if decimal_comma:
        if "." in text:
            raise Unfit(f"{show(text)} has a point, where decimal commas were announced", "write it like 1234,5")
        plain = text.replace(",", ".", 1)
    if not _NUMBER.fullmatch(plain):
        if _GROUPED.fullmatch(text):
            raise Unfit(f"{show(text)} seems to have separators of thousands", "write all digits together, e.g. 12345")
        if _WITH_COMMA.fullmatch(text):
            raise Unfit(
                f"{show(text)} has a decimal comma", "write a point, or set decimal_comma = true in the mapping"
            )
        raise Unfit(f"{show(text)} is not a number", "write a number in digits, or leave the cell blank")
    value = float(plain)
    if not math.isfinite(value):
        raise Unfit(f"{show(text)} is too large", "write the number as it was read")
    return value


def _count(text: str) -> int:
    match = _COUNT.fullmatch(text)
    if match:
        return int(match[1])
    if text[:1] == "-" and _COUNT.fullmatch(text[1:]):
        return int(float(text))
    if _GROUPED.fullmatch(text):
        raise Unfit(f"{show(text)} seems to have separators of thousands", "write all digits together, e.g. 12345")
    if text.isascii() and text.isdigit():
        raise Unfit(f"{show(text)} has {len(text)} digits", "write the number as it stands on the counter")
    if _NUMBER.fullmatch(text) or _WITH_COMMA.fullmatch(text):
        raise Unfit(f"{show(text)} is not a whole number", "write a whole number, without decimals")
    raise Unfit(f"{show(text)} is not a whole number", "write digits only, e.g. 12345, or leave the cell blank")


def _gas(text: str, decimal_comma: bool) -> float | Below:
    if not text.startswith("<"):
        return number(text, decimal_comma=decimal_comma)
    limit = number(text[1:].strip(), decimal_comma=decimal_comma)
    if limit <= 0:
        raise Unfit(f"{show(text)} is below no detection limit", "write the laboratory's limit, e.g. <0.5")
    return Below(limit)


def _date(date_format: str | None) -> Parser:
    read = date_parser(date_format)

    def parse(text: str) -> date:
        try:
            return read(text)
        except ValueError as error:
            said = f"write it as {date_format or ISO_WORDS}"
            told = "" if date_format else ", or state the format that the file uses"
            raise Unfit(str(error), said + told) from None

    return parse


def _choice(spec: FieldSpec) -> Parser:
    known = {_key(word): word for word in spec.choices}

    def parse(text: str) -> str:
        found = known.get(_key(text))
        if found is None:
            raise Unfit(f"{show(text)} is none of the known words", f"write one of: {', '.join(spec.choices)}")
        return found

    return parse


def _key(word: str) -> str:
    return re.sub(r"[\s_-]+", " ", word).strip().casefold()


def _list(spec: FieldSpec) -> Parser:
    def parse(text: str) -> tuple[str, ...]:
        parts = tuple(clean_text(part.strip()) for part in text.split(";" if ";" in text else ",") if part.strip())
        if len(set(parts)) != len(parts) or not parts:
            raise Unfit(f"{show(text)} names something twice, or nothing", "write each name once, like A;B;C")
        return parts

    return parse


def _yes_or_no(text: str) -> bool:
    found = _YES.get(text.casefold())
    if found is None:
        raise Unfit(f"{show(text)} is neither yes nor no", "write yes or no")
    return found


def _week(text: str) -> str:
    try:
        return iso_week(monday(text))
    except ValueError:
        raise Unfit(f"{show(text)} is not an ISO week", "write it like 2027-W05") from None


def _time(text: str) -> str:
    match = _TIME.fullmatch(text)
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        raise Unfit(f"{show(text)} is no time of day", "write it like 07:45 or 16:30")
    return f"{int(match[1]):02}:{match[2]}"


def minute_of(time: str) -> int | None:
    """The minute of the day of a time as it is kept (HH:MM), None for "": not known."""
    hours, _, minutes = time.partition(":")
    return 60 * int(hours) + int(minutes) if minutes else None


def clean_text(text: str) -> str:
    """The text as we keep it: line breaks and special blanks become blanks, accents in their composed form.

    Raises Unfit for text that a spreadsheet would run as a formula, invisible characters, and endless text.
    """
    if text.startswith(_FORMULA):
        raise Unfit(
            f"{show(text)} begins like a spreadsheet formula", "begin with a letter or digit, or leave the cell blank"
        )
    if len(text) > LONGEST_TEXT:
        raise Unfit(f"text of {len(text):,} characters", f"shorten it to {LONGEST_TEXT:,}")
    if text.isascii() and text.isprintable():
        return text
    text = unicodedata.normalize("NFC", " ".join(text.split()))
    if not text.isprintable():
        odd = next(char for char in text if not char.isprintable())
        raise Unfit(f"{show(text)} holds the invisible character {printable(odd)}", "type the cell again")
    return text


def _remembering(parse: Parser) -> Parser:
    known: dict[str, Any] = {}

    def remembered(text: str) -> Any:
        try:
            return known[text]
        except KeyError:
            value = parse(text)
            if len(known) < MOST_REMEMBERED:
                known[text] = value
            return value

    return remembered


def _figure(value: float) -> str:
    return f"{value:,}" if isinstance(value, int) else f"{value:,.10g}"


def _span(spec: FieldSpec) -> str:
    low = _figure(spec.low) if spec.low is not None else ""
    high = _figure(spec.high) if spec.high is not None else ""
    return f"{low} to {high}" if low and high else (f"at least {low}" if low else f"at most {high}")


def _position(text: str) -> str:
    return position_words(clean_text(text))


def _positions(text: str) -> str:
    positions_of(text)
    return clean_text(text)


_BY_KIND: dict[str, Parser] = {
    "yes or no": _yes_or_no,
    "week": _week,
    "time": _time,
    "position": _position,
    "positions": _positions,
}
