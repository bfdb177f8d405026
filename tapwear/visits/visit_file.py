"""Visit files: visits written on a phone, a laptop or by a program, as plain JSON. data/maps/README.md shows one.

    {"tapwear_visits": 1, "visits": [{"id": "0b6e...", "unit": "AH-T1", "visited_on": "2026-06-30", ...}, ...]}

A visit that cannot be told apart from others (no id), or of which the unit or day is missing, is refused; any other
fault costs the one value only. Whatever is wrong becomes a finding.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from tapwear.findings import Finding, Severity
from tapwear.visits.feeding import row_text
from tapwear.visits.fields import READINGS
from tapwear.visits.observations import BY_NAME
from tapwear.visits.specs import FieldSpec
from tapwear.visits.types import WHOLE_FILE, WHOLE_ROW, FiledVisit
from tapwear.visits.values import Unfit, in_kept_unit, parser_for, printable, show
from tapwear.visits.visit import VISIT_ID, Visit, visit_from

MARK = "tapwear_visits"
FORMAT = 1
LARGEST_FILE = 20_000_000  # bytes: our choice, some ten thousand visits
_F = FieldSpec
# What a visit holds besides its counters and observations.
PLAIN = (
    _F("id", "text", "32 hexadecimal digits, made once for the visit", required=True),
    _F("revision", "count", "1, and one more for each later saving of the same visit", low=1, high=1_000_000),
    _F("unit", "text", "the owner's asset tag of the tap changer", required=True),
    _F("visited_on", "date", "day of the visit", required=True),
    _F("visited_time", "time", "time of day, HH:MM"),
    _F("by", "text", "who was there"),
    _F("serial_seen", "text", "serial number read on the nameplate"),
    _F("another_unit", "yes or no", "serial_seen was read twice: the unit of this tag does not stand here"),
    _F("sample_taken", "yes or no", "an oil sample was taken"),
    _F("remark", "text", "what else was seen"),
)
COUNTER = (
    _F("value", "count", "what the counter showed", required=True, low=0, high=999_999_999),
    READINGS.field("drive"),
    READINGS.field("source"),
    _F("doubt", "text", "why the number was questioned, and what was said to that"),
)
UNITS_OF_MEASURE = {spec.unit_column: spec.name for spec in BY_NAME.values() if spec.measure}


@dataclass(frozen=True)
class VisitFile:
    """What a visit file holds. `seen` counts all its visits, `faulty` those of which something was refused."""

    visits: tuple[FiledVisit, ...]
    findings: tuple[Finding, ...]
    seen: int = 0
    faulty: int = 0


def looks_like_visits(path: Path) -> bool:
    """Whether the file says of itself that it holds visits. Raises OSError when it cannot be read."""
    with path.open("rb") as stream:
        return MARK.encode() in stream.read(LARGEST_FILE)


def read_visit_file(path: Path, name: str) -> VisitFile:
    """The visits that a file holds, and findings for all that could not be taken. `name`: as the findings call it."""
    try:
        size = path.stat().st_size
        if size > LARGEST_FILE:
            return _refused(name, 0, f"the file has {size:,} bytes, more than {LARGEST_FILE:,}", "split it")
        text = path.read_bytes().decode("utf-8-sig")
        content = json.loads(text, parse_constant=_no_number, object_pairs_hook=_each_once)
    except OSError as error:
        return _refused(name, 0, f"the file cannot be read: {error.strerror}", "check the file, then import it again")
    except UnicodeDecodeError:
        return _refused(name, 0, "the file cannot be read: it is not UTF-8", "save the visits again as they were")
    except json.JSONDecodeError as error:
        found = f"the file is no whole JSON: {error.msg.lower()} in column {error.colno}"
        return _refused(name, error.lineno, found, "a part may be missing: save or copy it again, all of it")
    except (ValueError, RecursionError) as error:
        return _refused(name, 0, f"the file cannot be read: {printable(str(error))}", "save the visits again")
    if not isinstance(content, dict) or MARK not in content:
        return _refused(name, 1, f"no {MARK} at the beginning", f'a visit file begins with {{"{MARK}": {FORMAT}')
    if content[MARK] is True or content[MARK] != FORMAT:
        found = f"visits of form {show(str(content[MARK]))}; this Tapwear reads form {FORMAT}"
        return _refused(name, 1, found, "import it with the Tapwear that wrote the sheet, or a newer one")
    listed = content.get("visits")
    if not isinstance(listed, list):
        return _refused(name, 1, "no list of visits", 'give them as "visits": [...]')
    findings: list[Finding] = []
    visits, faulty = [], 0
    for line, one in zip(_lines(text, listed), listed, strict=True):
        own = json.dumps(one, ensure_ascii=False)
        reader = _Reader(name, line, row_text(printable(own)))
        visit = reader.visit(one)
        findings += reader.findings
        faulty += any(finding.severity == "rejected" for finding in reader.findings)
        if visit is not None:
            visits.append(FiledVisit(visit, name, line, own))
    return VisitFile(tuple(visits), tuple(findings), len(listed), faulty)


def _refused(name: str, line: int, found: str, remedy: str) -> VisitFile:
    return VisitFile((), (Finding(name, line, WHOLE_FILE, found, remedy),))


def _no_number(word: str) -> Any:
    raise ValueError(f"{word} is no number")


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"{show(twice)} stands twice in one place")
    return found


def _lines(text: str, listed: list[Any]) -> Iterator[int]:
    """The line on which each visit begins; 1 where that cannot be told."""
    decoder = json.JSONDecoder()
    at = text.find("[", max(text.find('"visits"'), 0)) + 1
    line, counted = 1, 0
    for one in listed:
        while at < len(text) and text[at] in " \t\r\n,":
            at += 1
        try:
            found, end = decoder.raw_decode(text, at)
        except (ValueError, RecursionError):
            found, end = None, at
        if found != one:
            yield 1
            continue
        line, counted = line + text.count("\n", counted, at), at
        at = end
        yield line


class _Reader:
    """Reads one visit, value by value."""

    def __init__(self, file: str, line: int, raw: str) -> None:
        self._where = (file, line)
        self._raw = raw
        self.findings: list[Finding] = []

    def visit(self, content: Any) -> Visit | None:
        if not isinstance(content, dict):
            self._tell(WHOLE_ROW, f"{show(str(content))} is no visit", "a visit stands in braces: {...}")
            return None
        values = self._values(PLAIN, content, "", also=("counters", "observations"))
        if "id" in values:  # other programs write the same with hyphens or capitals
            values["id"] = values["id"].replace("-", "").lower()
        if "id" in values and not VISIT_ID.fullmatch(values["id"]):
            self._tell("id", f"{show(values.pop('id'))} is no id of a visit", "leave ids as they were written")
        if any(values.get(spec.name) in (None, "") for spec in PLAIN if spec.required):
            return None
        values["visited_on"] = values["visited_on"].isoformat()
        values["counters"] = self._counters(content.get("counters", []))
        values["observations"] = self._observations(content.get("observations", {}))
        visit = visit_from(values)
        if visit.empty:
            if not self.findings:
                self._tell(WHOLE_ROW, f"{visit.unit}: nothing is noted in the visit", "leave it out", "left aside")
            return None
        return visit

    def _tell(self, field: str, found: str, remedy: str, severity: Severity = "rejected") -> None:
        self.findings.append(Finding(*self._where, field, found, remedy, severity, self._raw))

    def _counters(self, given: Any) -> list[dict[str, Any]]:
        if not isinstance(given, list):
            self._tell("counters", f"{show(str(given))} is no list", 'write "counters": [{"value": 48213}]')
            return []
        found: dict[tuple[str, str], dict[str, Any]] = {}
        for one in given:
            if not isinstance(one, dict):
                self._tell("counters", f"{show(str(one))} is no counter", 'write {"value": 48213}')
                continue
            seen = self._values(COUNTER, one, "counters.")
            if "value" not in seen:
                continue
            which = (seen.get("drive", ""), seen.get("source", "mechanical"))
            if which in found:
                self._tell("counters", f"two numbers of one counter in one visit, {seen['value']} too", "keep one")
                continue
            found[which] = seen
        return list(found.values())

    def _observations(self, given: Any) -> dict[str, Any]:
        if not isinstance(given, dict):
            self._tell("observations", f"{show(str(given))} is not in braces", 'write "observations": {...}')
            return {}
        units = {UNITS_OF_MEASURE[name]: str(unit) for name, unit in given.items() if name in UNITS_OF_MEASURE}
        values = self._values(tuple(BY_NAME.values()), given, "", also=tuple(UNITS_OF_MEASURE), units=units)
        return {name: value for name, value in values.items() if value != ""}

    def _values(
        self,
        specs: tuple[FieldSpec, ...],
        content: Mapping[str, Any],
        within: str,
        also: tuple[str, ...] = (),
        units: Mapping[str, str] | None = None,
    ) -> dict[str, Any]:
        values: dict[str, Any] = {}
        for spec in specs:
            given = content.get(spec.name)
            if given is None or (isinstance(given, str) and not given.strip()):
                if spec.required:
                    self._tell(within + spec.name, "it is missing", f"give {spec.help}")
                continue
            try:
                values[spec.name] = _value(spec, given, (units or {}).get(spec.name, ""))
            except Unfit as unfit:
                remedy = unfit.remedy.replace("leave the cell blank", "leave it out")
                self._tell(within + spec.name, unfit.found, remedy)
        unknown = [name for name in content if name not in also and name not in {spec.name for spec in specs}]
        if unknown:
            names = ", ".join(show(name) for name in unknown[:5])
            self._tell(within + WHOLE_ROW, f"no field is called {names}", "nothing is lost if it is not needed", "note")
        return values


def _value(spec: FieldSpec, given: Any, unit: str) -> Any:
    """One value of the file, as checked as a cell of a table is. Raises Unfit."""
    if isinstance(given, bool):
        if spec.kind != "yes or no":
            raise Unfit(f"{given} is not {spec.help}", "write it as it was read")
        return given
    if isinstance(given, int | float) and spec.kind in ("count", "number"):
        text = repr(given)
    elif isinstance(given, str):
        text = given.strip()
    else:
        raise Unfit(f"{show(json.dumps(given))} is not {spec.help}", "write it as text, or leave it out")
    parse: Callable[[str], Any] = parser_for(spec)
    value = parse(text)
    if isinstance(value, date):
        return value
    return in_kept_unit(spec, value, unit) if spec.measure else value
