"""What samples say beside the signatures: trend, jumps and quality, worked out for all compartments at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from tapwear.oil.case import Case
from tapwear.oil.dates import as_date
from tapwear.oil.growth import at, newest_columns
from tapwear.oil.limits import MOST_WATER, Limit, least_breakdown
from tapwear.oil.quality import oil_quality
from tapwear.oil.samples import Bools, Floats
from tapwear.oil.settings import C2H2
from tapwear.oil.trend import acetylene_trends
from tapwear.oil.types import AcetyleneTrend, OilFinding
from tapwear.oil.unlike import Jump, jumps


@dataclass(frozen=True)
class Beside:
    """Of S compartments, or of those rows that have something to say.

    since_reset : (S, L) samples since the last reset that count
    last, since : days of the newest sample and of the last reset
    used : samples with acetylene since that reset, from which `trend` follows
    newest : (S,) acetylene of the newest tested sample, NaN below the limit [uL/L]
    quiet : (S,) no sample is left aside and no fresh start goes unrecorded
    """

    since_reset: Bools
    last: Sequence[date]
    since: Mapping[int, date]
    used: Sequence[int]
    trend: Sequence[AcetyleneTrend | None]
    jumps: Mapping[int, Jump]
    quality: Mapping[int, Sequence[OilFinding]]
    newest: Floats
    quiet: Bools


def beside_signatures(case: Case, limits: Sequence[Mapping[str, Limit]]) -> Beside:
    """What the samples say beside the signatures; limits : the user's, for each row."""
    grid, resets = case.grid, case.resets
    start = np.max(np.where(np.isfinite(resets.year), resets.year, -np.inf), axis=1, initial=-np.inf)
    since_reset = grid.taken & (grid.year > start[:, None]) & ~resets.odd
    use = since_reset & np.isfinite(grid.gas[:, :, C2H2])
    gas, below = grid.gas[:, :, C2H2], grid.below[:, :, C2H2]
    quiet: Bools = np.asarray(~(resets.odd.any(axis=1) | (np.isfinite(resets.year) & ~resets.recorded).any(axis=1)))
    tested, real = newest_columns(case.tested, 1)
    last = at(grid.year, newest_columns(grid.taken, 1)[0])[:, 0]
    return Beside(
        since_reset=since_reset,
        last=[as_date(year) for year in last.tolist()],
        since={row: as_date(float(start[row])) for row in np.flatnonzero(np.isfinite(start)).tolist()},
        used=use.sum(axis=1).tolist(),
        trend=acetylene_trends(grid.year, gas, below, grid.operations[:, :, 1], use, case.oil_volume),
        jumps=jumps(grid.year, grid.gas, grid.below, since_reset),
        quality=oil_quality(
            grid.year,
            grid.moisture,
            grid.breakdown,
            grid.method,
            np.array([held[MOST_WATER].value if MOST_WATER in held else np.nan for held in limits]),
            _least_breakdown(case, limits),
        ),
        newest=np.where(real & ~at(below, tested), at(gas, tested), np.nan)[:, 0],
        quiet=quiet,
    )


def _least_breakdown(case: Case, limits: Sequence[Mapping[str, Limit]]) -> Floats:
    """(S,) the user's limit for the test of the newest breakdown voltage [kV], NaN where there is none."""
    grid = case.grid
    column, real = newest_columns(np.isfinite(grid.breakdown), 1)
    test = np.where(real, at(grid.method, column), -1)[:, 0].tolist()
    names = [*grid.method_names, ""]  # the last for no test
    return np.array([least_breakdown(held, names[code]) for held, code in zip(limits, test, strict=True)])
