"""A large fleet, block after block: the dates of all units in bounded memory, on every processor there is.

Each block is assessed by itself, with the units that speak for it, and so gives the same as the fleet at one go.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date
from multiprocessing import get_context
from pathlib import Path

from tapwear.fleet import assess_company, assess_store
from tapwear.oil.types import OilVerdict
from tapwear.outlook.build import urgency
from tapwear.outlook.types import Due, Outlook
from tapwear.store.company import all_tags, company_of
from tapwear.store.engine import Store, open_store
from tapwear.store.roll import roll_of

UNITS_A_BLOCK = 8_000  # under a gigabyte each while they are worked on; our choice


@dataclass(frozen=True)
class Dates:
    """The dates of a fleet on `as_of`, and what its oil says."""

    as_of: date
    outlook: Outlook
    verdicts: dict[str, OilVerdict]


def fleet_dates(store: Store, as_of: date, done: Callable[[int], None] = lambda units: None) -> Dates:
    """The dates of everything in the store that was known by `as_of`; `done` is told how many units are through.

    A fleet of more than a block is worked on by several processes, each of which opens the store for itself.
    """
    with store.rows() as connection:
        tags = all_tags(connection)
    if len(tags) <= UNITS_A_BLOCK:
        found = assess_store(store, as_of)
        return Dates(as_of, found.outlook, found.verdicts)
    dues: list[Due] = []
    verdicts: dict[str, OilVerdict] = {}
    for part in _blocks(store, tags, as_of):
        dues += part.outlook.dues
        verdicts |= part.verdicts
        done(len(part.verdicts))
    return Dates(as_of, Outlook(as_of, tuple(sorted(dues, key=urgency))), verdicts)


def _blocks(store: Store, tags: Sequence[str], as_of: date) -> Iterator[Dates]:
    """Every block's dates, as they come."""
    workers = os.cpu_count() or 1
    count = -(-len(tags) // (UNITS_A_BLOCK * workers)) * workers  # the same number for each
    size = -(-len(tags) // count)
    with store.rows() as connection:
        roll = roll_of(connection)
        wanted = [tags[first : first + size] for first in range(0, len(tags), size)]
        jobs = [(store.address, block, company_of(connection, block, roll), as_of) for block in wanted]
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        yield from pool.map(_block, *zip(*jobs, strict=True))


def _block(address: Path | str, wanted: Sequence[str], company: Sequence[str], as_of: date) -> Dates:
    """One block's dates; runs in a process of its own."""
    found = assess_company(_open(address), wanted, company, as_of)
    return Dates(as_of, found.outlook, found.verdicts)


def _open(address: Path | str) -> Store:
    if isinstance(address, Path):
        return open_store(address)
    from tapwear.store.server import open_on_server

    return open_on_server(address)
