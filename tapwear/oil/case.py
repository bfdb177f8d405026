"""What the signatures read: the samples of all compartments, made ready once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from tapwear.oil.baseline import LikeUnits
from tapwear.oil.exposure import Exposure, discounted, losses, memories
from tapwear.oil.growth import rows_of
from tapwear.oil.laboratories import Laboratories, compare_laboratories
from tapwear.oil.resets import Resets, event_years, find_resets
from tapwear.oil.samples import Bools, Floats, Ints, SampleGrid, read_grid
from tapwear.oil.settings import OilSettings
from tapwear.oil.swaps import exchanged
from tapwear.peers import LIKE_OIL, Speakers

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

TYPICAL_VOLUME_L = 400.0  # where no unit's volume is known; our choice


@dataclass(frozen=True)
class Case:
    """Samples of S compartments, and what is known beside them.

    grid : the samples, up to L per compartment
    resets : where the oil started again, and the samples that do not count
    overhauls : (S, R) recorded overhauls [years since 1970], NaN padding
    partner : (S, L) row of the unit whose label a sample seems to bear, -1 if none
    memories : discounted operations under several losses, the ordinary one first, and their weights
    in_years : (S, L, 5) discounted years of vacuum units, whose gas may follow the time and not the operations
    loss : (S, 5) of each gas through the breather [1/year]
    vacuum : (S,) ; oil_volume : (S,) [L]
    like : which units are like one another
    older, tested : (S, L) samples that define the own past, and samples that are weighed
    gas : (S, L, 5) of the samples, with the shift of their laboratories taken out [uL/L]
    laboratories : how the laboratories differ
    foreign : (S, L) extra error of a sample from another laboratory than the own past's [log]
    breather_changes : (S, B) recorded changes of the breather [years since 1970], NaN padding
    before_breather : (S, L) extra error of gas per operation before the last such change [log]
    """

    grid: SampleGrid
    resets: Resets
    overhauls: Floats
    partner: Ints
    memories: list[tuple[Exposure, float]]
    in_years: Floats
    loss: Floats
    vacuum: Bools
    oil_volume: Floats
    like: LikeUnits
    older: Bools
    tested: Bools
    gas: Floats
    laboratories: Laboratories
    foreign: Floats
    breather_changes: Floats
    before_breather: Floats
    settings: OilSettings

    @property
    def exposure(self) -> Exposure:
        """Discounted operations under the ordinary loss."""
        return self.memories[0][0]

    def only(self, rows: Ints) -> Case:
        """Of some of the compartments."""
        names = (tuple(held[row] for row in rows.tolist()) for held in (self.grid.unit, self.grid.compartment))
        unit, compartment = names
        return replace(
            rows_of(self, rows),
            grid=replace(rows_of(self.grid, rows), unit=unit, compartment=compartment),
            resets=rows_of(self.resets, rows),
            memories=[(rows_of(exposure, rows), weight) for exposure, weight in self.memories],
            like=self.like.only(rows),
            laboratories=rows_of(self.laboratories, rows),
        )


def make_case(samples: pd.DataFrame, events: pd.DataFrame, by_unit: pd.DataFrame, settings: OilSettings) -> Case:
    """Everything the signatures read, for the compartments in `samples` (rows after the as-of date removed)."""
    grid = read_grid(samples, "compartment", settings.history_samples)
    here = by_unit.reindex(list(grid.unit))
    vacuum = (here["technology"] == "vacuum").to_numpy()
    volume = here["oil_volume_l"].to_numpy(dtype=np.float64, na_value=np.nan)
    known = np.isfinite(volume) & (volume > 0)
    like = _like(grid.unit, by_unit)
    told = volume[known & like.speak[-1]]
    typical = float(np.median(told)) if len(told) else TYPICAL_VOLUME_L
    swapped, partner = exchanged(grid, here["station"].fillna("").astype(str).tolist())
    resets = find_resets(grid, events, swapped)
    loss = losses(here["breathing"].fillna("").astype(str).tolist(), vacuum, settings)
    overhauls = np.where(resets.overhaul, resets.year, np.nan)
    held = memories(grid, resets, loss, settings)
    laboratories = compare_laboratories(grid, held[0][0], resets, like.speak[-1], settings)
    nothing = np.zeros(grid.year.shape, dtype=bool)
    case = Case(
        grid=grid,
        resets=resets,
        overhauls=overhauls,
        partner=partner,
        memories=held,
        in_years=_in_years(grid, resets, loss, vacuum, settings),
        loss=loss,
        vacuum=vacuum,
        oil_volume=np.where(known, volume, typical),
        like=like,
        older=nothing,
        tested=nothing,
        gas=grid.gas * np.exp(-laboratories.shift),
        laboratories=laboratories,
        foreign=np.zeros(grid.year.shape),
        breather_changes=event_years(events, grid.unit, ("breather_changed",)),
        before_breather=np.zeros(grid.year.shape),
        settings=settings,
    )
    everything = grid.usable & ~resets.odd
    return as_seen(as_seen(case, everything), weighable(grid.year, everything, overhauls))


def weighable(year: Floats, usable: Bools, overhauls: Floats) -> Bools:
    """(S, L) usable samples taken after the last overhaul; only they can show a fault that is still there."""
    last = np.max(np.where(np.isfinite(overhauls), overhauls, -np.inf), axis=1, initial=-np.inf)
    return np.asarray(usable & (year > last[:, None]))


def as_seen(case: Case, tested: Bools) -> Case:
    """The case with these samples weighed, and the own past that goes with the newest of them."""
    grid, settings = case.grid, case.settings
    newest = np.max(np.where(tested, grid.year, -np.inf), axis=1, keepdims=True)
    seen = grid.usable & ~case.resets.odd & (grid.year <= newest)
    rank = np.cumsum(seen[:, ::-1], axis=1)[:, ::-1]
    held = seen & (rank > settings.newest_held_out)
    older = held & (grid.year <= newest - settings.baseline_gap_years)
    older = np.where(older.any(axis=1, keepdims=True), older, held)
    older = np.where(tested.any(axis=1, keepdims=True), older, case.older)  # the past of like units stays
    other = _other_laboratory(grid, older)
    foreign = np.where(other, np.sqrt(2.0) * case.laboratories.sd, 0.0)
    changes = np.where(case.breather_changes <= newest, case.breather_changes, -np.inf)
    changed = np.max(changes, axis=1, initial=-np.inf)[:, None]
    before = np.where(grid.year <= changed, settings.breather_change_sd, 0.0)
    return replace(case, older=older, tested=tested, foreign=foreign, before_breather=before)


def _in_years(grid: SampleGrid, resets: Resets, loss: Floats, vacuum: Bools, settings: OilSettings) -> Floats:
    rows = np.flatnonzero(vacuum)
    some = rows_of(grid, rows)
    uncounted = replace(some, operations=np.full_like(some.operations, np.nan))
    out = np.full((*grid.year.shape, loss.shape[1]), np.nan)
    out[rows] = discounted(uncounted, rows_of(resets, rows), loss[rows], settings).amount
    return out


def _like(unit: Sequence[str], by_unit: pd.DataFrame) -> LikeUnits:
    """The groups of each row's unit, and who speaks for them."""
    here = by_unit.reindex(list(unit))
    names = np.asarray(unit, dtype=object)
    codes: list[Ints] = []
    speak: list[Bools] = []
    for like in LIKE_OIL:
        key = here[list(like)].fillna("").astype(str)
        codes.append(np.asarray(key.groupby(list(like), sort=False).ngroup(), dtype=np.int64))
        of_group, of_fleet = Speakers.of(by_unit, like).rows(names)  # of the fleet they are always the same
        speak.append(of_group)
    return LikeUnits((*codes, np.zeros(len(names), dtype=np.int64)), (*speak, of_fleet))


def _other_laboratory(grid: SampleGrid, older: Bools) -> Bools:
    """(S, L) True for a sample whose laboratory is not the one that most of the own past came from."""
    votes = np.where(older, grid.laboratory, -1)
    usual = np.full(len(votes), -1, dtype=np.int64)
    most = np.zeros(len(votes), dtype=np.int64)
    for code in range(int(grid.laboratory.max(initial=-1)) + 1):
        count = (votes == code).sum(axis=1)
        usual = np.where(count > most, code, usual)
        most = np.maximum(most, count)
    return np.asarray((grid.laboratory != usual[:, None]) & (usual >= 0)[:, None] & (grid.laboratory >= 0))
