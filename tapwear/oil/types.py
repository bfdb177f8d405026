"""What the oil layer takes and gives back: plain frames in, frozen results out.

Input frames (any row order; extra columns are ignored)

units      unit [str], station [str], technology [arcing_resistor, arcing_reactor, vacuum, ""],
           breathing [free, desiccant, sealed, ""], oil_group [str, like equipment, "" if none],
           oil_volume_l [L or NaN], main_tank_volume_l [L or NaN],
           conservator [separate, common, ""], rated_current_a [A or NaN], step_voltage_v [V or NaN]
samples    sample_id [int], unit [str], compartment [str, "" for the only one],
           taken_from [compartment, main_tank], sampled_on [datetime64], laboratory [str],
           reference [str], one float column per GASES [uL/L; NaN = not reported] and one bool column
           `<gas>_below` per gas [True: the value is the detection limit, the true value lies below it],
           moisture_mg_per_kg, breakdown_kv, breakdown_method [str], oil_temp_c,
           operations_low, operations_mid, operations_high [cumulative operations of the unit on the day
           of the sample: 10, 50, 90 %; NaN when unknown]
events     unit [str], happened_on [datetime64], kind [oil_changed, oil_degassed, overhaul,
           breather_changed, laboratory_changed]
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Literal

GASES = (
    "hydrogen",
    "methane",
    "ethane",
    "ethylene",
    "acetylene",
    "carbon_monoxide",
    "carbon_dioxide",
    "oxygen",
    "nitrogen",
)
RESETS = ("oil_changed", "oil_degassed", "overhaul")

Call = Literal["pull forward", "resample", "nothing unusual", "no oil evidence"]
Standing = Literal["confirmed", "provisional", "our choice"]


@dataclass(frozen=True)
class OilFinding:
    """One thing the oil shows: a plain sentence, the figures behind it, and how far to trust the rule."""

    kind: str  # e.g. "heating", "arcing", "vacuum acetylene", "main tank acetylene", "wet oil"
    words: str
    figures: dict[str, float] = field(default_factory=dict)
    source: str = ""
    standing: Standing = "our choice"
    asks_about: date | None = None  # where it is a question: day of the last sample before what is asked about


@dataclass(frozen=True)
class AcetyleneTrend:
    """Acetylene since the last reset, with its 80 % interval."""

    rate_ul_per_l_per_year: float
    rate_low: float
    rate_high: float
    samples: int
    since: date
    ml_per_1000_operations: float | None = None
    ml_per_1000_low: float | None = None
    ml_per_1000_high: float | None = None


@dataclass(frozen=True)
class OilVerdict:
    """What the oil of one unit says as of a date, and the open-by range where it pulls forward."""

    unit: str
    as_of: date
    call: Call
    severe: bool = False
    open_by_early: date | None = None  # 10 %
    open_by_middle: date | None = None  # 50 %
    open_by_late: date | None = None  # 90 %
    resample_by: date | None = None
    findings: tuple[OilFinding, ...] = ()
    trend: AcetyleneTrend | None = None
    last_sample_on: date | None = None
    samples_used: int = 0
    evidence_since: date | None = None  # the reset after which samples count
    oil_work: tuple[OilFinding, ...] = ()  # asks for oil work, never for an internal overhaul
