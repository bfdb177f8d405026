"""Contacts that stand still: whether position indicator and drag hands show that the change-over selector has moved.

The counter does not see whether the change-over (reversing) selector has moved. Drag hands on both sides of the middle
position show it, and so does an indicator seen on one side and then on the other; the middle alone does not. Contacts
that stand still coke; wiping prevents that and does not cure it, so nobody exercises such a unit before the engineer
has judged it. Linear types have no change-over selector: nothing is said of it where the register names no middle.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from tapwear.outlook.noticed import Noticed

SIGHTINGS = 3  # where no drag hands were noted, the indicator has to be seen so often; our choice
_POSITIONS = ("position", "position_low", "position_high")
_RESET = "drag_hands_reset"


@dataclass(frozen=True)
class Hands:
    """What the position indicator and the drag hands showed on one day, as numbers that order positions."""

    on: date
    at: float | None
    low: float | None
    high: float | None
    words: Mapping[str, str]
    middle: tuple[float, float] | None
    reset: bool | None = None  # after reading; None: not said

    @property
    def span(self) -> tuple[float, float] | None:
        """Lowest and highest position since the hands were reset, with the one seen; None where no hands were noted."""
        if self.low is None or self.high is None:
            return None
        seen = (self.low, self.high, *(() if self.at is None else (self.at,)))
        return min(seen), max(seen)

    @property
    def crosses(self) -> bool:
        """Whether the hands stand on both sides of the middle."""
        if self.span is None or self.middle is None:
            return False
        return self.span[0] < self.middle[0] and self.span[1] > self.middle[1]

    @property
    def said(self) -> str:
        low, high = self.words.get("position_low", ""), self.words.get("position_high", "")
        return f"at {low} only" if low == high else f"from {low} to {high}"


def hands_of(rows: Sequence[Noticed]) -> list[Hands]:
    """What indicator and drag hands of one unit showed, by day."""
    days: dict[date, dict[str, Noticed]] = {}
    for row in rows:
        if (row.quantity in _POSITIONS and row.value is not None) or row.quantity == _RESET:
            days.setdefault(row.observed_on, {})[row.quantity] = row
    found = []
    for on, seen in sorted(days.items()):
        at, low, high = (seen[name].value if name in seen else None for name in _POSITIONS)
        middle = next((row.middle for row in seen.values() if row.middle is not None), None)
        words = {name: row.words for name, row in seen.items()}
        reset = words[_RESET] == "yes" if _RESET in words else None
        found.append(Hands(on, at, low, high, words, middle, reset))
    return found


def still_words(days: Sequence[Hands], after: float, suspected: bool) -> str:
    """Why the engineer is to hear of contacts that stand still; "" where there is no reason."""
    handed = [day for day in days if day.span is not None]
    whom = (
        "the oil suggests arcing or heating: do not operate it, not even to exercise it; ask the engineer"
        if suspected
        else "contacts left stationary can coke up: ask the engineer before anybody exercises it"
    )
    if handed:
        last = handed[-1]
        fixed = _since([day for day in handed if day.on <= last.on], lambda day: _one_position(day, last))
        if fixed is not None and last.on - fixed >= timedelta(days=after):
            return f"drag hands {last.said} from {fixed} to {last.on}; {whom}"
        if last.middle is None:
            return ""
        fixed = _not_moved_since(days, last)
        if fixed is None or last.on - fixed < timedelta(days=after):
            return ""
        if last.crosses:
            return (
                f"drag hands not reset since {fixed} do not show whether the change-over selector has moved since: "
                "they are to be reset whenever they are read"
            )
        return (
            f"no change-over selector operation recorded {fixed} to {last.on}: drag hands {last.said}, never through "
            f"neutral; {whom}"
        )
    seen = [day for day in days if day.at is not None]
    if len(seen) < SIGHTINGS:
        return ""
    last = seen[-1]
    fixed = _since(seen, lambda day: day.at == last.at)
    same = [day for day in seen if fixed is not None and day.on >= fixed]
    if fixed is None or len(same) < SIGHTINGS or last.on - fixed < timedelta(days=after):
        return ""
    at = last.words["position"]
    return f"seen at {at} on {len(same)} visits in a row from {fixed} to {last.on}, drag hands not noted; {whom}"


def _one_position(day: Hands, last: Hands) -> bool:
    return day.span is not None and day.span[0] == day.span[1] and day.span == last.span


def _since(days: Sequence[Hands], holds: Callable[[Hands], bool]) -> date | None:
    """The first day of the unbroken row of days at the end of which `holds` is true."""
    found = None
    for day in reversed(days):
        if not holds(day):
            break
        found = day.on
    return found


def _not_moved_since(days: Sequence[Hands], last: Hands) -> date | None:
    """Since when the change-over selector was not seen to move up to the last drag hands: since the day on which a
    movement showed, else since the first drag hands of all; None where the last ones show a movement."""
    assert last.middle is not None  # noqa: S101 - asked only then
    below, above = last.middle
    handed = [day for day in days if day.span is not None]
    moved = _movements(handed)
    sides = [(day.on, (day.at > above) - (day.at < below)) for day in days if day.at is not None]
    apart = [(on, side) for on, side in sides if side]
    moved += [on for (_, before), (on, side) in pairwise(apart) if side != before]
    if moved:
        return None if max(moved) >= last.on else max(moved)
    return handed[0].on


def _movements(handed: Sequence[Hands]) -> list[date]:
    """The days on which drag hands showed a movement through the middle. Hands that were not reset still show the one
    of before; where nobody said whether they were, hands that stand where they stood count as not reset."""
    moved: list[date] = []
    before: Hands | None = None
    for day in handed:
        if day.crosses:
            moved.append(moved[-1] if before is not None and _left_standing(before, day) else day.on)
        before = day
    return moved


def _left_standing(before: Hands, day: Hands) -> bool:
    return before.crosses and (before.reset is False or (before.reset is None and before.span == day.span))
