"""Where the oil starts again: oil changes, degassings and overhauls, recorded or seen as a fall of every gas.

Also left aside here: a single sample that everything else contradicts (air, a mixed-up bottle).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tapwear.oil.samples import Bools, Floats, Ints, SampleGrid, row_median, years_since_epoch
from tapwear.oil.settings import C2H2, C2H4, C2H6, CH4
from tapwear.oil.types import RESETS
from tapwear.weeks import DAYS_PER_YEAR

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

FALL = 0.7  # log: every gas at half or less; our choice
SAME = 0.45  # log: back at the earlier level; our choice
NEAR = 45 / DAYS_PER_YEAR  # a record dated so near to a fall [years] is the record of it; our choice
DAY = 1 / DAYS_PER_YEAR


@dataclass(frozen=True)
class Resets:
    """When the oil of S compartments started again.

    year : (S, R) dates in order [years since 1970], NaN padding at the right
    recorded : (S, R) True for an event in the books, False for one seen in the gases only
    overhaul : (S, R) True for a recorded overhaul
    odd : (S, L) True for a sample that its neighbours in time contradict
    """

    year: Floats
    recorded: Bools
    overhaul: Bools
    odd: Bools


def event_years(events: pd.DataFrame, units: Sequence[str], kinds: Sequence[str]) -> Floats:
    """(S, R) dates of the events of these kinds, one row per entry of `units`, in order [years since 1970]."""
    part = events.loc[events["kind"].isin(list(kinds))].sort_values(["unit", "happened_on"], kind="stable")
    code, names = part["unit"].astype(str).factorize()
    place = np.arange(len(code)) - np.searchsorted(code, code)
    by_unit = np.full((len(names) + 1, int(place.max(initial=-1)) + 1), np.nan)  # the last row for units without any
    by_unit[code, place] = years_since_epoch(part["happened_on"])
    row = {name: number for number, name in enumerate(np.asarray(names, dtype=object).tolist())}
    return np.asarray(by_unit[np.array([row.get(unit, -1) for unit in units], dtype=np.int64)])


def find_resets(grid: SampleGrid, events: pd.DataFrame, swapped: Bools) -> Resets:
    """Recorded resets and those that the gases show, and the samples that do not count.

    Parameters
    ----------
    swapped : (S, L) samples that seem to be another unit's; they are odd from the start
    """
    recorded = event_years(events, grid.unit, RESETS)
    overhauls = event_years(events, grid.unit, ("overhaul",))
    is_overhaul = (recorded[:, :, None] == overhauls[:, None, :]).any(axis=2)
    recorded, seen, odd = _seen_in_the_gases(grid, recorded, swapped)
    year = np.concatenate([recorded, seen], axis=1)
    books = np.concatenate([np.isfinite(recorded), np.zeros(seen.shape, dtype=bool)], axis=1)
    is_overhaul = np.concatenate([is_overhaul, np.zeros(seen.shape, dtype=bool)], axis=1)
    order = np.argsort(np.where(np.isfinite(year), year, np.inf), axis=1, kind="stable")
    take = np.take_along_axis
    year = take(year, order, axis=1)
    used = max(int(np.isfinite(year).sum(axis=1).max(initial=0)), 0)
    return Resets(
        year=year[:, :used],
        recorded=take(books, order, axis=1)[:, :used],
        overhaul=take(is_overhaul, order, axis=1)[:, :used],
        odd=odd,
    )


def _seen_in_the_gases(grid: SampleGrid, recorded: Floats, swapped: Bools) -> tuple[Floats, Floats, Bools]:
    """The recorded dates, mid-dates of other intervals in which every gas fell by half or more, and odd samples.

    An odd sample is one that the next contradicts. A record dated a few weeks before or after such an interval is
    moved into it: it tells of that fall, and the sample was taken before the work, or the work written down late.
    """
    gases = [CH4, C2H6, C2H4, C2H2]
    usable = grid.usable & ~swapped
    level = np.log(np.where(grid.below[:, :, gases], np.nan, grid.gas[:, :, gases]))
    level = np.where(usable[:, :, None], level, np.nan)
    count, width = grid.year.shape
    seen = np.full((count, width), np.nan)
    odd = swapped.copy()
    before = np.full((count, 4), np.nan)  # level of the last sample that stands
    earlier = np.full((count, 4), np.nan)  # the one before it
    when, place = np.full(count, np.nan), np.full(count, -1, dtype=np.int64)
    rows = np.arange(count)
    for j in range(width):
        here = usable[:, j]
        step = level[:, j] - before
        known = _count(step)
        middle = row_median(step)
        between = (recorded > when[:, None]) & (recorded < grid.year[:, [j]])
        in_books: Bools = np.asarray(between.any(axis=1))
        back = level[:, j] - earlier
        is_back = (_count(back) >= 3) & (np.abs(row_median(back)) < SAME)
        returned: Bools = np.asarray(
            here & is_back & (np.abs(middle) > FALL) & (known >= 3) & ~in_books, dtype=np.bool_
        )
        odd[rows[returned], place[returned]] = True
        seen[rows[returned], place[returned]] = np.nan
        least = np.max(np.where(np.isfinite(step), step, -np.inf), axis=1)
        fell = here & (known >= 3) & (middle < -FALL) & (least < -FALL / 2) & ~in_books & ~returned
        first, last = when[:, None], grid.year[:, [j]]
        near = fell[:, None] & (recorded > first - NEAR) & (recorded <= last + NEAR)
        recorded = np.where(near, np.clip(recorded, first + DAY, last - DAY), recorded)
        fell &= ~near.any(axis=1)
        seen[fell, j] = (0.5 * (when + grid.year[:, j]))[fell]
        stands = np.logical_and(here, ~returned)
        earlier = np.where(stands[:, None] & ~in_books[:, None], before, earlier)
        earlier = np.where((stands & in_books)[:, None], np.nan, earlier)
        before = np.where(here[:, None], level[:, j], before)
        when = np.where(here, grid.year[:, j], when)
        place = np.where(here, j, place)
    kept = np.sort(np.where(np.isfinite(seen), seen, np.inf), axis=1)
    most = int(np.isfinite(kept).sum(axis=1).max(initial=0))
    kept = kept[:, :most]
    return recorded, np.where(np.isfinite(kept), kept, np.nan), odd


def _count(values: Floats) -> Ints:
    return np.asarray(np.isfinite(values).sum(axis=1), dtype=np.int64)
