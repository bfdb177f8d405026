"""As-found contact wear against the condemning limit: whether the interval is long or short for this unit.

Two measurements on one set of contacts give what so many operations took off; the thickness of new contacts need not
be known. All sets of a unit are taken together. The outcome is advice to the responsible engineer: no date rests on it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.outlook.rules import MAIN_TASK
from tapwear.outlook.types import Due
from tapwear.words import as_typed

MEASURED_MM = 0.2
"""Standard error of one measurement of the thinnest contact (our choice). [mm]"""
BAND = 1.2815515655446004
"""Standard errors from the middle to 10 and 90 %."""
REPLACED = "contact replacement"

Verdict = Literal["long", "perhaps long", "fits", "short", "unclear"]
Between = Callable[[Sequence[date], Sequence[date]], NDArray[np.float64]]


@dataclass(frozen=True)
class Wear:
    """What the measurements of one unit say.

    per_thousand : wear per 1,000 operations, 10, 50 and 90 % [mm]; None: no two measurements on one set of contacts
    sets, measurements : sets of contacts and measurements that the wear rests on; all measurements of the unit
    last_on, left_mm, limit_mm : the newest measurement; NaN limit where none was given
    reach : operations from that day until the limit, 10, 50 and 90 %; None where not to be told, or new contacts since
    verdict : whether the interval of the contact service is long or short for these contacts
    words : the same in sentences
    """

    per_thousand: tuple[float, float, float] | None
    sets: int
    measurements: int
    last_on: date
    left_mm: float
    limit_mm: float
    reach: tuple[float, float, float] | None
    verdict: Verdict
    words: tuple[str, ...]


@dataclass(frozen=True)
class _Set:
    """First and last measurement on one set of contacts."""

    from_on: date
    to_on: date
    loss_mm: float
    measurements: int


def wear_of(services: pd.DataFrame, dues: Sequence[Due], between: Between, as_of: date) -> Wear | None:
    """The wear of one unit's contacts; None where nothing was measured.

    services : its rows, as in tapwear.store.book; dues : its dues, for the interval of the contact service
    between(from_days, to_days) : operations between days, 10, 50 and 90 %, shape (n, 3)
    """
    done = services[services["done_on"] <= pd.Timestamp(as_of)].sort_values("done_on", kind="stable")
    measured = done[done["contact_left_mm"].notna()]
    if measured.empty:
        return None
    last = measured.iloc[-1]
    last_on, left, limit = last["done_on"].date(), float(last["contact_left_mm"]), float(last["condemning_limit_mm"])
    sets = _sets(done)
    rate = _rate(sets, between)
    fresh = any(REPLACED in resets for resets in done.loc[done["done_on"] >= last["done_on"], "resets"])
    reach = None if rate is None or fresh or not np.isfinite(limit) else _reach(rate, left - limit)
    due = next((one for one in dues if one.task == MAIN_TASK and one.interval_operations and not one.weighted), None)
    verdict: Verdict = "unclear"
    ahead = 0.0
    if rate is not None and reach is not None and due is not None and due.last_service_on is not None:
        ahead = due.interval_operations or 0
        if due.last_service_on > last_on:
            ahead += float(between([last_on], [due.last_service_on])[0, 1])
        verdict = _verdict(reach, ahead, float(due.interval_operations or 0))
    words = _words(rate, sets, len(measured), last_on, left, limit, reach, fresh, verdict, ahead, due)
    return Wear(rate, len(sets), len(measured), last_on, left, limit, reach, verdict, words)


def _sets(done: pd.DataFrame) -> list[_Set]:
    """The sets of contacts that were measured at least twice, oldest first."""
    found: list[list[tuple[date, float]]] = [[]]
    for on, left, resets in zip(done["done_on"], done["contact_left_mm"], done["resets"], strict=True):
        if pd.notna(left):
            found[-1].append((on.date(), float(left)))
        if REPLACED in resets:
            found.append([])
    return [_Set(own[0][0], own[-1][0], own[0][1] - own[-1][1], len(own)) for own in found if len(own) > 1]


def _rate(sets: Sequence[_Set], between: Between) -> tuple[float, float, float] | None:
    """Wear per 1,000 operations: all that was lost over all operations, with the errors of both."""
    if not sets:
        return None
    made = between([one.from_on for one in sets], [one.to_on for one in sets])
    total = float(made[:, 1].sum())
    if total <= 0:
        return None
    loss = sum(one.loss_mm for one in sets)
    counted = float(np.sqrt(((made[:, 2] - made[:, 0]) ** 2).sum())) / (2 * BAND)
    error = float(np.hypot(MEASURED_MM * np.sqrt(2 * len(sets)), loss * counted / total))
    low, middle, high = (max(loss + sign * BAND * error, 0.0) / total * 1000 for sign in (-1, 0, 1))
    return low, middle, high


def _reach(rate: tuple[float, float, float], spare_mm: float) -> tuple[float, float, float]:
    """Operations until the limit, 10, 50 and 90 %; infinite where no wear can be told from none."""
    low, middle, high = (max(spare_mm, 0.0) / mm * 1000 if mm > 0 else np.inf for mm in reversed(rate))
    return low, middle, high


def _verdict(reach: tuple[float, float, float], ahead: float, interval: float) -> Verdict:
    if reach[2] < ahead:
        return "long"
    if reach[0] < ahead:
        return "perhaps long"
    return "short" if reach[0] >= ahead + interval else "fits"


def _words(
    rate: tuple[float, float, float] | None,
    sets: Sequence[_Set],
    measurements: int,
    last_on: date,
    left: float,
    limit: float,
    reach: tuple[float, float, float] | None,
    fresh: bool,
    verdict: Verdict,
    ahead: float,
    due: Due | None,
) -> tuple[str, ...]:
    against = f", limit {limit:g} mm" if np.isfinite(limit) else ", no condemning limit given"
    new = "; new contacts since then" if fresh else ""
    said = [f"{left:g} mm left on {last_on}{against}{new}."]
    if rate is None:
        more = "a second" if measurements == 1 else "another"
        said.append(f"Wear per operation is not known: it takes {more} measurement on the same set of contacts.")
        return tuple(said)
    used = sum(one.measurements for one in sets)
    said.append(
        f"Wear about {rate[1]:.3f} mm per 1,000 operations ({rate[0]:.3f} to {rate[2]:.3f}), from {used} measurements "
        f"on {len(sets)} set{'s' if len(sets) != 1 else ''} of contacts."
    )
    if reach is not None:
        said.append(f"At that wear the limit is reached {_count(reach)} operations after {last_on}.")
    if due is not None and verdict != "unclear":
        said.append(_advice(verdict, due, ahead))
        said.append(
            "Advice to the responsible engineer; no date rests on it. A decision is applied and kept with: "
            f"tapwear unit change {as_typed(due.unit)} --interval-operations N --because REASON"
        )
    return tuple(said)


def _count(reach: tuple[float, float, float]) -> str:
    low, middle, high = (f"{round(one, -3):,.0f}" if np.isfinite(one) else "without end" for one in reach)
    return f"about {middle} ({low} to {high})"


def _advice(verdict: Verdict, due: Due, ahead: float) -> str:
    interval = f"The interval of {due.interval_operations:,} operations"
    at = f"the next {due.task}, {round(ahead, -2):,.0f} operations after that measurement"
    return {
        "long": f"{interval} is long for this unit: the limit would be passed before {at}.",
        "perhaps long": f"{interval} may be long for this unit: the limit may be passed before {at}.",
        "fits": f"{interval} fits this unit: the limit lies beyond {at}, but perhaps not by a further interval.",
        "short": f"{interval} is short as far as the contacts go, and might be longer: the limit lies a whole further "
        f"interval or more beyond {at}.",
        "unclear": "",
    }[verdict]
