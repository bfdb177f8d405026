"""The fleet at the head of a report: what it is put together from, who gets a page, and the summary in sentences."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from tapwear.outlook.conditions import Noted
from tapwear.outlook.types import Due, Outlook
from tapwear.report.due_choice import OVERHAUL_TASKS, Choice, choose, leads
from tapwear.report.due_words import sentence
from tapwear.report.oil_unit import OilUnit
from tapwear.report.pages_choice import Pages
from tapwear.weeks import add_years

if TYPE_CHECKING:
    import pandas as pd

YEARS_AHEAD = 2  # the list of coming overhauls looks this far ahead; our choice
SMALL_FLEET = 100  # up to this many units, each has a page; our choice
LONG_UNREAD_DAYS = 365  # a last reading older than this is counted in the summary; our choice
QUARTERS = 8
# What can drive a date, and how a column of it is headed.
DRIVERS = {"operations": "operations", "calendar": "calendar", "oil": "oil", "condition": "noted condition"}


@dataclass(frozen=True)
class Fleet:
    """All that a report rests on, apart from the counters' stories.

    identities : the rows of `units` of the store's book that the report covers, by heading
    outlook : dues of these units
    oil : their oil, by tag
    readings : their counter readings as in `counts.types.CounterHistory.readings`
    conditions : open ones that people noted, by tag
    rules : their service rules, as in the store's book
    asked : the units that were named, () for the whole fleet
    in_store : how many units the store holds
    waiting : what imported rows await confirmation: a sentence, then a line for each; nothing for none
    """

    as_of: date
    identities: tuple[Mapping[str, Any], ...]
    outlook: Outlook
    oil: Mapping[str, OilUnit]
    readings: pd.DataFrame
    conditions: Mapping[str, tuple[Noted, ...]]
    rules: pd.DataFrame
    asked: tuple[str, ...]
    in_store: int
    waiting: tuple[str, ...] = ()

    @property
    def until(self) -> date:
        """Up to this day the list of coming overhauls reaches."""
        return add_years(self.as_of, YEARS_AHEAD)

    def coming(self) -> Choice:
        """What comes due by `until`, with whatever must never be missing from a list."""
        return choose(self.outlook, until=self.until)

    def leads(self) -> tuple[Due, ...]:
        """One due per unit: its contact service, else its first."""
        return leads(self.outlook)

    def stops(self) -> dict[str, str]:
        """Of stopped units, those released for work among them, what stands first in their rows; by tag."""
        found = {due.unit: due.stop for due in self.outlook.dues if due.severe}
        found |= {tag: unit.stop for tag, unit in self.oil.items() if unit.severe}
        return dict(sorted(found.items()))

    def severe(self) -> list[str]:
        """The stopped units."""
        return list(self.stops())


def paged_units(fleet: Fleet, pages: Pages | None) -> list[str]:
    """The units that get a page, most pressing first.

    pages : None leaves the choice to the size of the fleet. DUE takes those due within two years or unusual: no date,
    no usable reading, oil that asks for something, a noted condition, a latest reading in doubt.
    """
    by_urgency = list(dict.fromkeys(due.unit for due in fleet.outlook.dues))
    rest = [str(row["unit"]) for row in fleet.identities if row["unit"] not in set(by_urgency)]
    if pages is None:
        pages = Pages.ALL if fleet.asked or len(fleet.identities) <= SMALL_FLEET else Pages.DUE
    if pages is Pages.NONE:
        return []
    if pages is Pages.ALL:
        return by_urgency + rest
    wanted = {due.unit for due in fleet.coming().dues} | set(fleet.conditions) | set(fleet.severe())
    asking = ("pull forward", "resample")
    wanted |= {tag for tag, unit in fleet.oil.items() if unit.verdict and unit.verdict.call in asking}
    wanted |= latest_in_doubt(fleet.readings)
    return [tag for tag in by_urgency if tag in wanted]


def latest_in_doubt(readings: pd.DataFrame) -> set[str]:
    """Units whose latest counter reading is doubtful, so that the next one will decide."""
    kept = readings[readings["status"].isin(["used", "doubtful"])]
    last = kept.sort_values("read_on", kind="stable").groupby("unit")["status"].last()
    return {str(tag) for tag in last[last == "doubtful"].index}


def summary(fleet: Fleet) -> list[str]:
    """The state of the fleet in sentences. Severe findings are not in it: they stand before everything."""
    dues, oil = fleet.leads(), fleet.oil.values()
    states = _counted(str(row.get("state") or "in service") for row in fleet.identities)
    count = len(fleet.identities)
    of = f" of {fleet.in_store}, as asked for" if fleet.asked else ""
    lines = [sentence(words) for words in fleet.waiting]
    lines.append(f"{many(count, 'unit')}{of}: " + ", ".join(f"{n} {name}" for name, n in states.items()) + ".")
    overdue = sum(due.overdue for due in dues)
    soon = sum(not due.overdue and due.early is not None and due.early <= fleet.until for due in dues)
    unknown = sum(not due.known for due in dues)
    lines.append(
        f"{many(overdue, 'overhaul')} {'is' if overdue == 1 else 'are'} overdue; {soon} more "
        f"{'has its' if soon == 1 else 'have their'} early date by {fleet.until}"
        + (f"; {unknown} {'has' if unknown == 1 else 'have'} no date." if unknown else ".")
    )
    lines.append(_oil_sentence([unit for unit in oil if unit.state != "retired"]))
    doubtful = int((fleet.readings["status"] == "doubtful").sum())
    relied = int((fleet.readings["status"] == "used").sum())
    long_ago = sum(
        due.last_reading_on is not None and (fleet.as_of - due.last_reading_on).days > LONG_UNREAD_DAYS for due in dues
    )
    never = sum(due.last_reading_on is None for due in dues)
    lines.append(
        f"The dates rest on {many(relied, 'counter reading')}; {doubtful} more {'is' if doubtful == 1 else 'are'} "
        f"doubtful, kept and explained. Not read for more than a year: {many(long_ago, 'unit')}; without a usable "
        f"reading: {never}."
    )
    if fleet.conditions:
        units = ", ".join(sorted(fleet.conditions))
        lines.append(f"Open field conditions: {many(len(fleet.conditions), 'unit')}, {units}.")
    return lines


def _oil_sentence(oil: Sequence[OilUnit]) -> str:
    """What oil results call for. A unit that nobody is to go near is not to be sampled again."""
    calls = [unit.verdict.call if unit.verdict else "no oil evidence" for unit in oil]
    again = sum(call == "resample" and not unit.severe for call, unit in zip(calls, oil, strict=True))
    opened = many(calls.count("pull forward"), "unit")
    words = f"Oil results call for an internal inspection at {opened} and for another sample at {again}"
    none = calls.count("no oil evidence")
    return words + (f"; there is no oil evidence for {none}." if none else ".")


@dataclass(frozen=True)
class Period:
    """A row of the summary table: how many units have their early date then, and how many by each of DRIVERS."""

    words: str
    units: int
    drivers: tuple[int, ...]


def by_period(fleet: Fleet) -> list[Period]:
    """Units by the early date of their overhaul."""
    half, year, two = add_years(fleet.as_of, 0.5), add_years(fleet.as_of, 1), fleet.until
    every = fleet.leads()

    def between(start: date, end: date) -> Callable[[Due], bool]:
        return lambda due: due.known and not due.overdue and due.early is not None and start < due.early <= end

    kinds: list[tuple[str, Callable[[Due], bool]]] = [
        ("overdue", lambda due: due.overdue),
        (f"by {half}", between(date.min, half)),
        (f"then by {year}", between(half, year)),
        (f"then by {two}", between(year, two)),
        ("later", lambda due: due.known and not due.overdue and (due.early is None or due.early > two)),
        ("no date", lambda due: not due.known),
    ]
    rows = []
    for words, fits in kinds:
        dues = [due for due in every if fits(due)]
        drivers = _counted(due.driver for due in dues)
        rows.append(Period(words, len(dues), tuple(drivers.get(name, 0) for name in DRIVERS)))
    return rows


def by_quarter(fleet: Fleet) -> tuple[list[str], list[int]]:
    """Overhauls (contact service and contact replacement) overdue, then by quarter of their early date; labels of
    two lines, and counts."""
    first = fleet.as_of.year * 4 + (fleet.as_of.month - 1) // 3
    counts = [0] * (QUARTERS + 1)
    for due in fleet.outlook.dues:
        if due.task not in OVERHAUL_TASKS or not due.known:
            continue
        if due.overdue:
            counts[0] += 1
        elif due.early is not None:
            at = max(due.early.year * 4 + (due.early.month - 1) // 3 - first, 0)
            if at < QUARTERS:
                counts[at + 1] += 1
    labels = [f"Q{(first + i) % 4 + 1}\n{(first + i) // 4}" for i in range(QUARTERS)]
    return ["overdue", *labels], counts


def many(count: int, thing: str) -> str:
    """`1 unit`, `3 units`."""
    return f"{count:,} {thing}" + ("" if count == 1 else "s")


def _counted(names: Iterable[str]) -> dict[str, int]:
    """How often each name comes, most often first."""
    found: dict[str, int] = {}
    for name in names:
        found[name] = found.get(name, 0) + 1
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))
