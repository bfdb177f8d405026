"""Rows of places, units and service rules: new ones are added, blanks filled in, other values are conflicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.errors import UsageError
from tapwear.findings import Finding
from tapwear.store.clocks import RULE_FIELDS
from tapwear.store.find import UnitKey
from tapwear.store.importing_types import Refused, Result, remark
from tapwear.store.lean import lean
from tapwear.store.places import OF_TRANSFORMER, add_station, find_station, place_at, scheme_of
from tapwear.store.recording import Change, Stamp, amend, insert, note_change
from tapwear.store.register import add_unit, change_unit
from tapwear.store.stays import StandingRow, standing
from tapwear.store.visit_rules import VISIT_RULE_FIELDS, make_visit_rule, visit_rule_of
from tapwear.visits.types import WHOLE_ROW, Row

_WHERE = ("station", "bank", "phase", "state")
_OF_STAY = ("region", "transformer_serial", "conservator", "main_tank_volume_l")


@dataclass
class RegisterIntake:
    """Takes register rows one by one, inside one transaction."""

    connection: Connection
    stamp: Stamp
    _tags: dict[str, UnitKey] = field(default_factory=dict)
    _stored: frozenset[str] = frozenset()  # codes of stations
    _codes: dict[str, str] = field(default_factory=dict)  # the same and those to come, without regard to capitals

    def __post_init__(self) -> None:
        changer = lean("tap_changer", "id", "tag")
        rows = self.connection.execute(sa.select(changer.c.id, changer.c.tag))
        self._tags = {tag.casefold(): UnitKey(number, tag) for number, tag in rows}
        station = lean("station", "code")
        self._stored = frozenset(self.connection.execute(sa.select(station.c.code)).scalars())
        self._codes = {code.casefold(): code for code in sorted(self._stored)}

    def take(self, row: Row) -> Result:
        """Raises Refused for a row that cannot be taken."""
        given = row.values
        code = given.get("station")
        if code and code not in self._stored:
            given = {**given, "station": self._codes.setdefault(code.casefold(), code)}
        try:
            if row.table == "places":
                return self._place(given)
            if row.table == "visit_rules":
                return self._visit_rule(given)
            return self._unit(given) if row.table == "units" else self._rule(given)
        except UsageError as error:
            raise Refused(WHOLE_ROW, str(error), "correct the row, then import it again") from error

    def _place(self, given: Mapping[str, Any]) -> Result:
        code = given["station"]
        number = find_station(self.connection, code)
        stored = number is None
        if number is None:
            number = add_station(self.connection, code, self.stamp, sure=True)
        before = _count(self.connection, "place")
        if given.get("bank") or given.get("phase"):
            place_at(self.connection, number, given.get("bank", ""), given.get("phase", ""))
            stored = stored or _count(self.connection, "place") > before
        said = {
            "name": given.get("station_name"),
            "region": given.get("region"),
            "neighbourhood": given.get("neighbourhood"),
        }
        filled, findings = self._fill("station", number, said, code)
        return Result(findings, stored or filled)

    def _fill(self, table: str, number: int, said: Mapping[str, Any], whose: str) -> tuple[bool, tuple[Finding, ...]]:
        """Writes what was said into blank columns; a column that holds something else is a conflict."""
        given = {name: value for name, value in said.items() if value not in (None, "")}
        if not given:
            return False, ()
        rows = lean(table, "id", *given)
        present = self.connection.execute(sa.select(*(rows.c[name] for name in given)).where(rows.c.id == number)).one()
        have = dict(zip(given, present, strict=True))
        blanks = {name: value for name, value in given.items() if have[name] in (None, "")}
        findings = tuple(
            _conflict(whose, name, have[name], value)
            for name, value in given.items()
            if name not in blanks and not _same(have[name], value)
        )
        return bool(amend(self.connection, table, number, blanks, self.stamp)), findings

    def _unit(self, given: Mapping[str, Any]) -> Result:
        tag = given["unit"]
        known = self._tags.get(tag.casefold())
        if known is None:
            return self._new_unit(given)
        stays = standing(self.connection, known.id)
        blanks, findings = self._beside_present(known, given, stays)
        stood = {(stay.station, stay.bank, stay.phase, stay.state) for stay in stays}
        for at, name in enumerate(_WHERE):
            seen = {stay[at] for stay in stood}
            if name in ("bank", "phase") and seen == {""} and len(stays) == 1:
                blanks |= {name: given[name]} if name in given else {}
            elif name in given and given[name] not in seen:
                where = stays[-1].state if name == "state" else stays[-1].where
                findings.append(_conflict(tag, name, where, given[name]))
        filled = False
        if "transformer_serial" in blanks:
            filled, told = self._name_transformer(stays[-1], blanks["transformer_serial"])
            findings += told
        if blanks:
            filled = bool(change_unit(self.connection, known.tag, blanks, self.stamp, sure=True)) or filled
        return Result(tuple(findings), filled)

    def _new_unit(self, given: Mapping[str, Any]) -> Result:
        tag = given["unit"]
        for name in ("station", "counter_digits"):
            if name not in given:
                raise Refused(name, "nothing", f"{tag} is new: give its {name.replace('_', ' ')}")
        agreed, told = self._agreed(given)
        self._tags[tag.casefold()] = add_unit(self.connection, agreed, self.stamp, sure=True)
        return Result(told, stored=True)

    def _beside_present(
        self, known: UnitKey, given: Mapping[str, Any], stays: Sequence[StandingRow]
    ) -> tuple[dict[str, Any], list[Finding]]:
        """What fills a blank of the register's row, and what says otherwise; where the unit stands is left out."""
        have = self._present(known)
        blanks: dict[str, Any] = {}
        findings: list[Finding] = []
        for name, value in given.items():
            if name in ("unit", *_WHERE):
                continue
            if name in _OF_STAY and len(stays) > 1 and any(_same(getattr(stay, name), value) for stay in stays):
                continue  # so it was at one of the places where the unit has stood
            if have.get(name) in (None, "", ()):
                blanks[name] = value
            elif name in ("drives", "compartments"):
                if not set(have[name]) - set(value):
                    blanks |= {name: value} if len(value) > len(have[name]) else {}
                elif set(value) - set(have[name]):
                    findings.append(_conflict(given["unit"], name, _named(have[name]), _named(value)))
            elif name == "counter_digits" and value in have["all_digits"]:
                continue
            elif not _same(have[name], value):
                findings.append(_conflict(given["unit"], name, have[name], value))
        return blanks, findings

    def _agreed(self, given: Mapping[str, Any]) -> tuple[dict[str, Any], tuple[Finding, ...]]:
        """What a new unit's row says, without what it says otherwise about a station or transformer that is known.

        Their blanks are filled in.
        """
        agreed = dict(given)
        told: list[Finding] = []
        station = find_station(self.connection, given["station"])
        if station is not None:
            told += self._fill("station", station, {"region": agreed.pop("region", "")}, given["station"])[1]
        transformer = self._transformer(given.get("transformer_serial", ""))
        if transformer is not None:
            said = {name: agreed.pop(name, None) for name in OF_TRANSFORMER}
            told += self._fill("transformer", transformer, said, f"transformer {given['transformer_serial']}")[1]
        return agreed, tuple(told)

    def _transformer(self, serial: str) -> int | None:
        transformer = lean("transformer", "id", "serial")
        return self.connection.execute(sa.select(transformer.c.id).where(transformer.c.serial == serial)).scalar()

    def _name_transformer(self, now: StandingRow, serial: str) -> tuple[bool, tuple[Finding, ...]]:
        """Gives the unit's nameless transformer its serial number, or what is known of it to the one of that number."""
        if now.transformer_id is None:
            return False, ()
        number = self._transformer(serial)
        if number is not None:
            said = {name: getattr(now, name) for name in OF_TRANSFORMER}
            return self._fill("transformer", number, said, f"transformer {serial}")
        return bool(amend(self.connection, "transformer", now.transformer_id, {"serial": serial}, self.stamp)), ()

    def _present(self, unit: UnitKey) -> dict[str, Any]:
        """What the register says of a unit, by the names of the fields of a units row."""
        own = (
            *("serial", "technology", "breathing", "peer_group", "oil_group", "rated_current_a"),
            *("step_voltage_v", "commissioned_on", "visit_cadence", "positions", "note", "sampling_needs_outage"),
        )
        changer, scheme = lean("tap_changer", "id", "scheme_id", *own), lean("scheme", "id", "name")
        row = self.connection.execute(
            sa.select(*(changer.c[name] for name in own), sa.func.coalesce(scheme.c.name, ""))
            .select_from(changer.outerjoin(scheme, changer.c.scheme_id == scheme.c.id))
            .where(changer.c.id == unit.id)
        ).one()
        have = dict(zip((*own, "scheme"), row, strict=True))
        have["sampling_needs_outage"] = have["sampling_needs_outage"] or None  # "no" is what stands there unasked
        now = standing(self.connection, unit.id)[-1]
        have |= {name: getattr(now, name) for name in ("region", "transformer_serial", "conservator")}
        have["main_tank_volume_l"] = now.main_tank_volume_l
        compartment = lean("compartment", "id", "tap_changer_id", "name", "serial", "oil_volume_l")
        parts = self.connection.execute(
            sa.select(compartment.c.name, compartment.c.serial, compartment.c.oil_volume_l)
            .where(compartment.c.tap_changer_id == unit.id)
            .order_by(compartment.c.id)
        ).all()
        have["compartments"] = tuple(part.name for part in parts)
        have["compartment_serials"] = tuple(part.serial for part in parts if part.serial)
        have["oil_volume_l"] = next((part.oil_volume_l for part in parts if part.oil_volume_l is not None), None)
        fitting, counter = (
            lean("fitting", "tap_changer_id", "drive_id", "slot"),
            lean("counter", "drive_id", "source", "digits"),
        )
        drives = self.connection.execute(
            sa.select(fitting.c.slot, counter.c.digits)
            .join_from(fitting, counter, fitting.c.drive_id == counter.c.drive_id)
            .where(fitting.c.tap_changer_id == unit.id, counter.c.source == "mechanical")
        ).all()
        have["drives"] = tuple(drive.slot for drive in drives)
        have["counter_digits"] = drives[-1].digits if drives else None
        have["all_digits"] = {drive.digits for drive in drives}
        rule = lean("service_rule", "tap_changer_id", "task", "interval_operations", "interval_years")
        interval = self.connection.execute(
            sa.select(rule.c.interval_operations, rule.c.interval_years).where(
                rule.c.tap_changer_id == unit.id, rule.c.task == "contact service"
            )
        ).first()
        have["interval_operations"], have["interval_years"] = interval or (None, None)
        return have

    def _rule(self, given: Mapping[str, Any]) -> Result:
        if "interval_operations" not in given and "interval_years" not in given:
            raise Refused("interval_operations", "no interval", "give interval_operations, interval_years or both")
        owner = self._owner(given)
        rule = lean("service_rule", "id", "scheme_id", "tap_changer_id", "task")
        which = [rule.c[name] == number for name, number in owner.items() if number is not None]
        number = self.connection.execute(sa.select(rule.c.id).where(*which, rule.c.task == given["task"])).scalar()
        said = {name: given[name] for name in RULE_FIELDS if name in given}
        whose = f"{given.get('scheme') or given['unit']}, {given['task']}"
        if number is not None:
            filled, findings = self._fill("service_rule", int(number), said, whose)
            return Result(findings, filled)
        made = insert(self.connection, "service_rule", task=given["task"], **owner, **said)
        note_change(self.connection, Change("service_rule", made, "made", None, whose), self.stamp)
        return Result(stored=True)

    def _owner(self, given: Mapping[str, Any]) -> dict[str, int | None]:
        """The scheme or the unit that a rule belongs to, by columns of the rule's row."""
        scheme, tag = given.get("scheme", ""), given.get("unit", "")
        if bool(scheme) == bool(tag):
            raise Refused("scheme", "both scheme and unit" if scheme else "neither scheme nor unit", "give one of them")
        if not tag:
            return {"scheme_id": scheme_of(self.connection, scheme), "tap_changer_id": None}
        unit = self._tags.get(tag.casefold())
        if unit is None:
            raise Refused("unit", f"there is no unit {tag}", "add the unit first, or correct the tag")
        return {"scheme_id": None, "tap_changer_id": unit.id}

    def _visit_rule(self, given: Mapping[str, Any]) -> Result:
        said = {name: given[name] for name in VISIT_RULE_FIELDS if name in given}
        if not said.keys() - {"provenance"}:
            raise Refused("read_every_days", "nothing", "give read_every_days, sample_every_days or still_after_days")
        owner = self._owner(given)
        number = visit_rule_of(self.connection, owner)
        whose = f"visit rule of {given.get('scheme') or given['unit']}"
        if number is None:
            make_visit_rule(self.connection, owner, said, whose, self.stamp)
            return Result(stored=True)
        filled, findings = self._fill("visit_rule", number, said, whose)
        return Result(findings, filled)


def _count(connection: Connection, table: str) -> int:
    return int(connection.execute(sa.select(sa.func.count()).select_from(lean(table, "id"))).scalar_one())


def _named(names: tuple[str, ...]) -> str:
    return ";".join(name or "(one without a name)" for name in names)


def _same(have: Any, value: Any) -> bool:
    if isinstance(have, int | float) and isinstance(value, int | float) and not isinstance(value, bool):
        return abs(have - value) <= 1e-9 * max(abs(have), abs(value))
    return bool(have == value)


def _conflict(whose: str, name: str, have: Any, value: Any) -> Finding:
    return remark(
        name,
        f"{whose} has {have} in the store, this row says {value}",
        "keep what is stored, or change it by hand (tapwear unit change --help)",
        "conflict",
    )
