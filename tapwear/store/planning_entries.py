"""Stores rows of the append-only planning tables, from a file or by hand. Light, without the models."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.store.entries import enter
from tapwear.store.find import find_unit, number_of
from tapwear.store.importing_types import Refused, Result, remark
from tapwear.store.lean import is_current, lean
from tapwear.store.places import find_station, spelled_station
from tapwear.store.planning_tables import COLUMNS, COMPARED, SAME
from tapwear.store.recording import Stamp
from tapwear.visits.planning import PROGRESS_WORDS, REQUEST_WORDS
from tapwear.visits.types import WHOLE_ROW
from tapwear.weeks import monday, week_numbers, week_runs

TABLES = {
    "teams": "team",
    "team_holidays": "team_holiday",
    "resources": "resource",
    "outage_terms": "outage_terms",
    "other_outages": "other_outage",
    "job_notes": "job_note",
}
_WEEKS = "write weeks like 2027-W20..2027-W25, the earlier one first"


def owner_columns(connection: Connection, given: Mapping[str, Any], kinds: tuple[str, ...]) -> dict[str, int | None]:
    """The row number of the one station, scheme or unit that the fields name. Raises Refused for none, or several."""
    named = [kind for kind in kinds if given.get(kind)]
    if len(named) != 1:
        found = f"both {' and '.join(named)}" if named else f"neither {' nor '.join(kinds)}"
        raise Refused(kinds[0], found, "give one of them")
    finders: dict[str, tuple[str, Callable[[str], int]]] = {
        "station": ("station_id", lambda name: _station(connection, name)),
        "scheme": ("scheme_id", lambda name: _scheme(connection, name)),
        "unit": ("tap_changer_id", lambda name: _unit(connection, name)),
    }
    owner: dict[str, int | None] = {finders[kind][0]: None for kind in kinds}
    column, find = finders[named[0]]
    return owner | {column: find(str(given[named[0]]))}


def _station(connection: Connection, code: str) -> int:
    number = find_station(connection, spelled_station(connection, code))
    if number is None:
        raise Refused("station", f"there is no station {code}", "add it with places or units, or correct the code")
    return number


def _scheme(connection: Connection, name: str) -> int:
    number = number_of(connection, "scheme", "name", name)
    if number is None:
        raise Refused("scheme", f"there is no scheme {name}", "name a scheme of service_rules or units")
    return number


def _unit(connection: Connection, tag: str) -> int:
    try:
        return find_unit(connection, tag).id
    except UsageError as error:
        raise Refused("unit", str(error), "add the unit first, or correct the tag") from error


def take_entry(
    connection: Connection, table: str, given: Mapping[str, Any], stamp: Stamp, *, replace: bool = False
) -> Result:
    """Stores checked fields of one table of TABLES; see `take_planning`."""
    if table == "team_holidays":
        _known_team(connection, given["team"])
    builders = {"outage_terms": _terms, "other_outages": _other_outage, "job_notes": _note}
    columns = builders[table](connection, given) if table in builders else _plain(TABLES[table], given)
    return _enter(connection, TABLES[table], columns, given, stamp, replace)


def take_yearly_closure(connection: Connection, given: Mapping[str, Any], station: int | None, stamp: Stamp) -> Result:
    """Stores weeks that are closed every year, such as `W24..W35 W49..W05`."""
    try:
        runs = week_numbers(given["weeks"])
    except ValueError as error:
        remedy = "write W24..W35, or W49..W05 over the turn of the year; dated weeks in a row of their own"
        raise Refused("weeks", str(error), remedy) from error
    stored = False
    for first, last in runs:
        columns = {"station_id": station, "from_week": first, "to_week": last, "why": given.get("why", "")}
        stored |= _enter(connection, "yearly_closure", columns, given, stamp, False).stored
    return Result(stored=stored)


def _plain(table: str, given: Mapping[str, Any]) -> dict[str, Any]:
    columns = {name: given.get(name) for name in COLUMNS[table]}
    if "skills" in columns:
        columns["skills"] = ";".join(given.get("skills") or ())
    if "why" in columns:
        columns["why"] = given.get("why", "")
    _in_order(columns)
    return columns


def _known_team(connection: Connection, name: str) -> None:
    team = lean("team", "id", "supersedes_id", "withdrawn", "team")
    if connection.execute(sa.select(team.c.id).where(is_current(team), team.c.team == name)).first() is None:
        raise Refused("team", f"there is no team {name}", "add it with teams, or correct the name")


def _in_order(columns: Mapping[str, Any]) -> None:
    begin, end = columns.get("from_on"), columns.get("to_on")
    if begin is not None and end is not None and end < begin:
        raise Refused("to_on", f"from {begin} to {end}", "give both days, in order")


def _terms(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    owner = owner_columns(connection, given, ("station", "scheme", "unit"))
    numbers = ("permit_weeks", "recall_hours", "consequence", "exchanged")
    words = ("skill", "approver", "conditions", "pcb")
    if not any(given.get(name) not in (None, "", ()) for name in (*numbers, *words, "resources")):
        raise Refused(WHOLE_ROW, "nothing but whom it is for", "fill in at least one of the other columns")
    return {
        **owner,
        **{name: given.get(name) for name in numbers},
        **{name: given.get(name, "") for name in words},
        "resources": ";".join(given.get("resources") or ()),
    }


def _other_outage(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    owner = owner_columns(connection, given, ("station", "unit"))
    columns = {**owner, **{name: given.get(name) for name in ("from_on", "to_on", "what")}, "who": given.get("who", "")}
    _in_order(columns)
    return columns


def _note(connection: Connection, given: Mapping[str, Any]) -> dict[str, Any]:
    owner = owner_columns(connection, given, ("unit",))
    kind, weeks, status = given["kind"], given.get("weeks", ""), given.get("status", "")
    try:
        runs = week_runs(weeks)
    except ValueError as error:
        raise Refused("weeks", str(error), _WEEKS) from error
    if kind in ("pin", "request") and (len(runs) != 1 or runs[0][0] != runs[0][1]):
        raise Refused("weeks", weeks or "nothing", f"give the one week of the {kind}, like 2027-W18")
    if kind == "forbid" and not runs:
        raise Refused("weeks", "nothing", _WEEKS)
    allowed = {"request": REQUEST_WORDS, "progress": PROGRESS_WORDS}.get(kind, ())
    if (status or allowed) and status not in allowed:
        remedy = f"write one of: {', '.join(allowed)}" if allowed else f"leave it blank: {kind} has no status"
        raise Refused("status", status or "nothing", remedy)
    if kind == "progress" and given.get("happened_on") is None:
        raise Refused("happened_on", "nothing", "give the day on which it was started, done or stopped")
    if kind == "other work" and not given.get("words"):
        raise Refused("words", "nothing", "say what else is to be done in the outage")
    columns = {**owner, "kind": kind, "weeks": weeks, "status": status, "happened_on": given.get("happened_on")}
    columns |= {name: given.get(name, "") for name in ("person", "words")}
    if kind == "pin":
        _one_pin_a_year(connection, columns)
    return columns


def _one_pin_a_year(connection: Connection, columns: Mapping[str, Any]) -> None:
    note = lean("job_note", "id", "supersedes_id", "withdrawn", "tap_changer_id", "kind", "weeks")
    mine = (note.c.tap_changer_id == columns["tap_changer_id"], note.c.kind == "pin")
    year = monday(columns["weeks"]).isocalendar().year
    for weeks in connection.execute(sa.select(note.c.weeks).where(is_current(note), *mine)).scalars():
        if weeks != columns["weeks"] and monday(weeks).isocalendar().year == year:
            remedy = "one pin a year: keep one of the two; tapwear plan pin replaces the earlier one"
            raise Refused("weeks", f"pinned to {weeks} already, this says {columns['weeks']}", remedy)


def _enter(
    connection: Connection,
    table: str,
    columns: Mapping[str, Any],
    given: Mapping[str, Any],
    stamp: Stamp,
    replace: bool,
) -> Result:
    """Adds a row, fills in what the one there left blank, or tells in what they differ."""
    if stamp.import_id is not None and _was_so(connection, table, columns):
        return Result()
    outcome = enter(connection, table, columns, given, stamp, replace)
    if outcome.kind != "conflict":
        return Result(stored=outcome.kind in ("stored", "replaced"))
    differs = {name: pair for name, pair in outcome.differs.items() if name in COMPARED[table]}
    if all(old in (None, "") for old, _ in differs.values()):
        return _enter(connection, table, columns, given, stamp, replace=True)
    name, (old, new) = next((name, pair) for name, pair in differs.items() if pair[0] not in (None, ""))
    how = "keep what is stored, or give it with tapwear plan input, which replaces it"
    return Result((remark(name, f"{_plainly(old)} is stored, this says {_plainly(new)}", how, "conflict"),))


def _plainly(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _was_so(connection: Connection, table: str, columns: Mapping[str, Any]) -> bool:
    """Whether a row said just this once, and was superseded or taken back since: a file that repeats it is old."""
    names = (*SAME[table], *COMPARED[table])
    rows = lean(table, "id", "supersedes_id", "withdrawn", *names)
    same = [rows.c[name] == columns[name] for name in names]
    now = sa.select(rows.c.id).where(is_current(rows), *(rows.c[name] == columns[name] for name in SAME[table]))
    if connection.execute(now).first() is not None:
        return False
    return connection.execute(sa.select(rows.c.id).where(*same)).first() is not None
