"""One fleet as of one day: the layers called in their order, from the store's book to the outlook.

This is also the way in for a Python script: `assess_store(open_store(path), as_of)`.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tapwear.counts.clean import read_counters
from tapwear.counts.current import known_currents
from tapwear.counts.rate import RateModel, fit_rates
from tapwear.counts.reread import as_if_read
from tapwear.counts.serviced import with_service_readings
from tapwear.counts.settings import settings_of, settings_words
from tapwear.counts.types import CounterHistory
from tapwear.oil.assess import assess
from tapwear.oil.types import OilVerdict
from tapwear.outlook.alarms import alarms_of, hot_alarm, is_low_oil, with_open_matters
from tapwear.outlook.build import Ground, build_outlook, urgency
from tapwear.outlook.conditions import open_conditions
from tapwear.outlook.deferral import with_deferrals
from tapwear.outlook.followups import FollowUp, follow_ups, kept_of, open_ones
from tapwear.outlook.merge import QUANTILES
from tapwear.outlook.noticed import Noticed, newest_of_each, noticed_of
from tapwear.outlook.observed import HOTTER, advice, last_cleaned, last_closed, with_observed
from tapwear.outlook.signs import Alarm
from tapwear.outlook.stops import Stop, bank_alarms, stops_of, under_stops
from tapwear.outlook.types import Outlook, horizon
from tapwear.outlook.visits_due import overdue, visits_due
from tapwear.outlook.wear import Wear, wear_of
from tapwear.outlook.whatif import Compared, WhatIf, what_if
from tapwear.report.stories import CountStory
from tapwear.store.book import Book

if TYPE_CHECKING:
    from tapwear.store.engine import Store

CHANGE_RECENT_DAYS = 400  # a change of rate is worth a word in the list this long; our choice
NO_STOPS: Mapping[str, Stop] = {}
STORY_YEARS = 3  # how far ahead the drawn forecast reaches; our choice


@dataclass(frozen=True)
class Assessment:
    """Everything that is known and projected about a fleet on `as_of`.

    verdicts : what the oil says under the stops that stand
    wanted : the units that verdicts and outlook are about, the others being there to compare with; None: all
    stops : what stands, by unit
    """

    as_of: date
    book: Book
    history: CounterHistory
    model: RateModel
    verdicts: dict[str, OilVerdict]
    outlook: Outlook
    wanted: frozenset[str] | None = None
    stops: dict[str, Stop] = field(default_factory=dict)


def assess_store(store: Store, as_of: date) -> Assessment:
    """The assessment of everything in the store that was known by `as_of`."""
    from tapwear.store.loading import load_book

    return assess_book(load_book(store, as_of=as_of), as_of)


def assess_units(store: Store, tags: Collection[str], as_of: date) -> Assessment:
    """The assessment of some units: the same as in that of the whole store, of which only what bears on them is read.

    tags : as they are spelled in the store. Raises UsageError for an unknown tag.
    """
    from tapwear.store.company import company_of
    from tapwear.store.loading import load_book

    with store.rows() as connection:
        company = company_of(connection, tags)
    return assess_book(load_book(store, as_of=as_of, units=company), as_of, frozenset(tags))


def assess_book(book: Book, as_of: date, wanted: frozenset[str] | None = None) -> Assessment:
    """Counts first, then oil with the operations that the counts lend it, then the outlook over both.

    wanted : as in Assessment
    """
    history, model = assess_counts(book, as_of)
    return _on_counts(book, history, model, as_of, wanted)


def _on_counts(
    book: Book, history: CounterHistory, model: RateModel, as_of: date, wanted: frozenset[str] | None
) -> Assessment:
    verdicts = {verdict.unit: verdict for verdict in assess_oil(book, model, as_of, wanted)}
    stops = standing_stops(book, verdicts, as_of, wanted)
    verdicts = under_stops(verdicts, stops, as_of)
    outlook = _outlook(book, history, model, verdicts, stops, as_of, wanted)
    return Assessment(as_of, book, history, model, verdicts, outlook, wanted, stops)


def standing_stops(
    book: Book, verdicts: dict[str, OilVerdict], as_of: date, wanted: frozenset[str] | None = None
) -> dict[str, Stop]:
    """What stands as of a day, by unit. verdicts : as the samples alone have it"""
    noticed = noticed_of(book.observations, as_of)
    found = stops_of(book.stops, verdicts, open_conditions(book.conditions, as_of), noticed, as_of)
    return found if wanted is None else {unit: stop for unit, stop in found.items() if unit in wanted}


def _outlook(
    book: Book,
    history: CounterHistory,
    model: RateModel,
    verdicts: dict[str, OilVerdict],
    stops: dict[str, Stop],
    as_of: date,
    wanted: frozenset[str] | None = None,
) -> Outlook:
    ground = ground_of(book, history, model, verdicts, as_of, stops)
    units = book.units if wanted is None else book.units[book.units["unit"].isin(wanted)]
    outlook = build_outlook(units, book.rules, book.services, book.events, ground, as_of)
    outlook = with_observed(with_deferrals(outlook, book.deferrals), observed_advice(book, verdicts, as_of))
    outlook = _with_open_matters(outlook, book, verdicts, as_of)
    return replace(outlook, dues=tuple(sorted(outlook.dues, key=urgency)))


def _with_open_matters(outlook: Outlook, book: Book, verdicts: dict[str, OilVerdict], as_of: date) -> Outlook:
    """The outlook with everything that is open at its units, so that none is left to the next routine visit."""
    still: dict[str, list[FollowUp]] = {}
    for one in open_ones(unit_followups(book, as_of)):
        still.setdefault(one.unit, []).append(one)
    return with_open_matters(outlook, open_alarms(book, verdicts, still, as_of), still)


def open_alarms(
    book: Book, verdicts: dict[str, OilVerdict], followups: Mapping[str, Sequence[FollowUp]], as_of: date
) -> dict[str, tuple[Alarm, ...]]:
    """What the engineer has to decide today, by unit. followups : open ones by unit"""
    seen: dict[str, list[Noticed]] = {}
    for row in noticed_of(book.observations, as_of):
        seen.setdefault(row.unit, []).append(row)
    closed = last_closed(book.conditions, HOTTER, as_of)
    loud = {unit for unit, verdict in verdicts.items() if verdict.call == "pull forward"}
    banks = _bank_alarms(book, verdicts, as_of)
    found = {
        unit: (
            *([banks[unit]] if unit in banks else ()),
            *alarms_of(
                verdicts.get(unit), followups.get(unit, ()), hot_alarm(seen.get(unit, ()), closed.get(unit)), as_of
            ),
        )
        for unit in sorted(loud | set(followups) | set(seen) | set(banks))
    }
    return {unit: some for unit, some in found.items() if some}


def _bank_alarms(book: Book, verdicts: dict[str, OilVerdict], as_of: date) -> dict[str, Alarm]:
    """Of units in whose bank another one is stopped."""
    stops = standing_stops(book, verdicts, as_of)
    if not stops:
        return {}
    units = book.units[(book.units["state"] == "in service") & (book.units["bank"] != "")]
    where = zip(units["station"], units["bank"], strict=True)
    return bank_alarms(dict(zip(units["unit"], where, strict=True)), stops)


def observed_advice(book: Book, verdicts: dict[str, OilVerdict], as_of: date) -> dict[str, tuple[str, ...]]:
    """What observations of visits mean for the engineer, as sentences by unit."""
    noticed = noticed_of(book.observations, as_of)
    if not noticed:
        return {}
    rules = book.visit_rules.dropna(subset=["still_after_days"])
    return advice(
        noticed,
        dict(zip(rules["unit"], rules["still_after_days"].astype(float), strict=True)),
        last_cleaned(book.services),
        open_conditions(book.conditions, as_of),
        last_closed(book.conditions, HOTTER, as_of),
        [unit for unit, verdict in verdicts.items() if _suspicious(verdict)],
    )


def _suspicious(verdict: OilVerdict) -> bool:
    """Whether the oil suggests arcing or heating beyond the usual."""
    return verdict.call == "pull forward" or any(found.kind in ("heating", "arcing") for found in verdict.findings)


def unit_followups(book: Book, as_of: date) -> tuple[FollowUp, ...]:
    """All that was to be followed up by as_of, closed ones too."""
    return follow_ups(noticed_of(book.observations, as_of), kept_of(book.followups), as_of)


def visit_notes(
    book: Book, as_of: date
) -> tuple[dict[str, tuple[Noticed, ...]], dict[str, tuple[FollowUp, ...]]]:
    """The newest observation of each kind, and what is open to be followed up, both by unit."""
    seen: dict[str, tuple[Noticed, ...]] = {}
    for row in newest_of_each(noticed_of(book.observations, as_of)):
        seen[row.unit] = (*seen.get(row.unit, ()), row)
    still: dict[str, tuple[FollowUp, ...]] = {}
    for one in open_ones(unit_followups(book, as_of)):
        still[one.unit] = (*still.get(one.unit, ()), one)
    return seen, still


def ground_of(
    book: Book,
    history: CounterHistory,
    model: RateModel,
    verdicts: dict[str, OilVerdict],
    as_of: date,
    stops: Mapping[str, Stop] = NO_STOPS,
) -> Ground:
    """What the outlook's questions are answered from, as of a day that may lie after the last row of the book."""
    currents = known_currents(book.readings, book.units, as_of)
    conditions = open_conditions(book.conditions, as_of)
    return Ground(history, model, verdicts, recent_changes(model, as_of), currents, conditions, stops)


def assess_counts(book: Book, as_of: date) -> tuple[CounterHistory, RateModel]:
    """The counters of all units read, and the rate of every place."""
    readings = with_service_readings(book.readings, book.services, book.units)
    history = read_counters(book.units, readings, book.events, book.stays, as_of)
    return history, fit_rates(history, book.units, book.events, book.stays, as_of, settings_of(book.rate_settings))


def assess_oil(
    book: Book, model: RateModel, as_of: date, wanted: frozenset[str] | None = None
) -> tuple[OilVerdict, ...]:
    """The oil of all units, or those wanted, with the operations at each sample's date taken from the counts."""
    samples = with_operations(book.samples, model)
    return assess(samples, book.oil_events, book.units, as_of, book.limits, wanted=wanted)


def under_limits(assessment: Assessment, limits: pd.DataFrame) -> Assessment:
    """The same fleet on the same day under other limits of the user's: oil and outlook anew, the counts as they are."""
    book = replace(assessment.book, limits=limits)
    return _on_counts(book, assessment.history, assessment.model, assessment.as_of, assessment.wanted)


def outlook_if_read(assessment: Assessment, on: date) -> Outlook:
    """The outlook as of `on` if every counter is read that day and shows what is expected; the oil as it is known now.

    on : not before assessment.as_of
    """
    book = assessment.book
    history, model = as_if_read(assessment.history, assessment.model, book.units, book.events, book.stays, on)
    ground = ground_of(book, history, model, assessment.verdicts, on, assessment.stops)
    return build_outlook(book.units, book.rules, book.services, book.events, ground, on)


def low_oil_units(book: Book, as_of: date) -> set[str]:
    """Units whose oil level was seen low and is not closed: no oil is drawn from them."""
    return {one.unit for one in open_ones(unit_followups(book, as_of)) if is_low_oil(one)}


def moved_if_repeated(assessment: Assessment, units: Collection[str], on: date) -> dict[str, int]:
    """Days by which each unit's early date comes forward if its compartments are sampled on `on` and show what they
    showed last.

    Units without a sample are not in the answer; dates of counts and calendar stay as they are. on : not before as_of
    """
    book, day = assessment.book, assessment.as_of
    samples = book.samples[(book.samples["taken_from"] == "compartment") & book.samples["unit"].isin(list(units))]
    last = samples.sort_values("sampled_on", kind="stable").groupby(["unit", "compartment"], sort=False).tail(1)
    if last.empty:
        return {}
    again = last.assign(sampled_on=pd.Timestamp(on).as_unit("us"))
    then = replace(book, samples=pd.concat([book.samples, again], ignore_index=True))
    found = {verdict.unit: verdict for verdict in assess_oil(then, assessment.model, on, assessment.wanted)}
    sampled = set(map(str, last["unit"])) & set(found)
    verdicts = {tag: found[tag] if tag in sampled else verdict for tag, verdict in assessment.verdicts.items()}
    stops = assessment.stops
    after = _earliest(_outlook(book, assessment.history, assessment.model, verdicts, stops, day, assessment.wanted))
    now = _earliest(assessment.outlook)
    return {tag: max((now[tag] - after[tag]).days, 0) for tag in sampled if tag in after and tag in now}


def _earliest(outlook: Outlook) -> dict[str, date]:
    """The first early date of each unit; a date beyond the horizon counts as its end."""
    end = horizon(outlook.as_of)
    found: dict[str, date] = {}
    for due in outlook.dues:
        if due.known:
            found[due.unit] = min(found.get(due.unit, end), due.early or end)
    return found


def what_if_unit(assessment: Assessment, unit: str, supposed: WhatIf, resets: Sequence[str]) -> Compared:
    """The dates of one unit before and after a supposition; nothing is stored. resets : tasks that an overhaul renews.

    Raises UsageError for a unit without dues.
    """
    book, day = assessment.book, assessment.as_of
    verdicts = assessment.verdicts
    if supposed.limit is not None:
        mine = _limit_of(book, unit, *supposed.limit)
        limits = mine if book.limits.empty else pd.concat([book.limits, mine], ignore_index=True)
        verdicts = under_limits(assessment, limits).verdicts
    ground = ground_of(book, assessment.history, assessment.model, verdicts, day, assessment.stops)
    now = assessment.outlook.of_unit(unit)
    found = what_if(unit, now, supposed, book.units, book.rules, book.services, book.events, ground, resets, day)
    then = with_observed(Outlook(day, found.then), observed_advice(book, verdicts, day))
    return replace(found, then=_with_open_matters(then, book, verdicts, day).dues)


def _limit_of(book: Book, unit: str, quantity: str, value: float) -> pd.DataFrame:
    """A limit that goes before every other one for this unit, as a row of Book.limits."""
    mine = book.units.loc[book.units["unit"] == unit].iloc[0]
    row = {"oil_group": mine["oil_group"], "technology": mine["technology"], "quantity": quantity, "value": value}
    row |= {"source": "what if", "breakdown_method": ""}
    made = pd.DataFrame([row]).reindex(columns=book.limits.columns)
    return made.astype({name: kind for name, kind in book.limits.dtypes.items() if name not in row})


def severe_units(assessment: Assessment) -> dict[str, str]:
    """Units with a stop, each with what stands first in its row: nobody goes near, reads, samples or exercises them;
    those released for work among them."""
    return {unit: stop.short for unit, stop in sorted(assessment.stops.items())}


def bank_stopped(assessment: Assessment) -> dict[str, str]:
    """Units that nobody visits because another one of their bank is stopped, each with what is said of that."""
    return {due.unit: due.bank_stop for due in assessment.outlook.dues if due.bank_stop}


def contact_wear(assessment: Assessment, unit: str) -> Wear | None:
    """What the measured contacts of one unit say about its interval; None where none was measured."""
    book, model = assessment.book, assessment.model
    governing = model.governing()
    if unit not in governing.index:
        return None
    row = int(governing[unit])

    def between(since: Sequence[date], until: Sequence[date]) -> np.ndarray:
        days = (np.array(since, "datetime64[D]"), np.array(until, "datetime64[D]"))
        return model.operations(np.full(len(since), row), *days, np.array(QUANTILES))

    services = book.services[book.services["unit"] == unit]
    return wear_of(services, assessment.outlook.of_unit(unit), between, assessment.as_of)


def recent_changes(model: RateModel, as_of: date) -> dict[str, str]:
    """The newest change of rate of each unit, in words, where it is recent enough to matter for the date."""
    units = list(dict.fromkeys(map(str, model.series.unit)))
    return {
        unit: regimes[-1].words
        for unit, regimes in model.regimes_of(units).items()
        if regimes and (as_of - regimes[-1].on).days <= CHANGE_RECENT_DAYS
    }


def with_operations(samples: pd.DataFrame, model: RateModel) -> pd.DataFrame:
    """The samples with operations_low, operations_mid and operations_high on the day each was taken."""
    out = samples.reset_index(drop=True).copy()
    made = np.full((len(out), 3), np.nan)
    rows = np.flatnonzero(out["unit"].isin(model.governing().index))
    if len(rows):
        units = out["unit"].to_numpy(object)[rows]
        made[rows] = model.operations_of_units(units, out["sampled_on"].to_numpy("datetime64[D]")[rows])
    out[["operations_low", "operations_mid", "operations_high"]] = made
    return out


def visits_expected(book: Book, as_of: date) -> pd.DataFrame:
    """When units in service are to be read and sampled next, as from tapwear.outlook.visits_due.visits_due."""
    readings = with_service_readings(book.readings, book.services, book.units)
    return visits_due(book.units, book.visit_rules, readings, book.samples, as_of)


def visits_overdue(book: Book, as_of: date) -> pd.DataFrame:
    """Which units in service are to be read or sampled by now, and since when, by visit rule or by what is usual.

    Returns the columns of tapwear.outlook.visits_due.visits_due with due_on up to as_of. Severe units are among them:
    whoever suggests a visit leaves them out.
    """
    return overdue(visits_expected(book, as_of), as_of)


def count_story(assessment: Assessment, unit: str) -> CountStory:
    """The counter of one unit, with its forecast, ready to be drawn. KeyError for an unknown unit."""
    model, history = assessment.model, assessment.history
    model.rows_of(unit)
    points = history.points[history.points["unit"] == unit]
    row = int(model.governing()[unit])
    drive = str(model.index["drive"].iloc[row])
    points = points[points["drive"] == drive][["on", "operations"]].reset_index(drop=True)
    ahead = np.datetime64(assessment.as_of, "D") + np.arange(0, STORY_YEARS * 366, 14)
    made = model.operations_at(unit, ahead)
    forecast = pd.DataFrame(
        {"on": ahead.astype("datetime64[us]"), "low": made[:, 0], "mid": made[:, 1], "high": made[:, 2]}
    )
    readings = history.readings[history.readings["unit"] == unit]
    columns = ["read_on", "drive", "value", "source", "status", "reason", "probability"]
    return CountStory(
        points=points,
        forecast=forecast,
        rate_words=_rate_words(assessment, unit),
        readings=readings[columns].reset_index(drop=True),
        past_errors=int(model.calibration.cases.sum()),
        drive=drive if readings["drive"].nunique() > 1 else "",
        own_settings=settings_words(assessment.book.rate_settings.to_dict("records")),
    )


def _rate_words(assessment: Assessment, unit: str) -> tuple[str, ...]:
    """How fast the counter runs, and where that changed; a unit that is not in service makes no operations."""
    words = assessment.model.rate_words(unit)
    units = assessment.book.units
    state = str(units.loc[units["unit"] == unit, "state"].iloc[0])
    return words if state == "in service" else (f"no operations at present: {state}", *words[1:])


def known_on(book: Book, day: date) -> Book:
    """The book as it could have been known on `day`: rows dated later are left out."""
    at = np.datetime64(day, "us")

    def until(frame: pd.DataFrame, column: str) -> pd.DataFrame:
        return frame[~(frame[column] > at)]

    return replace(
        book,
        readings=until(book.readings, "read_on"),
        events=until(book.events, "happened_on"),
        stays=until(book.stays, "from_on"),
        samples=until(book.samples, "sampled_on"),
        oil_events=until(book.oil_events, "happened_on"),
        services=until(book.services, "done_on"),
        deferrals=until(book.deferrals, "decided_on"),
        conditions=until(book.conditions, "noted_on"),
        stops=until(book.stops, "opened_on"),
        observations=until(book.observations, "observed_on"),
        followups=until(book.followups, "noted_on"),
    )
