"""Opens the stops that the book calls for: the one way in for whatever records something severe.

Each command that stores samples, conditions or observations calls `raise_stops` for the units it touched. What is
severe is told from what was known after each sample, so that a later one cannot hide it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import pandas as pd

from tapwear.fleet import assess_counts, assess_oil, with_operations
from tapwear.oil.over_time import calls_over_time
from tapwear.outlook.alarms import oil_asks
from tapwear.outlook.conditions import open_conditions
from tapwear.outlook.noticed import Noticed, noticed_of
from tapwear.outlook.signs import Alarm, seen_alarms, severe_signs
from tapwear.outlook.stops import contradiction_words, stops_of, verdict_words
from tapwear.store.company import all_tags, company_of
from tapwear.store.find import find_unit
from tapwear.store.loading import load_book
from tapwear.store.stops import Severe, open_stop, open_stops, recorded_when, tags_of_import
from tapwear.words import condition_evidence

if TYPE_CHECKING:
    from tapwear.oil.types import OilVerdict
    from tapwear.store.book import Book
    from tapwear.store.engine import Store
    from tapwear.store.recording import Stamp

# A store that is upgraded or filled with past records gets stops for samples up to so much older than a unit's newest.
# What was severe before that, and was sampled on for years, is left to the oil's own verdict. Our choice.
LOOK_BACK_DAYS = 730.0
# Where the day of each cause stands in the book: table and column.
_RECORDED = {
    "oil": ("sample", "sampled_on"),
    "condition": ("condition", "noted_on"),
    "visit": ("observation", "observed_on"),
}


@dataclass(frozen=True)
class Raised:
    """What came of it, in words for whoever is at the keyboard.

    opened : units with a stop that was opened just now, with its evidence
    contradicted : units whose stop stands although their newest sample does not show it, with what is said of that
    told : what the oil of units without a stop asks of the engineer or of whoever recorded it, as sentences
    """

    opened: Mapping[str, tuple[str, ...]]
    contradicted: Mapping[str, str]
    told: Mapping[str, tuple[str, ...]]


def raise_stops(store: Store, tags: Collection[str] | None, as_of: date, stamp: Stamp) -> Raised:
    """Records a stop for everything severe at these units (None: at all) that the book has none for yet."""
    with store.rows() as connection:
        wanted = list(all_tags(connection)) if tags is None else sorted(set(tags))
        company = None if tags is None else company_of(connection, wanted)
    if not wanted:
        return Raised({}, {}, {})
    book = load_book(store, as_of=as_of, units=company)
    verdicts, past = _of_the_oil(book, wanted, as_of)
    found = severe_of(book, wanted, as_of, (*past, *verdicts.values()))
    opened: dict[str, tuple[str, ...]] = {}
    with store.rows(writing=True) as connection:
        for one in found:
            unit = find_unit(connection, one.unit)
            when = recorded_when(connection, unit, *_RECORDED[one.cause], one.on)
            if open_stop(connection, unit, Severe(one.unit, one.on, one.cause, one.words, when), stamp) is not None:
                opened[one.unit] = (*opened.get(one.unit, ()), one.words)
    with store.rows() as connection:
        stands = {row.unit: row for row in open_stops(connection)}
    stops = load_book(store, as_of=as_of, units=company).stops
    against = stops_of(stops, verdicts, {}, (), as_of)
    return Raised(
        opened,
        {tag: contradiction_words(on) for tag, stop in against.items() if (on := stop.contradicted_on) is not None},
        {tag: said for tag, one in verdicts.items() if tag not in stands and (said := oil_asks(one, as_of))},
    )


def _of_the_oil(book: Book, tags: Sequence[str], as_of: date) -> tuple[dict[str, OilVerdict], list[OilVerdict]]:
    """What the oil of these units says now, and what it said after each sample, from nothing later."""
    if not book.samples["unit"].isin(set(tags)).any():
        return {}, []
    _, model = assess_counts(book, as_of)
    samples = with_operations(book.samples, model)
    past = calls_over_time(samples, book.oil_events, book.units, book.limits, tags, as_of, LOOK_BACK_DAYS)
    return {one.unit: one for one in assess_oil(book, model, as_of, frozenset(tags))}, past


def severe_of(book: Book, tags: Sequence[str], as_of: date, verdicts: Sequence[OilVerdict]) -> list[Severe]:
    """Everything severe in the book at these units: what the oil says or said (verdicts), each open severe condition,
    what visits saw."""
    mine = set(tags)
    found = [
        Severe(verdict.unit, verdict.last_sample_on, "oil", verdict_words(verdict))
        for verdict in verdicts
        if verdict.severe and verdict.last_sample_on is not None
    ]
    found += [
        Severe(unit, one.noted_on, "condition", condition_evidence(one.kind, one.noted_on, one.author, one.words))
        for unit, some in open_conditions(book.conditions, as_of).items()
        for one in some
        if one.severe and unit in mine
    ]
    signs = severe_signs(_seen(book, mine, as_of))
    return found + [Severe(unit, on, "visit", words) for unit, on, words in signs]


def import_alarms(store: Store, number: int, as_of: date) -> dict[str, list[Alarm]]:
    """What visits saw that an import brought in, by unit, where it is to be acted on at once: of the newest visit to
    each unit. number : of the import"""
    with store.rows() as connection:
        tags = tags_of_import(connection, number, ("observation",))
        company = company_of(connection, tags) if tags else []
    if not tags:
        return {}
    seen: dict[str, list[Noticed]] = {}
    for row in _seen(load_book(store, as_of=as_of, units=company), set(tags), as_of):
        mine = seen.setdefault(row.unit, [])
        if mine and mine[0].observed_on < row.observed_on:
            mine.clear()
        mine.append(row)
    return {unit: found for unit, rows in seen.items() if (found := seen_alarms(rows))}


def _seen(book: Book, tags: set[str], as_of: date) -> tuple[Noticed, ...]:
    mine: pd.DataFrame = book.observations[book.observations["unit"].isin(tags)]
    return noticed_of(mine, as_of)
