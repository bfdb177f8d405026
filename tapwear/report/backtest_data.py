"""How past forecasts of operations fared, as data: one row for all, per horizon, per cadence, per both; and as JSON.

JSON is one object:

    schema       "tapwear.backtest-counts/1"; the number rises when a field changes its meaning or goes away
    as_of        the day up to which readings were used [ISO date]
    horizons     horizons asked for [days]
    verdict      how the forecasts fared, in words
    enough       false: too few past forecasts could be compared for a verdict
    origins      the past dates that forecasts were made from [ISO dates], oldest first
    bands        {past_errors, words}: what the bands rest on as of as_of; past_errors 0: shipped values alone
    plain        {name: words}: the plain averages that stand beside the forecasts
    parts        [{the fields of PART_FIELDS}]: all first, then each horizon, each cadence, each horizon of a cadence
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import date
from typing import TYPE_CHECKING

from tapwear.counts.calibrate import CADENCES
from tapwear.counts.plain import FEW, PLAIN
from tapwear.report.frames import day_of, json_values
from tapwear.report.plain import json_text
from tapwear.report.why_count import bands_words

if TYPE_CHECKING:
    from tapwear.counts.backtest import Backtest

BACKTEST_SCHEMA = "tapwear.backtest-counts/1"

# name -> meaning of every field of a part, in order
PART_FIELDS: dict[str, str] = {
    "cadence": "how often the unit is read: monthly, quarterly, half-yearly, yearly or rarer; null: all",
    "horizon_days": "how far ahead was forecast [days]; null: all",
    "forecasts": "past forecasts that a later reading could be held against",
    "units": "units that they are of",
    "coverage": "share of outcomes within the 10 to 90 % band [0-1]; 0.8 is what the band says",
    "coverage_se": "its standard error, clustered by unit; null with one unit",
    "bias": "median of the middle figure over the outcome, less 1; above 0: more was forecast than came",
    "pinball": "mean pinball loss of the 10, 50 and 90 % figures [share of the unit's usual operations over the "
    "horizon]; less is better",
    "pinball_plain": "{name: the same} of each plain average",
    "gain": "how much less the loss is than the least of the plain averages [share]; below 0: more",
}


@dataclass(frozen=True)
class Part:
    """How the forecasts of one cadence and horizon fared; None stands for all. Fields: PART_FIELDS."""

    cadence: str | None
    horizon_days: int | None
    forecasts: int
    units: int
    coverage: float
    coverage_se: float
    bias: float
    pinball: float
    pinball_plain: dict[str, float]

    @property
    def gain(self) -> float:
        """How much less the loss is than the least of the plain averages [share]."""
        return 1.0 - self.pinball / max(min(self.pinball_plain.values()), 1e-12)


@dataclass(frozen=True)
class PastForecasts:
    """A backtest as a page and a file tell it.

    horizons : asked for [days]; origins : past dates forecast from, oldest first
    past_errors : forecasts of this fleet whose errors scale the bands as of as_of; 0: shipped values alone
    own_settings : as in CountStory
    parts : all, each horizon, each cadence, each horizon of a cadence; empty where nothing could be compared
    """

    as_of: date
    horizons: tuple[int, ...]
    verdict: str
    origins: tuple[date, ...]
    past_errors: int
    own_settings: str
    parts: tuple[Part, ...]

    @property
    def enough(self) -> bool:
        """Whether enough past forecasts could be compared for a verdict."""
        return bool(self.parts) and self.parts[0].forecasts >= FEW


def past_forecasts(
    result: Backtest, as_of: date, horizons: Iterable[int], past_errors: int, own_settings: str = ""
) -> PastForecasts:
    """What a page and a file need of a backtest, in the order in which they tell it."""
    parts = [_part({str(name): value for name, value in row.items()}) for row in result.table.to_dict("records")]
    return PastForecasts(
        as_of=as_of,
        horizons=tuple(horizons),
        verdict=result.verdict,
        origins=tuple(day for stamp in sorted(result.forecasts["origin"].unique()) if (day := day_of(stamp))),
        past_errors=past_errors,
        own_settings=own_settings,
        parts=tuple(sorted((part for part in parts if part.forecasts), key=_order)),
    )


def backtest_json(past: PastForecasts) -> str:
    """The backtest as JSON text, see the top of this module."""
    page = {
        "schema": BACKTEST_SCHEMA,
        "as_of": past.as_of,
        "horizons": past.horizons,
        "verdict": past.verdict,
        "enough": past.enough,
        "origins": past.origins,
        "bands": {"past_errors": past.past_errors, "words": bands_words(past.past_errors, past.own_settings)},
        "plain": PLAIN,
        "parts": [_record(part) for part in past.parts],
    }
    return json_text(json_values(page))


def _record(part: Part) -> dict[str, object]:
    record = asdict(part) | {"gain": part.gain}
    return {name: _rounded(record[name]) for name in PART_FIELDS}


def _rounded(value: object) -> object:
    if isinstance(value, dict):
        return {name: _rounded(item) for name, item in value.items()}
    return round(value, 5) if isinstance(value, float) else value


def _part(row: dict[str, object]) -> Part:
    """One row of the backtest's table; its name tells cadence and horizon: `all`, `90 days`, `monthly, 90 days`."""
    cadence, horizon = None, None
    for word in str(row["part"]).split(", "):
        if word in CADENCES:
            cadence = word
        elif word.endswith(" days"):
            horizon = int(float(word.removesuffix(" days")))
    figures = {name: float(str(row[name])) for name in ("coverage", "coverage_se", "bias", "loss")}
    return Part(
        cadence=cadence,
        horizon_days=horizon,
        forecasts=int(str(row["forecasts"])),
        units=int(str(row["units"])),
        coverage=figures["coverage"],
        coverage_se=figures["coverage_se"],
        bias=figures["bias"],
        pinball=figures["loss"],
        pinball_plain={name: float(str(row[f"loss_{name}"])) for name in PLAIN},
    )


def _order(part: Part) -> tuple[int, int, int]:
    """All, the horizons, then each cadence with its horizons, the most often read first."""
    if part.cadence is None:
        return (0, -1, part.horizon_days or 0)
    return (1, CADENCES.index(part.cadence), part.horizon_days or 0)
