"""One verdict per unit from its oil samples, events and operations, as of a date."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from tapwear.oil.arcing import arcing
from tapwear.oil.call import Judgement, judge
from tapwear.oil.dates import EPOCH, as_date, date_range
from tapwear.oil.exposure import losses, memories
from tapwear.oil.growth import Evidence
from tapwear.oil.heating import heating
from tapwear.oil.resets import event_years, find_resets
from tapwear.oil.samples import DAYS_PER_YEAR, Bools, Floats, Ints, SampleGrid, read_grid
from tapwear.oil.settings import C2H2, OilSettings
from tapwear.oil.swaps import exchanged
from tapwear.oil.tank import tank_acetylene
from tapwear.oil.trend import acetylene_trend
from tapwear.oil.types import OilFinding, OilVerdict
from tapwear.oil.vacuum import vacuum_acetylene

if TYPE_CHECKING:
    import pandas as pd


def assess(
    samples: pd.DataFrame,
    events: pd.DataFrame,
    units: pd.DataFrame,
    as_of: date,
    limits: pd.DataFrame | None = None,
    settings: OilSettings | None = None,
) -> tuple[OilVerdict, ...]:
    """What the oil of every unit says as of a date, in the order of `units`.

    Parameters
    ----------
    samples, events, units : frames as described in `tapwear.oil.types`; rows dated after `as_of` are ignored
    limits : the user's limits, or None
    settings : the choices the assessment rests on, or None for those that ship
    """
    chosen = settings or OilSettings()
    samples = samples.loc[samples["sampled_on"] <= np.datetime64(as_of)]
    events = events.loc[events["happened_on"] <= np.datetime64(as_of)]
    now = (as_of - EPOCH).days / DAYS_PER_YEAR
    by_unit = units.drop_duplicates("unit").set_index(units["unit"].astype(str))
    grid = read_grid(samples, "compartment", chosen.history_samples)
    here = by_unit.reindex(list(grid.unit))
    vacuum = (here["technology"] == "vacuum").to_numpy()
    volume = here["oil_volume_l"].to_numpy(dtype=np.float64, na_value=np.nan)
    volume = np.where(np.isfinite(volume) & (volume > 0), volume, _typical(volume))
    groups = _groups(here)
    swapped, _ = exchanged(grid, here["station"].fillna("").astype(str).tolist())
    resets = find_resets(grid, events, swapped)
    loss = losses(here["breathing"].fillna("").astype(str).tolist(), vacuum, chosen)
    memory = memories(grid, resets, loss, chosen)
    exposure = memory[0][0]
    older, tested = _windows(grid, event_years(events, grid.unit, ("overhaul",)), chosen)
    foreign = np.where(_other_laboratory(grid, older), chosen.laboratory_change_sd, 0.0)
    args = (older, tested, foreign, groups, chosen)
    found: list[tuple[SampleGrid, Evidence]] = [
        (grid, heating(grid, exposure, resets, loss, vacuum, volume, *args)),
        (grid, arcing(grid, memory, resets, vacuum, volume, *args)),
        (grid, vacuum_acetylene(grid, exposure, resets, loss, vacuum, volume, *args)),
    ]
    tank = read_grid(samples, "main_tank", chosen.history_samples)
    if tank.unit:
        found.append((tank, _tank(tank, grid, by_unit, events, chosen)))
    judged = [(g, e, judge(e, chosen)) for g, e in found]
    return tuple(_verdict(str(unit), as_of, now, grid, resets.year, volume, judged, chosen) for unit in units["unit"])


def _typical(volume: Floats) -> float:
    known = volume[np.isfinite(volume) & (volume > 0)]
    return float(np.median(known)) if len(known) else 400.0


def _groups(here: pd.DataFrame) -> list[Ints]:
    text = {c: here[c].fillna("").astype(str) for c in ("technology", "breathing", "oil_group")}
    keys = [
        text["technology"] + "|" + text["breathing"] + "|" + text["oil_group"],
        text["technology"] + "|" + text["breathing"],
        text["technology"],
    ]
    return [k.factorize()[0].astype(np.int64) for k in keys]


def _windows(grid: SampleGrid, overhauls: Floats, settings: OilSettings) -> tuple[Bools, Bools]:
    """Samples that define the own past, and samples that are weighed (since the last overhaul)."""
    usable = grid.usable
    newest = np.max(np.where(usable, grid.year, -np.inf), axis=1, keepdims=True)
    rank = np.cumsum(usable[:, ::-1], axis=1)[:, ::-1]
    held = usable & (rank > settings.newest_held_out)
    older = held & (grid.year <= newest - settings.baseline_gap_years)
    older = np.where(older.any(axis=1, keepdims=True), older, held)
    last = np.max(np.where(np.isfinite(overhauls), overhauls, -np.inf), axis=1, initial=-np.inf)
    return older, usable & (grid.year > last[:, None])


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


def _tank(
    tank: SampleGrid, grid: SampleGrid, by_unit: pd.DataFrame, events: pd.DataFrame, settings: OilSettings
) -> Evidence:
    here = by_unit.reindex(list(tank.unit))
    beside: dict[str, float] = {}
    for i, unit in enumerate(grid.unit):
        values = grid.gas[i, :, C2H2]
        values = values[np.isfinite(values)][-4:]
        if len(values):
            beside[unit] = max(float(np.median(values)), beside.get(unit, 0.0))
    acetylene = np.array([beside.get(u, np.nan) for u in tank.unit])
    overhauls = event_years(events, tank.unit, ("overhaul",))
    return tank_acetylene(
        tank,
        acetylene,
        here["oil_volume_l"].to_numpy(dtype=np.float64, na_value=np.nan),
        here["main_tank_volume_l"].to_numpy(dtype=np.float64, na_value=np.nan),
        (here["conservator"] == "common").to_numpy(),
        overhauls,
        settings,
    )


def _verdict(
    unit: str,
    as_of: date,
    now: float,
    grid: SampleGrid,
    reset_year: Floats,
    volume: Floats,
    judged: list[tuple[SampleGrid, Evidence, Judgement]],
    settings: OilSettings,
) -> OilVerdict:
    rows = [i for i, u in enumerate(grid.unit) if u == unit]
    findings: list[OilFinding] = []
    ranges = []
    severe = resample = False
    for g, evidence, call in judged:
        for i in (k for k, u in enumerate(g.unit) if u == unit):
            if not (call.pull[i] or call.resample[i]):
                continue
            findings.append(
                OilFinding(
                    kind=evidence.kind,
                    words=f"{evidence.kind}: {evidence.excess[i]:.3g} beyond the usual {evidence.usual[i]:.3g}",
                    figures={
                        "chance": float(call.probability[i]),
                        "severity": float(evidence.severity[i]),
                        "excess": float(evidence.excess[i]),
                        "usual": float(evidence.usual[i]),
                    },
                )
            )
            if call.pull[i]:
                severe = severe or bool(call.severe[i])
                ranges.append(date_range(evidence.open_year[i], evidence.open_sd[i], evidence.weight[i], as_of))
            resample = resample or bool(call.resample[i])
    last, used, since, trend = None, 0, None, None
    if rows:
        i = max(rows, key=lambda k: np.nanmax(grid.year[k]))
        taken = grid.taken[i]
        last = as_date(float(np.nanmax(grid.year[i])))
        resets = reset_year[i][np.isfinite(reset_year[i]) & (reset_year[i] <= now)]
        start = float(resets.max()) if len(resets) else -np.inf
        since = as_date(start) if len(resets) else None
        acetylene = np.where(grid.below[i, :, C2H2], 0.5, 1.0) * grid.gas[i, :, C2H2]
        use = taken & np.isfinite(acetylene) & (grid.year[i] > start)
        used = int((grid.usable[i] & (grid.year[i] > start)).sum())
        trend = acetylene_trend(grid.year[i], acetylene, grid.operations[i, :, 1], use, float(volume[i]))
    if ranges:
        early, middle, late = min(ranges, key=lambda r: r[1])
        return OilVerdict(
            unit, as_of, "pull forward", severe, early, middle, late, None, tuple(findings), trend, last, used, since
        )
    if last is None or (as_of - last).days > settings.stale_after_days:
        return OilVerdict(unit, as_of, "no oil evidence", last_sample_on=last, evidence_since=since)
    if resample:
        by = max(last + timedelta(days=settings.resample_within_days), as_of)
        return OilVerdict(
            unit,
            as_of,
            "resample",
            resample_by=by,
            findings=tuple(findings),
            trend=trend,
            last_sample_on=last,
            samples_used=used,
            evidence_since=since,
        )
    return OilVerdict(
        unit, as_of, "nothing unusual", trend=trend, last_sample_on=last, samples_used=used, evidence_since=since
    )
