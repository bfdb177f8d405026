"""The words of the outlook: what casts doubt on a date, and what to do next. Plain sentences from stated tests."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from tapwear.counts.current import UnitWeights
from tapwear.oil.types import OilVerdict
from tapwear.outlook.conditions import Noted
from tapwear.weeks import age_words
from tapwear.words import CONDITION_KINDS, as_typed, stop_notice

# Our choices, all of them: when an age is worth a word.
READING_OLD_DAYS = 450
SAMPLE_OLD_DAYS = 550
DOUBTFUL_SHARE, DOUBTFUL_MANY = 0.10, 0.30  # of readings some of which may be right, or of all
CURRENT_SHARE = 0.5
FEW_READINGS = 4
SOON_DAYS = 730
ORDER_AHEAD_WEEKS = 8
ROUTINE = "no action before the next routine visit"
READ_AGAIN = "read the counter again"


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one unit's date rests on, gathered for the words."""

    unit: str
    state: str
    task: str
    main_task: bool
    as_of: date
    has_rule: bool
    last_service_on: date | None
    counts_operations: bool  # the rule has an interval in operations
    readings_used: int
    readings_doubtful: int
    readings_unsettled: int  # those of them that may be right all the same
    last_reading_on: date | None
    last_reading_doubtful: str  # "" or why
    open_end: str  # "" or the second explanation of the latest reading
    verdict: OilVerdict | None
    early: date | None
    overdue: bool
    oil_drives: bool
    kit: str
    lead_time_weeks: float | None
    rate_words: str  # "" or the newest change of rate
    weight_doubt: str  # "" or what casts doubt on operations weighted by current
    like_units: str = ""  # what like units make, where the unit has no rate of its own
    asked_counts: tuple[str, ...] = ()  # what the counter leaves open since the last service, as questions
    noted: tuple[Noted, ...] = ()  # open conditions that concern this date
    stopped: bool = False  # a stop stands at the unit
    release: str = ""  # an engineer's release for work de-energised, as words
    asked_by: Noted | None = None  # the condition that drives the date


def doubts(e: Evidence) -> tuple[str, ...]:
    """What a reader should know before trusting the date, most important first."""
    said = [one.sentence for one in e.noted]
    if e.last_service_on is None and e.early is not None:
        said.append(f"last {e.task} unknown")
    if e.counts_operations:
        if e.readings_used == 0:
            said.append("no usable reading; rate taken from similar units")
        elif e.readings_used < FEW_READINGS:
            said.append(f"only {e.readings_used} usable reading{'s' if e.readings_used != 1 else ''}")
        if e.like_units:
            said.append(e.like_units)
        if e.last_reading_doubtful:
            said.append(f"last reading doubtful: {e.last_reading_doubtful}")
        elif e.open_end:
            said.append(e.open_end)
        said.extend(e.asked_counts)
        if e.last_reading_on is not None:
            age = (e.as_of - e.last_reading_on).days
            if age > READING_OLD_DAYS:
                said.append(f"last reading {age_words(age)} old")
        total = e.readings_used + e.readings_doubtful
        many = e.readings_doubtful / max(total, 1)
        if many > DOUBTFUL_MANY or (many > DOUBTFUL_SHARE and e.readings_unsettled):
            said.append(f"{e.readings_doubtful} of {total} readings doubtful")
        if e.rate_words:
            said.append(e.rate_words)
        if e.weight_doubt:
            said.append(e.weight_doubt)
    if e.main_task:
        said.extend(_oil_doubts(e))
    if e.state != "in service":
        said.append(f"{e.state}: the calendar runs on, operations do not")
    return tuple(said)


def weight_doubt(weights: UnitWeights | None, rated: bool) -> str:
    """What is missing for operations to be weighted by current; "" where nothing is, or they are not weighted."""
    if weights is None:
        return ""
    if not rated:
        return "no rated current recorded: operations not weighted by current"
    if not weights.known:
        return "no current recorded with the readings: operations not weighted by current"
    if weights.known < CURRENT_SHARE * weights.of:
        return f"current known for {weights.known} of {weights.of} spans between readings; their mean used elsewhere"
    return ""


def _oil_doubts(e: Evidence) -> list[str]:
    v = e.verdict
    if v is None or v.last_sample_on is None:
        return ["no oil sample"]
    age = (e.as_of - v.last_sample_on).days
    if v.evidence_since is not None and v.last_sample_on < v.evidence_since:
        return ["no oil sample since the last oil change or overhaul"]
    asked = [one.words for one in v.findings if one.asks_about is not None]
    return [*asked, *([f"no oil evidence since {v.last_sample_on}"] if age > SAMPLE_OLD_DAYS else [])]


def next_action(e: Evidence) -> str:
    """What to do next for this date: one thing, and the planning too where that can wait no longer."""
    v = e.verdict
    if e.release:
        return f"do not energise or operate; {e.release}"
    if e.stopped:
        return stop_notice(e.unit)
    if e.main_task and v is not None and v.call == "pull forward" and e.oil_drives:
        later = v.open_by_early is not None and v.open_by_early > e.as_of
        return f"schedule the overhaul {f'before {v.open_by_early}' if later else 'now'} (oil results)"
    if e.asked_by is not None and e.asked_by.act_by is not None:
        when = f"by {e.asked_by.act_by}" if e.asked_by.act_by > e.as_of else f"now: it was due by {e.asked_by.act_by}"
        return f"act on what was noted ({CONDITION_KINDS[e.asked_by.kind]}) {when}"
    if not e.has_rule:
        return f"give its interval: tapwear unit change {as_typed(e.unit)} --interval-operations N"
    if e.overdue:
        return f"plan the {e.task} now" if e.state == "in service" else f"do the {e.task} before it goes into service"
    if e.last_service_on is None:
        return f"find when the last {e.task} was done and log it (tapwear service {as_typed(e.unit)})"
    first = _to_look_at(e)
    pressing = e.early is not None and e.readings_used and _order_by(e, e.early) <= e.as_of
    return "; ".join(part for part in (first, _by_date(e) if pressing or not first else "") if part)


def _to_look_at(e: Evidence) -> str:
    """The sample or the reading that the date waits for; "" for none."""
    if e.main_task and e.verdict is not None and e.verdict.call == "resample":
        by = f" by {e.verdict.resample_by}" if e.verdict.resample_by else ""
        return f"take another oil sample{by}"
    if e.state != "in service" or not e.counts_operations:
        return ""
    if e.readings_used and (e.last_reading_doubtful or e.open_end):
        return READ_AGAIN
    old = e.last_reading_on is not None and (e.as_of - e.last_reading_on).days > READING_OLD_DAYS
    return "read the counter" if old or e.readings_used == 0 else ""


def _order_by(e: Evidence, early: date) -> date:
    """Last day to order the kit, or to plan where there is none to order."""
    return early - timedelta(weeks=((e.lead_time_weeks or 0.0) if e.kit else 0.0) + ORDER_AHEAD_WEEKS)


def _by_date(e: Evidence) -> str:
    if e.early is None or (e.early - e.as_of).days > SOON_DAYS:
        return ROUTINE
    plan = f"schedule outage before {e.early}" if e.early > e.as_of else "schedule outage now: it may be due already"
    if not e.kit or not e.lead_time_weeks:
        return plan
    order_by = _order_by(e, e.early)
    if order_by <= e.as_of:
        return f"order the kit ({e.kit}, {e.lead_time_weeks:g} weeks) and {plan}"
    return f"order kit by {order_by}; {plan}"
