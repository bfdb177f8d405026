"""Writes the tables of the invented demo utility next to this script; the same seed gives the same bytes.

Run as `python data/demo/make_demo.py [FOLDER]`. Needs numpy only. Every station, unit, person and figure is
invented; `data/README.md` says how, and which stories are hidden in it.
"""

from __future__ import annotations

import csv
import sys
import zlib
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import demo_fleet as fleet
import demo_plan as plan
import demo_visits as visits
import numpy as np
from demo_truth import HYDROCARBONS, YEAR, Unit, make_unit, stream, true_gas, visit_days, workday

Rows = list[dict[str, Any]]
SLIP_SHARE = 0.02  # of the readings are written down wrongly
LIMITS = {"hydrogen": 2.0, "carbon_monoxide": 10.0, "carbon_dioxide": 20.0}  # else 0.5 [uL/L]
OVERHAUL_RESETS = "inspection;contact service;oil change"
NEW_RESETS = "inspection;contact service;contact replacement;oil change"


# --- the visit book -------------------------------------------------------------------------------------------


def misread(value: int, previous: int, digits: int, random: np.random.RandomState) -> tuple[int, str]:
    """A number as a tired hand writes it: two digits transposed, one dropped, or last visit's number copied."""
    text = f"{value:0{digits}d}"
    kind = ("transposed", "dropped digit", "copied")[random.choice(3, p=[0.4, 0.3, 0.3])]
    if kind == "copied":
        return previous, kind
    if kind == "dropped digit":
        at = random.randint(1, digits)
        return int(text[:at] + text[at + 1 :]), kind
    at = random.randint(1, digits - 1)
    return int(text[:at] + text[at + 1] + text[at] + text[at + 2 :]), kind


def readings_of(unit: Unit) -> tuple[Rows, Rows]:
    """The readings as written, and what was slipped into them (for tests; no file)."""
    random = stream(f"slips {unit.spec.tag}")
    days = visit_days(unit)
    readers = [f"{unit.spec.region[0]}{number}" for number in (1, 2, 3)]
    rows: Rows = []
    slips: Rows = []
    for number, day in enumerate(days):
        true = unit.counter(day)
        value, kind = true, ""
        if unit.spec.tag == fleet.MISREAD_LAST and number == len(days) - 1:
            text = f"{true:0{unit.spec.digits}d}"
            value, kind = int(text[0] + text[2] + text[1] + text[3:]), "transposed"
        elif random.uniform() < SLIP_SHARE and 1 <= number < len(days) - 2 and unit.spec.tag not in fleet.NO_SLIPS:
            value, kind = misread(true, rows[-1]["value"], unit.spec.digits, random)
        reader = readers[random.randint(3)]
        rows.append({"unit": unit.spec.tag, "read_on": day, "value": value, "source": "mechanical", "reader": reader})
        if kind and value != true:
            slips.append({"unit": unit.spec.tag, "read_on": day, "true": true, "value": value, "kind": kind})
    return rows, slips


def services_of(unit: Unit) -> Rows:
    random = stream(f"services {unit.spec.tag}")
    crew = f"crew {unit.spec.region}"
    rows: Rows = []
    contacts_at = 0
    for done_on, work in unit.work:
        as_left, as_found = unit.counter(done_on), unit.counter(done_on - timedelta(days=1))
        row = {"unit": unit.spec.tag, "done_on": done_on, "serial_seen": unit.serial, "done_by": crew}
        if work == "placed in service":
            row |= {"work": "other", "resets": NEW_RESETS}
            row |= {"as_left_counter": as_left} if fleet.VISITED_AT_MOST.get(unit.spec.tag) != 0 else {}
            row["remark"] = "new, placed in service"
        else:
            resets = NEW_RESETS if work == "contact replacement" else OVERHAUL_RESETS
            row |= {"work": work, "resets": resets, "as_found_counter": as_found, "as_left_counter": as_left}
            worn = (unit.counted(done_on) - contacts_at) * random.uniform(2.2e-5, 3.4e-5)
            if work == "overhaul" and random.uniform() < 0.6 and unit.spec.technology != "vacuum":
                row |= {"contact_left_mm": f"{max(10.0 - worn, 4.4):.1f}", "condemning_limit_mm": "4.0"}
            contacts_at = unit.counted(done_on) if work == "contact replacement" else contacts_at
        rows.append(row)
    busy = [day for day, _ in unit.work]
    inspected = fleet.START - timedelta(days=300)
    for day in visit_days(unit):
        if (day - inspected).days >= 300 and all(not -40 <= (day - other).days <= 200 for other in busy):
            rows.append({"unit": unit.spec.tag, "done_on": day, "work": "inspection", "resets": "inspection",
                         "serial_seen": unit.serial, "done_by": crew})  # fmt: skip
            inspected = day
    return rows


# --- oil ------------------------------------------------------------------------------------------------------


def sample_days(unit: Unit) -> list[date]:
    """Yearly or half-yearly on a visit, two weeks after an overhaul, and where someone asked for more."""
    extra = fleet.EXTRA_SAMPLES.get(unit.spec.tag, ())
    asked_for = {*extra, *(workday(done_on + timedelta(days=14)) for done_on, _ in unit.work)}
    gap = 150 if {unit.spec.duty, unit.spec.tag} & fleet.SAMPLED_HALF_YEARLY else 310
    days: list[date] = []
    for day in sorted({*visit_days(unit), *asked_for}):
        if unit.stands(day) and (not days or (day - days[-1]).days >= gap or day in asked_for):
            days.append(day)
    return days


def as_reported(gas: str, value: float) -> str:
    limit = LIMITS.get(gas, 0.5)
    if value < limit:
        return f"<{limit:g}"
    return f"{value:.1f}" if value < 10 else f"{value:.0f}"


def samples_of(unit: Unit) -> Rows:
    """What the laboratory reports: about 10 % of scatter in every gas, low values as below the limit."""
    random = stream(f"samples {unit.spec.tag}")
    gas = true_gas(unit)
    rows: Rows = []
    for number, day in enumerate(sample_days(unit)):
        rows.append(
            sample(unit, day, "compartment", dict(zip(HYDROCARBONS, gas[unit.index(day)], strict=True)), random)
        )
        if random.uniform() < 0.4:
            rows[-1]["counter_reading"] = unit.counter(day)
        if unit.spec.tag in fleet.MAIN_TANK_SAMPLED and number % 2 == 0:
            rows.append(sample(unit, day, "main_tank", fleet.MAIN_TANK_GAS, random))
    return [row for row in rows if row["reported_on"] < fleet.AS_OF]


def sample(
    unit: Unit, day: date, taken_from: str, levels: dict[str, float], random: np.random.RandomState
) -> dict[str, Any]:
    laboratory = fleet.LABORATORIES[unit.spec.region]
    number = zlib.crc32(f"{unit.spec.tag}{day}{taken_from}".encode()) % 100_000
    syringe = random.normal(0, 0.04)
    gases = {name: level * np.exp(syringe + random.normal(0, 0.09)) for name, level in (fleet.AIR_GAS | levels).items()}
    water = float(np.clip(random.normal(15 if taken_from == "compartment" else 10, 2.5), 5, 26))
    warm = 22 - 12 * np.cos(2 * np.pi * (day.timetuple().tm_yday - 15) / YEAR) + random.normal(0, 3)
    return {
        "unit": unit.spec.tag,
        "sampled_on": day,
        "taken_from": taken_from,
        "reported_on": workday(day + timedelta(days=int(random.randint(6, 11)))),
        "laboratory": laboratory,
        "reference": f"{laboratory[-1]}{day:%y}-{number:05d}",
        **{f"{name}_ul_per_l": as_reported(name, value) for name, value in gases.items()},
        "moisture_mg_per_kg": f"{water:.0f}",
        "breakdown_kv": f"{np.clip(random.normal(62 - water, 4), 34, 75):.0f}",
        "breakdown_method": "IEC 60156",
        "breakdown_gap_mm": "2.5",
        "oil_temp_c": f"{warm:.0f}",
    }


def swap_samples(samples: Rows) -> None:
    """The labels of two neighbours' bottles changed places on one day: everything the laboratory measured."""
    first, second, on = fleet.SWAPPED_SAMPLES
    one, other = (next(r for r in samples if r["unit"] == tag and r["sampled_on"] == on) for tag in (first, second))
    for name in [name for name in one if name.endswith(("_per_l", "_per_kg", "_kv"))]:
        one[name], other[name] = other[name], one[name]


# --- all tables -----------------------------------------------------------------------------------------------


def register_row(unit: Unit) -> dict[str, Any]:
    spec = unit.spec
    random = stream(f"register {spec.tag}")
    words, current, step = {
        "arcing_resistor": ("resistor", 400, 800),
        "arcing_reactor": ("reactor", 1_200, 450),
        "vacuum": ("vacuum", 500, 900),
    }[spec.technology]
    row = {"unit": spec.tag, "counter_digits": spec.digits, "serial": unit.serial, "state": "in service"}
    row |= {"station": spec.station, "bank": spec.bank, "phase": spec.phase, "peer_group": spec.duty}
    row |= {"transformer_serial": f"X{random.randint(10_000, 99_999)}", "visit_cadence": spec.cadence}
    tank = int(random.choice([12_000, 16_000, 22_000, 31_000]))
    row |= {"main_tank_volume_l": fleet.MAIN_TANK_VOLUMES.get(spec.tag, tank), "conservator": "separate"}
    row |= {"technology": spec.technology, "breathing": unit.breathing, "oil_volume_l": f"{unit.oil_volume:g}"}
    row |= {"rated_current_a": current, "step_voltage_v": step, "oil_group": f"{words} {unit.breathing}"}
    row["positions"] = visits.POSITIONS.get(spec.tag, "")
    row |= {"scheme": spec.scheme, "commissioned_on": unit.commissioned, "note": fleet.NOTES.get(spec.tag, "")}
    if spec.tag in fleet.OWN_INTERVALS:
        row["interval_operations"], row["interval_years"] = fleet.OWN_INTERVALS[spec.tag]
    return row


def events(units: dict[str, Unit]) -> Rows:
    rows: Rows = [dict(row) for row in fleet.EVENTS]
    for tag, on, operations in fleet.EXERCISED:
        remark = f"exercised through all positions, {operations} operations"
        rows.append({"unit": tag, "happened_on": on, "kind": "inspection", "remark": remark})
    for tag, on in fleet.COUNTER_REPLACED.items():
        if tag not in fleet.UNRECORDED:
            old = units[tag].counted(on) % 10 ** units[tag].spec.digits
            rows.append({"unit": tag, "happened_on": on, "kind": "counter_replaced", "old_reading": old,
                         "new_reading": 0, "remark": "window broken"})  # fmt: skip
    return rows


def build() -> tuple[dict[str, Rows], Rows]:
    """All tables by name, and the slips that were put into the readings."""
    units = {spec.tag: make_unit(spec) for spec in fleet.SPECS}
    readings: Rows = []
    slips: Rows = []
    for unit in units.values():
        written, slipped = readings_of(unit)
        readings += written
        slips += slipped
    samples = [row for unit in units.values() for row in samples_of(unit)]
    swap_samples(samples)
    peaks = [(code, peak) for code, _, _, _, peak in fleet.STATIONS]
    tables: dict[str, Rows] = {
        "places": fleet.places(),
        "units": [register_row(unit) for unit in units.values()],
        "service_rules": [dict(row) for row in fleet.SERVICE_RULES],
        "visit_rules": [dict(row) for row in visits.VISIT_RULES],
        "events": sorted(events(units), key=lambda row: (row["happened_on"], row["unit"])),
        "readings": sorted(readings, key=lambda row: (row["read_on"], row["unit"])),
        "samples": sorted(samples, key=lambda row: (row["sampled_on"], row["unit"], row["taken_from"])),
        "services": sorted(
            (row for unit in units.values() for row in services_of(unit)), key=lambda r: (r["done_on"], r["unit"])
        ),
        "conditions": [dict(row) for row in fleet.CONDITIONS],
        "observations": sorted(visits.OBSERVATIONS, key=lambda row: (row["observed_on"], row["unit"])),
        "closures": plan.closures(peaks),
        "transfer_groups": fleet.transfer_groups(),
        "crews": plan.crews(fleet.AS_OF),
        "teams": plan.TEAMS,
        "team_holidays": plan.TEAM_HOLIDAYS,
        "resources": plan.RESOURCES,
        "outage_terms": plan.outage_terms(peaks),
        "other_outages": plan.OTHER_OUTAGES,
        "job_notes": plan.JOB_NOTES,
    }
    return tables, slips


def write(folder: Path) -> None:
    """One CSV file per table, UTF-8, ISO dates, line ends of one character."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in build()[0].items():
        headings = [heading for heading in fleet.HEADINGS[name] if any(heading in row for row in rows)]
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, headings, restval="", lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
