"""Why a job found no place, in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

# The reasons that explain a week, the plainest first: one that no planner can change goes before one that depends
# on other jobs.
ORDER = (
    "past", "release", "kit", "permit", "closed", "length", "forbidden", "no resource", "too few hours", "group",
    "resource taken", "hours taken",
)  # fmt: skip
WAITS = ("past", "release", "kit", "permit")  # these end on a day, so that the last of them is enough
SAYS_WHEN = (*WAITS, "length")  # these need no list of weeks
OTHERS = ("group", "resource taken", "hours taken")  # these depend on the other jobs


@dataclass(frozen=True)
class Stop:
    """One reason against one start week: what, and the week (index into the plan's weeks) in which it bites."""

    kind: str
    what: str
    week: int


def in_words(stopped: Sequence[Sequence[Stop]], weeks: Sequence[str], lasts: int = 1) -> str:
    """`kit is ready on 2027-09-20; station ALDER closed (autumn peak) in weeks 38-52`.

    `stopped` holds, for each start week of the year in turn, all reasons against it. Kinds that stop every one of
    them alone are named, and nothing else, since nothing else would help. Where there are none, each start week is
    explained by the first of its reasons in ORDER, so that the fewest kinds are named; of the days to wait for, by
    the last. A start that only a later one of the `lasts` weeks stops is told by how many weeks are needed.
    """
    lasting = Counter(stop.kind for stops in stopped for stop in stops if stop.kind in WAITS)
    order = [*sorted(WAITS, key=lambda kind: -lasting[kind]), *ORDER[len(WAITS) :]]
    kinds = [{order.index(stop.kind) for stop in stops} for stops in stopped]
    alone = set[int].intersection(*kinds)
    every = set[str].intersection(*({stop.what for stop in stops} for stops in stopped))
    enough = {stop.kind for stop in stopped[0] if stop.what in every}  # kinds of which one reason stops every start
    reasons: dict[tuple[int, str], set[int]] = {}
    too_long = False
    for start, stops in enumerate(stopped):
        for kind in alone or {min(kinds[start])}:
            told = [stop for stop in stops if order.index(stop.kind) == kind]
            told = [stop for stop in told if stop.kind not in enough or stop.what in every]
            for stop in told:
                reasons.setdefault((kind, stop.what), set()).add(stop.week)
            too_long |= lasts > 1 and all(stop.week > start for stop in told)
    words = [
        what if order[kind] in SAYS_WHEN else f"{what} in {_ranges(sorted(at), weeks)}"
        for (kind, what), at in sorted(reasons.items())
    ]
    return "; ".join([*words, *([f"it needs {lasts} weeks on end"] if too_long else [])])


def _ranges(at: list[int], weeks: Sequence[str]) -> str:
    runs: list[list[int]] = []
    for week in at:
        if runs and week == runs[-1][-1] + 1:
            runs[-1].append(week)
        else:
            runs.append([week])
    numbers = [[int(weeks[run[0]][-2:]), int(weeks[run[-1]][-2:])] for run in runs]
    words = [f"{first}-{last}" if first != last else f"{first}" for first, last in numbers]
    return ("week " if len(at) == 1 else "weeks ") + ", ".join(words)
