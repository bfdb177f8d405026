"""What really happens at the invented utility: operations on each day, work, visits, gas in the oil.

Planning values (gas per operation, losses through the breather, season) are our choice and carry no authority.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import demo_fleet as fleet
import numpy as np

DAYS = (fleet.AS_OF - fleet.START).days  # whole days in the book; the as-of date itself is not in it
YEAR = 365.25
CADENCE_DAYS = {"monthly": 30.4, "quarterly": 91.3, "half-yearly": 182.6, "yearly": 365.25}
SEASON = {  # swing around the annual mean, and the day of the year of its peak
    "suburban": (0.25, 20),
    "rural": (0.30, 190),
    "industrial": (0.08, 300),
    "furnace": (0.10, 60),
    "power station": (0.20, 30),
    "interconnection": (0.15, 350),
}
HYDROCARBONS = ("hydrogen", "methane", "ethane", "ethylene", "acetylene")
MADE = {"arcing_resistor": 60.0, "arcing_reactor": 150.0, "vacuum": 0.10}  # acetylene [mL per 1,000 operations]
SHARES = np.array([1.30, 0.13, 0.02, 0.20, 1.00])  # gas made by arcing, relative to acetylene
HEATING = np.array([0.05, 0.55, 0.20, 1.00, 0.00])  # gas made by hot contacts, relative to ethylene
LOSS = {  # lost through the breather [per year], in the order of HYDROCARBONS
    "free": np.array([4.0, 2.0, 1.0, 1.1, 1.2]),
    "desiccant": np.array([1.8, 0.9, 0.45, 0.50, 0.55]),
    "sealed": np.array([0.10, 0.06, 0.04, 0.04, 0.04]),
}
LEFT_OVER = 0.08  # of the gas comes back from wetted parts after new oil


@dataclass(frozen=True)
class Unit:
    """One tap changer with its true history: what it did each day, and the work on it."""

    spec: fleet.Spec
    serial: str
    commissioned: date
    breathing: str
    oil_volume: float
    daily: np.ndarray  # operations on each day from START
    at_start: int  # what its counter showed at START, before any wrapping
    work: tuple[tuple[date, str], ...]  # day and kind, oldest first

    def stands(self, day: date) -> bool:
        """Whether it is in service on that day."""
        return any(stay.from_on <= day < stay.to_on for stay in self.spec.stays)

    @staticmethod
    def index(day: date) -> int:
        """The position of a day in `daily`."""
        return (day - fleet.START).days

    def counted(self, day: date) -> int:
        """Operations in its life by the end of that day, on the scale of the counter before any wrapping."""
        index = (day - fleet.START).days
        if index < 0:
            return max(self.at_start + round(self.spec.rate * index / YEAR), fleet.FACTORY_COUNT)
        return self.at_start + int(self.daily[: min(index, DAYS - 1) + 1].sum())

    def counter(self, day: date) -> int:
        """What the counter shows at the end of that day: wrapped, and starting anew where it was replaced."""
        shown = self.counted(day)
        replaced = fleet.COUNTER_REPLACED.get(self.spec.tag)
        if replaced and day >= replaced:
            shown -= self.counted(replaced)
        return int(shown % 10**self.spec.digits)


def stream(name: str) -> np.random.RandomState:
    """Random numbers of one thing alone, so that a change to one unit leaves the others as they are.

    RandomState rather than a Generator: numpy promises that its stream never changes.
    """
    return np.random.RandomState(zlib.crc32(f"{fleet.SEED} {name}".encode()))


def workday(day: date) -> date:
    """The day itself, or the Monday after a weekend."""
    return day + timedelta(days=max(0, 7 - day.weekday()) if day.weekday() > 4 else 0)


def years_later(day: date, years: float) -> date:
    return day + timedelta(days=round(years * YEAR))


# --- operations -----------------------------------------------------------------------------------------------


def place_operations(spec: fleet.Spec, place: str) -> np.ndarray:
    """Operations on each day at one place: season, weather, a slowly drifting level, and known and unknown changes."""
    random = stream(f"place {place}")
    days = np.arange(DAYS)
    swing, peak = SEASON[spec.duty]
    day_of_year = (days + fleet.START.timetuple().tm_yday) % YEAR
    log_rate = np.log1p(swing * np.cos(2 * np.pi * (day_of_year - peak) / YEAR))
    log_rate += np.cumsum(random.normal(0, 0.05 / np.sqrt(YEAR), DAYS))
    weather = random.normal(0, 0.22 * np.sqrt(1 - 0.9**2), DAYS)
    for index in range(1, DAYS):
        weather[index] += 0.9 * weather[index - 1]
    rate = spec.rate / YEAR * np.exp(log_rate + weather - 0.22**2 / 2)
    for tag, changed_on, factor in fleet.RATE_CHANGES:
        if tag == place:
            rate[(changed_on - fleet.START).days :] *= factor
    for tag, out_on, back_on in fleet.OUT_OF_SERVICE:
        if tag == place:
            rate[(out_on - fleet.START).days : (back_on - fleet.START).days] = 0.0
    return np.asarray(random.poisson(rate * random.gamma(12.0, 1 / 12.0, DAYS)), dtype=np.int64)


def work_on(spec: fleet.Spec) -> tuple[tuple[date, str], ...]:
    """Overhauls and replacements of contacts: the last one is given, the ones before follow the interval."""
    if spec.last is None:
        return ()
    if spec.new:
        return ((spec.last, "placed in service"),)
    operations, years = fleet.INTERVALS[spec.scheme]
    step = min(years, fleet.USED[spec.scheme] * operations / spec.rate)
    if spec.duty == "furnace":
        dates = [years_later(spec.last, -step * back) for back in range(10)]
        return tuple(
            (workday(day), "contact replacement" if back % 4 == 2 else "overhaul")
            for back, day in reversed(list(enumerate(dates)))
            if day > fleet.START
        )
    return ((workday(years_later(spec.last, -step)), "contact replacement"), (workday(spec.last), "overhaul"))


def make_unit(spec: fleet.Spec) -> Unit:
    random = stream(f"unit {spec.tag}")
    work = work_on(spec)
    commissioned = work[0][0] if spec.new and work else date(random.randint(1990, 2009), random.randint(1, 12), 15)
    daily = np.zeros(DAYS, dtype=np.int64)
    for stay in spec.stays:
        there = slice((stay.from_on - fleet.START).days, (stay.to_on - fleet.START).days)
        daily[there] = place_operations(spec, stay.place)[there]
    for done_on, _ in work:  # standing still while open, then proving runs and timing tests
        index = (done_on - fleet.START).days
        if index >= 3 and not spec.new:
            daily[index - 3 : index] = 0
            daily[index] = random.randint(40, 70)
    for tag, exercised_on, operations in fleet.EXERCISED:
        if tag == spec.tag:
            daily[(exercised_on - fleet.START).days] += operations
    before = max(0.0, (fleet.START - min((day for day, _ in work), default=fleet.START)).days / YEAR) * spec.rate
    if spec.tag in fleet.COUNTER_AT_END:
        at_start = fleet.COUNTER_AT_END[spec.tag] - int(daily.sum())
    elif spec.new:
        at_start = fleet.FACTORY_COUNT + round(before)
    else:
        lowest, highest = before + 2_000, 10**spec.digits - 12 * spec.rate
        at_start = int(random.uniform(lowest, max(lowest + 500, min(highest, lowest + 12 * spec.rate))))
    choices = {"arcing_resistor": (180, 220, 300, 410), "arcing_reactor": (1_500, 1_800), "vacuum": (350, 500, 620)}
    volume = fleet.OIL_VOLUMES.get(spec.tag) or choices[spec.technology][random.randint(len(choices[spec.technology]))]
    weights = {"arcing_resistor": 0.3, "arcing_reactor": 0.8, "vacuum": 0.0}  # share of free breathing
    breathing = "free" if random.uniform() < weights[spec.technology] else "desiccant"
    if spec.technology == "vacuum" and random.uniform() < 0.4:
        breathing = "sealed"
    serial = f"D{random.randint(10_000, 99_999)}-{spec.tag.replace('-', '')[-1]}"
    return Unit(
        spec=spec,
        serial=serial,
        commissioned=fleet.COMMISSIONED.get(spec.tag, commissioned),
        breathing=fleet.BREATHING.get(spec.tag, breathing),
        oil_volume=float(volume),
        daily=daily,
        at_start=at_start,
        work=work,
    )


# --- visits ----------------------------------------------------------------------------------------------------


def visit_days(unit: Unit) -> list[date]:
    """Working days of the visits, with some slack around the cadence, keeping clear of days of other work."""
    gap = CADENCE_DAYS[unit.spec.cadence]
    busy = {day for day, _ in unit.work} | {fleet.COUNTER_REPLACED.get(unit.spec.tag, fleet.AS_OF)}
    days = []
    for stay in unit.spec.stays:
        random = stream(f"visits {stay.place}")
        at = unit.index(stay.from_on) + random.uniform(0.05, 0.6) * gap
        while (day := workday(fleet.START + timedelta(days=round(at)))) < min(stay.to_on, fleet.AS_OF):
            if all(abs((day - other).days) > 3 for other in busy):
                days.append(day)
            at += gap * random.uniform(0.82, 1.18)
    return days[: fleet.VISITED_AT_MOST.get(unit.spec.tag, len(days))]


# --- oil -------------------------------------------------------------------------------------------------------


def true_gas(unit: Unit) -> np.ndarray:
    """Gas in the compartment's oil at the end of each day [uL/L], made by operations and lost by breathing.

    Between two fillings C(t) = exp(-kt) (C0 + sum of what was made x exp(kt)), shape (DAYS, 5).
    """
    random = stream(f"gas {unit.spec.tag}")
    tag = unit.spec.tag
    made_per_operation = MADE[unit.spec.technology] * np.exp(random.normal(0, 0.12))  # mL/1,000 = uL/1
    made = np.outer(unit.daily * made_per_operation, SHARES) / unit.oil_volume
    days = np.arange(DAYS)
    settled = made_per_operation * unit.spec.rate / unit.oil_volume / LOSS[unit.breathing][-1]
    if tag == fleet.HEATING[0]:
        years = np.clip((days - (fleet.HEATING[1] - fleet.START).days) / YEAR, 0, None)
        made += np.outer(fleet.HEATING[2] * settled * years / YEAR, HEATING)
    if tag == fleet.VACUUM_LOSS[0]:
        years = np.clip((days - (fleet.VACUUM_LOSS[1] - fleet.START).days) / YEAR, 0, None)
        made += np.outer(fleet.VACUUM_LOSS[2] * years * unit.daily / unit.oil_volume, SHARES)
    fillings = [0, *((day - fleet.START).days for day, _ in unit.work if day > fleet.START), DAYS]
    gas = np.zeros((DAYS, 5))
    level = 0.7 * settled * SHARES * LOSS[unit.breathing][-1] / LOSS[unit.breathing]
    for start, end in pairwise(fillings):
        decay = np.exp(-LOSS[unit.breathing] * (np.arange(end - start)[:, None] + 1) / YEAR)
        gas[start:end] = decay * (level + np.cumsum(made[start:end] / decay, axis=0))
        level = LEFT_OVER * gas[end - 1] if end > start else level
    return gas
