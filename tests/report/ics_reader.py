"""A strict reader of calendar files, written from RFC 5545 alone and sharing no code with the writer.

It raises ValueError for whatever the standard forbids in what we write: line ends, folding (3.1), escapes (3.3.11),
nesting (3.4), what an event must and may hold how often (3.6.1, 3.6.6), dates and durations (3.3.4 to 3.3.6).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

LONGEST_LINE = 75  # octets without the line break
ONCE = {
    "VCALENDAR": {"VERSION", "PRODID", "NAME", "DESCRIPTION"},
    "VEVENT": {
        "UID", "DTSTAMP", "SEQUENCE", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "LOCATION", "STATUS", "TRANSP",
    },
    "VALARM": {"ACTION", "TRIGGER", "DESCRIPTION"},
}  # fmt: skip
MUST = {
    "VCALENDAR": {"VERSION", "PRODID"},
    "VEVENT": {"UID", "DTSTAMP", "DTSTART"},
    "VALARM": {"ACTION", "TRIGGER", "DESCRIPTION"},
}
INSIDE = {None: {"VCALENDAR"}, "VCALENDAR": {"VEVENT"}, "VEVENT": {"VALARM"}, "VALARM": set()}
_LINE = re.compile(r'([A-Za-z0-9-]+)((?:;[A-Za-z0-9-]+=(?:"[^"\x00-\x08\x0a-\x1f\x7f]*"|[^";:,\x00-\x1f\x7f]*))*):(.*)')
_DURATION = re.compile(r"([+-]?)P(?:(\d+)W|(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+)S)?)?)")
_CONTROL = re.compile(r"[\x00-\x08\x0a-\x1f\x7f]")


@dataclass
class Part:
    """A component: its properties as typed values, and the components inside it."""

    name: str
    values: dict[str, object] = field(default_factory=dict)
    parts: list[Part] = field(default_factory=list)


def read_calendar(content: bytes) -> Part:
    """The calendar with its events and their alarms."""
    open_parts: list[Part] = []
    whole: Part | None = None
    for line in _unfolded(content):
        found = _LINE.fullmatch(line)
        if not found:
            raise ValueError(f"not a content line: {line!r}")
        name, parameters, value = found.group(1).upper(), found.group(2), found.group(3)
        if name == "BEGIN":
            inside = open_parts[-1].name if open_parts else None
            if value not in INSIDE[inside] or (inside is None and whole is not None):
                raise ValueError(f"{value} may not begin inside {inside}")
            part = Part(value)
            (open_parts[-1].parts.append(part) if open_parts else None)
            whole = whole or part
            open_parts.append(part)
        elif name == "END":
            _close(open_parts, value)
        else:
            if not open_parts or name not in ONCE[open_parts[-1].name] or name in open_parts[-1].values:
                raise ValueError(f"{name} may not stand here, or not twice")
            open_parts[-1].values[name] = _value(name, parameters, value)
    if whole is None or open_parts:
        raise ValueError("the calendar is not closed")
    return whole


def _unfolded(content: bytes) -> list[str]:
    if (
        not content.endswith(b"\r\n")
        or b"\n" in content.replace(b"\r\n", b"")
        or b"\r" in content.replace(b"\r\n", b"")
    ):
        raise ValueError("lines end with CR LF, and nothing else breaks them")
    lines: list[bytes] = []
    for line in content[:-2].split(b"\r\n"):
        if len(line) > LONGEST_LINE:
            raise ValueError(f"a line of {len(line)} octets")
        if line[:1] in (b" ", b"\t") and lines:
            lines[-1] += line[1:]
        elif line:
            lines.append(line)
        else:
            raise ValueError("an empty line")
    return [line.decode("utf-8") for line in lines]


def _close(open_parts: list[Part], name: str) -> None:
    if not open_parts or open_parts[-1].name != name:
        raise ValueError(f"END:{name} closes nothing")
    part = open_parts.pop()
    if MUST[name] - part.values.keys():
        raise ValueError(f"{name} lacks {sorted(MUST[name] - part.values.keys())}")
    start, end = part.values.get("DTSTART"), part.values.get("DTEND")
    if isinstance(start, date) and isinstance(end, date) and end <= start:
        raise ValueError("an event must end after it starts")


def _value(name: str, parameters: str, value: str) -> object:
    if _CONTROL.search(value):
        raise ValueError(f"{name} holds a control character")
    if name in ("DTSTART", "DTEND"):
        if parameters.upper() != ";VALUE=DATE" or not re.fullmatch(r"\d{8}", value):
            raise ValueError(f"{name} of an all-day event is a DATE, found {parameters}:{value}")
        return date.fromisoformat(f"{value[:4]}-{value[4:6]}-{value[6:]}")
    if parameters:
        raise ValueError(f"{name} has parameters {parameters!r}, which it needs not")
    if name == "DTSTAMP":
        if not re.fullmatch(r"\d{8}T\d{6}Z", value):
            raise ValueError("DTSTAMP is given in UTC")
        return datetime.strptime(value, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
    if name == "SEQUENCE":
        return int(value)
    if name == "TRIGGER":
        return _duration(value)
    if name == "STATUS" and value not in ("TENTATIVE", "CONFIRMED", "CANCELLED"):
        raise ValueError(f"STATUS of an event cannot be {value}")
    return value if name in ("STATUS", "ACTION", "TRANSP", "UID", "VERSION") else _text(value)


def _duration(value: str) -> timedelta:
    found = _DURATION.fullmatch(value)
    if not found or not any(found.groups()[1:]):
        raise ValueError(f"not a duration: {value}")
    sign, *numbers = found.groups()
    weeks, days, hours, minutes, seconds = (int(number or 0) for number in numbers)
    length = timedelta(weeks=weeks, days=days, hours=hours, minutes=minutes, seconds=seconds)
    return -length if sign == "-" else length


def _text(value: str) -> str:
    if re.search(r"(?<!\\)(?:\\\\)*[;,]", value) or re.search(r"(?<!\\)(?:\\\\)*\\(?![\\;,nN])", value):
        raise ValueError(f"text with an unescaped , or ; or an unknown escape: {value!r}")
    return re.sub(r"\\(.)", lambda found: "\n" if found.group(1) in "nN" else found.group(1), value)
