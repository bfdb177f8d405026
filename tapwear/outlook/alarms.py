"""Alarms below a stop: what the responsible engineer has to decide today, carried in every list until it is closed.

An alarm is raised by the oil that calls for an opening or points to a failed vacuum interrupter, by what a visit saw
(low oil, unusual noise, a compartment much hotter than its tank), and by a stop at another unit of the bank. It ends
with what raised it: the follow-up that is closed, the condition that settles the heat, the work that the oil asks for,
the stop that is cleared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

from tapwear.outlook.followups import FollowUp
from tapwear.outlook.reasons import ROUTINE
from tapwear.outlook.rules import MAIN_TASK
from tapwear.outlook.signs import HOT_K, STAYS, Alarm, hot_compartment, hotter_by, low_oil, unusual_noise
from tapwear.outlook.types import Due, Outlook
from tapwear.words import FOLLOWUP_KINDS

if TYPE_CHECKING:
    from tapwear.oil.types import OilVerdict
    from tapwear.outlook.noticed import Noticed

INTERRUPTER = "vacuum acetylene"  # the kind of finding that points to a failed interrupter (tapwear.oil)
# A unit whose oil calls for opening is sampled again within so many days of its last sample, where it may be sampled:
# C57.139 asks for a confirming sample, when is our choice.
SAMPLE_AGAIN_DAYS = 14


def is_low_oil(one: FollowUp) -> bool:
    """Whether a follow-up says that the oil level is low."""
    return one.kind == "oil_level" and "low" in one.words


def alarms_of(
    verdict: OilVerdict | None, followups: Sequence[FollowUp], hot: Alarm | None, as_of: date
) -> tuple[Alarm, ...]:
    """What the engineer has to decide about one unit that is not stopped.

    followups : open ones; hot : of a compartment much hotter than its tank, as `hot_alarm` gives it
    """
    found = [_oil_alarm(verdict, as_of)] if verdict is not None and verdict.call == "pull forward" else []
    for one in followups:
        if is_low_oil(one):
            found.append(low_oil(f", seen {one.last_on}"))
        elif one.kind == "noise":
            found.append(unusual_noise(f", noted {one.last_on}"))
    return (*found, *((hot,) if hot else ()))


def _oil_alarm(verdict: OilVerdict, as_of: date) -> Alarm:
    if any(one.kind == INTERRUPTER for one in verdict.findings):
        return Alarm("Tap operations are arcing in the oil: suspect a failed vacuum interrupter", STAYS)
    early = verdict.open_by_early
    when = f"by {early}" if early is not None and early > as_of else "now"
    return Alarm(f"Oil results call for an internal inspection {when}", STAYS)


def oil_asks(verdict: OilVerdict, as_of: date) -> tuple[str, ...]:
    """What the oil of a unit asks of whoever looks at it first: the engineer's decision, oil work that is recorded
    nowhere."""
    alarm = [_oil_alarm(verdict, as_of).sentence] if verdict.call == "pull forward" else []
    return (*alarm, *(one.words for one in verdict.findings if one.asks_about is not None))


def hot_alarm(noticed: Sequence[Noticed], closed: date | None) -> Alarm | None:
    """Of the newest visit that measured both temperatures; None where the compartment is not much hotter, or where that
    was settled on that day or later."""
    by_day: dict[date, list[Noticed]] = {}
    for row in noticed:
        by_day.setdefault(row.observed_on, []).append(row)
    for on in sorted(by_day, reverse=True):
        more = hotter_by(by_day[on])
        if more is not None:
            hot = more >= HOT_K and (closed is None or on > closed)
            return hot_compartment(more, f" on {on}") if hot else None
    return None


def sample_again_by(verdict: OilVerdict, as_of: date) -> date:
    """By when a unit is sampled again whose oil calls for opening; today where that is over."""
    last = verdict.last_sample_on or as_of
    return max(last + timedelta(days=SAMPLE_AGAIN_DAYS), as_of)


def with_open_matters(
    outlook: Outlook, alarms: Mapping[str, Sequence[Alarm]], followups: Mapping[str, Sequence[FollowUp]]
) -> Outlook:
    """The outlook with alarms said at each unit's contact service, or at all its tasks where it has none, and with no
    task of a unit left to the next routine visit while something is open there.

    A stopped unit is left as it is: there is one thing to say of it. No date moves.
    """
    main = {due.unit for due in outlook.dues if due.task == MAIN_TASK}

    def told(due: Due) -> Due:
        if due.severe:
            return due
        here = due.task == MAIN_TASK or due.unit not in main
        mine = tuple(alarms.get(due.unit, ()))
        due = replace(due, bank_stop=" ".join(one.sentence for one in mine if one.of_bank)) if mine else due
        if mine and here:
            said = tuple(one.sentence for one in mine)
            first = " ".join(dict.fromkeys(one.action for one in mine))
            rest = "" if due.next_action == ROUTINE else due.next_action
            action = f"{first} {rest[:1].upper()}{rest[1:]}".strip() if rest else first
            return replace(due, alarms=said, doubts=(*said, *due.doubts), next_action=action)
        if due.next_action != ROUTINE:
            return due
        return replace(due, next_action=_open_words(due, mine, followups.get(due.unit, ())) or ROUTINE)

    return replace(outlook, dues=tuple(told(due) for due in outlook.dues))


def _open_words(due: Due, alarms: Sequence[Alarm], followups: Sequence[FollowUp]) -> str:
    """What is open at a unit and wants an answer before the next routine visit; "" for nothing."""
    if alarms:
        return " ".join(dict.fromkeys(one.action for one in alarms))
    if due.observed:
        return "refer to the engineer what visits saw"
    if due.conditions:
        return "settle the noted condition with the engineer"
    kinds = list(dict.fromkeys(FOLLOWUP_KINDS[one.kind] for one in followups))
    return f"close the open follow-up: {', '.join(kinds)}" if kinds else ""
