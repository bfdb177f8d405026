"""From counts and oil to the outlook: one `Due` per unit and service rule."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from tapwear.counts.current import Currents, UnitWeights
from tapwear.counts.dates import day_grid
from tapwear.counts.rate import RateModel
from tapwear.counts.types import CounterHistory
from tapwear.oil.types import OilVerdict
from tapwear.outlook import clocks as clocks_of
from tapwear.outlook import merge, reasons
from tapwear.outlook.conditions import Noted, governing
from tapwear.outlook.merge import Floats
from tapwear.outlook.rules import MAIN_TASK, questions
from tapwear.outlook.types import HORIZON_YEARS, Clock, Driver, Due, Outlook, Weighted
from tapwear.weeks import DAYS_PER_YEAR
from tapwear.words import CONDITION_KINDS

DRIVERS: tuple[Driver, ...] = ("operations", "calendar", "oil", "condition")
HORIZON_DAYS = HORIZON_YEARS * DAYS_PER_YEAR
CHUNK_ROWS = 2_000  # questions answered together, which bounds the memory (our choice)


@dataclass(frozen=True)
class Ground:
    """What the questions are answered from.

    rate_words : the newest change of rate by unit, "" or absent: none
    currents : what is known of the current, for rules that weigh operations by it
    conditions : open ones that people noted, by unit
    """

    history: CounterHistory
    model: RateModel
    verdicts: Mapping[str, OilVerdict]
    rate_words: Mapping[str, str]
    currents: Currents
    conditions: Mapping[str, Sequence[Noted]] = field(default_factory=dict)


def build_outlook(
    units: pd.DataFrame,
    rules: pd.DataFrame,
    services: pd.DataFrame,
    events: pd.DataFrame,
    ground: Ground,
    as_of: date,
) -> Outlook:
    """The outlook of all units on `as_of`, sorted by what to act on first. Frames as in tapwear.store.book."""
    return answer(questions(units, rules, services, events, as_of), ground, as_of)


def answer(asked: pd.DataFrame, ground: Ground, as_of: date) -> Outlook:
    """The outlook of the questions asked, as made by tapwear.outlook.rules.questions."""
    read = _reading_facts(ground.history)
    dues: list[Due] = []
    for first in range(0, len(asked), CHUNK_ROWS):
        dues.extend(_answer(asked.iloc[first : first + CHUNK_ROWS], ground, read, as_of))
    return Outlook(as_of, tuple(sorted(dues, key=lambda due: urgency(due))))


def urgency(due: Due) -> tuple[int, date, str, str]:
    """Sorting key: severe finding, overdue, then by early date. Units without a date, and those not in service, stand a
    year ahead (our choice: they cost a call or a look in the store, not an outage)."""
    far, year_ahead = date.max, due.as_of + timedelta(days=365)
    if due.state != "in service":
        return (2, max(due.early or far, year_ahead) if due.known else year_ahead, due.unit, due.task)
    if due.severe:
        return (0, due.early or far, due.unit, due.task)
    if due.known and due.overdue:
        return (1, due.middle or far, due.unit, due.task)
    return (2, (due.early if due.known else year_ahead) or far, due.unit, due.task)


@dataclass(frozen=True)
class _Read:
    used: int = 0
    doubtful: int = 0
    on: date | None = None
    value: int | None = None
    doubt: str = ""
    open_end: str = ""


def _reading_facts(history: CounterHistory) -> dict[str, _Read]:
    rows = history.readings
    rows = rows[rows["status"].isin(["used", "doubtful"])].sort_values(["unit", "read_on"], kind="stable")
    ends = dict(zip(history.open_ends["unit"], history.open_ends["words"], strict=True))
    if rows.empty:
        return {}
    used = (rows["status"] == "used").groupby(rows["unit"]).sum()
    count = rows.groupby("unit").size()
    last = rows.groupby("unit").last()
    out: dict[str, _Read] = {}
    for unit, on, value, status, reason in zip(
        last.index, last["read_on"], last["value"], last["status"], last["reason"], strict=True
    ):
        name = str(unit)
        good = int(used[unit])
        out[name] = _Read(
            used=good,
            doubtful=int(count[unit]) - good,
            on=on.date(),
            value=int(value),
            doubt=str(reason or "does not fit") if status == "doubtful" else "",
            open_end=str(ends.get(name, "")),
        )
    return out


@dataclass(frozen=True)
class _Answers:
    """Arrays over a chunk of questions; days are counted from as_of, NaN = never or not known."""

    start: Floats  # last service
    needed: Floats  # interval [operations]
    years: Floats  # interval [years]
    days: Floats  # merged, (n, 3)
    days_without_oil: Floats
    days_of_limits: Floats  # of operations and calendar alone
    noted: list[Sequence[Noted]]  # open conditions that concern the question
    days_of_clock: list[Floats]
    share: Floats  # (clocks, n)
    made: Floats  # operations since the last service, (n, 3)
    bounds: tuple[Floats, Floats]
    weights: Mapping[int, UnitWeights]  # of the questions that weigh operations by current, and so the next
    weighted: Mapping[int, Weighted]


def _answer(asked: pd.DataFrame, ground: Ground, read: Mapping[str, _Read], as_of: date) -> list[Due]:
    names = [str(unit) for unit in asked["unit"]]
    verdicts = [ground.verdicts.get(name) for name in names]
    weighing = clocks_of.Weighing(ground.currents, asked["current_exponent"].to_numpy(float))
    noted = _noted(asked, ground.conditions)
    answers = _clocks_merged(asked, names, verdicts, ground.model, as_of, weighing, noted)
    best = ground.model.index.groupby("unit")["operations_per_year"].max()
    return [
        _due(item, row, answers, verdicts[row], read.get(names[row], _Read()), ground, _number(best.get(names[row])))
        for row, item in enumerate(asked.assign(as_of=as_of).itertuples(index=False))
    ]


def _noted(asked: pd.DataFrame, conditions: Mapping[str, Sequence[Noted]]) -> list[Sequence[Noted]]:
    """The open conditions that concern each question: at the contact service, or at all tasks of a unit without it."""
    main = asked["task"] == MAIN_TASK
    concerned = main | ~asked["unit"].isin(asked.loc[main, "unit"])
    return [conditions.get(str(unit), ()) if mine else () for unit, mine in zip(asked["unit"], concerned, strict=True)]


def _clocks_merged(
    asked: pd.DataFrame,
    names: list[str],
    verdicts: list[OilVerdict | None],
    model: RateModel,
    as_of: date,
    weighing: clocks_of.Weighing,
    noted: list[Sequence[Noted]],
) -> _Answers:
    main = (asked["task"] == MAIN_TASK).to_numpy(bool)
    start = clocks_of.days(asked["last_service_on"], as_of)
    needed = asked["interval_operations"].to_numpy(float, na_value=np.nan)
    years = asked["interval_years"].to_numpy(float, na_value=np.nan)
    calendar_day = clocks_of.calendar_days(start, years, as_of)
    act_by = clocks_of.act_by_days(noted, as_of)
    base = np.unique(np.append(day_grid(ahead_years=HORIZON_YEARS), -merge.STEP))  # nothing of the oil before as_of
    days, operations = clocks_of.operations_clock(model, names, start, needed, base, as_of, weighing)
    grid = merge.with_days(days, calendar_day, act_by)
    clocks = [
        merge.onto(operations, days, grid),
        merge.certain(calendar_day, grid),
        clocks_of.oil_clock(verdicts, main, grid, as_of),
        merge.certain(act_by, grid),
    ]
    weights = clocks_of.weights_of(model, names, weighing)
    return _Answers(
        start=start,
        needed=needed,
        years=years,
        days=merge.quantile_days(merge.earliest(*clocks), grid),
        days_without_oil=merge.quantile_days(merge.earliest(*clocks[:2], clocks[3]), grid),
        days_of_limits=merge.quantile_days(merge.earliest(*clocks[:2]), grid),
        noted=noted,
        days_of_clock=[merge.quantile_days(clock, grid) for clock in clocks],
        share=merge.shares(*clocks),
        made=clocks_of.operations_since(model, names, start, as_of, weighing),
        bounds=clocks_of.bounds(asked, model, names, needed, years, as_of, weighing),
        weights=weights,
        weighted=clocks_of.weighted_and_plain(model, names, start, needed, as_of, weighing, weights),
    )


def _due(
    item: Any, row: int, a: _Answers, verdict: OilVerdict | None, read: _Read, ground: Ground, rate: float | None
) -> Due:
    as_of: date = item.as_of
    unit, task = str(item.unit), str(item.task)
    main = task == MAIN_TASK
    has_rule = bool(np.isfinite(a.needed[row]) or np.isfinite(a.years[row]))
    oil_pulls = main and verdict is not None and verdict.call == "pull forward"
    noted = a.noted[row]
    asked_by = governing(noted)
    known = (has_rule and bool(np.isfinite(a.start[row]))) or oil_pulls or asked_by is not None
    early, middle, late = (_date(day, as_of) if known else None for day in a.days[row])
    overdue = known and bool(a.days_of_limits[row, 1] <= 0)
    drivers = DRIVERS if asked_by else DRIVERS[:3]
    share: dict[str, float] = {driver: round(float(a.share[at, row]), 4) for at, driver in enumerate(drivers)}
    driver: Driver = max(drivers, key=lambda key: share[key]) if known and any(share.values()) else "unknown"
    evidence = reasons.Evidence(
        unit=unit,
        state=str(item.state),
        task=task,
        main_task=main,
        as_of=as_of,
        has_rule=has_rule,
        last_service_on=_date(a.start[row], as_of),
        counts_operations=bool(np.isfinite(a.needed[row])),
        readings_used=read.used,
        readings_doubtful=read.doubtful,
        last_reading_on=read.on,
        last_reading_doubtful=read.doubt,
        open_end=read.open_end,
        verdict=verdict,
        early=early,
        overdue=overdue,
        oil_drives=driver == "oil",
        kit=str(item.kit),
        lead_time_weeks=_number(item.lead_time_weeks),
        rate_words=ground.rate_words.get(unit, ""),
        weight_doubt=reasons.weight_doubt(a.weights.get(row), unit in ground.currents.rated),
        noted=tuple(noted),
        severe_noted=any(one.severe for one in ground.conditions.get(unit, ())),
        asked_by=asked_by if driver == "condition" else None,
    )
    unknown = has_rule and not known
    bounds = (_date(a.bounds[0][row], as_of), _date(a.bounds[1][row], as_of)) if unknown else (None, None)
    return Due(
        unit=unit,
        station=str(item.station),
        region=str(item.region),
        bank=str(item.bank),
        phase=str(item.phase),
        state=str(item.state),
        task=task,
        as_of=as_of,
        last_service_on=evidence.last_service_on,
        last_service_counter=_whole(item.last_service_counter),
        interval_operations=_whole(a.needed[row]),
        interval_years=_number(a.years[row]),
        operations_since=_number(a.made[row, 1]),
        operations_since_low=_number(a.made[row, 0]),
        operations_since_high=_number(a.made[row, 2]),
        operations_per_year=rate,
        early=early,
        middle=middle,
        late=late,
        known=known,
        overdue=overdue,
        driver=driver,
        driver_share=share if known else {},
        clocks=_clocks(a, row, evidence, as_of),
        weighted=a.weighted.get(row),
        oil_moved_days=_moved(a.days[row, 1], a.days_without_oil[row, 1]) if oil_pulls else 0,
        bounds=bounds,
        bounds_words=_bounds_words(pd.notna(item.commissioned_on), *bounds, as_of) if unknown else "",
        readings_used=read.used,
        readings_doubtful=read.doubtful,
        last_reading_on=read.on,
        last_reading_value=read.value,
        last_sample_on=verdict.last_sample_on if verdict else None,
        severe=(main and verdict is not None and verdict.severe) or any(one.severe for one in noted),
        conditions=tuple(one.sentence for one in noted),
        doubts=reasons.doubts(evidence),
        next_action=reasons.next_action(evidence),
        duration_days=_number(item.duration_days),
        crew_hours=_number(item.crew_hours),
        kit=evidence.kit,
        lead_time_weeks=evidence.lead_time_weeks,
    )


def _date(day: float, as_of: date) -> date | None:
    """The date of a day counted from as_of; None where unknown or beyond the horizon."""
    if not np.isfinite(day) or day > HORIZON_DAYS:
        return None
    return as_of + timedelta(days=round(float(day)))


def _number(value: object) -> float | None:
    number = float(value) if value is not None and value is not pd.NA else float("nan")  # type: ignore[arg-type]
    return number if np.isfinite(number) else None


def _whole(value: object) -> int | None:
    number = _number(value)
    return None if number is None else round(number)


def _moved(with_oil: float, without: float) -> int:
    """Days by which the oil brings the middle date forward; against the horizon where there is no other date."""
    other = min(without, HORIZON_DAYS) if np.isfinite(without) else HORIZON_DAYS
    return max(round(other - with_oil), 0)


def _bounds_words(commissioned: bool, low: date | None, high: date | None, as_of: date) -> str:
    """What an unknown last service leaves open, as a sentence; a date beyond the horizon reads "after YEAR"."""
    far = f"after {as_of.year + HORIZON_YEARS}"
    today = f"{high or far} if it were done today"
    if not commissioned:
        return f"{today}; commissioning unknown too"
    return f"{low or far} if never done since commissioning, {today}"


def _clocks(a: _Answers, row: int, e: reasons.Evidence, as_of: date) -> tuple[Clock, ...]:
    operations, years = _whole(a.needed[row]), _number(a.years[row])
    words = {
        "operations": f"{operations:,} operations" if operations else "no interval in operations",
        "calendar": f"{years:g} years" if years else "no interval in years",
        "oil": e.verdict.call if e.verdict and e.main_task else "not asked",
    }
    if row in a.weighted:
        words["operations"] += f", {a.weighted[row].words}"
    if e.last_service_on is None:
        words["operations"] = words["calendar"] = "last service unknown"
    out = []
    asked_by = governing(a.noted[row])
    if asked_by is not None:
        words["condition"] = f"{CONDITION_KINDS[asked_by.kind]}, noted {asked_by.noted_on}"
    for at, driver in enumerate(DRIVERS):
        if driver not in words:
            continue
        early, middle, late = (_date(day, as_of) for day in a.days_of_clock[at][row])
        out.append(Clock(driver, early, middle, late, words[driver]))
    return tuple(out)
