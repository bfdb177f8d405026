"""Discounted operations: how many operations the gas now in the oil stands for.

Every operation adds gas, the breather takes some away each day, a reset leaves a small share behind. So
with a steady mechanism the concentration is proportional to

    X(t) = integral of rate(s) exp(-loss (t - s)) ds,   times the residual share at every reset,

whatever the rate of operations did. Where no count is known, X is in discounted years instead.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.oil.resets import Resets
from tapwear.oil.samples import Bools, Floats, SampleGrid
from tapwear.oil.settings import OilSettings

LONGEST_MEMORY_YEARS = 6.0  # of a sealed compartment that loses nothing, before its first sample; our choice
START_SD = 0.3  # log error of assuming a steady state before the first sample; our choice
RESIDUE_SD = 0.5  # log error of the residual share, which is 5-20 %; our choice
LOSS_SD = 0.35  # log error of the loss through the breather; our choice
LEAST_RATE = 0.02  # thousand operations a year, so that a unit at rest keeps a defined ratio; our choice


@dataclass(frozen=True)
class Exposure:
    """Discounted operations at each sample.

    amount : (S, L, 5) per READ_GASES [thousand operations; years where `counted` is False]
    old_share : (S, L, 5) share of it that rests on what was there at the start or on a reset's residue
    amount_sd : (S, L, 5) log error that an unknown start or an unknown residue leaves in it
    refill_sd : (S, L, 5) log error of the level to which fresh oil fills up, since the loss is not known well
    last_reset : (S, L) date of the last reset on or before the sample [years since 1970], NaN if none
    rate : (S, L) operations a year in the interval that ends at the sample [thousand operations/year]
    counted : (S,) True where the number of operations is known
    """

    amount: Floats
    old_share: Floats
    amount_sd: Floats
    refill_sd: Floats
    last_reset: Floats
    rate: Floats
    counted: Bools


def losses(breathing: list[str], vacuum: Bools, settings: OilSettings) -> Floats:
    """(S, 5) yearly loss of each gas [1/year] by breathing type and technology."""
    factor = np.array([settings.loss_factor.get(b, settings.loss_factor[""]) for b in breathing])
    factor = factor * np.where(vacuum, settings.vacuum_loss_factor, 1.0)
    return np.asarray(factor[:, None] * np.array(settings.loss_per_year)[None, :])


def memories(grid: SampleGrid, resets: Resets, loss: Floats, settings: OilSettings) -> list[tuple[Exposure, float]]:
    """Discounted operations under several multiples of the loss, with the weight of each; the first is 1."""
    return [(discounted(grid, resets, loss * factor, settings), weight) for factor, weight in settings.loss_multiples]


def rates(grid: SampleGrid) -> tuple[Floats, Bools]:
    """(S, L) thousand operations a year before each sample, and (S,) whether a count is known at all."""
    count, width = grid.year.shape
    operations = grid.operations[:, :, 1] / 1000.0
    counted = np.isfinite(operations).sum(axis=1) >= 2
    rate = np.full((count, width), np.nan)
    last_year, last_ops = np.full(count, np.nan), np.full(count, np.nan)
    for j in range(width):
        known = np.isfinite(operations[:, j]) & np.isfinite(grid.year[:, j])
        span = grid.year[:, j] - last_year
        usable = known & (span > 0.02)
        step = np.full(count, np.nan)
        np.divide(operations[:, j] - last_ops, span, out=step, where=usable)
        rate[:, j] = np.maximum(step, LEAST_RATE)
        moved = known & ~(span <= 0.02)
        last_year = np.where(moved, grid.year[:, j], last_year)
        last_ops = np.where(moved, operations[:, j], last_ops)
    following = np.full(count, np.nan)
    for j in range(width - 1, -1, -1):  # a first sample takes the rate of the interval after it
        following = np.where(np.isfinite(rate[:, j]), rate[:, j], following)
        rate[:, j] = np.where(np.isfinite(rate[:, j]), rate[:, j], following)
    before = np.full(count, 1.0)
    for j in range(width):
        before = np.where(np.isfinite(rate[:, j]), rate[:, j], before)
        rate[:, j] = before
    return np.where(counted[:, None], rate, 1.0), counted


def discounted(grid: SampleGrid, resets: Resets, loss: Floats, settings: OilSettings) -> Exposure:
    """Discounted operations at every sample of the grid.

    Parameters
    ----------
    loss : (S, 5) [1/year], from `losses`
    """
    rate, counted = rates(grid)
    count, width = grid.year.shape
    gases = loss.shape[1]
    newest = np.max(np.where(np.isfinite(grid.year), grid.year, -np.inf), axis=1)
    reset_year = np.where(resets.year <= newest[:, None], resets.year, np.nan)
    when = np.concatenate([grid.year, reset_year], axis=1)
    order = np.argsort(np.where(np.isfinite(when), when, np.inf), axis=1, kind="stable")
    amount = np.full((count, width, gases), np.nan)
    old_share = np.full((count, width, gases), np.nan)
    last_reset = np.full((count, width), np.nan)
    slow = np.maximum(loss, 1e-6)
    start = rate[:, [0]] * np.minimum(1.0 / slow, LONGEST_MEMORY_YEARS)
    held, old = start.copy(), start.copy()
    now, reset_at = np.full(count, np.nan), np.full(count, np.nan)
    rows = np.arange(count)
    for j in range(order.shape[1]):
        column = order[:, j]
        year = when[rows, column]
        real = np.isfinite(year)
        ahead = _next_sample(grid.year, year, width)
        span = np.where(np.isfinite(now) & real, year - now, 0.0)
        decay = np.exp(-slow * span[:, None])
        held = held * decay + rate[rows, ahead][:, None] * (1.0 - decay) / slow
        old = old * decay
        is_reset = real & (column >= width)
        held = np.where(is_reset[:, None], held * settings.residual_share, held)
        old = np.where(is_reset[:, None], held, old)
        reset_at = np.where(is_reset, year, reset_at)
        sample = real & (column < width)
        s, c = rows[sample], column[sample]
        amount[s, c] = held[sample]
        old_share[s, c] = (old / np.maximum(held, 1e-12))[sample]
        last_reset[s, c] = reset_at[sample]
        now = np.where(real, year, now)
    started_unknown = ~np.isfinite(last_reset)[:, :, None]
    amount_sd = old_share * np.where(started_unknown, START_SD, RESIDUE_SD)
    since = (grid.year - last_reset)[:, :, None]
    refill_sd = np.where(
        started_unknown, 0.0, LOSS_SD * np.exp(-slow[:, None, :] * np.where(started_unknown, 0.0, since))
    )
    return Exposure(amount, old_share, amount_sd, refill_sd, last_reset, rate, counted)


def _next_sample(sample_year: Floats, year: Floats, width: int) -> np.ndarray:
    """Column of the first sample on or after each date (the last column where there is none)."""
    later = sample_year >= year[:, None]
    return np.where(later.any(axis=1), later.argmax(axis=1), width - 1)
