"""The monthly sheet: what is new about a fleet between two days, from two assessments of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from tapwear.oil.types import OilVerdict
from tapwear.outlook.conditions import Noted
from tapwear.outlook.followups import FollowUp
from tapwear.outlook.next import SampleWanted
from tapwear.outlook.noticed import as_day
from tapwear.outlook.stops import Stop, contradiction_words
from tapwear.outlook.track import Moved, Told, compare
from tapwear.words import OIL_CALLS

Open = tuple[Mapping[str, Sequence[Noted]], Mapping[str, Sequence[Noted]]]


@dataclass(frozen=True)
class Changes:
    """What is new. Sentences, each beginning with a unit's tag; dates and samples as they come.

    dates : every due then and now
    severe : units with a severe finding
    work, readings, oil : work done, readings that became doubtful, what the oil newly shows
    samples : unit, by when, words
    rules : changed service rules
    followups : opened or closed on visits, severe units left out
    conditions : noted or settled by people
    stop_events : stops opened, contradicted, released for work or cleared
    """

    since: date
    as_of: date
    dates: tuple[Moved, ...]
    severe: tuple[str, ...]
    work: tuple[str, ...]
    readings: tuple[str, ...]
    oil: tuple[str, ...]
    samples: tuple[tuple[str, date, str], ...]
    rules: tuple[str, ...]
    followups: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    stop_events: tuple[str, ...] = ()


def changes_between(
    then: Sequence[Told],
    now: Sequence[Told],
    verdicts: tuple[Mapping[str, OilVerdict], Mapping[str, OilVerdict]],
    readings: tuple[pd.DataFrame, pd.DataFrame],
    services: pd.DataFrame,
    samples: Mapping[str, SampleWanted],
    rules: Sequence[str],
    since: date,
    as_of: date,
    followups: Sequence[FollowUp] = (),
    conditions: Open = ({}, {}),
    stops: tuple[Mapping[str, Stop], Mapping[str, Stop]] = ({}, {}),
    stop_rows: pd.DataFrame | None = None,
) -> Changes:
    """What is new after the end of `since` and up to `as_of`; of each pair the first is of `since`.

    verdicts : of the oil, by unit; readings : of tapwear.counts.types.CounterHistory; services : as in the store's book
    samples : wanted now; rules : changed ones, as sentences; followups : all known now, closed ones too
    conditions : open ones by unit; stops : those that stand, by unit; stop_rows : all of them, as in the store's book
    """
    wanted = sorted((unit, one.by, one.words) for unit, one in samples.items() if one.why != "first")
    severe = {one.unit for one in now if one.severe}
    return Changes(
        since=since,
        as_of=as_of,
        dates=compare(then, now),
        severe=tuple(sorted(severe)),
        work=_work(services, since, as_of),
        readings=_doubtful(*readings),
        oil=_oil(*verdicts),
        samples=tuple(sorted(wanted, key=lambda row: (row[1], row[0]))),
        rules=tuple(rules),
        followups=_followups([one for one in followups if one.unit not in severe], since),
        conditions=_conditions(*conditions),
        stop_events=_stop_events(*stops, stop_rows, since),
    )


def _work(services: pd.DataFrame, since: date, as_of: date) -> tuple[str, ...]:
    new = services[(services["done_on"] > pd.Timestamp(since)) & (services["done_on"] <= pd.Timestamp(as_of))]
    new = new.sort_values(["done_on", "unit"], kind="stable")
    rows = zip(new["unit"], new["work"], new["done_on"], strict=True)
    return tuple(f"{unit}: {'other work' if work == 'other' else work} on {on.date()}" for unit, work, on in rows)


def _followups(found: Sequence[FollowUp], since: date) -> tuple[str, ...]:
    """Those first seen, put down or closed after `since`."""
    new = [one for one in found if one.first_on > since or (one.closed_on is not None and one.closed_on > since)]
    return tuple(f"{one.unit}: {one.sentence}" for one in sorted(new, key=lambda one: (one.unit, one.first_on)))


def _conditions(then: Mapping[str, Sequence[Noted]], now: Mapping[str, Sequence[Noted]]) -> tuple[str, ...]:
    """Those open now that were not, and those settled since, by unit."""
    rows = []
    for unit in sorted({*then, *now}):
        before, after = then.get(unit, ()), now.get(unit, ())
        rows += [f"{unit}: {one.sentence}" for one in after if one not in before]
        rows += [f"{unit}: settled: {one.sentence}" for one in before if one not in after]
    return tuple(rows)


def _stop_events(
    then: Mapping[str, Stop], now: Mapping[str, Stop], rows: pd.DataFrame | None, since: date
) -> tuple[str, ...]:
    """What was opened, contradicted, released for work or cleared after `since`, by unit."""
    found: list[tuple[str, date, str]] = []
    for unit, stop in now.items():
        was = then.get(unit)
        old = was.words if was is not None else ()
        found += [(unit, stop.since, f"stopped: {words}") for words in stop.words if words not in old]
        if stop.contradicted_on is not None and (was is None or was.contradicted_on != stop.contradicted_on):
            found.append((unit, stop.contradicted_on, contradiction_words(stop.contradicted_on)))
    for row in () if rows is None else rows.itertuples(index=False):
        released, cleared = as_day(row.work_released_on), as_day(row.cleared_on)
        if released is not None and released > since:
            words = f"released on {released} by {row.work_engineer} for work de-energised from "
            found.append((str(row.unit), released, f"{words}{as_day(row.work_from_on)}: {row.work_words}"))
        if cleared is not None and cleared > since:
            words = f"stop of {as_day(row.opened_on)} cleared on {cleared} by {row.cleared_engineer}"
            found.append((str(row.unit), cleared, f"{words}: {row.cleared_words}"))
    return tuple(dict.fromkeys(f"{unit}: {words}" for unit, _, words in sorted(found)))


def _doubtful(then: pd.DataFrame, now: pd.DataFrame) -> tuple[str, ...]:
    """Readings doubtful now that were not, or were not there, by reading."""
    known = set(then.loc[then["status"] == "doubtful", "reading_id"])
    new = now[(now["status"] == "doubtful") & ~now["reading_id"].isin(known)].sort_values(["unit", "read_on"])
    return tuple(
        f"{unit}: reading {value:,} of {on.date()}: {reason or 'does not fit'}"
        for unit, value, on, reason in zip(new["unit"], new["value"], new["read_on"], new["reason"], strict=True)
    )


def _oil(then: Mapping[str, OilVerdict], now: Mapping[str, OilVerdict]) -> tuple[str, ...]:
    """Units with another call than before, or with a kind of finding that was not there; severe ones first."""
    rows = []
    for unit in sorted(now, key=lambda tag: (not now[tag].severe, tag)):
        was, verdict = then.get(unit), now[unit]
        known = {finding.kind for finding in was.findings} if was else set()
        new = [finding.words for finding in verdict.findings if finding.kind not in known]
        call = "" if was is not None and was.call == verdict.call else f"{_call(verdict)} (before: {_call(was)})"
        if call or new:
            rows.append(f"{unit}: " + "; ".join(part.rstrip(".") for part in (call, *new) if part))
    return tuple(rows)


def _call(verdict: OilVerdict | None) -> str:
    return OIL_CALLS[verdict.call if verdict else ""]
