"""The oil of one unit as its pages see it: samples, what happened between them, ratios, and when to sample next."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any, Literal

from tapwear.oil.limits import Limit, limits_of
from tapwear.oil.settings import READ_GASES, OilSettings
from tapwear.oil.types import RESETS, OilVerdict
from tapwear.outlook.alarms import sample_again_by
from tapwear.outlook.signs import STAYS
from tapwear.report.frames import day_of, given, newest
from tapwear.weeks import add_years
from tapwear.words import stop_notice

if TYPE_CHECKING:
    import pandas as pd

# Routine every 6-12 months; a flagged unit within 4 weeks; a new baseline 1-4 weeks after the oil was renewed
# (domain notes, unconfirmed: shown as advice).
ROUTINE_YEARS = (0.5, 1.0)
BASELINE_DAYS = (7, 28)
# "Several times the detection limits" (domain notes): below that a ratio of gases means nothing. Our choice.
ENOUGH_TIMES_LIMIT = 5.0
HOT_GASES = ("methane", "ethane", "ethylene")
TANK_FINDING = "main tank acetylene"

Why = Literal["severe", "bank stopped", "low oil", "alarm", "flagged", "baseline", "first", "routine", "not in service"]
Row = Mapping[str, Any]


@dataclass(frozen=True)
class OilUnit:
    """All that a page about the oil of one unit rests on.

    identity : one row of `units` of the store's book, by heading; blank, NaN and NaT where not recorded
    samples : its rows of `samples` of the book, newest first
    events : day and kind of what happened to its oil, newest first
    stop : what stands first in its row, "" where nothing stands
    limits : the user's limits for this unit, by quantity
    low_oil : its oil level was seen low and is not closed, so that no oil is drawn
    bank_stop : that another unit of its bank is stopped, as sentences; "" for none
    """

    unit: str
    as_of: date
    identity: Row
    samples: tuple[Row, ...]
    events: tuple[tuple[date, str], ...]
    verdict: OilVerdict | None
    stop: str
    limits: Mapping[str, Limit] = field(default_factory=dict)
    low_oil: bool = False
    bank_stop: str = ""

    @property
    def severe(self) -> bool:
        """Whether a stop is open at the unit, by whatever raised it."""
        return bool(self.stop)

    @property
    def place(self) -> str:
        """`BRK, T1, phase A`."""
        row = self.identity
        parts = [row.get("station") or "no station", row.get("bank"), row.get("phase") and f"phase {row['phase']}"]
        return ", ".join(str(part) for part in parts if part)

    @property
    def state(self) -> str:
        return str(self.identity.get("state") or "in service")

    @property
    def needs_outage(self) -> bool:
        """Whether its compartments can be sampled only in an outage."""
        mark = self.identity.get("sampling_needs_outage")
        return given(mark) and bool(mark)

    def compartments(self) -> list[str]:
        """Names of the sampled compartments; "" for the only one."""
        return sorted({str(row.get("compartment") or "") for row in self.samples if row["taken_from"] != "main_tank"})

    def rows(self, compartment: str | None) -> list[Row]:
        """Samples of one compartment, or of the main tank for None, newest first."""
        if compartment is None:
            return [row for row in self.samples if row["taken_from"] == "main_tank"]
        own = (row for row in self.samples if row["taken_from"] != "main_tank")
        return [row for row in own if str(row.get("compartment") or "") == compartment]

    def happened(self, *kinds: str) -> list[date]:
        """Days of what happened to the oil, newest first."""
        return [day for day, kind in self.events if kind in kinds]

    def last_reset(self) -> date | None:
        """The day since which samples count: as the verdict sees it, or the last recorded one."""
        seen = [self.verdict.evidence_since] if self.verdict and self.verdict.evidence_since else []
        return max([*self.happened(*RESETS)[:1], *seen], default=None)

    def last_samples(self) -> dict[str, date]:
        """Day of the newest sample of each compartment."""
        return {name: day for name in self.compartments() if (day := day_of(self.rows(name)[0]["sampled_on"]))}


def oil_units(
    units: pd.DataFrame,
    samples: pd.DataFrame,
    oil_events: pd.DataFrame,
    verdicts: Mapping[str, OilVerdict],
    stops: Mapping[str, str],
    as_of: date,
    limits: pd.DataFrame | None = None,
    low_oil: Collection[str] = (),
    bank_stops: Mapping[str, str] | None = None,
) -> dict[str, OilUnit]:
    """Every unit of a fleet, by tag.

    units, samples, oil_events : frames of the store's book, rows later than `as_of` left out
    stops : of stopped units, by tag, what stands first in their rows
    limits : the user's limits, as `tapwear.oil.limits` takes them
    low_oil : tags of units whose oil level is low
    bank_stops : what is said of units in whose bank another one is stopped
    """
    own_samples: dict[str, list[Row]] = {}
    for row in newest(samples, "sampled_on", None):
        own_samples.setdefault(str(row["unit"]), []).append(row)
    own_events: dict[str, list[tuple[date, str]]] = {}
    for row in newest(oil_events, "happened_on", None):
        if day := day_of(row["happened_on"]):
            own_events.setdefault(str(row["unit"]), []).append((day, str(row["kind"])))
    found = {}
    for record in units.to_dict("records"):
        row = {str(name): value for name, value in record.items()}
        tag = str(row["unit"])
        verdict = verdicts.get(tag)
        found[tag] = OilUnit(
            unit=tag,
            as_of=as_of,
            identity=row,
            samples=tuple(own_samples.get(tag, [])),
            events=tuple(own_events.get(tag, [])),
            verdict=verdict,
            stop=stops.get(tag, ""),
            low_oil=tag in low_oil,
            bank_stop=(bank_stops or {}).get(tag, ""),
            limits=limits_of(limits, str(row.get("oil_group") or ""), str(row.get("technology") or "")),
        )
    return found


@dataclass(frozen=True)
class NextSample:
    """When to sample next, as advice: not before `earliest`, at the latest `by`; None where no sample is advised."""

    why: Why
    words: str
    earliest: date | None = None
    by: date | None = None


def next_sample(unit: OilUnit) -> NextSample:
    """When to sample next, in words. Of a stopped unit none is suggested at all, nor of one in its bank, nor where the
    oil is low."""
    if unit.severe:
        return NextSample("severe", stop_notice(unit.unit))
    if unit.state != "in service":
        return NextSample("not in service", f"No sample is due until it goes into service (now: {unit.state}).")
    if unit.bank_stop:
        return NextSample("bank stopped", unit.bank_stop)
    if unit.low_oil:
        return NextSample("low oil", "None while its oil level is low: no oil is drawn from a low compartment.")
    outage = " It can be sampled only in an outage." if unit.needs_outage else ""
    verdict = unit.verdict
    if verdict and verdict.call == "pull forward":
        by = sample_again_by(verdict, unit.as_of)
        words = f"{'Today' if by <= unit.as_of else f'By {by}'}, to see how fast it rises. {STAYS}"
        return NextSample("alarm", words + outage, unit.as_of, by)
    if verdict and verdict.call == "resample":
        by = verdict.resample_by or unit.as_of + timedelta(days=BASELINE_DAYS[1])
        words = f"Within 4 weeks, by {by}, to confirm what the oil shows."
        if by <= unit.as_of:
            words = "Now, to confirm what the oil shows: the 4 weeks for it are over."
        return NextSample("flagged", words + outage, unit.as_of, by)
    last = min(unit.last_samples().values(), default=None)
    renewed = next(iter(unit.happened(*RESETS)), None)
    if renewed and (last is None or last <= renewed):
        earliest, by = (renewed + timedelta(days=days) for days in BASELINE_DAYS)
        late = " That is past." if by < unit.as_of else ""
        words = f"A new baseline 1 to 4 weeks after the oil was renewed on {renewed}: by {by}.{late}{outage}"
        return NextSample("baseline", words, earliest, by)
    if last is None:
        return NextSample("first", f"None is recorded: take a first one at the next visit.{outage}", unit.as_of)
    earliest, by = (add_years(last, years) for years in ROUTINE_YEARS)
    if by < unit.as_of:
        words = f"The routine one is overdue: it was due by {by}, a year after the last."
    else:
        words = f"Routine, every 6 to 12 months: between {max(earliest, unit.as_of)} and {by}."
    return NextSample("routine", words + outage, earliest, by)


def limits_seen(rows: Sequence[Row]) -> dict[str, float]:
    """The detection limit of each gas that the signatures read: the largest its reports name, else a usual one."""
    seen = dict(zip(READ_GASES, OilSettings().usual_limit, strict=True))
    for gas in READ_GASES:
        named = [float(row[gas]) for row in rows if row.get(f"{gas}_below") and given(row.get(gas))]
        seen[gas] = max(named, default=seen[gas])
    return seen


def ratio(row: Row, over: tuple[str, ...], under: str, limits: Mapping[str, float]) -> float | None:
    """Sum of the gases `over` to the gas `under`; None where one is missing or there is too little gas.

    Enough is: `under` at least ENOUGH_TIMES_LIMIT times its detection limit, and none of `over` below its own.
    """
    gases = (*over, under)
    if not all(given(row.get(gas)) for gas in gases) or any(row.get(f"{gas}_below") for gas in gases):
        return None
    if float(row[under]) < ENOUGH_TIMES_LIMIT * limits[under]:
        return None
    return sum(float(row[gas]) for gas in over) / float(row[under])


def number(value: object) -> str:
    """`2,840`, `14.2`, `0.83`; blank where not given."""
    if not given(value):
        return ""
    amount = float(str(value))
    return f"{amount:,.0f}" if abs(amount) >= 100 else f"{amount:.3g}"


def gas_text(row: Row, gas: str) -> str:
    """A gas as the laboratory reported it: `310`, `<0.5`, or blank."""
    text = number(row.get(gas))
    return f"<{text}" if text and row.get(f"{gas}_below") else text
