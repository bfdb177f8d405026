"""The verdict on one unit, put together from the evidence on its compartments and its main tank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from tapwear.oil import sentences
from tapwear.oil.call import Judgement
from tapwear.oil.case import Case
from tapwear.oil.dates import EPOCH, as_date, date_range
from tapwear.oil.growth import Evidence
from tapwear.oil.limits import MOST_WATER, Limit, least_breakdown, limits_of, over_limits
from tapwear.oil.quality import oil_quality
from tapwear.oil.samples import DAYS_PER_YEAR, Floats, SampleGrid
from tapwear.oil.settings import C2H2
from tapwear.oil.trend import acetylene_trend
from tapwear.oil.types import AcetyleneTrend, OilFinding, OilVerdict
from tapwear.oil.unlike import jump, jump_finding

if TYPE_CHECKING:
    import pandas as pd

NAMES = {
    "heating": "heating",
    "arcing": "arcing",
    "vacuum acetylene": "acetylene in a vacuum unit",
    "main tank acetylene": "acetylene in the main tank",
}
ENOUGH_LIKE_UNITS = 20  # compartments of a like group before its percentiles are named; our choice
FRESH_YEARS = 5.0  # samples that count among like units; our choice


@dataclass(frozen=True)
class Judged:
    """One signature: the samples it read, its evidence and its call."""

    grid: SampleGrid
    evidence: Evidence
    call: Judgement


@dataclass
class _Asked:
    """What the findings of one unit add up to, gathered signature by signature."""

    findings: list[OilFinding] = field(default_factory=list)
    ranges: list[tuple[date, date, date]] = field(default_factory=list)
    severe: bool = False
    resample: bool = False


@dataclass(frozen=True)
class _Compartment:
    """What one compartment's samples say beside the signatures."""

    last: date
    since: date | None
    trend: AcetyleneTrend | None
    used: int
    quality: tuple[OilFinding, ...]


@dataclass(frozen=True)
class Reader:
    """Everything needed to word the verdicts of a fleet.

    rows, judged_rows : rows of each unit in the grid of compartments, and in that of each signature
    rank, group_size : (S,) share of like units with less acetylene, and how many those are
    """

    case: Case
    judged: Sequence[Judged]
    limits: pd.DataFrame | None
    by_unit: pd.DataFrame
    as_of: date
    rows: dict[str, list[int]]
    judged_rows: list[dict[str, list[int]]]
    rank: Floats
    group_size: Floats
    limits_held: dict[tuple[str, str], dict[str, Limit]] = field(default_factory=dict)  # as they are asked for

    @classmethod
    def of(
        cls, case: Case, judged: Sequence[Judged], limits: pd.DataFrame | None, by_unit: pd.DataFrame, as_of: date
    ) -> Reader:
        """A reader of these judgements; the ranks among like units are worked out once."""
        rank, size = _ranks(case, (as_of - EPOCH).days / DAYS_PER_YEAR)
        judged_rows = [_rows_by_unit(j.grid) for j in judged]
        return cls(case, judged, limits, by_unit, as_of, _rows_by_unit(case.grid), judged_rows, rank, size)

    def verdict(self, unit: str) -> OilVerdict:
        """What the oil of one unit says."""
        seen = OilVerdict(unit, self.as_of, "no oil evidence")
        limits = self._limits_of(unit)
        asked = self._signatures(unit)
        homes = [self._compartment(row, limits, asked) for row in self.rows.get(unit, [])]
        if homes:
            newest = max(homes, key=lambda h: h.last)
            seen = replace(
                seen,
                trend=newest.trend,
                last_sample_on=newest.last,
                samples_used=newest.used,
                evidence_since=newest.since,
                oil_work=tuple(f for h in homes for f in h.quality),
            )
        elif (tank_day := self._last_of_tank(unit)) is not None:
            seen = replace(seen, last_sample_on=tank_day)
        for row in self.rows.get(unit, []):
            asked.findings += self._left_aside(row, asked)
        return self._called(seen, asked)

    def _limits_of(self, unit: str) -> dict[str, Limit]:
        group, technology = (str(self.by_unit[name].get(unit, "") or "") for name in ("oil_group", "technology"))
        if (group, technology) not in self.limits_held:
            self.limits_held[group, technology] = limits_of(self.limits, group, technology)
        return self.limits_held[group, technology]

    def _called(self, seen: OilVerdict, asked: _Asked) -> OilVerdict:
        settings, last = self.case.settings, seen.last_sample_on
        if asked.ranges and last is not None:
            early, middle, late = min(asked.ranges, key=lambda r: r[1])
            told = asked.findings
            if asked.severe:
                told = [sentences.severe_finding(last), *(f for f in told if f.kind != "one sample")]
            return replace(
                seen,
                call="pull forward",
                severe=asked.severe,
                open_by_early=early,
                open_by_middle=middle,
                open_by_late=late,
                findings=tuple(told),
                oil_work=() if asked.severe else seen.oil_work,
            )
        if last is None or (self.as_of - last).days > settings.stale_after_days:
            return replace(seen, call="no oil evidence", trend=None)
        findings = tuple(asked.findings)
        if asked.resample:
            by = max(last + timedelta(days=settings.resample_within_days), self.as_of)
            return replace(seen, call="resample", resample_by=by, findings=findings)
        return replace(seen, call="nothing unusual", findings=findings)

    def _signatures(self, unit: str) -> _Asked:
        asked = _Asked()
        for j, found in zip(self.judged, self.judged_rows, strict=True):
            for row in found.get(unit, []):
                self._signature(j, row, asked)
        return asked

    def _signature(self, j: Judged, row: int, asked: _Asked) -> None:
        call, evidence = j.call, j.evidence
        if not (call.pull[row] or call.resample[row] or call.withdrawn[row]):
            return
        column = int(evidence.column[row, -1])
        on = as_date(float(j.grid.year[row, column]))
        name = NAMES[evidence.kind]
        if call.withdrawn[row] and not call.resample[row]:
            asked.findings.append(sentences.withdrawn_finding(name, on))
            return
        at_home = j.grid is self.case.grid
        vacuum = bool(self.case.vacuum[row]) if at_home else False
        volume = float(self.case.oil_volume[row]) if at_home else float("nan")
        gas = j.grid.gas[row, column]
        compared = self.case.gas[row, column] if at_home else gas
        asked.findings.append(sentences.finding(evidence, row, gas, compared, vacuum, volume))
        if call.pull[row]:
            stories = evidence.open_year[row], evidence.open_sd[row], evidence.weight[row]
            asked.ranges.append(date_range(*stories, self.as_of))
            asked.severe = asked.severe or bool(call.severe[row])
            if call.standing[row]:
                asked.findings.append(sentences.standing_finding(name, on))
            return
        asked.resample = True
        alone = bool((evidence.support[row, :-1] < self.case.settings.agreeing_evidence).all())
        asked.findings.append((sentences.one_sample_finding if alone else sentences.watch_finding)(name, on))

    def _compartment(self, row: int, limits: dict[str, Limit], asked: _Asked) -> _Compartment:
        """Trend, limits, rank and quality of one compartment; limits that are passed go into `asked`."""
        case, grid = self.case, self.case.grid
        year = grid.year[row]
        taken = grid.taken[row]
        resets = case.resets.year[row]
        resets = resets[np.isfinite(resets)]
        start = float(resets.max()) if len(resets) else -np.inf
        use = taken & np.isfinite(grid.gas[row, :, C2H2]) & (year > start) & ~case.resets.odd[row]
        trend = acetylene_trend(
            year[use],
            grid.gas[row, use, C2H2],
            grid.below[row, use, C2H2],
            grid.operations[row, use, 1],
            float(case.oil_volume[row]),
        )
        gas = np.where(grid.below[row], np.nan, grid.gas[row])[case.tested[row]]
        since_reset = taken & (year > start) & ~case.resets.odd[row]
        for over in over_limits(
            year[since_reset], grid.gas[row, since_reset], grid.below[row, since_reset], limits, self.as_of
        ):
            asked.findings.append(over.finding)
            asked.ranges += [over.open_by] if over.open_by else []
            asked.resample = asked.resample or over.open_by is None
        unlike = jump(year[since_reset], grid.gas[row, since_reset], grid.below[row, since_reset])
        if unlike is not None and not asked.ranges:
            asked.findings.append(jump_finding(unlike))
            asked.resample = True
        newest = float(gas[-1, C2H2]) if len(gas) else float("nan")
        measured = np.flatnonzero(taken & np.isfinite(grid.breakdown[row]))
        test = grid.method[row, measured[-1]] if len(measured) else -1
        least = least_breakdown(limits, grid.method_names[test] if test >= 0 else "")
        if self.group_size[row] >= ENOUGH_LIKE_UNITS and np.isfinite(newest) and "acetylene" not in limits:
            above = sentences.rank_finding(newest, float(self.rank[row]), int(self.group_size[row]))
            if above is not None:
                asked.findings.append(above)
        quality = oil_quality(
            year[taken],
            grid.moisture[row, taken],
            grid.breakdown[row, taken],
            grid.method[row, taken],
            limits[MOST_WATER].value if MOST_WATER in limits else float("nan"),
            least,
        )
        since = as_date(start) if len(resets) else None
        return _Compartment(as_date(float(year[taken][-1])), since, trend, int(use.sum()), quality)

    def _left_aside(self, row: int, asked: _Asked) -> list[OilFinding]:
        """Samples that do not count, and fresh starts that nobody wrote down, since the last recorded reset."""
        case, grid = self.case, self.case.grid
        recorded = case.resets.year[row][case.resets.recorded[row]]
        start = float(recorded.max()) if len(recorded) else -np.inf
        found = []
        newest = int(np.flatnonzero(grid.taken[row])[-1])
        for column in np.flatnonzero(case.resets.odd[row] & (grid.year[row] > start)):
            on = as_date(float(grid.year[row, column]))
            other = int(case.partner[row, column])
            if other < 0:
                found.append(sentences.left_aside_finding(on))
                continue
            again = column == newest and not asked.severe
            asked.resample = asked.resample or bool(again)
            found.append(sentences.exchanged_finding(grid.unit[other], on, bool(again)))
        seen = case.resets.year[row][~case.resets.recorded[row]]
        for when in seen[np.isfinite(seen) & (seen > start)]:
            years = grid.year[row][grid.usable[row]]
            before, after = years[years < when], years[years > when]
            if len(before) and len(after):
                days = as_date(float(before[-1])), as_date(float(after[0]))
                found.append(sentences.unrecorded_reset_finding(*days))
        return found

    def _last_of_tank(self, unit: str) -> date | None:
        for j, found in zip(self.judged, self.judged_rows, strict=True):
            for row in found.get(unit, []):
                return as_date(float(np.nanmax(j.grid.year[row])))
        return None


def _rows_by_unit(grid: SampleGrid) -> dict[str, list[int]]:
    rows: dict[str, list[int]] = {}
    for row, unit in enumerate(grid.unit):
        rows.setdefault(unit, []).append(row)
    return rows


def _ranks(case: Case, now: float) -> tuple[Floats, Floats]:
    """(S,) share of like units whose newest acetylene is lower, and how many like units there are."""
    grid = case.grid
    value = np.where(grid.usable & (grid.year > now - FRESH_YEARS), grid.gas[:, :, C2H2], np.nan)
    newest = np.full(len(value), np.nan)
    for column in range(value.shape[1]):
        newest = np.where(np.isfinite(value[:, column]), value[:, column], newest)
    rank, size = np.zeros(len(value)), np.zeros(len(value))
    for code in np.unique(case.groups[0]):
        members = np.flatnonzero((case.groups[0] == code) & np.isfinite(newest))
        if len(members):
            order = newest[members].argsort(kind="stable").argsort(kind="stable")
            rank[members] = order / len(members)
            size[members] = len(members)
    return rank, size
