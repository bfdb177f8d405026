"""From counts and oil to the outlook: one `Due` per unit and service rule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts.dates import day_grid
from tapwear.counts.rate import RateModel
from tapwear.counts.types import CounterHistory
from tapwear.oil.types import OilVerdict
from tapwear.outlook import merge, reasons
from tapwear.outlook.merge import Floats
from tapwear.outlook.rules import MAIN_TASK, questions
from tapwear.outlook.types import HORIZON_YEARS, Clock, Driver, Due, Outlook
from tapwear.weeks import DAYS_PER_YEAR, add_years

Texts = Mapping[str, str]
DRIVERS: tuple[Driver, ...] = ("operations", "calendar", "oil")
# The oil clock never runs out later than this after its late date; our choice for a verdict without one.
CHUNK_ROWS = 2_000  # questions answered together, which bounds the memory (our choice)


@dataclass(frozen=True)
class Ground:
    """What the questions are answered from. `rate_words`: the newest change of rate by unit, "" or absent: none."""

    history: CounterHistory
    model: RateModel
    verdicts: Mapping[str, OilVerdict]
    rate_words: Texts


def build_outlook(
    units: pd.DataFrame,
    rules: pd.DataFrame,
    services: pd.DataFrame,
    events: pd.DataFrame,
    ground: Ground,
    as_of: date,
) -> Outlook:
    """The outlook of all units on `as_of`, sorted by what to act on first. Frames as in tapwear.store.book."""
    asked = questions(units, rules, services, events, as_of)
    read = _reading_facts(ground.history)
    dues: list[Due] = []
    for first in range(0, len(asked), CHUNK_ROWS):
        dues.extend(_answer(asked.iloc[first : first + CHUNK_ROWS], ground, read, as_of))
    return Outlook(as_of, tuple(sorted(dues, key=lambda due: urgency(due))))


def urgency(due: Due) -> tuple[int, date, str, str]:
    """Sorting key: severe oil, overdue, then by early date; unknown ones stand at the date they may date back to."""
    far = date.max
    if due.severe:
        return (0, due.early or far, due.unit, due.task)
    if due.known and due.overdue:
        return (1, due.middle or far, due.unit, due.task)
    return (2, (due.early if due.known else due.bounds[0] or due.as_of) or far, due.unit, due.task)


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


def _days(column: pd.Series, as_of: date) -> Floats:
    """A date column as days from as_of, NaN where not known."""
    day = column.to_numpy("datetime64[D]")
    out = (day - np.datetime64(as_of, "D")).astype(float)
    return np.where(np.isnat(day), np.nan, out)


def _series_rows(model: RateModel, unit_names: list[str]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """All (question, series) pairs: a unit with several drives is due when the first of them is."""
    rows = pd.Series(np.arange(len(model.series.unit)), index=model.series.unit)
    pairs = pd.DataFrame({"unit": unit_names, "question": np.arange(len(unit_names))}).merge(
        rows.rename("series"), left_on="unit", right_index=True, how="inner"
    )
    return pairs["question"].to_numpy(np.int64), pairs["series"].to_numpy(np.int64)


def _operations_clock(
    model: RateModel, unit_names: list[str], start: Floats, needed: Floats, grid: Floats, as_of: date
) -> Floats:
    """Chance of the interval being used up, (questions, grid); 0 where there is no such interval or start."""
    out = np.zeros((len(unit_names), len(grid)))
    question, series = _series_rows(model, unit_names)
    asked = np.isfinite(start[question]) & np.isfinite(needed[question])
    question, series = question[asked], series[asked]
    if len(question):
        begin = np.datetime64(as_of, "D") + start[question].astype(np.int64)
        crossing = model.crossing(series, begin, needed[question], grid)
        np.maximum.at(out, question, crossing.probability)
    return out


def _oil_clock(verdicts: list[OilVerdict | None], main: NDArray[np.bool_], grid: Floats, as_of: date) -> Floats:
    def days(name: str) -> Floats:
        out = np.full(len(verdicts), np.nan)
        for row, verdict in enumerate(verdicts):
            if verdict is None or not main[row] or verdict.call != "pull forward":
                continue
            day = getattr(verdict, name)
            out[row] = 0.0 if verdict.severe or day is None else max((day - as_of).days, 0)
        return out

    early, middle, late = days("open_by_early"), days("open_by_middle"), days("open_by_late")
    middle = np.maximum(middle, early)
    return np.where(grid[None, :] >= 0, merge.spread(early, middle, np.maximum(late, middle), grid), 0.0)


def _answer(asked: pd.DataFrame, ground: Ground, read: Mapping[str, _Read], as_of: date) -> list[Due]:
    model = ground.model
    names = [str(unit) for unit in asked["unit"]]
    main = (asked["task"] == MAIN_TASK).to_numpy(bool)
    start = _days(asked["last_service_on"], as_of)
    needed = asked["interval_operations"].to_numpy(float, na_value=np.nan)
    years = asked["interval_years"].to_numpy(float, na_value=np.nan)
    calendar_day = np.array(
        [
            (add_years(as_of + timedelta(days=int(s)), y) - as_of).days if np.isfinite(s) and np.isfinite(y) else np.nan
            for s, y in zip(start, years, strict=True)
        ]
    )
    grid = merge.with_days(day_grid(), calendar_day)
    verdicts = [ground.verdicts.get(name) for name in names]
    clocks = (
        _operations_clock(model, names, start, needed, grid, as_of),
        merge.certain(calendar_day, grid),
        _oil_clock(verdicts, main, grid, as_of),
    )
    merged = merge.earliest(*clocks)
    days = merge.quantile_days(merged, grid)
    without_oil = merge.quantile_days(merge.earliest(*clocks[:2]), grid)
    each = [merge.quantile_days(clock, grid) for clock in clocks]
    within = grid <= HORIZON_YEARS * DAYS_PER_YEAR
    share = merge.shares(*(clock[:, within] for clock in clocks))
    made = _operations_since(model, names, start, as_of)
    low, high = _bounds(asked, model, names, needed, years, as_of)
    rate = _rate_now(model)

    dues: list[Due] = []
    for row, item in enumerate(asked.itertuples(index=False)):
        verdict = verdicts[row]
        facts = read.get(names[row], _Read())
        has_rule = bool(np.isfinite(needed[row]) or np.isfinite(years[row]))
        oil_pulls = bool(main[row] and verdict is not None and verdict.call == "pull forward")
        known = has_rule and (bool(np.isfinite(start[row])) or oil_pulls)
        early, middle, late = (_date(day, as_of) for day in days[row])
        overdue = bool(known and np.isfinite(days[row, 1]) and days[row, 1] <= 0)
        total = float(share[:, row].sum())
        chances = {driver: float(share[at, row]) for at, driver in enumerate(DRIVERS)} if total > 0 else {}
        driver: Driver = max(chances, key=lambda key: chances[key]) if known and chances else "unknown"  # type: ignore[assignment]
        moved = _moved(days[row, 1], without_oil[row, 1]) if oil_pulls else 0
        evidence = reasons.Evidence(
            unit=names[row],
            state=str(item.state),
            task=str(item.task),
            main_task=bool(main[row]),
            as_of=as_of,
            has_rule=has_rule,
            interval_operations=_whole(needed[row]),
            last_service_on=_date(start[row], as_of),
            counts_operations=bool(np.isfinite(needed[row])),
            readings_used=facts.used,
            readings_doubtful=facts.doubtful,
            last_reading_on=facts.on,
            last_reading_doubtful=facts.doubt,
            open_end=facts.open_end,
            verdict=verdict,
            early=early if known else None,
            middle=middle if known else None,
            late=late if known else None,
            overdue=overdue,
            oil_drives=driver == "oil",
            kit=str(item.kit),
            lead_time_weeks=_number(item.lead_time_weeks),
            rate_words=ground.rate_words.get(names[row], ""),
        )
        dues.append(
            Due(
                unit=names[row],
                station=str(item.station),
                region=str(item.region),
                bank=str(item.bank),
                phase=str(item.phase),
                state=str(item.state),
                task=str(item.task),
                as_of=as_of,
                last_service_on=evidence.last_service_on,
                last_service_counter=_whole(item.last_service_counter),
                interval_operations=evidence.interval_operations,
                interval_years=_number(years[row]),
                operations_since=_number(made[row, 1]),
                operations_since_low=_number(made[row, 0]),
                operations_since_high=_number(made[row, 2]),
                operations_per_year=rate.get(names[row]),
                early=evidence.early,
                middle=evidence.middle,
                late=evidence.late,
                known=known,
                overdue=overdue,
                driver=driver,
                driver_share={key: round(value, 4) for key, value in chances.items()} if known else {},
                clocks=_clocks(each, row, evidence, as_of),
                oil_moved_days=moved,
                bounds=(None, None) if known or not has_rule else (_date(low[row], as_of), _date(high[row], as_of)),
                bounds_words="" if known or not has_rule else _bounds_words(item.commissioned_on),
                readings_used=facts.used,
                readings_doubtful=facts.doubtful,
                last_reading_on=facts.on,
                last_reading_value=facts.value,
                last_sample_on=verdict.last_sample_on if verdict else None,
                severe=bool(main[row] and verdict is not None and verdict.severe),
                doubts=reasons.doubts(evidence),
                next_action=reasons.next_action(evidence),
                duration_days=_number(item.duration_days),
                crew_hours=_number(item.crew_hours),
                kit=str(item.kit),
                lead_time_weeks=evidence.lead_time_weeks,
            )
        )
    return dues


def _date(day: float, as_of: date) -> date | None:
    """The date of a day counted from as_of; None where unknown or beyond the horizon."""
    if not np.isfinite(day) or day > HORIZON_YEARS * DAYS_PER_YEAR:
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
    other = without if np.isfinite(without) else HORIZON_YEARS * DAYS_PER_YEAR
    return max(round(min(other, HORIZON_YEARS * DAYS_PER_YEAR) - with_oil), 0)


def _operations_since(model: RateModel, names: list[str], start: Floats, as_of: date) -> Floats:
    """Operations since the last service, 10, 50 and 90 %, of the drive with the most; NaN where unknown."""
    out = np.full((len(names), 3), np.nan)
    question, series = _series_rows(model, names)
    asked = np.isfinite(start[question])
    question, series = question[asked], series[asked]
    if len(question):
        begin = np.datetime64(as_of, "D") + start[question].astype(np.int64)
        end = np.full(len(begin), np.datetime64(as_of, "D"))
        made = model.operations(series, begin, end, np.array(merge.QUANTILES))
        out[question] = -1.0
        np.maximum.at(out, question, made)
    return out


def _rate_now(model: RateModel) -> dict[str, float]:
    best = model.index.groupby("unit")["operations_per_year"].max()
    return {str(unit): float(rate) for unit, rate in best.items()}


def _bounds(
    asked: pd.DataFrame, model: RateModel, names: list[str], needed: Floats, years: Floats, as_of: date
) -> tuple[Floats, Floats]:
    """For an unknown last service: the middle date if never done since commissioning, and if done today."""
    born = _days(asked["commissioned_on"], as_of)
    grid = day_grid(60)
    out = []
    for begin in (born, np.zeros(len(born))):
        operations = _operations_clock(model, names, begin, needed, grid, as_of)
        used_up = merge.quantile_days(operations, grid, (0.5,))[:, 0]
        out.append(np.fmin(used_up, begin + years * DAYS_PER_YEAR))
    return out[0], out[1]


def _bounds_words(commissioned_on: object) -> str:
    if pd.isna(commissioned_on):  # type: ignore[call-overload]
        return "commissioning unknown too; the later date holds if it was done today"
    return "from commissioning if never done since, to the date that would hold if it were done today"


def _clocks(each: list[Floats], row: int, e: reasons.Evidence, as_of: date) -> tuple[Clock, ...]:
    words = {
        "operations": f"{e.interval_operations:,} operations" if e.interval_operations else "no interval in operations",
        "calendar": "interval in years" if np.isfinite(each[1][row, 1]) else "no interval in years",
        "oil": e.verdict.call if e.verdict and e.main_task else "not asked",
    }
    if e.last_service_on is None:
        words["operations"] = words["calendar"] = "last service unknown"
    out = []
    for at, driver in enumerate(DRIVERS):
        early, middle, late = (_date(day, as_of) for day in each[at][row])
        out.append(Clock(driver, early, middle, late, words[driver]))
    return tuple(out)
