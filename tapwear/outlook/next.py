"""What to look at next: per unit, the reading or sample that is overdue or would tell most about its date.

The worth of a reading is the width of the merged range, early to late, now and if the counter is read on a day and
shows what is expected (tapwear.counts.reread). The worth of a sample is what the date does if it shows the same as the
last one: samples are on the list because the oil asks for them or because they are overdue. Units with an alarm come
first, whatever a visit would tell. Stopped units are left out: they go to the engineer. Nobody is sent to the others of
their bank.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import pandas as pd

from tapwear.oil.types import OilVerdict
from tapwear.outlook.reasons import READ_AGAIN
from tapwear.outlook.rules import MAIN_TASK
from tapwear.outlook.types import Due, Outlook, horizon
from tapwear.weeks import DAYS_PER_YEAR, age_words, cadence_days, two_ages

# Our choices.
OVERDUE_TIMES = 1.5  # a reading is overdue when it is this many times its usual interval old
WORTH_DAYS = 7  # a narrowing of fewer days is not worth a visit
NEAR_YEARS = 3.0  # dates that begin later than this after the deadline are not worth a visit yet
UNSAID_CADENCE_DAYS = 365.0  # where nobody says how often a unit is visited, and its readings do not tell
LATE_GAPS = 8  # the usual interval between readings is the median of this many newest ones


@dataclass(frozen=True)
class SampleWanted:
    """A sample that the oil or a visit rule asks for. why : alarm, flagged, baseline, routine, first or rule.

    moves_days : by how much the early date comes forward if it shows the same as the last one; None: there is none
    """

    by: date
    why: str
    words: str
    moves_days: int | None = None


@dataclass(frozen=True)
class Look:
    """One unit worth a visit before the deadline, and what to do there.

    task, early, late : of the date that would be narrowed; None where the unit has no date
    width_days, width_after_days : early to late now, and with a reading on the day asked for; None where there is no
        date, or where a reading does not set it; the second, too, where none is there yet
    narrows_days : the difference, not below 0
    reading, sample : why the counter is to be read and the oil sampled, as sentences' beginnings; "" : no need
    sample_moves_days : by how much the early date comes forward if the sample shows the same as the last one; None: not
        known
    by : the day before which to look
    sample_needs_outage : its compartments can be sampled only in an outage
    alarms : what the engineer has to decide today, as sentences
    """

    unit: str
    station: str
    region: str
    bank: str
    task: str
    early: date | None
    late: date | None
    width_days: int | None
    width_after_days: int | None
    narrows_days: int
    last_reading_on: date | None
    reading_overdue: bool
    reading: str
    sample: str
    sample_by: date | None
    sample_moves_days: int | None
    by: date
    sample_needs_outage: bool
    alarms: tuple[str, ...] = ()


@dataclass(frozen=True)
class Stopped:
    """A unit that nobody is to visit: what stands first in its row, and where it stands."""

    stop: str
    unit: str
    station: str
    region: str
    bank: str


@dataclass(frozen=True)
class Round:
    """The units to look at: those with an alarm, then station by station with the most to gain first; stopped units,
    those released for work too, are not among them."""

    as_of: date
    read_on: date
    looks: tuple[Look, ...]
    stopped: tuple[Stopped, ...] = ()

    @property
    def severe(self) -> tuple[str, ...]:
        """The tags of the stopped units."""
        return tuple(one.unit for one in self.stopped)

    @property
    def stations(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(look.station for look in self.looks if not look.alarms))


def next_round(
    now: Outlook,
    if_read: Outlook,
    verdicts: Mapping[str, OilVerdict],
    usual_days: Mapping[str, float],
    samples: Mapping[str, SampleWanted],
    needs_outage: Collection[str],
    *,
    read_by: Mapping[str, tuple[date, float]] | None = None,
    everything: bool = False,
) -> Round:
    """Who to look at before the deadline `if_read.as_of`.

    now : the outlook of today; if_read : the one with every counter read on the deadline, see outlook_if_read
    usual_days : days between readings of each unit, from usual_intervals
    read_by : by when a visit rule wants the counter read, and every how many days; it goes before what is usual
    samples : wanted samples by unit; needs_outage : units whose compartments can only be sampled in an outage
    everything : units of which neither a reading nor a sample is worth a visit too
    """
    after = {(due.unit, due.task): due for due in if_read.dues}
    by_unit: dict[str, list[Due]] = {}
    for due in now.dues:
        by_unit.setdefault(due.unit, []).append(due)
    severe = (due for due in now.dues if due.severe)
    stopped = {due.unit: Stopped(due.stop, due.unit, due.station, due.region, due.bank) for due in severe}
    looks = []
    for unit, dues in by_unit.items():
        if unit in stopped or dues[0].state != "in service":
            continue
        verdict = verdicts.get(unit)
        look = _look(
            _governing(dues),
            after,
            verdict is not None and verdict.call == "pull forward",
            usual_days.get(unit, UNSAID_CADENCE_DAYS),
            (read_by or {}).get(unit),
            samples.get(unit),
            unit in needs_outage,
            if_read.as_of,
        )
        look = replace(look, alarms=tuple(dict.fromkeys(words for due in dues for words in due.alarms)))
        if any(due.bank_stop for due in dues):
            look = replace(look, reading="", sample="", sample_by=None, sample_moves_days=None)
        if everything or look.reading or look.sample or look.alarms:
            looks.append(look)
    worth: dict[str, int] = {}
    for look in looks:
        worth[look.station] = worth.get(look.station, 0) + look.narrows_days
    looks.sort(key=lambda look: (-worth[look.station], look.station, -look.narrows_days, look.by, look.unit))
    looks.sort(key=lambda look: not look.alarms)
    return Round(now.as_of, if_read.as_of, tuple(looks), tuple(stopped[tag] for tag in sorted(stopped)))


def _governing(dues: list[Due]) -> Due:
    """The due whose date a plan would rest on: the earliest that opens the unit, else its contact service."""
    dated = [due for due in dues if due.known and due.early is not None and due.task != "inspection"]
    if dated:
        return min(dated, key=lambda due: (due.early or date.max, due.task))
    return min(dues, key=lambda due: (due.task != MAIN_TASK, due.task))


def _look(
    due: Due,
    after: Mapping[tuple[str, str], Due],
    oil_sets: bool,
    usual: float,
    rule: tuple[date, float] | None,
    sample: SampleWanted | None,
    needs_outage: bool,
    deadline: date,
) -> Look:
    as_of = due.as_of
    then = after.get((due.unit, due.task))
    end = horizon(as_of)
    width = None if oil_sets or not due.known or due.early is None else _width(due, end)
    unread = due.interval_operations is not None and due.readings_used == 0  # what a first one would tell is not known
    told = None if unread or then is None or then.early is None else then
    width_after = None if width is None or told is None else min(_width(told, end), width)
    narrows = 0 if width is None or width_after is None else width - width_after
    near = due.early is not None and due.early <= deadline + timedelta(days=round(NEAR_YEARS * DAYS_PER_YEAR))
    age = (as_of - due.last_reading_on).days if due.last_reading_on else None
    overdue = rule[0] <= as_of if rule else age is not None and age > OVERDUE_TIMES * usual
    asked = _rule_words(age, rule[1]) if rule and rule[0] <= deadline else ""
    reading = _reading_words(due) or asked or ("" if rule else _usual_words(age, overdue, usual))
    if not reading and narrows >= WORTH_DAYS and near:
        reading = f"the range of its date would narrow by {narrows} days"
    days = [rule[0]] if rule and asked else []
    days += [due.early] if due.early and reading else []
    last = min([deadline, *days, *([sample.by] if sample else [])])
    return Look(
        unit=due.unit,
        station=due.station,
        region=due.region,
        bank=due.bank,
        task=due.task,
        early=due.early,
        late=due.late,
        width_days=width,
        width_after_days=width_after,
        narrows_days=narrows,
        last_reading_on=due.last_reading_on,
        reading_overdue=overdue,
        reading=reading,
        sample=sample.words if sample else "",
        sample_by=sample.by if sample else None,
        sample_moves_days=sample.moves_days if sample else None,
        by=max(last, as_of),
        sample_needs_outage=needs_outage and sample is not None,
    )


def _width(due: Due, end: date) -> int:
    """Days from early to late; a date beyond the horizon counts as the horizon's end."""
    early = min(due.early or end, end)
    return max((min(due.late or end, end) - early).days, 0)


def _reading_words(due: Due) -> str:
    """Why the counter is to be read whatever it does to the date; "" where nothing asks for it."""
    if due.interval_operations is not None and due.readings_used == 0:
        return "no usable reading yet"
    again = [doubt for doubt in due.doubts if doubt.startswith("last reading doubtful")]
    if again:
        return again[0]
    if due.next_action.startswith(READ_AGAIN):
        return "the last reading can be understood in two ways"
    return ""


def _usual_words(age: int | None, overdue: bool, usual: float) -> str:
    return f"last read {age_words(age)} ago, usually every {age_words(round(usual))}" if overdue and age else ""


def _rule_words(age: int | None, every: float) -> str:
    if age is None:
        return f"no usable reading yet; the visit rule says every {age_words(round(every))}"
    old, rule = two_ages(age, round(every))
    return f"last read {old} ago; the visit rule says every {rule}"


def usual_intervals(units: pd.DataFrame, readings: pd.DataFrame) -> dict[str, float]:
    """How many days usually lie between two readings of each unit.

    units : unit, visit_cadence (words such as `quarterly` or `every 3 months`); readings : unit, read_on, of any state.
    What is written down counts; else the median of the newest intervals; else a unit is not in the answer.
    """
    days = readings[["unit", "read_on"]].drop_duplicates().sort_values(["unit", "read_on"])
    gap = days.groupby("unit")["read_on"].diff().dt.days
    late = days.assign(gap=gap).dropna(subset=["gap"]).groupby("unit").tail(LATE_GAPS)
    found = {str(unit): float(value) for unit, value in late.groupby("unit")["gap"].median().items()}
    for unit, words in zip(units["unit"], units["visit_cadence"], strict=True):
        said = cadence_days(str(words or ""))
        if said is not None:
            found[str(unit)] = said
    return found
