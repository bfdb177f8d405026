"""From counts and oil to the outlook: one `Due` per unit and service rule."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import lru_cache
from itertools import product
from typing import NamedTuple

import numpy as np
import pandas as pd

from tapwear.counts.alternatives import Alternative
from tapwear.counts.current import Currents
from tapwear.counts.rate import RateModel
from tapwear.counts.types import CounterHistory
from tapwear.oil.types import OilVerdict
from tapwear.outlook import clocks as clocks_of
from tapwear.outlook import reasons
from tapwear.outlook.answers import Answers, Chunk, Dates, answers_of, numbers
from tapwear.outlook.conditions import Noted
from tapwear.outlook.rules import MAIN_TASK, questions
from tapwear.outlook.stops import Stop
from tapwear.outlook.types import Clock, Driver, Due, Outlook, horizon
from tapwear.words import CONDITION_KINDS, years_words

DRIVERS: tuple[Driver, ...] = ("operations", "calendar", "oil", "condition")
SETTLED = 0.2  # a doubtful reading less likely right than this is a slip like any other (our choice)
ASKED_SHARE = 0.05  # what moves the operations since the last service by less than this is not asked (our choice)
ASKED_CHANCE = 0.05  # nor what is less likely than this (our choice)
CHUNK_ROWS = 2_000  # questions answered together, which bounds the memory (our choice)



@dataclass(frozen=True)
class Ground:
    """What the questions are answered from.

    rate_words : the newest change of rate by unit, "" or absent: none
    currents : what is known of the current, for rules that weigh operations by it
    conditions : open ones that people noted, by unit
    stops : what stands, by unit
    """

    history: CounterHistory
    model: RateModel
    verdicts: Mapping[str, OilVerdict]
    rate_words: Mapping[str, str]
    currents: Currents
    conditions: Mapping[str, Sequence[Noted]] = field(default_factory=dict)
    stops: Mapping[str, Stop] = field(default_factory=dict)


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
    rate = ground.model.index.groupby("unit")["operations_per_year"].max()
    rates = dict(zip(rate.index.tolist(), rate.tolist(), strict=True))
    counts = clocks_of.asked_of(asked, ground.model, ground.currents, as_of)
    left_open = _left_open(ground)
    noted = _noted(asked, ground.conditions)
    verdicts = [ground.verdicts.get(unit) for unit in asked["unit"]]
    pull = [verdict is not None and verdict.call == "pull forward" for verdict in verdicts]
    pulls = (asked["task"] == MAIN_TASK).to_numpy(bool) & np.array(pull, bool)
    shared = _Shared()
    dues: list[Due] = []
    for oil, counted in product((True, False), (True, False)):
        alike = np.flatnonzero((pulls == oil) & (counts.counted == counted))
        for first in range(0, len(alike), CHUNK_ROWS):
            rows = alike[first : first + CHUNK_ROWS]
            mine, open_ones = [verdicts[row] for row in rows], [noted[row] for row in rows]
            chunk = Chunk(asked.iloc[rows], counts.part(rows), mine, open_ones, oil, counted, as_of)
            dues.extend(_answer(chunk, ground, read, rates, left_open, shared))
    return Outlook(as_of, tuple(sorted(dues, key=urgency)))


def urgency(due: Due) -> tuple[int, date, str, str]:
    """Sorting key: a stop, an alarm for the engineer, overdue, then by early date. Units without a date, and those not
    in service, stand a year ahead (our choice: they cost a call or a look in the store, not an outage)."""
    far, year_ahead = date.max, due.as_of + timedelta(days=365)
    if due.severe:
        return (0, due.early or far, due.unit, due.task)
    if due.state != "in service":
        return (3, max(due.early or far, year_ahead) if due.known else year_ahead, due.unit, due.task)
    if due.alarms:
        return (1, due.early or far, due.unit, due.task)
    if due.known and due.overdue:
        return (2, due.middle or far, due.unit, due.task)
    return (3, (due.early if due.known else year_ahead) or far, due.unit, due.task)


@dataclass(frozen=True)
class _Read:
    used: int = 0
    doubtful: int = 0
    unsettled: int = 0
    on: date | None = None
    value: int | None = None
    doubt: str = ""
    open_end: str = ""


_UNREAD = _Read()


def _reading_facts(history: CounterHistory) -> dict[str, _Read]:
    rows = history.readings
    used, doubtful = (rows["status"] == "used").to_numpy(bool), (rows["status"] == "doubtful").to_numpy(bool)
    rows, doubtful = rows[used | doubtful], doubtful[used | doubtful]
    unit, names = pd.factorize(rows["unit"])
    day = rows["read_on"].to_numpy("datetime64[D]")
    newest = np.full(len(names), np.datetime64("0001-01-01"))
    np.maximum.at(newest, unit, day)
    on_newest = np.flatnonzero(day == newest[unit])
    last = np.zeros(len(names), np.int64)
    np.maximum.at(last, unit[on_newest], on_newest)
    count = np.bincount(unit, minlength=len(names)).tolist()
    bad = np.bincount(unit, doubtful, minlength=len(names)).astype(int).tolist()
    open_still = doubtful & ~(rows["probability"].to_numpy(float) < SETTLED)
    unsettled = np.bincount(unit, open_still, minlength=len(names)).astype(int).tolist()
    ends = dict(zip(history.open_ends["unit"], history.open_ends["words"], strict=True))
    told = rows.iloc[last]
    lists = (day[last].tolist(), told["value"].tolist(), doubtful[last].tolist(), told["reason"].tolist())
    return {
        str(name): _Read(
            used=all_of_it - unsure,
            doubtful=unsure,
            unsettled=still,
            on=on,
            value=int(value),
            doubt=str(reason or "does not fit") if doubted else "",
            open_end=str(ends.get(name, "")),
        )
        for name, all_of_it, unsure, still, on, value, doubted, reason in zip(
            names, count, bad, unsettled, *lists, strict=True
        )
    }


class _Item(NamedTuple):
    """What a question carries into its answer."""

    unit: str
    station: str
    region: str
    bank: str
    phase: str
    state: str
    task: str
    kit: str
    duration_days: float | None
    crew_hours: float | None
    lead_time_weeks: float | None
    last_service_counter: float | None
    commissioned: bool


class _Shared:
    """Parts that are alike in many dues, each kept once."""

    def __init__(self) -> None:
        self._shares: dict[tuple[float, ...], dict[str, float]] = {}
        self._clocks: dict[tuple[object, ...], Clock] = {}

    def shares(self, share: dict[str, float]) -> dict[str, float]:
        return self._shares.setdefault(tuple(share.values()), share)

    def clock(self, driver: Driver, dates: Dates, words: str) -> Clock:
        early, middle, late = dates
        key = (driver, early, middle, late, words)
        return self._clocks.get(key) or self._clocks.setdefault(key, Clock(*key))


def _answer(
    chunk: Chunk,
    ground: Ground,
    read: Mapping[str, _Read],
    rates: Mapping[str, float],
    left_open: Mapping[str, Sequence[Alternative]],
    shared: _Shared,
) -> list[Due]:
    a = answers_of(chunk)
    return [
        _due(
            item, row, a, chunk, read.get(item.unit, _UNREAD), ground, rates.get(item.unit),
            left_open.get(item.unit, ()), shared,
        )
        for row, item in enumerate(_items(chunk.asked))
    ]  # fmt: skip


def _left_open(ground: Ground) -> dict[str, list[Alternative]]:
    """What the counters of each unit leave open about the past, besides their latest reading."""
    latest = set(ground.history.open_ends["words"])
    out: dict[str, list[Alternative]] = {}
    for one in ground.model.alternatives.rows:
        if one.words not in latest:
            out.setdefault(str(ground.model.series.unit[one.row]), []).append(one)
    return out


def _questions(left_open: Sequence[Alternative], since: date | None, made: float | None) -> tuple[str, ...]:
    """Of what is left open, that which matters for the operations since the last service."""
    if not left_open:
        return ()
    start = -np.inf if since is None else float((np.datetime64(since, "D")).astype(int))
    return tuple(
        one.words
        for one in left_open
        if one.end > start
        and one.chance >= ASKED_CHANCE
        and (one.factor != 1.0 or abs(one.extra) >= ASKED_SHARE * (made or 0.0))
    )


def _items(asked: pd.DataFrame) -> Iterator[_Item]:
    words = [map(str, asked[name].to_numpy(object).tolist()) for name in _Item._fields[:8]]
    values = [numbers(asked[name].to_numpy(float, na_value=np.nan)) for name in _Item._fields[8:12]]
    return map(_Item._make, zip(*words, *values, asked["commissioned_on"].notna().tolist(), strict=True))


def _noted(asked: pd.DataFrame, conditions: Mapping[str, Sequence[Noted]]) -> list[Sequence[Noted]]:
    """The open conditions that concern each question: at the contact service, or at all tasks of a unit without it."""
    main = asked["task"] == MAIN_TASK
    concerned = main | ~asked["unit"].isin(asked.loc[main, "unit"])
    return [conditions.get(str(unit), ()) if mine else () for unit, mine in zip(asked["unit"], concerned, strict=True)]


def _due(
    item: _Item,
    row: int,
    a: Answers,
    chunk: Chunk,
    read: _Read,
    ground: Ground,
    rate: float | None,
    left_open: Sequence[Alternative],
    shared: _Shared,
) -> Due:
    as_of, unit, task, verdict, noted = chunk.as_of, item.unit, item.task, chunk.verdicts[row], chunk.noted[row]
    main, known, overdue, asked_by = task == MAIN_TASK, a.known[row], a.overdue[row], a.asked_by[row]
    early, middle, late = a.dates[row]
    drivers = DRIVERS if asked_by else DRIVERS[:3]
    share: dict[str, float] = {driver: round(chance, 4) for driver, chance in zip(drivers, a.share[row], strict=False)}
    driver: Driver = max(drivers, key=share.__getitem__) if known and any(share.values()) else "unknown"
    stop = ground.stops.get(unit)
    evidence = reasons.Evidence(
        unit=unit,
        state=item.state,
        task=task,
        main_task=main,
        as_of=as_of,
        has_rule=a.has_rule[row],
        last_service_on=a.last_service[row],
        counts_operations=a.needed[row] is not None,
        readings_used=read.used,
        readings_doubtful=read.doubtful,
        readings_unsettled=read.unsettled,
        last_reading_on=read.on,
        last_reading_doubtful=read.doubt,
        open_end=read.open_end,
        verdict=verdict,
        early=early,
        overdue=overdue,
        oil_drives=driver == "oil",
        kit=item.kit,
        lead_time_weeks=item.lead_time_weeks,
        rate_words=ground.rate_words.get(unit, ""),
        like_units=ground.model.range_words(unit) if read.used == 1 and unit in ground.model.governing() else "",
        asked_counts=_questions(left_open, a.last_service[row], a.made[row][1]),
        weight_doubt=reasons.weight_doubt(a.weights.get(row), unit in ground.currents.rated),
        noted=tuple(noted),
        stopped=stop is not None,
        release=stop.release if stop else "",
        asked_by=asked_by if driver == "condition" else None,
    )
    unknown = a.has_rule[row] and not known
    bounds = (a.bounds[0][row], a.bounds[1][row]) if unknown else (None, None)
    made = a.made[row]
    return Due(
        unit=unit,
        station=item.station,
        region=item.region,
        bank=item.bank,
        phase=item.phase,
        state=item.state,
        task=task,
        as_of=as_of,
        last_service_on=evidence.last_service_on,
        last_service_counter=_whole(item.last_service_counter),
        interval_operations=a.needed[row],
        interval_years=a.years[row],
        operations_since=made[1],
        operations_since_low=made[0],
        operations_since_high=made[2],
        operations_per_year=rate,
        early=early,
        middle=middle,
        late=late,
        known=known,
        overdue=overdue,
        driver=driver,
        driver_share=shared.shares(share) if known else {},
        clocks=_clocks(a, row, evidence, shared),
        weighted=a.weighted.get(row),
        oil_moved_days=a.moved[row],
        bounds=bounds,
        bounds_words=_bounds_words(item.commissioned, *bounds, as_of) if unknown else "",
        readings_used=read.used,
        readings_doubtful=read.doubtful,
        last_reading_on=read.on,
        last_reading_value=read.value,
        last_sample_on=verdict.last_sample_on if verdict else None,
        severe=stop is not None,
        stop_since=stop.since if stop else None,
        stop_words=stop.evidence if stop else (),
        release=evidence.release,
        work_from=stop.work_from if stop else None,
        conditions=tuple(one.sentence for one in noted),
        oil_findings=_oil_findings(verdict) if main else (),
        doubts=reasons.doubts(evidence),
        next_action=reasons.next_action(evidence),
        duration_days=item.duration_days,
        crew_hours=item.crew_hours,
        kit=item.kit,
        lead_time_weeks=item.lead_time_weeks,
    )


def _oil_findings(verdict: OilVerdict | None) -> tuple[str, ...]:
    """What the oil shows where it calls for something; what to do about a severe finding is said elsewhere."""
    if verdict is None or not (verdict.severe or verdict.call in ("pull forward", "resample")):
        return ()
    return tuple(finding.words for finding in verdict.findings if finding.kind != "severe")


def _whole(number: float | None) -> int | None:
    return None if number is None else round(number)


def _bounds_words(commissioned: bool, low: date | None, high: date | None, as_of: date) -> str:
    """What an unknown last service leaves open, semicolons between; a date beyond the horizon reads "after YEAR"."""
    far = f"after {horizon(as_of).year}"
    today = f"if serviced today: next due {high or far}"
    if not commissioned:
        return f"{today}; commissioning unknown too"
    since = f"overdue since {low}" if low is not None and low <= as_of else f"due {low or far}"
    return f"if never serviced: {since}; {today}"


@lru_cache(maxsize=64)
def _interval_words(operations: int | None, years: float | None) -> tuple[str, str]:
    return (
        f"{operations:,} operations" if operations else "no interval in operations",
        years_words(years) if years else "no interval in years",
    )


def _clocks(a: Answers, row: int, e: reasons.Evidence, shared: _Shared) -> tuple[Clock, ...]:
    asked_by = a.asked_by[row]
    operations, years = _interval_words(a.needed[row], a.years[row])
    words: dict[Driver, str] = {
        "operations": operations,
        "calendar": years,
        "oil": e.verdict.call if e.verdict and e.main_task else "not asked",
    }
    if row in a.weighted:
        words["operations"] += f", {a.weighted[row].words}"
    if e.last_service_on is None:
        words["operations"] = words["calendar"] = "last service unknown"
    if asked_by is not None:
        words["condition"] = f"{CONDITION_KINDS[asked_by.kind]}, noted {asked_by.noted_on}"
    return tuple(
        shared.clock(driver, dates[row], words[driver])
        for driver, dates in zip(DRIVERS, a.of_clock, strict=True)
        if driver in words
    )
