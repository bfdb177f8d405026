"""What the counts layer takes and gives back: plain frames in, frozen results out.

Input frames (any row order; extra columns are ignored)

units      unit [str], place [str], station [str], peer_group [str, "" if none],
           commissioned_on [datetime64 or NaT]
readings   reading_id [int], unit [str], drive [str, "1" for a single drive],
           source [str: mechanical, raise, lower, controller, sample], read_on [datetime64],
           value [int, as written], digits [int, 4-7, of the counter it was read on]
events     unit [str], happened_on [datetime64], kind [str, see EVENT_KINDS],
           drive [str, "" = all], old_reading [float or NaN], new_reading [float or NaN]
stays      unit [str], place [str], from_on, to_on [datetime64 or NaT = still there],
           state [str: in service, spare, workshop, retired]; empty frame: every unit always stood at
           its own place, in service

A unit with one drive is one *series*; a unit with three single-phase drives is three series, and the
drive with the most operations governs the unit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import pandas as pd


def no_ends() -> pd.DataFrame:
    """Second explanations without any row."""
    import pandas as pd

    columns = ["series", "unit", "on", "operations", "probability", "words"]
    return pd.DataFrame(columns=columns).astype({"on": "datetime64[us]", "operations": float, "probability": float})


EVENT_KINDS = (
    "counter_replaced",
    "regulator_setting_changed",
    "load_transferred",
    "new_generation",
    "out_of_service",
    "back_in_service",
    "paralleled",
    "inspection",
)

ReadingStatus = Literal["used", "doubtful", "superseded", "left aside"]


@dataclass(frozen=True)
class CounterHistory:
    """What the counters say once rollovers, replacements and misreadings are explained.

    readings : DataFrame, one row per reading given, sorted by unit, drive, read_on
        reading_id, unit, drive, source, read_on, value, status [ReadingStatus], reason [str, "" or plain
        words], probability [0-1, that the number is right as understood], operations [operations since
        the series' first usable reading; NaN where doubtful]
    points : DataFrame, one row per usable visit of a series, sorted by series, on
        series, unit, drive, on [datetime64], operations [cumulative, non-decreasing, float],
        probability [0-1]
    open_ends : DataFrame, one row per series whose latest reading has a second plausible explanation
        series, unit, on, operations [cumulative, under the explanation not in `points`],
        probability [0-1, of that explanation], words [str]
    open_spans : DataFrame, as open_ends, one row per earlier interval whose operations have a second explanation;
        the words are a question
    """

    readings: pd.DataFrame
    points: pd.DataFrame
    open_ends: pd.DataFrame
    open_spans: pd.DataFrame = field(default_factory=no_ends)
