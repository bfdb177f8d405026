"""The plain averages that a forecast must beat, and how both fared: coverage, loss and bias, in words."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from tapwear.counts.filter import Floats, Ints
from tapwear.counts.path import read_count
from tapwear.counts.rate import RateModel
from tapwear.counts.reference import REFERENCE, REFERENCE_WORDS

PROBS = np.array([0.1, 0.5, 0.9])

PLAIN = {
    "life_average": "the average since the first reading",
    "last_year": "the last-year average",
    "last_two": "the rate between the last two readings",
}

FEW = 30
"""Fewer past forecasts than this allow no verdict (our choice)."""

BAND_CASES = 40
DEFAULT_BAND = (0.5, 1.7)
"""Plain averages take their bands from at least so many earlier errors, else these factors (our choice)."""


def plain_rates(model: RateModel, rows: Ints) -> dict[str, Floats]:
    """Operations a day of each series by each plain average; NaN with fewer than two usable visits."""
    series = model.series
    count = series.count[rows]
    out = {name: np.full(len(rows), np.nan) for name in PLAIN}
    some = np.flatnonzero(count >= 2)
    r = rows[some]
    first = series.begin[r]
    last = first + series.count[r] - 1
    day, total = series.day, series.operations
    back = np.maximum(day[last] - 365.0, day[first])
    year_ago, _ = read_count(model, r, back)
    out["life_average"][some] = (total[last] - total[first]) / (day[last] - day[first])
    out["last_year"][some] = (total[last] - year_ago) / (day[last] - back)
    out["last_two"][some] = (total[last] - total[last - 1]) / (day[last] - day[last - 1])
    return out


def with_plain_bands(forecasts: pd.DataFrame) -> pd.DataFrame:
    """The forecasts with low and high figures of every plain average, from its errors at earlier origins."""
    out = forecasts.copy()
    for name in (*PLAIN, REFERENCE):
        if name not in out:
            continue
        low, high = np.full(len(out), DEFAULT_BAND[0]), np.full(len(out), DEFAULT_BAND[1])
        ratio = ((out["made"] + 5.0) / (out[name] + 5.0)).to_numpy(float)
        for row in out[["origin", "horizon_days"]].drop_duplicates().itertuples(index=False):
            at = (out["origin"] == row.origin) & (out["horizon_days"] == row.horizon_days)
            past = (out["to_on"] <= row.origin) & (out["horizon_days"] == row.horizon_days)
            seen = ratio[past.to_numpy() & np.isfinite(ratio)]
            if len(seen) >= BAND_CASES:
                low[at.to_numpy()], high[at.to_numpy()] = np.quantile(seen, [0.1, 0.9])
        out[f"{name}_low"] = out[name] * np.minimum(low, 1.0)
        out[f"{name}_high"] = out[name] * np.maximum(high, 1.0)
    return out


def loss(made: Floats, quantiles: Floats) -> Floats:
    """Mean loss over the 10, 50 and 90 % figures (Koenker & Bassett 1978). [operations]"""
    apart = made[:, None] - np.sort(quantiles, axis=1)
    out: Floats = np.maximum(PROBS * apart, (PROBS - 1.0) * apart).mean(axis=1)
    return out


def fared(forecasts: pd.DataFrame) -> pd.DataFrame:
    """Coverage, loss and bias: one row for all, one per horizon, one per cadence, one per both.

    part [str], forecasts, units, coverage [share of outcomes within 10-90 %], coverage_se [clustered by unit],
    loss_regression, loss_beside : that of the regression beside, and ours of the same forecasts
    loss, loss_<plain average> [share of the unit's usual operations over the horizon], bias [median of middle
    over outcome, minus 1]
    """
    made = forecasts["made"].to_numpy(float)
    usual = forecasts.groupby(["unit", "horizon_days"])["made"].transform("mean").to_numpy(float)
    scale = np.maximum(usual, 10.0)
    table = forecasts[["unit", "horizon_days", "cadence"]].copy()
    ours = forecasts[["p10", "p50", "p90"]].to_numpy(float)
    table["held"] = ((made >= ours[:, 0]) & (made <= ours[:, 2])).astype(float)
    table["loss"] = loss(made, ours) / scale
    table["over"] = (ours[:, 1] + 5.0) / (made + 5.0) - 1.0
    for name in PLAIN:
        plain = forecasts[[f"{name}_low", name, f"{name}_high"]].to_numpy(float)
        table[f"loss_{name}"] = loss(made, plain) / scale
    if REFERENCE in forecasts:
        beside = forecasts[[f"{REFERENCE}_low", REFERENCE, f"{REFERENCE}_high"]].to_numpy(float)
        table[f"loss_{REFERENCE}"] = loss(made, beside) / scale
        table["loss_beside"] = table["loss"].where(table[f"loss_{REFERENCE}"].notna())
    rows = [_summary("all", table)]
    rows += [_summary(f"{days} days", part) for days, part in table.groupby("horizon_days")]
    rows += [_summary(str(cadence), part) for cadence, part in table.groupby("cadence")]
    both = table.groupby(["cadence", "horizon_days"])
    rows += [_summary(f"{cadence}, {days} days", part) for (cadence, days), part in both]
    return pd.DataFrame(rows)


def _summary(part: str, table: pd.DataFrame) -> dict[str, object]:
    out: dict[str, object] = {
        "part": part,
        "forecasts": len(table),
        "units": table["unit"].nunique(),
        "coverage": table["held"].mean(),
        "coverage_se": _clustered(table["held"].to_numpy(float), table["unit"].to_numpy(object)),
        "loss": table["loss"].mean(),
        "bias": table["over"].median(),
    }
    out.update({f"loss_{name}": table[f"loss_{name}"].mean() for name in PLAIN})
    for name in (f"loss_{REFERENCE}", "loss_beside"):
        if name in table:
            out[name] = table[name].mean()
    return out


def _clustered(held: Floats, unit: NDArray[np.object_]) -> float:
    """Standard error of the mean, clustered by unit; NaN with fewer than two units."""
    if not len(held):
        return float("nan")
    sums = pd.Series(held - held.mean()).groupby(unit).sum().to_numpy(float)
    n = len(sums)
    return float(np.sqrt(n / (n - 1) * (sums**2).sum()) / len(held)) if n > 1 else float("nan")


def verdict(table: pd.DataFrame) -> str:
    """What the comparison says, in two sentences; `table` as from `fared`."""
    if not len(table) or int(table["forecasts"].iloc[0]) < FEW:
        seen = int(table["forecasts"].iloc[0]) if len(table) else 0
        return (
            f"Too little history for a verdict: {seen} past forecasts could be compared with later readings, "
            f"{FEW} are needed. The bands rest on shipped values."
        )
    row = table.iloc[0]
    best = min(PLAIN, key=lambda name: float(row[f"loss_{name}"]))
    gain = 1.0 - float(row["loss"]) / max(float(row[f"loss_{best}"]), 1e-12)
    beat = f"beat {PLAIN[best]} by {100 * gain:.0f} %" if gain >= 0.005 else f"did not beat {PLAIN[best]}"
    coverage, doubt = float(row["coverage"]), float(row["coverage_se"])
    tail = ""
    if coverage + 2.0 * doubt < 0.8:
        tail = " The bands were too narrow: treat early dates as earlier than printed."
    elif coverage - 2.0 * doubt > 0.8:
        tail = " The bands were wider than needed."
    return (
        f"The 80 % bands held {100 * coverage:.0f} % of the time ({int(row['forecasts']):,} forecasts, "
        f"{int(row['units']):,} units); forecasts {beat}, the best of the plain averages.{tail}{_beside(table)}"
    )


def _beside(table: pd.DataFrame) -> str:
    """How the regression fared, and where it was the better one; "" where it was not fitted."""
    if f"loss_{REFERENCE}" not in table or not np.isfinite(table[f"loss_{REFERENCE}"].iloc[0]):
        return ""
    theirs, ours = table[f"loss_{REFERENCE}"], table["loss_beside"]
    worse = 100 * (float(theirs.iloc[0]) / max(float(ours.iloc[0]), 1e-12) - 1.0)
    better = [str(part) for part in table["part"][(theirs < ours) & (table["forecasts"] >= FEW)]]
    where = f"; it was the better one for: {'; '.join(better)}" if better else "; it was better nowhere"
    return f" {REFERENCE_WORDS.capitalize()} lost {abs(worse):.0f} % {'more' if worse >= 0 else 'less'}{where}."
