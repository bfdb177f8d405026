"""One verdict per unit from its oil samples, events and operations, as of a date."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from tapwear.oil.arcing import arcing
from tapwear.oil.baseline import LikeUnits
from tapwear.oil.call import judge
from tapwear.oil.case import Case, as_seen, make_case, weighable
from tapwear.oil.growth import Evidence, scattered
from tapwear.oil.heating import heating
from tapwear.oil.resets import event_years
from tapwear.oil.samples import Bools, SampleGrid, read_grid
from tapwear.oil.settings import C2H2, OilSettings
from tapwear.oil.tank import tank_acetylene
from tapwear.oil.types import OilVerdict
from tapwear.oil.unanswered import question_of, stronger
from tapwear.oil.vacuum import vacuum_acetylene
from tapwear.oil.verdict import Judged, Reader
from tapwear.peers import Speakers

if TYPE_CHECKING:
    from collections.abc import Callable, Collection

    import pandas as pd

MOST_TO_CUT = 0.7  # share of the compartments; of more, all are read, as it costs less than to cut them out; our choice


def assess(
    samples: pd.DataFrame,
    events: pd.DataFrame,
    units: pd.DataFrame,
    as_of: date,
    limits: pd.DataFrame | None = None,
    settings: OilSettings | None = None,
    wanted: Collection[str] | None = None,
) -> tuple[OilVerdict, ...]:
    """What the oil of every unit says as of a date, in the order of `units`.

    Parameters
    ----------
    samples, events, units : frames as described in `tapwear.oil.types`; rows dated after `as_of` are ignored
    limits : the user's limits as described in `tapwear.oil.limits`, or None
    settings : the choices the assessment rests on, or None for those that ship
    wanted : units to give a verdict on, the others only being compared with; None: all

    What a fall of all gases without recorded oil work would take back stands until somebody explains it.
    """
    found = _assess(samples, events, units, as_of, limits, settings, wanted)
    asked = {one.unit: day for one in found if (day := question_of(one)) is not None}
    if not asked:
        return found
    last = samples["unit"].map(asked).astype("datetime64[us]")
    earlier = samples[last.isna() | (samples["sampled_on"] <= last)]
    before = {one.unit: one for one in _assess(earlier, events, units, as_of, limits, settings, frozenset(asked))}
    return tuple(stronger(verdict, before.get(verdict.unit)) for verdict in found)


def _assess(
    samples: pd.DataFrame,
    events: pd.DataFrame,
    units: pd.DataFrame,
    as_of: date,
    limits: pd.DataFrame | None,
    settings: OilSettings | None,
    wanted: Collection[str] | None,
) -> tuple[OilVerdict, ...]:
    chosen = settings or OilSettings()
    samples = samples.loc[samples["sampled_on"] <= np.datetime64(as_of)]
    events = events.loc[events["happened_on"] <= np.datetime64(as_of)]
    by_unit = units.drop_duplicates("unit").set_index(units["unit"].drop_duplicates().astype(str))
    case = make_case(samples, events, by_unit, chosen)
    of = set(case.grid.unit if wanted is None else wanted)
    asked = np.array([unit in of for unit in case.grid.unit], dtype=bool)
    judged = [
        Judged(case.grid, *judge(_weigher(case, signature), case.tested, asked, case.like.speaks, chosen))
        for signature in (heating, arcing, vacuum_acetylene)
    ]
    tank = read_grid(samples, "main_tank", chosen.history_samples)
    if tank.unit:
        judged.append(_judge_tank(tank, case, by_unit, events))
    reader = Reader.of(case, judged, limits, by_unit, as_of)
    named = units["unit"] if wanted is None else units["unit"][units["unit"].isin(wanted)]
    return tuple(reader.verdict(unit) for unit in named.astype(str).to_numpy(object).tolist())


def _weigher(case: Case, signature: Callable[[Case, Bools], Evidence]) -> Callable[[Bools, Bools], Evidence]:
    """From samples to test (S, L) and compartments to weigh (S,) to the evidence of a signature.

    Only those are read, and those from which is learnt what is usual.
    """

    def weigh(tested: Bools, asked: Bools) -> Evidence:
        rows = np.flatnonzero(asked | case.like.speaks)
        if len(rows) > MOST_TO_CUT * len(asked):
            return signature(as_seen(case, tested), asked)
        part = signature(as_seen(case.only(rows), tested[rows]), asked[rows])
        column = np.full((len(asked), part.column.shape[1]), -1, dtype=np.int64)
        usual = np.full(len(asked), np.nan)
        column[rows], usual[rows] = part.column, part.usual
        return scattered(part, rows, column, usual)

    return weigh


def _judge_tank(tank: SampleGrid, case: Case, by_unit: pd.DataFrame, events: pd.DataFrame) -> Judged:
    """Evidence and call for acetylene that arrives in the main tanks."""
    here = by_unit.reindex(list(tank.unit))
    beside: dict[str, float] = {}
    for i, unit in enumerate(case.grid.unit):
        values = case.grid.gas[i, :, C2H2]
        values = values[np.isfinite(values)][-4:]
        if len(values):
            beside[unit] = max(float(np.median(values)), beside.get(unit, 0.0))
    acetylene = np.array([beside.get(u, np.nan) for u in tank.unit])
    overhauls = event_years(events, tank.unit, ("overhaul",))
    alike = np.zeros(len(tank.unit), dtype=np.int64)
    of_fleet = Speakers.of(by_unit, ("technology",)).rows(list(tank.unit))[1]

    def weigh(tested: Bools, _: Bools) -> Evidence:
        return tank_acetylene(
            tank,
            acetylene,
            here["oil_volume_l"].to_numpy(dtype=np.float64, na_value=np.nan),
            here["main_tank_volume_l"].to_numpy(dtype=np.float64, na_value=np.nan),
            (here["conservator"] == "common").to_numpy(),
            overhauls,
            tested,
            LikeUnits((alike, alike), (of_fleet, of_fleet)),
            case.settings,
        )

    known = np.isfinite(tank.gas[:, :, C2H2])
    everyone = np.ones(len(tank.unit), dtype=bool)
    return Judged(tank, *judge(weigh, weighable(tank.year, known, overhauls), everyone, everyone, case.settings))
