"""What a page about one unit is told besides its dates: the story of its counter, as plain frames."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from tapwear.oil.types import OilVerdict
from tapwear.outlook.followups import FollowUp
from tapwear.outlook.noticed import Noticed
from tapwear.outlook.stops import Stop
from tapwear.outlook.types import Due
from tapwear.outlook.wear import Wear
from tapwear.words import stop_short

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class CountStory:
    """The counter of one unit, ready to be drawn and read.

    points : DataFrame, one row per usable visit, sorted by on
        on [datetime64], operations [cumulative since the first usable reading]
    forecast : DataFrame, sorted by on, beginning on the as-of date; same scale as `points`
        on [datetime64], low, mid, high [operations: 10, 50, 90 %]
    rate_words : plain sentences on how fast the counter runs, and where that changed
    readings : DataFrame, every reading of the unit, doubtful ones too
        read_on [datetime64], drive [str], value [int, as written], source [str], status [str, as in counts.types],
        reason [str], probability [0-1, that the number is right as understood]
    drive : the one that points and forecast are of, where the unit has several; "" for its only one
    past_errors : past forecasts of the fleet whose errors scale the forecast's band; 0: shipped values alone
    own_settings : in words, what the rate model's settings stand on where they are the fleet's own; "": shipped ones
    """

    points: pd.DataFrame
    forecast: pd.DataFrame
    rate_words: tuple[str, ...]
    readings: pd.DataFrame
    past_errors: int = 0
    drive: str = ""
    own_settings: str = ""

    @property
    def of_drive(self) -> str:
        """` of drive B`, or nothing: whose operations are drawn."""
        return f" of drive {self.drive}" if self.drive else ""


@dataclass(frozen=True)
class Subject:
    """All that a page about one unit rests on.

    identity : one row of `units` of the store's book, by heading; blank, NaN and NaT where not recorded
    dues : of this unit, most pressing first
    stays, services, samples, oil_events : this unit's rows of those frames of the book
    noticed, followups : the newest observation of each kind on visits, and what is open to be followed up
    stop : what stands there; None: nothing
    waiting : imported rows that await confirmation: a sentence, then a line for each
    verdict, story, wear : None where the oil, the counter or measured contacts have nothing to say
    """

    unit: str
    as_of: date
    identity: Mapping[str, Any]
    dues: tuple[Due, ...]
    stays: pd.DataFrame
    services: pd.DataFrame
    samples: pd.DataFrame
    oil_events: pd.DataFrame
    verdict: OilVerdict | None
    story: CountStory | None
    wear: Wear | None = None
    stop: Stop | None = None
    noticed: tuple[Noticed, ...] = ()
    followups: tuple[FollowUp, ...] = ()
    waiting: tuple[str, ...] = ()

    @property
    def stands(self) -> str:
        """What stands first where the unit is named, by whatever raised it; "" for nothing."""
        if self.stop is not None:
            return self.stop.short
        if self.verdict is not None and self.verdict.severe:
            return stop_short(self.verdict.last_sample_on or self.as_of, for_work=False)
        return next((due.stop for due in self.dues if due.severe), "")

    @property
    def severe(self) -> bool:
        """Whether a stop is open at the unit."""
        return bool(self.stands)
