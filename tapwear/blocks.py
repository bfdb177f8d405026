"""A large fleet, block after block: the dates of all units in bounded memory, on every processor there is.

Each block is assessed by itself, with the units from which its peers are learnt: the same dates as of the whole fleet.
"""

from __future__ import annotations

import gc
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from multiprocessing import active_children, get_context, parent_process
from multiprocessing.connection import wait
from pathlib import Path

from tapwear.errors import TapwearError
from tapwear.fleet import assess_store, assess_units
from tapwear.oil.types import OilVerdict
from tapwear.outlook.build import urgency
from tapwear.outlook.types import Due, Outlook
from tapwear.store.company import all_tags
from tapwear.store.engine import Store, open_at

WORTH_SPLITTING = 4_000  # units; to start other processes takes as long as some hundred; our choice
UNITS_A_BLOCK = 12_500  # at most: about a gigabyte while they are worked on; our choice


@dataclass(frozen=True)
class Dates:
    """The dates of a fleet on `as_of`, and what its oil says."""

    as_of: date
    outlook: Outlook
    verdicts: dict[str, OilVerdict]


def fleet_dates(store: Store, as_of: date, done: Callable[[int], None] = lambda units: None) -> Dates:
    """The dates of everything in the store that was known by `as_of`; `done` is told how many units are through.

    A large fleet is worked on by several processes, each of which opens the store for itself.
    """
    with store.rows() as connection:
        tags = all_tags(connection)
    with _nothing_collected():
        if len(tags) <= WORTH_SPLITTING:
            found = assess_store(store, as_of)
            return Dates(as_of, found.outlook, found.verdicts)
        dues: list[Due] = []
        verdicts: dict[str, OilVerdict] = {}
        for part in _blocks(store, tags, as_of):
            dues += part.outlook.dues
            verdicts |= part.verdicts
            done(len(part.verdicts))
        return Dates(as_of, Outlook(as_of, tuple(sorted(dues, key=urgency))), verdicts)


@contextmanager
def _nothing_collected() -> Iterator[None]:
    """Without the search for objects that hold each other: there are none here, and it takes a tenth of the time.

    What was made meanwhile is not searched later either.
    """
    were = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        if were:
            gc.enable()


def _blocks(store: Store, tags: Sequence[str], as_of: date) -> Iterator[Dates]:
    """Every block's dates, as they come."""
    workers = min(os.cpu_count() or 1, 2 * len(tags) // WORTH_SPLITTING)
    count = -(-len(tags) // (UNITS_A_BLOCK * workers)) * workers  # the same number for each
    blocks = [tags[len(tags) * at // count : len(tags) * (at + 1) // count] for at in range(count)]
    with ProcessPoolExecutor(workers, get_context("spawn"), initializer=_quiet) as pool:
        try:
            for done in as_completed([pool.submit(_block, store.address, block, as_of) for block in blocks]):
                yield done.result()
        except BrokenProcessPool as error:
            raise TapwearError(
                "A process that worked on a part of the fleet came to an end, as when there is no memory left for it. "
                "Nothing was changed; try again when less is running."
            ) from error
        except BaseException:
            for process in active_children():  # whoever gives up need not wait for the blocks under way
                process.terminate()
            raise


def _quiet() -> None:
    """An interruption at the keyboard is for the process that waits for the blocks; this one ends when that does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _block(address: Path | str, wanted: Sequence[str], as_of: date) -> Dates:
    """One block's dates; runs in a process of its own."""
    gc.disable()  # as in _nothing_collected
    found = assess_units(open_at(address), wanted, as_of)
    return Dates(as_of, found.outlook, found.verdicts)
