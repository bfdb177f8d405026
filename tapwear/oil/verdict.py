"""The verdict on one unit, put together from the evidence on its compartments and its main tank."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from tapwear.oil import sentences
from tapwear.oil.beside import Beside, beside_signatures
from tapwear.oil.call import Judgement
from tapwear.oil.case import Case
from tapwear.oil.dates import EPOCH, as_date, date_range
from tapwear.oil.growth import Evidence
from tapwear.oil.limits import Limit, limits_of, over_limits
from tapwear.oil.samples import Floats, SampleGrid
from tapwear.oil.settings import C2H2
from tapwear.oil.types import OilFinding, OilVerdict
from tapwear.oil.unlike import jump_finding
from tapwear.weeks import DAYS_PER_YEAR

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
class Reader:
    """Everything needed to word the verdicts of a fleet.

    rows, judged_rows : rows of each unit in the grid of compartments, and those of each signature with a word to say
    limits : the user's, for each row
    rank, group_size : (S,) share of like units with less acetylene, and how many those are
    """

    case: Case
    judged: Sequence[Judged]
    as_of: date
    rows: Mapping[str, Sequence[int]]
    judged_rows: Sequence[Mapping[str, Sequence[int]]]
    limits: Sequence[Mapping[str, Limit]]
    beside: Beside
    rank: Floats
    group_size: Floats
    tanks: Mapping[str, float]  # newest sample of each unit's main tank [years since 1970]

    @classmethod
    def of(
        cls, case: Case, judged: Sequence[Judged], limits: pd.DataFrame | None, by_unit: pd.DataFrame, as_of: date
    ) -> Reader:
        """A reader of these judgements; what can be worked out for all units at once is worked out here."""
        rank, size = _ranks(case, (as_of - EPOCH).days / DAYS_PER_YEAR)
        judged_rows = []
        for j in judged:
            loud = np.flatnonzero(j.call.pull | j.call.resample | j.call.withdrawn)
            judged_rows.append(_by_unit(j.grid.unit, loud.tolist()))
        here = by_unit[["oil_group", "technology"]].fillna("").astype(str).reindex(list(case.grid.unit), fill_value="")
        kinds = list(zip(*(here[name].to_numpy(object).tolist() for name in here), strict=True))
        held = {kind: limits_of(limits, *kind) for kind in set(kinds)}
        of_rows = [held[kind] for kind in kinds]
        tanks: dict[str, float] = {}
        for grid in (j.grid for j in judged if j.grid is not case.grid):
            tanks |= dict(zip(grid.unit[::-1], grid.year[::-1, -1].tolist(), strict=True))  # the first row of each
        return cls(
            case=case,
            judged=judged,
            as_of=as_of,
            rows=_by_unit(case.grid.unit, range(len(case.grid.unit))),
            judged_rows=judged_rows,
            limits=of_rows,
            beside=beside_signatures(case, of_rows),
            rank=rank,
            group_size=size,
            tanks=tanks,
        )

    def verdict(self, unit: str) -> OilVerdict:
        """What the oil of one unit says."""
        asked = _Asked()
        for j, loud in zip(self.judged, self.judged_rows, strict=True):
            for row in loud.get(unit, ()):
                self._signature(j, row, asked)
        rows, beside = self.rows.get(unit, ()), self.beside
        for row in rows:
            self._compartment(row, asked)
        for row in rows:
            if not beside.quiet[row]:
                asked.findings += self._left_aside(row, asked)
        if rows:
            newest = rows[0] if len(rows) == 1 else max(rows, key=lambda row: beside.last[row])
            return self._called(
                unit,
                beside.last[newest],
                asked,
                trend=beside.trend[newest],
                samples_used=sum(beside.used[row] for row in rows),
                evidence_since=beside.since.get(newest),
                oil_work=tuple(f for row in rows for f in beside.quality.get(row, ())),
            )
        return self._called(unit, as_date(self.tanks[unit]) if unit in self.tanks else None, asked)

    def _called(self, unit: str, last: date | None, asked: _Asked, **seen: Any) -> OilVerdict:
        """The call and what it rests on; seen : the other fields of the verdict, if there are any."""
        settings = self.case.settings
        about: dict[str, Any] = {"unit": unit, "as_of": self.as_of, "last_sample_on": last}
        if asked.ranges and last is not None:
            early, middle, late = min(asked.ranges, key=lambda r: r[1])
            told = asked.findings
            if asked.severe:
                told = [sentences.severe_finding(last), *(f for f in told if f.kind != "one sample")]
                seen["oil_work"] = ()
            about |= {"open_by_early": early, "open_by_middle": middle, "open_by_late": late}
            return OilVerdict(**about, call="pull forward", severe=asked.severe, findings=tuple(told), **seen)
        if last is None or (self.as_of - last).days > settings.stale_after_days:
            return OilVerdict(**about, call="no oil evidence", **seen | {"trend": None})
        findings = tuple(asked.findings)
        if asked.resample:
            by = max(last + timedelta(days=settings.resample_within_days), self.as_of)
            return OilVerdict(**about, call="resample", resample_by=by, findings=findings, **seen)
        return OilVerdict(**about, call="nothing unusual", findings=findings, **seen)

    def _signature(self, j: Judged, row: int, asked: _Asked) -> None:
        call, evidence = j.call, j.evidence
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
            stories = evidence.open_year[row], evidence.open_sd, evidence.weight[row]
            asked.ranges.append(date_range(*stories, self.as_of))
            asked.severe = asked.severe or bool(call.severe[row])
            if call.standing[row]:
                asked.findings.append(sentences.standing_finding(name, on))
            return
        asked.resample = True
        alone = bool((evidence.support[row, :-1] < self.case.settings.agreeing_evidence).all())
        asked.findings.append((sentences.one_sample_finding if alone else sentences.watch_finding)(name, on))

    def _compartment(self, row: int, asked: _Asked) -> None:
        """What limits, the newest sample and like units say of one compartment goes into `asked`."""
        grid, beside, limits = self.case.grid, self.beside, self.limits[row]
        if limits:
            use = beside.since_reset[row]
            for over in over_limits(grid.year[row, use], grid.gas[row, use], grid.below[row, use], limits, self.as_of):
                asked.findings.append(over.finding)
                asked.ranges += [over.open_by] if over.open_by else []
                asked.resample = asked.resample or over.open_by is None
        unlike = beside.jumps.get(row)
        if unlike is not None and not asked.ranges:
            asked.findings.append(jump_finding(unlike))
            asked.resample = True
        newest = float(beside.newest[row])
        if self.group_size[row] >= ENOUGH_LIKE_UNITS and np.isfinite(newest) and "acetylene" not in limits:
            above = sentences.rank_finding(newest, float(self.rank[row]), int(self.group_size[row]))
            if above is not None:
                asked.findings.append(above)

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


def _by_unit(units: Sequence[str], rows: Iterable[int]) -> dict[str, list[int]]:
    """These rows by the unit of each."""
    found: dict[str, list[int]] = {}
    for row in rows:
        found.setdefault(units[row], []).append(row)
    return found


def _ranks(case: Case, now: float) -> tuple[Floats, Floats]:
    """(S,) share of like units whose newest acetylene is lower, and how many like units there are."""
    grid = case.grid
    value = np.where(grid.usable & (grid.year > now - FRESH_YEARS), grid.gas[:, :, C2H2], np.nan)
    newest = np.full(len(value), np.nan)
    for column in range(value.shape[1]):
        newest = np.where(np.isfinite(value[:, column]), value[:, column], newest)
    rank, size = np.zeros(len(value)), np.zeros(len(value))
    group, speak = case.like.codes[0], case.like.speak[0] & np.isfinite(newest)
    for code in np.unique(group):
        told = np.sort(newest[speak & (group == code)])
        if len(told):
            mine = np.flatnonzero((group == code) & np.isfinite(newest))
            rank[mine] = np.searchsorted(told, newest[mine]) / len(told)
            size[mine] = len(told)
    return rank, size
