"""Laboratories that read higher or lower than others, learned from the compartments that changed laboratory.

Each laboratory gets one shift per gas. Only compartments that were sampled by two laboratories or more say
anything about them, since a steady compartment's own level is taken out; shifts that little is known of stay
near nothing (ridge regression).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.oil.exposure import Exposure
from tapwear.oil.resets import Resets
from tapwear.oil.samples import Bools, Floats, SampleGrid
from tapwear.oil.settings import OilSettings

MOST_DEVIATION = 0.5  # log: a value farther from its compartment's own level speaks of something else; our choice
SCATTER = 0.2  # log: ordinary scatter of a sound compartment about its own level; our choice


@dataclass(frozen=True)
class Laboratories:
    """How laboratories differ.

    shift : (S, L, 5) of the laboratory of each sample, against the middle of all [log]
    sd : (S, L) how little is known of that shift [log]
    """

    shift: Floats
    sd: Floats


def compare_laboratories(
    grid: SampleGrid, exposure: Exposure, resets: Resets, speak: Bools, settings: OilSettings
) -> Laboratories:
    """The shift of every laboratory, from gas per discounted operation in compartments that saw several.

    speak : (S,) compartments from which it is learnt
    """
    labs = int(grid.laboratory.max(initial=-1)) + 1
    shape = grid.gas.shape
    nothing = Laboratories(np.zeros(shape), np.full(shape[:2], settings.laboratory_sd_between))
    if labs < 2:
        return nothing
    level = np.log(np.where(grid.below, np.nan, grid.gas)) - np.log(exposure.amount)
    level = np.where((grid.usable & ~resets.odd & speak[:, None])[:, :, None], level, np.nan)
    prior = np.square(SCATTER / settings.laboratory_sd_between)
    shift = np.zeros((labs, shape[2]))
    certain = np.zeros((labs, labs))
    for gas in range(shape[2]):
        use = np.isfinite(level[:, :, gas]) & (grid.laboratory >= 0)
        row, _ = np.nonzero(use)
        lab, value = grid.laboratory[use], level[:, :, gas][use]
        counts = np.zeros((shape[0], labs))
        np.add.at(counts, (row, lab), 1.0)
        total = np.maximum(counts.sum(axis=1), 1.0)
        centred = np.clip(value - _row_median(row, value, shape[0])[row], -MOST_DEVIATION, MOST_DEVIATION)
        mean = np.bincount(row, weights=centred, minlength=shape[0]) / total
        moment = np.bincount(lab, weights=centred - mean[row], minlength=labs)
        certain = np.diag(counts.sum(axis=0)) - (counts / total[:, None]).T @ counts
        shift[:, gas] = np.linalg.solve(certain + prior * np.eye(labs), moment)
    spread = SCATTER * np.sqrt(np.diag(np.linalg.inv(certain + prior * np.eye(labs))))
    known = np.maximum(grid.laboratory, 0)
    told = grid.laboratory >= 0
    return Laboratories(
        shift=np.where(told[:, :, None], shift[known], 0.0),
        sd=np.where(told, spread[known], settings.laboratory_sd_between),
    )


def _row_median(row: np.ndarray, value: Floats, count: int) -> Floats:
    """(count,) median of the values of each row; `row` is sorted. NaN-free: rows without values get 0."""
    order = np.lexsort((value, row))
    size = np.bincount(row, minlength=count)
    first = np.concatenate([[0], np.cumsum(size)[:-1]])
    out = np.zeros(count)
    has = size > 0
    low, high = first + (size - 1) // 2, first + size // 2
    ordered = value[order]
    out[has] = 0.5 * (ordered[low[has]] + ordered[high[has]])
    return out
