"""Oil samples as flat arrays: one row per compartment, its newest samples at the right end.

A below-limit value keeps its limit and a mark, so that it is read as "somewhere below", never as zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from tapwear.oil.settings import READ_GASES
from tapwear.weeks import DAYS_PER_YEAR

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class SampleGrid:
    """Samples of S compartments, up to L each, right-aligned; padding is NaN, False or -1.

    Attributes
    ----------
    unit, compartment : S names each
    year : (S, L) date of the sample [years since 1970-01-01]
    gas : (S, L, 5) hydrogen, methane, ethane, ethylene, acetylene [uL/L], the limit where `below`
    below : (S, L, 5) True where the laboratory saw less than its detection limit
    operations : (S, L, 3) cumulative operations at the sample, 10, 50 and 90 % [operations]
    laboratory : (S, L) code of the laboratory
    sample_id : (S, L)
    moisture, breakdown : (S, L) [mg/kg], [kV]
    method : (S, L) code of the breakdown test method and gap, -1 unknown
    method_names : name of each code, as `breakdown_key` makes it
    """

    unit: tuple[str, ...]
    compartment: tuple[str, ...]
    year: Floats
    gas: Floats
    below: Bools
    operations: Floats
    laboratory: Ints
    sample_id: Ints
    moisture: Floats
    breakdown: Floats
    method: Ints
    method_names: tuple[str, ...] = ()

    @cached_property
    def taken(self) -> Bools:
        """(S, L) True where there is a sample."""
        return np.isfinite(self.year)

    @cached_property
    def usable(self) -> Bools:
        """(S, L) True where ethylene and acetylene were both reported."""
        return np.isfinite(self.gas[:, :, 3]) & np.isfinite(self.gas[:, :, 4])


def years_since_epoch(dates: pd.Series) -> Floats:
    """Dates [datetime64] as years since 1970-01-01 [years]."""
    days = dates.to_numpy().astype("datetime64[D]").astype("float64")
    return np.asarray(days / DAYS_PER_YEAR, dtype=np.float64)


def row_median(values: Floats) -> Floats:
    """Medians of rows (S, n), (S,), that ignore NaN and give NaN, without a warning, for rows that hold nothing."""
    ordered = np.sort(values, axis=1)  # NaN last
    count = np.isfinite(values).sum(axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum((count - 1) // 2, 0)]
    high = ordered[rows, np.maximum(count // 2, 0)]
    return np.asarray(np.where(count > 0, 0.5 * (low + np.where(count > 0, high, 0.0)), np.nan))


def breakdown_key(method: str, gap_mm: float) -> str:
    """How a test of the breakdown voltage is named, so that spelling does not matter and no two tests are mixed.

    `iec60156|2.5`; without a gap `iec60156|`; "" for no method.
    """
    word = "".join(char for char in method.casefold() if char.isalnum())
    return f"{word}|{'' if np.isnan(gap_mm) else f'{gap_mm:g}'}" if word else ""


def read_grid(samples: pd.DataFrame, taken_from: str, most: int) -> SampleGrid:
    """The newest `most` samples of every compartment (or main tank) as a grid.

    Parameters
    ----------
    samples : frame as described in `tapwear.oil.types`, already cut at the as-of date
    taken_from : "compartment" or "main_tank"
    most : samples kept per compartment
    """
    part = samples.loc[samples["taken_from"] == taken_from]
    part = part.sort_values(["unit", "compartment", "sampled_on", "sample_id"], kind="stable")
    keys = part[["unit", "compartment"]].drop_duplicates()
    code = part.groupby(["unit", "compartment"], sort=False, observed=True).ngroup().to_numpy()
    count = np.bincount(code, minlength=len(keys)).astype(np.int64)
    width = int(min(count.max(initial=1), most))
    first = np.concatenate([[0], np.cumsum(count)[:-1]]).astype(np.int64)
    from_end = (count[code] - 1) - (np.arange(len(part)) - first[code])
    kept = from_end < width
    row, column = code[kept], width - 1 - from_end[kept]
    part = part.loc[kept]
    shape = (len(keys), width)

    def floats(name: str) -> Floats:
        out = np.full(shape, np.nan)
        if name in part:
            out[row, column] = part[name].to_numpy(dtype=np.float64, na_value=np.nan)
        return out

    def codes(text: pd.Series) -> tuple[Ints, tuple[str, ...]]:
        out = np.full(shape, -1, dtype=np.int64)
        number, names = text.factorize(sort=True)
        out[row, column] = np.where(text.to_numpy() == "", -1, number)
        return out, tuple(map(str, names))

    def texts(name: str) -> pd.Series:
        return part[name].fillna("").astype(str) if name in part else part["unit"].astype(str).str.slice(0, 0)

    year = np.full(shape, np.nan)
    year[row, column] = years_since_epoch(part["sampled_on"])
    sample_id = np.full(shape, -1, dtype=np.int64)
    sample_id[row, column] = part["sample_id"].to_numpy(dtype=np.int64)
    gas = np.stack([floats(g) for g in READ_GASES], axis=2)
    below = np.zeros((*shape, len(READ_GASES)), dtype=bool)
    for i, name in enumerate(READ_GASES):
        if f"{name}_below" in part:
            below[row, column, i] = part[f"{name}_below"].fillna(False).to_numpy(dtype=bool)
    gas = np.where(gas > 0, gas, np.nan)
    method, method_names = codes(_tests(part, texts("breakdown_method")))
    operations = np.stack([floats(f"operations_{q}") for q in ("low", "mid", "high")], axis=2)
    return SampleGrid(
        unit=tuple(keys["unit"].astype(str).to_numpy(object).tolist()),
        compartment=tuple(keys["compartment"].astype(str).to_numpy(object).tolist()),
        year=year,
        gas=gas,
        below=below & np.isfinite(gas),
        operations=operations,
        laboratory=codes(texts("laboratory"))[0],
        sample_id=sample_id,
        moisture=floats("moisture_mg_per_kg"),
        breakdown=floats("breakdown_kv"),
        method=method,
        method_names=method_names,
    )


def _tests(part: pd.DataFrame, method: pd.Series) -> pd.Series:
    """Method and gap of the breakdown test of each sample in one word, "" where no method is known."""
    gap = part["breakdown_gap_mm"].to_numpy(float) if "breakdown_gap_mm" in part else np.full(len(part), np.nan)
    number = method.groupby([method.to_numpy(), gap], dropna=False).ngroup().to_numpy()
    _, first = np.unique(number, return_index=True)
    words = [breakdown_key(method.iloc[place], float(gap[place])) for place in first]
    named = method.copy()
    named[:] = np.array(words, dtype=object)[number]
    return named
