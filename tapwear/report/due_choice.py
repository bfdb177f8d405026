"""Which dues a list shows, and how many it hides and why: a filter never hides anything without a count."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from tapwear.outlook.types import Driver, Due, Outlook

LEAD_TASK = "contact service"
OVERHAUL_TASKS = (LEAD_TASK, "contact replacement")


@dataclass(frozen=True)
class Hidden:
    """Units that a filter leaves out altogether, and how many of them a scheduler would not want to miss."""

    by: str  # the filter as the person wrote it, e.g. "--station BRK"
    units: int
    overdue: int
    unknown: int

    def sentence(self) -> str:
        """`Not shown (by --station BRK): 40 units, 3 of them overdue, 2 with no date.`"""
        marks = [f"{self.overdue} of them overdue"] if self.overdue else []
        marks += [f"{self.unknown} {'' if marks else 'of them '}with no date"] if self.unknown else []
        count = f"{self.units} unit{'s' if self.units != 1 else ''}"
        by = f"by {self.by}" if self.by.startswith("--") else self.by
        return f"Not shown ({by}): {', '.join([count, *marks])}."


@dataclass(frozen=True)
class Choice:
    """The dues to show, in the outlook's order, and what each filter left out."""

    as_of: date
    until: date | None  # dues are shown whose early date lies on or before it; None: all
    dues: tuple[Due, ...]
    hidden: tuple[Hidden, ...]
    units: int  # in the outlook as a whole


def choose(
    outlook: Outlook,
    *,
    until: date | None,
    station: str | None = None,
    region: str | None = None,
    driver: Driver | None = None,
    task: str | None = None,
    every_task: bool = False,
) -> Choice:
    """The dues that a list shows.

    One row stands for each unit: its contact service or, without such a rule, its first due. Other tasks of the
    unit join it when they come due by `until` and before that row's early date. `task` shows that task instead,
    `every_task` all of them. Overdue units, units without a date and severe findings pass `until`; the filters
    station, region and driver (compared without regard to capitals) may hide them, and then count them.
    """
    rows = outlook.dues if every_task and task is None else tuple(_rows(outlook, until, task))
    hidden = []
    if task is not None:
        with_rows = {due.unit for due in rows}
        without = [due for due in _rows(outlook, None, None) if due.unit not in with_rows]
        hidden += [_count(f"--task '{task}'", without)] if without else []
    filters: list[tuple[str, Callable[[Due], bool]]] = []
    for name, wanted in (("station", station), ("region", region), ("driver", driver)):
        if wanted is not None:
            filters.append((f"--{name} {wanted}", _same(name, wanted)))
    if until is not None:
        filters.append((f"due after {until.isoformat()}; --all shows everything", lambda due: _by(due, until)))
    for words, keeps in filters:
        kept = tuple(due for due in rows if keeps(due))
        units_left = {due.unit for due in kept}
        left_out = [due for due in rows if due.unit not in units_left]
        if left_out:
            hidden.append(_count(words, left_out))
        rows = kept
    return Choice(outlook.as_of, until, rows, tuple(hidden), len({due.unit for due in outlook.dues}))


def _same(name: str, wanted: str) -> Callable[[Due], bool]:
    return lambda due: str(getattr(due, name)).casefold() == wanted.casefold()


def _by(due: Due, until: date) -> bool:
    """Whether a due is shown for a period: due by then, or one that must never be missing."""
    must = due.overdue or due.severe or bool(due.alarms) or not due.known or due.readings_used == 0
    return must or (due.early is not None and due.early <= until)


def _rows(outlook: Outlook, until: date | None, task: str | None) -> list[Due]:
    """One task's dues, or one lead row per unit with the tasks that come before it; in the outlook's order."""
    if task is not None:
        return [due for due in outlook.dues if due.task.casefold() == task.casefold()]
    lead = {due.unit: due for due in leads(outlook)}
    return [due for due in outlook.dues if due is lead[due.unit] or _joins(due, lead[due.unit], until)]


def leads(outlook: Outlook) -> tuple[Due, ...]:
    """One due per unit: its contact service or, without such a rule, its first; in the outlook's order."""
    lead: dict[str, Due] = {}
    for due in outlook.dues:
        if due.unit not in lead or (due.task == LEAD_TASK and lead[due.unit].task != LEAD_TASK):
            lead[due.unit] = due
    return tuple(due for due in outlook.dues if due is lead[due.unit])


def _joins(due: Due, lead: Due, until: date | None) -> bool:
    """Whether another task of the unit stands beside its lead row."""
    if due.severe and not lead.severe:
        return True
    if not due.known or due.early is None or (until is not None and due.early > until):
        return False
    return not lead.known or lead.early is None or due.early < lead.early


def _count(words: str, dues: list[Due]) -> Hidden:
    units = {due.unit for due in dues}
    overdue = {due.unit for due in dues if due.overdue}
    unknown = {due.unit for due in dues if not due.known}
    return Hidden(words, len(units), len(overdue), len(unknown))
