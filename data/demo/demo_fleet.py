"""The invented demo utility as it is meant: stations, units, rules and stories, before anything is simulated.

Nothing here is real. Intervals, hours and lead times are starting values of our choice.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import demo_visits as visits

SEED = 20260630
AS_OF = date(2026, 6, 30)
START = date(2018, 7, 1)
FACTORY_COUNT = 112  # operations that a new unit's counter shows after its factory tests

# code, name, region, neighbourhood, peak weeks (summer, winter, both)
_STATIONS = """
AH|Alder Hill|North|Alder valley|winter
BW|Brackwater|North|Brack coast|summer
CF|Copperfen|North|Brack coast|summer
DL|Drumlarch|North|Alder valley|winter
ES|Elmscar|North|Alder valley|both
FG|Fallowgate|East|Fallow town|both
GD|Gorsedean|East|Gorse plain|winter
HB|Hollinbrook|East|Fallow town|winter
IR|Ivyreach|East|Gorse plain|summer
JE|Juniper Edge|East|Fallow town|summer
KS|Kelpsand|South|Kelp shore|both
LM|Larkmoss|South|Lark moor|winter
MF|Mallowfold|South|Kelp shore|summer
NS|Nettleshaw|South|Lark moor|winter
OR|Oakenrill|South|Kelp shore|winter
PH|Pewterhill|West|Pewter works|winter
QV|Quarrelvale|West|Quarrel dam|summer
RM|Rushmantle|West|Quarrel dam|summer
SC|Saltcross Pans|West|Pewter works|both
TQ|Thornquay|West|Pewter works|winter
"""
STATIONS = [tuple(line.split("|")) for line in _STATIONS.strip().splitlines()]
_REGION = {code: region for code, _, region, _, _ in STATIONS}
LABORATORIES = {"North": "Laboratory A", "East": "Laboratory A", "South": "Laboratory B", "West": "Laboratory B"}

# tag, technology, duty, operations a year, cadence, counter digits, last overhaul (- = nobody knows;
# new: placed in service then)
_UNITS = """
AH-T1  R suburban        5200 monthly     6 2022-09-14
AH-T2  R suburban        4800 monthly     6 2023-04-19
AH-T3  V suburban        5600 quarterly   6 2019-05-22 new
BW-T1  R rural           2600 quarterly   5 -
BW-T2  R rural           3100 quarterly   6 2020-03-11
CF-T1  R rural           2200 half-yearly 6 2021-10-06
CF-T2  R rural           2700 quarterly   6 2017-06-14
CF-T3  V rural           1800 half-yearly 5 2021-05-12 new
DL-T1  R suburban        7400 quarterly   6 2022-05-18
DL-T2  R suburban        2600 quarterly   6 2024-06-12
DL-T3  V suburban        6100 quarterly   6 2016-09-21 new
ES-T1  X suburban        5100 monthly     6 2024-03-20
ES-T2  X suburban        4700 monthly     6 2021-09-15
ES-T3  R rural           1500 half-yearly 5 2023-06-07
FG-T1  R suburban        8200 monthly     5 2021-10-13
FG-T2  R suburban        7600 monthly     6 2022-10-12
GD-T1  R suburban        6900 monthly     6 2021-09-08
GD-T2  V suburban        7000 quarterly   6 2020-05-20 new
GD-T3  R rural           1900 half-yearly 5 2019-09-18
HB-T1  R suburban        6400 monthly     6 2022-04-06
HB-T2  R suburban        5900 monthly     6 2020-10-14
HB-T3  V rural           2300 half-yearly 6 2019-10-09 new
IR-T1A R interconnection 4200 monthly     6 2023-05-24
IR-T1B R interconnection 4200 monthly     6 2023-05-24
IR-T1C R interconnection 4200 monthly     6 2023-05-24
IR-T2  V interconnection 9000 quarterly   6 2018-09-19 new
JE-T1  R industrial     14500 monthly     6 2024-04-10
JE-T2  R industrial     16800 monthly     6 2022-11-16
JE-T3  X industrial      9800 monthly     6 2022-05-11
KS-T1  R suburban        8900 monthly     6 2023-03-15
KS-T2  R suburban        9400 monthly     6 2021-11-10
KS-T3  V suburban        5000 quarterly   5 2020-09-23 new
LM-T1  R industrial     11200 monthly     6 2023-08-16
LM-T2  R industrial     13400 monthly     6 2019-10-16
LM-T3  V industrial     12500 quarterly   7 2017-05-17 new
MF-T1  R suburban        5700 monthly     6 2026-06-04
MF-T2  R suburban        5400 quarterly   6 2024-10-09
MF-T3  R rural           2100 half-yearly 5 -
NS-T1  X rural           3300 quarterly   6 2024-09-11
NS-T2  X rural           3000 quarterly   6 2021-01-20
NS-T3  R rural           1700 yearly      5 2022-07-13
OR-T1  R suburban        6800 quarterly   6 2022-05-04
OR-T2  R suburban        6500 quarterly   6 2021-04-21
OR-T3  R rural           2400 half-yearly 5 2025-03-12
PH-F1  R furnace        60000 monthly     7 2025-12-10
PH-F2  V furnace        38000 monthly     7 2023-10-18 new
PH-T3  R industrial      9100 quarterly   6 2022-08-24
QV-G1  R power|station    600 yearly      5 2020-09-16
QV-G2  R power|station   2400 half-yearly 6 2019-03-13
QV-T3  V power|station   1100 half-yearly 5 2018-10-17 new
RM-T1  R rural           3800 monthly     6 2022-06-15
RM-T2  R rural           4100 quarterly   6 -
RM-T3  X rural           3500 quarterly   5 2023-10-11
SC-T1  V suburban        6300 half-yearly 6 2019-04-10 new
SC-T2  V suburban        5900 half-yearly 6 2019-06-19 new
SC-T3  R industrial     10400 monthly     6 2023-02-15
SC-T4  R interconnection 8000 monthly     6 -
TQ-T1  X interconnection 12000 quarterly  6 2022-02-16
TQ-T2  R suburban        4600 quarterly   6 2024-04-17
TQ-T3  V suburban        5000 quarterly   6 2026-05-20 new
TQ-T4  R rural           2500 quarterly   6 2026-04-22 new
SP-04  R rural           2700 quarterly   6 2023-04-19
SP-05  R rural           2500 quarterly   6 2024-11-13
WS-02  X rural           3000 quarterly   6 -
"""
_TECHNOLOGY = {"R": "arcing_resistor", "X": "arcing_reactor", "V": "vacuum"}
_SCHEME = {"R": "resistor", "X": "reactor", "V": "vacuum"}


@dataclass(frozen=True)
class Stay:
    """Days on which a unit stood at one place: the first, and the first on which it no longer did."""

    from_on: date
    to_on: date
    place: str


@dataclass(frozen=True)
class Spec:
    """One unit as it is meant to be, where it stood when the book begins."""

    tag: str
    technology: str
    duty: str
    rate: float  # operations a year
    cadence: str
    digits: int
    last: date | None
    new: bool
    station: str
    region: str
    bank: str
    phase: str
    scheme: str

    @property
    def stays(self) -> tuple[Stay, ...]:
        begins = max(self.last, START) if self.new and self.last else START
        return _STAYS.get(self.tag, (Stay(begins, AS_OF, self.tag),))


def _spec(line: str) -> Spec:
    tag, kind, duty, rate, cadence, digits, last, *new = line.split()
    duty = duty.replace("|", " ")
    station, _, bank = _FIRST_STOOD.get(tag, tag).partition("-")
    phase = bank[-1] if bank[-1] in "ABC" else ""
    return Spec(
        tag=tag,
        technology=_TECHNOLOGY[kind],
        duty=duty,
        rate=float(rate),
        cadence=cadence,
        digits=int(digits),
        last=None if last == "-" else date.fromisoformat(last),
        new=bool(new),
        station=station,
        region=_REGION[station],
        bank=bank.removesuffix(phase),
        phase=phase,
        scheme="furnace" if duty == "furnace" and kind == "R" else _SCHEME[kind],
    )


# --- service rules --------------------------------------------------------------------------------------------

INTERVALS = {  # contact service: operations, years
    "resistor": (68_500, 7.0),
    "reactor": (60_000, 5.0),
    "vacuum": (200_000, 12.0),
    "furnace": (50_000, 2.0),
}
# Share of the operations that was used before an overhaul.
USED = {"resistor": 0.99124, "reactor": 0.97, "vacuum": 0.97, "furnace": 0.97}
OWN_INTERVALS = {  # from the rating plate
    "DL-T2": (50_000, 7),
    "FG-T2": (50_000, 7),
    "HB-T2": (50_000, 7),
    "OR-T2": (40_000, 7),
    "PH-T3": (50_000, 7),
    "QV-G1": (50_000, 7),
    "SC-T3": (80_000, 7),
}
_PLANNING = {  # days out, crew hours, kit, weeks to get it
    "resistor": (3, 60, "gasket set R", 10),
    "reactor": (5, 150, "contact and gasket set X", 16),
    "vacuum": (3, 48, "gasket set V", 12),
    "furnace": (3, 72, "contact and gasket set F", 12),
}
_REPLACEMENT = {"resistor": 380_000, "reactor": 240_000, "vacuum": 520_000, "furnace": 200_000}


def _rules() -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for scheme, (operations, years) in INTERVALS.items():
        days, hours, kit, weeks = _PLANNING[scheme]
        own = {"scheme": scheme, "provenance": "own choice"}
        if scheme == "furnace":  # the other units are looked at on every visit
            planned = {"interval_years": "1", "duration_days": "0.5", "crew_hours": "2"}
            rows.append(own | {"task": "inspection"} | planned)
        rows += [
            own
            | {"task": "contact service", "interval_operations": operations, "interval_years": f"{years:g}"}
            | {"duration_days": days, "crew_hours": hours, "kit": kit, "lead_time_weeks": weeks},
            own
            | {"task": "contact replacement", "interval_operations": _REPLACEMENT[scheme]}
            | {"duration_days": days + 1, "crew_hours": hours + 24, "kit": f"contact set, {kit}"}
            | {"lead_time_weeks": weeks + 8},
            own
            | {"task": "oil change", "interval_years": f"{years:g}", "duration_days": "1", "crew_hours": "16"}
            | {"kit": "oil", "lead_time_weeks": "2"},
        ]
    return rows


SERVICE_RULES = _rules()

# --- stories --------------------------------------------------------------------------------------------------

_SWAPPED_ON = date(2023, 5, 18)
_STAYS = {  # units that have not stood at one place all the time; the place is named by the unit that it is drawn as
    "CF-T2": (Stay(START, _SWAPPED_ON, "CF-T2"),),
    "SP-04": (Stay(START, date(2020, 9, 16), "SP-04"), Stay(_SWAPPED_ON, AS_OF, "CF-T2")),
    "SP-05": (Stay(START, date(2022, 9, 21), "SP-05"),),
    "WS-02": (Stay(START, date(2024, 2, 7), "WS-02"),),
    "IR-T1B": (Stay(START, AS_OF, "IR-T1A"),),
    "IR-T1C": (Stay(START, AS_OF, "IR-T1A"),),
}
_FIRST_STOOD = {"SP-04": "NS-T4", "SP-05": "RM-T4", "WS-02": "ES-T4"}  # else the tag says it
COUNTER_AT_END = {"HB-T1": 138_260, "FG-T1": 126_400, "LM-T2": 214_700}  # what was counted by the as-of date
MISREAD_LAST = "HB-T1"
COUNTER_REPLACED = {"GD-T1": date(2024, 3, 12), "KS-T1": date(2022, 2, 9)}
UNRECORDED = frozenset({"GD-T1"})
VISITED_AT_MOST = {"TQ-T3": 0, "TQ-T4": 1}
NO_SLIPS = frozenset({"FG-T1", "HB-T1", "GD-T1", "KS-T2", "MF-T1", "QV-G1", "NS-T3"})
HEATING = ("OR-T1", date(2025, 3, 1), 1.95)  # onset, and how fast ethylene then grows
VACUUM_LOSS = ("SC-T1", date(2024, 8, 1), 2.8)  # onset, and acetylene per operation gained each year [uL]
SWAPPED_SAMPLES = ("DL-T1", "DL-T2", date(2025, 4, 15))
RATE_CHANGES = (  # unit, day, factor
    ("KS-T2", date(2023, 3, 14), 0.5),
    ("RM-T1", date(2024, 5, 6), 2.0),
    ("ES-T1", date(2024, 10, 1), 0.75),
    ("ES-T2", date(2024, 10, 1), 1.3),
    ("RM-T2", date(2022, 5, 16), 1.5),
    ("MF-T2", date(2021, 7, 7), 0.85),
)
OUT_OF_SERVICE = (("TQ-T2", date(2023, 6, 5), date(2023, 9, 28)),)
EXERCISED = (  # unit, day, operations
    ("AH-T2", date(2021, 5, 11), 64),
    ("CF-T1", date(2023, 8, 22), 64),
    ("NS-T1", date(2022, 6, 21), 68),
    ("QV-G1", date(2023, 9, 12), 64),
    ("SC-T2", date(2024, 10, 8), 40),
)


def _event(unit: str, on: date, kind: str, remark: str, **more: str) -> dict[str, Any]:
    return {"unit": unit, "happened_on": on, "kind": kind, "remark": remark} | more


EVENTS = (
    _event("KS-T2", date(2023, 3, 14), "regulator_setting_changed", "bandwidth 1.5 % to 2.4 %, delay 30 s to 60 s"),
    _event("ES-T1", date(2024, 10, 1), "load_transferred", "two feeders given to T2"),
    _event("ES-T2", date(2024, 10, 1), "load_transferred", "two feeders taken from T1"),
    _event("RM-T2", date(2022, 5, 16), "new_generation", "solar park connected"),
    _event("MF-T2", date(2021, 7, 7), "paralleled", "runs in parallel with T1 from now on"),
    _event("TQ-T2", date(2023, 6, 5), "out_of_service", "bushings replaced"),
    _event("TQ-T2", date(2023, 9, 28), "back_in_service", ""),
    _event("SP-04", date(2020, 9, 16), "moved", "bank T4 given up, kept as a spare", to_state="spare"),
    _event("SP-05", date(2022, 9, 21), "moved", "bank T4 given up, kept as a spare", to_state="spare"),
    _event("WS-02", date(2024, 2, 7), "moved", "leaking shaft seal, bank T4 given up", to_state="workshop"),
    _event(
        "CF-T2",
        date(2023, 5, 18),
        "swapped",
        "mechanism stiff; spare fitted in its place",
        to_state="workshop",
        other_unit="SP-04",
    ),
)
CONDITIONS = (
    {
        "unit": "NS-T1",
        "noted_on": date(2026, 5, 20),
        "kind": "motor_current",
        "words": "peak 25 % above last year's when leaving position 9",
        "act_by_on": date(2027, 3, 31),
        "author": "K. Arden",
    },
    {
        "unit": "HB-T2",
        "noted_on": date(2024, 11, 13),
        "kind": "infrared",
        "words": "compartment 6 K above the main tank",
        "author": "P. Lund",
        "closed_on": date(2025, 2, 5),
        "closed_words": "radiator valve was shut; opened, difference gone",
    },
)
NOTES = {
    "BW-T1": "taken over with the station, no service papers",
    "MF-T3": "bought second-hand, last service unknown",
    "RM-T2": "service papers lost",
    "SC-T4": "service papers lost",
    "WS-02": "awaiting parts, last service unknown",
    "TQ-T3": "new, not yet visited",
    "TQ-T4": "new, visited once",
}

# --- oil ------------------------------------------------------------------------------------------------------

SAMPLED_HALF_YEARLY = frozenset(
    {"industrial", "furnace", "interconnection", "OR-T1", "DL-T1", "DL-T2", "SC-T1", "SC-T2", "HB-T1", "KS-T2"}
)
EXTRA_SAMPLES = {
    "OR-T1": (date(2025, 9, 9), date(2025, 12, 9), date(2026, 3, 10), date(2026, 5, 26)),
    "SC-T1": (date(2026, 4, 28), date(2026, 6, 9)),
    "DL-T1": (date(2025, 4, 15),),
    "DL-T2": (date(2025, 4, 15),),
}
BANK_OF_THREE = ("IR-T1A", "IR-T1B", "IR-T1C")  # alike in all that was bought together
COMMISSIONED = dict.fromkeys(BANK_OF_THREE, date(1999, 11, 15))
MAIN_TANK_VOLUMES = dict.fromkeys(BANK_OF_THREE, 16_000)
OIL_VOLUMES = {"DL-T1": 180, "DL-T2": 410, "OR-T1": 220, "PH-F1": 900, "SC-T1": 500} | dict.fromkeys(BANK_OF_THREE, 300)
BREATHING = (
    {"DL-T1": "desiccant", "DL-T2": "desiccant", "OR-T1": "desiccant", "PH-F1": "free"}
    | {
        "SC-T1": "desiccant",
        "SC-T2": "desiccant",
    }
    | dict.fromkeys(BANK_OF_THREE, "desiccant")
)
MAIN_TANK_SAMPLED = frozenset(
    {"AH-T1", "FG-T1", "HB-T1", "IR-T1A", "IR-T2", "JE-T1", "LM-T1", "OR-T1", "PH-F1", "SC-T3", "TQ-T1", "KS-T2"}
)
MAIN_TANK_GAS = {
    "hydrogen": 14.0,
    "methane": 6.0,
    "ethane": 5.0,
    "ethylene": 3.0,
    "acetylene": 0.2,
    "carbon_monoxide": 310.0,
    "carbon_dioxide": 2_900.0,
    "oxygen": 14_000.0,
    "nitrogen": 64_000.0,
}

AIR_GAS = {"carbon_monoxide": 45.0, "carbon_dioxide": 900.0, "oxygen": 25_000.0, "nitrogen": 62_000.0}

SPECS = tuple(_spec(line) for line in _UNITS.strip().splitlines())

# --- planning tables ------------------------------------------------------------------------------------------


def places() -> list[dict[str, Any]]:
    """Every place that a unit stands at, with its station's name, region and neighbourhood."""
    named = {code: (name, region, near) for code, name, region, near, _ in STATIONS}
    rows = []
    for spec in SPECS:
        name, region, near = named[spec.station]
        rows.append(
            {"station": spec.station, "station_name": name, "region": region, "neighbourhood": near}
            | {"bank": spec.bank, "phase": spec.phase}
        )
    return rows


def transfer_groups() -> list[dict[str, Any]]:
    """Stations whose units carry one another's load, and one group that spans two stations."""
    rows: list[dict[str, Any]] = [{"group": f"{code} busbar", "station": code} for code, *_ in STATIONS if code != "IR"]
    rows += [{"group": "Gorse ring", "unit": tag} for tag in ("GD-T1", "GD-T2", "IR-T2")]
    return rows


# --- headings, in the order of the fields that the tables may have ----------------------------------------------

_GASES = "hydrogen methane ethane ethylene acetylene carbon_monoxide carbon_dioxide oxygen nitrogen"
_HEADINGS = {
    "places": "station station_name region neighbourhood bank phase",
    "units": "unit station counter_digits bank phase serial transformer_serial state technology breathing oil_volume_l "
    "main_tank_volume_l conservator rated_current_a step_voltage_v peer_group oil_group scheme positions "
    "interval_operations interval_years commissioned_on visit_cadence note",
    "service_rules": "scheme task interval_operations interval_years duration_days crew_hours kit lead_time_weeks "
    "provenance",
    "visit_rules": "scheme unit read_every_days sample_every_days provenance",
    "events": "unit happened_on kind old_reading new_reading to_state other_unit remark",
    "readings": "unit read_on value source reader",
    "samples": "unit sampled_on taken_from reported_on laboratory reference "
    + " ".join(f"{gas}_ul_per_l" for gas in _GASES.split())
    + " moisture_mg_per_kg breakdown_kv breakdown_method breakdown_gap_mm oil_temp_c counter_reading",
    "services": "unit done_on work resets serial_seen as_found_counter as_left_counter contact_left_mm "
    "condemning_limit_mm done_by remark",
    "conditions": "unit noted_on kind words act_by_on author closed_on closed_words",
    "observations": visits.HEADINGS,
    "closures": "station weeks why",
    "transfer_groups": "group station unit",
    "crews": "region week hours",
    "teams": "team region hours_per_week skills",
    "team_holidays": "team from_on to_on why",
    "resources": "resource number",
    "outage_terms": "station scheme unit permit_weeks recall_hours resources skill consequence approver conditions pcb",
    "other_outages": "station from_on to_on what who",
    "job_notes": "unit kind weeks person words",
}
HEADINGS = {name: tuple(words.split()) for name, words in _HEADINGS.items()}
