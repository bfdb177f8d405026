"""A due date in words: the sentences that the table, the page about one unit and the data files share."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from tapwear.outlook.types import Clock, Due, horizon
from tapwear.weeks import age_words
from tapwear.words import limits_words, stop_notice

# From which chance on one clock is said to drive the date alone, or mostly. Our choice.
ALONE, MOSTLY = 0.95, 0.65
STOPPED = "stopped"


def after_words(as_of: date) -> str:
    """`after 2041`: how a date beyond the horizon is said."""
    return f"after {horizon(as_of).year}"


def told_day(day: date | None, due: Due) -> date | None:
    """A due day as it is told: of a unit whose stop stands none that is still to come, for the engineer decides now."""
    return None if due.must_stop and day is not None and day > due.as_of else day


def day_words(day: date | None, due: Due) -> str:
    """A due day as it stands in a column: an ISO date, `after 2041`, `unknown` or `stopped`."""
    if due.must_stop and (not due.known or told_day(day, due) is None):
        return STOPPED
    if not due.known:
        return "unknown"
    return day.isoformat() if day else after_words(due.as_of)


def clock_days(clock: Clock, as_of: date, none: str) -> list[str]:
    """The three days of a clock, or three times `none` where it has none at all."""
    days = (clock.early, clock.middle, clock.late)
    return [day.isoformat() if day else after_words(as_of) for day in days] if any(days) else [none] * 3


def count_words(number: float | None) -> str:
    """`61,200`: operations as a reader can hold them, three figures at least; `unknown` for None."""
    if number is None:
        return "unknown"
    step = 100 if abs(number) >= 10_000 else 10 if abs(number) >= 1_000 else 1
    return f"{round(number / step) * step:,.0f}"


def operations_words(due: Due) -> str:
    """`61,200 of 68,500`: operations since the last service against the interval; `interval 68,500` if unknown."""
    if due.operations_since is None and due.interval_operations is not None:
        return f"interval {due.interval_operations:,}"
    if due.interval_operations is None:
        return count_words(due.operations_since) + (", years only" if due.interval_years else ", no interval")
    return f"{count_words(due.operations_since)} of {due.interval_operations:,}"


def interval_words(due: Due) -> str:
    """`68,500 operations or 7 years, whichever comes first`."""
    limits = limits_words(due.interval_operations, due.interval_years)
    return (limits or "no interval is recorded") + (", whichever comes first" if " or " in limits else "")


def place_words(due: Due) -> str:
    """`BRK, T1, phase A`: where the unit stands."""
    parts = [due.station or "no station", due.bank, f"phase {due.phase}" if due.phase else ""]
    return ", ".join(part for part in parts if part)


def service_words(due: Due) -> str:
    """`2019-03-12 at 104,233`: the last service and what its counter showed, or `unknown`."""
    if due.last_service_on is None:
        return "unknown"
    counter = "" if due.last_service_counter is None else f" at {due.last_service_counter:,}"
    return due.last_service_on.isoformat() + counter


def reading_words(due: Due) -> str:
    """`14 months ago`: the age of the last usable reading, or `no usable reading`."""
    if due.last_reading_on is None:
        return "no usable reading"
    age = age_words((due.as_of - due.last_reading_on).days)
    return age if age == "today" else f"{age} ago"


def moved_words(due: Due) -> str:
    """How far the oil brings the middle date forward, as a sentence; "" where it does not, or nothing else dates it."""
    if due.oil_moved_days <= 0:
        return ""
    others = [clock.middle for clock in due.clocks if clock.driver != "oil" and clock.middle is not None]
    by = f"by {due.oil_moved_days:,} days" if others else f"from {after_words(due.as_of)}"
    return f"The oil brings the middle date forward {by}."


def driver_words(due: Due) -> str:
    """`mostly operations`: which clock runs out first, and how sure that is."""
    if due.driver == "unknown":
        return "nothing by then" if due.known else "unknown"
    together = sum(due.driver_share.values())  # less than 1 where it may be that none runs out by the horizon
    share = due.driver_share[due.driver] / together if due.driver in due.driver_share and together else 1.0
    if share >= ALONE:
        return due.driver
    if share >= MOSTLY:
        return f"mostly {due.driver}"
    others = sorted((chance, name) for name, chance in due.driver_share.items() if name != due.driver)
    return f"{due.driver} or {others[-1][1]}" if others and others[-1][0] > 0 else due.driver


def chance_words(chance: float) -> str:
    """`8 in 10`: a chance as people say it; `almost sure` above 19 in 20, `unlikely` below 1 in 20."""
    if chance > 0.95:
        return "almost sure"
    if chance < 0.05:
        return "unlikely"
    return f"{min(max(round(chance * 10), 1), 9)} in 10"


def status_words(due: Due) -> str:
    """What a scheduler must know about the date beyond its figures: overdue, unknown, or nothing ("")."""
    if not due.known:
        return "" if due.must_stop else unknown_words(due)
    if due.overdue and due.middle is not None:
        if due.early == due.late:
            return f"Overdue since {due.middle.isoformat()}."
        since = f"Overdue since about {due.middle:%B %Y}"
        if due.early is not None and due.late is not None and due.late <= due.as_of:
            return f"{since}: passed between {due.early.isoformat()} and {due.late.isoformat()}."
        return f"{since}."
    if due.driver == "oil" and due.middle is not None and due.middle <= due.as_of:
        return "Oil results call for an internal inspection now."
    if due.early is not None and due.early <= due.as_of and due.driver == "condition":
        return "The act-by day of a noted condition has come."
    if due.early is not None and due.early <= due.as_of:
        return "Oil results may already call for it." if due.driver == "oil" else "May already have passed its limit."
    return ""


def unknown_words(due: Due) -> str:
    """`Due date unknown.`, with what bounds it."""
    return " ".join(["Due date unknown.", *(sentence(words) for words in due.bounds_words.split("; ") if words)])


def next_words(due: Due) -> str:
    """What to do next. A stop leaves one thing to do, and it is not a visit."""
    return stop_notice(due.unit) if due.must_stop else due.next_action.strip()


def action_words(dues: Sequence[Due]) -> list[str]:
    """`Contact service: schedule outage before 2026-09-14.`: what to do next, each action once with its tasks."""
    tasks: dict[str, list[str]] = {}
    for due in dues:
        if words := next_words(due):
            tasks.setdefault(words, []).append(due.task)
    return [f"{', '.join(names)}: {sentence(words)[:1].lower()}{sentence(words)[1:]}" for words, names in tasks.items()]


def doubt_words(due: Due) -> str:
    """All doubts as sentences, one after the other."""
    return " ".join(sentence(doubt) for doubt in due.doubts if doubt.strip())


def remark_words(due: Due) -> str:
    """What is said of the date, then all doubts, as sentences; what an alarm says too is said once."""
    status, doubts = status_words(due), doubt_words(due)
    return doubts if status in doubts else f"{status} {doubts}".rstrip()


def sentence(words: str) -> str:
    """The words with a capital at the beginning and a full stop at the end."""
    words = words.strip()
    return (words[:1].upper() + words[1:]).rstrip(".") + "." if words else ""
