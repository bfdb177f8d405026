"""Densities of samples, whose errors have heavy tails, and sums and products of many of them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tapwear.oil.samples import Floats, Ints
from tapwear.oil.settings import OilSettings

FEW_SAMPLES = 8  # whose misfits may be multiplied without growing beyond all numbers
LOG_2 = float(np.log(2.0))


def misfit_of(
    residuals: Sequence[Floats], precisions: Sequence[Floats], shared_sd: Floats, settings: OilSettings
) -> Floats:
    """What residuals with own and shared errors have as density, up to a constant, once raised to `power_of`.

    A multivariate Student's t with covariance diag(1 / precision) + shared_sd^2.

    Parameters
    ----------
    residuals, precisions : one array per gas, that broadcast; a residual whose precision is 0 drops out
    """
    total = np.sum(precisions, axis=0)
    shared = np.where(total > 0, np.square(shared_sd), 0.0)
    common, *others = (precision * residual for precision, residual in zip(precisions, residuals, strict=True))
    distance = common * residuals[0]
    for weighted, residual in zip(others, residuals[1:], strict=True):
        common += weighted
        weighted *= residual
        distance += weighted
    common *= common
    common *= shared / (1.0 + shared * total)
    distance -= common
    distance *= 1.0 / settings.tails
    distance += 1.0
    return np.asarray(distance)


def power_of(gases: Ints, settings: OilSettings) -> Floats:
    """(n, S) for the number of gases (n, S) known of each sample; where none is, the misfit is 1 and any power does."""
    power = -0.5 * (settings.tails + gases)
    return np.where(gases > 0, power, power.min(axis=0))


def log_product(misfit: Floats, power: Floats) -> Floats:
    """(P, S) sum over the samples of power (n, S) times the logarithm of misfit (P, n, S), which it may overwrite.

    Where all samples of each row have one power, the logarithm is taken only once, of their product.
    """
    if misfit.shape[1] <= FEW_SAMPLES and (power == power[0]).all():
        return np.asarray(np.log(misfit.prod(axis=1)) * power[0])
    np.log(misfit, out=misfit)
    misfit *= power
    return np.asarray(misfit.sum(axis=1))


def log_sum(values: Floats) -> Floats:
    """Logarithm of the sum, over the first axis, of what these are the logarithms of."""
    top = values.max(axis=0)
    apart = values - top
    np.exp(apart, out=apart)
    return np.asarray(top + np.log(apart.sum(axis=0)))


def bent_log(concentration: Floats, bend: Floats) -> Floats:
    """A logarithm that turns into a straight line below `bend`, so that errors keep one size.

    Well above the detection limit an error is a share of the value, near it a constant amount; on this
    scale (the generalised logarithm) both are alike.
    """
    return np.asarray(log_of_twice(concentration, np.square(bend)) - LOG_2)


def log_of_twice(concentration: Floats, square_bend: Floats) -> Floats:
    """The same of twice the concentration and twice the bend, from the square of the bend."""
    out = np.asarray(np.square(concentration) + square_bend)
    np.sqrt(out, out=out)
    out += concentration
    return np.asarray(np.log(out, out=out))
