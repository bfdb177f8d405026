"""What if: one unit's dates under another interval, rate or oil limit, or an overhaul to come. Nothing is stored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pandas as pd

from tapwear.errors import UsageError
from tapwear.oil.limits import QUANTITIES, amount
from tapwear.outlook.build import Ground, answer
from tapwear.outlook.rules import MAIN_TASK, questions
from tapwear.outlook.types import Due

KINDS = "interval=60000, years=5, rate=1.5@2027-01-01, overhaul=2026-09-01 or an oil limit such as acetylene=60"


@dataclass(frozen=True)
class WhatIf:
    """What is supposed; None: as it is.

    interval_operations, interval_years : of the unit's contact service (of its only task where it has no such rule)
    factor, factor_from : operations to come, after that day, are so many times what is expected
    overhaul_on : an overhaul done on that day, not before as_of
    limit : another limit of the user's for its oil: a quantity of tapwear.oil.limits and its value
    """

    interval_operations: int | None = None
    interval_years: float | None = None
    factor: float | None = None
    factor_from: date | None = None
    overhaul_on: date | None = None
    limit: tuple[str, float] | None = None

    def sentences(self) -> list[str]:
        """What is supposed, in words."""
        said = []
        if self.interval_operations is not None:
            said.append(f"an interval of {self.interval_operations:,} operations")
        if self.interval_years is not None:
            said.append(f"an interval of {self.interval_years:g} years")
        if self.factor is not None:
            said.append(f"operations {self.factor:g} times what is expected from {self.factor_from} on")
        if self.overhaul_on is not None:
            said.append(f"an overhaul on {self.overhaul_on}; what the oil says by now is left aside")
        if self.limit is not None:
            quantity, value = self.limit
            said.append(f"a limit of {amount(value)} for {quantity.replace('_', ' ')} in its oil")
        return said


@dataclass(frozen=True)
class Compared:
    """The dues of one unit as they are and as they would be, in one order; `then` has every task of `now`."""

    unit: str
    as_of: date
    supposed: WhatIf
    now: tuple[Due, ...]
    then: tuple[Due, ...]


def read_whatif(texts: Sequence[str], as_of: date) -> WhatIf:
    """The supposition from `name=value` words, see KINDS. Raises UsageError for what is not one, or said twice."""
    found = WhatIf()
    for text in texts:
        name, _, value = (part.strip() for part in text.partition("="))
        values = _value(name.casefold(), value, text, as_of)
        if any(getattr(found, field) is not None for field in values):
            raise UsageError(f"--if: {name} is given twice; one of each kind at a time.")
        found = replace(found, **values)  # type: ignore[arg-type]
    return found


def _value(name: str, value: str, text: str, as_of: date) -> dict[str, object]:
    if name == "interval":
        number = value.replace(",", "")
        if not number.isdigit() or not 0 < int(number) < 10**9:
            raise UsageError(f"--if: an interval is a number of operations such as interval=60000, found {text!r}.")
        return {"interval_operations": int(number)}
    if name == "years":
        return {"interval_years": _number(value, 0.0, 200.0, text, "years=5")}
    if name == "rate":
        factor, at, day = value.partition("@")
        return {
            "factor": _number(factor, 0.0, 1000.0, text, "rate=1.5@2027-01-01"),
            "factor_from": _day(day, text, as_of) if at else as_of,
        }
    if name == "overhaul":
        return {"overhaul_on": _day(value, text, as_of)}
    if name in QUANTITIES:
        return {"limit": (name, _number(value, 0.0, 1e6, text, f"{name}=60"))}
    raise UsageError(f"--if: found {text!r}; give {KINDS}.")


def _number(value: str, low: float, high: float, text: str, like: str) -> float:
    try:
        number = float(value)
    except ValueError:
        number = float("nan")
    if not low < number < high:
        raise UsageError(f"--if: found {text!r}; a number above {low:g} and below {high:g} is needed, as in {like}.")
    return number


def _day(value: str, text: str, as_of: date) -> date:
    try:
        day = date.fromisoformat(value.strip())
    except ValueError:
        raise UsageError(f"--if: a date is written like 2027-01-01, found {text!r}.") from None
    if day < as_of:
        raise UsageError(f"--if: {day} lies before {as_of}. What has happened belongs in the book, not into a what-if.")
    return day


def what_if(
    unit: str,
    now: tuple[Due, ...],
    supposed: WhatIf,
    units: pd.DataFrame,
    rules: pd.DataFrame,
    services: pd.DataFrame,
    events: pd.DataFrame,
    ground: Ground,
    resets: Sequence[str],
    as_of: date,
) -> Compared:
    """The dues of `unit` before and after. Frames as in tapwear.store.book; nothing in them is changed.

    now : its dues as they are; resets : the tasks that an overhaul starts again
    An overhaul to come renews the oil: its gas says nothing about what follows. Raises UsageError for a unit without
    dues (retired).
    """
    if not now:
        raise UsageError(f"{unit} has no date to compare with: it is retired or not yet in the register.")
    mine = rules[rules["unit"] == unit]
    if supposed.interval_operations is not None or supposed.interval_years is not None:
        mine = _with_interval(mine, unit, now, supposed)
    done = services[services["unit"] == unit]
    until = as_of
    if supposed.overhaul_on is not None:
        until = supposed.overhaul_on
        row = {"unit": unit, "done_on": pd.Timestamp(until), "resets": tuple(resets)}
        done = pd.concat([done, pd.DataFrame([row]).reindex(columns=done.columns)], ignore_index=True)
        verdicts = {tag: verdict for tag, verdict in ground.verdicts.items() if tag != unit}
        ground = replace(ground, verdicts=verdicts)
    if supposed.factor is not None and supposed.factor_from is not None:
        ground = replace(ground, model=ground.model.with_factor(supposed.factor, supposed.factor_from))
    asked = questions(units[units["unit"] == unit], mine, done, events[events["unit"] == unit], until)
    then = {due.task: due for due in answer(asked, ground, as_of).dues}
    order = [due.task for due in now] + [task for task in then if task not in {due.task for due in now}]
    return Compared(unit, as_of, supposed, now, tuple(then[task] for task in order if task in then))


def _with_interval(rules: pd.DataFrame, unit: str, now: tuple[Due, ...], supposed: WhatIf) -> pd.DataFrame:
    """The unit's rules with the interval of its main task changed, or with a rule of its own where it had none."""
    tasks = [due.task for due in now]
    task = MAIN_TASK if MAIN_TASK in tasks else tasks[0]
    changed = rules.reset_index(drop=True).copy()
    if not (changed["task"] == task).any():
        row = pd.DataFrame([{"unit": unit, "task": task}]).reindex(columns=changed.columns)
        changed = pd.concat([changed, row], ignore_index=True) if len(changed) else row
    at = changed.index[changed["task"] == task]
    for name, value in (
        ("interval_operations", supposed.interval_operations),
        ("interval_years", supposed.interval_years),
    ):
        column = changed[name].astype(float)
        column[at] = np.nan if value is None else float(value)
        if value is not None:
            changed[name] = column
    return changed
