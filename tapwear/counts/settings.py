"""Numbers that govern the rate model: shipped starting values, chosen by held-out loss on simulated fleets.

model.md says where each stands in the equations; `tune` finds those that a fleet's own readings make likeliest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class RateSettings:
    """Spreads and chances of the rate model, on the scale of the logarithm of operations per day.

    drift             variance of the level's random walk [1/year]
    weather           variance of one day's mean rate about its level; an interval of d days keeps weather / d
    dispersion        variance of a count over its mean, beyond the weather term
    jump_size         standard deviation of an unrecorded change of regime
    jump_yearly       unrecorded changes of regime a year
    event_size        standard deviation of the change at a recorded event (setting, load transfer, ...)
    event_chance      chance that such an event changes the rate at all
    error_size        standard deviation of a reading that is wrong but was not noticed
    suspect_size      the same, on top, for a reading that the cleaning of the counters doubts
    error_chance      chance of such an interval, when the counter history is sure of both readings
    group_spread      variance of a place's level about its group when the group is too small to tell
    season_spread     variance of a place's own harmonic about its group's
    slope_spread      variance of a place's growth about nought [1/year^2]
    slope_wide        the same of places that grow steadily
    slope_share       share of such places
    slope_drift       variance of the growth's random walk [1/year^3]
    inspection_operations  operations that one inspection adds (20-90 is usual) [operations]
    idle_days         mean rest of an outage that is still going on at as_of [days]
    """

    drift: float = 0.007
    weather: float = 1.4
    dispersion: float = 9.0
    jump_size: float = 1.0
    jump_yearly: float = 0.022
    event_size: float = 0.95
    event_chance: float = 0.5
    error_size: float = 1.3
    suspect_size: float = 3.0
    error_chance: float = 0.08
    group_spread: float = 1.2
    season_spread: float = 0.015
    slope_spread: float = 0.0004
    slope_wide: float = 0.004
    slope_share: float = 0.15
    slope_drift: float = 0.00001
    inspection_operations: float = 50.0
    idle_days: float = 130.0


def settings_of(kept: pd.DataFrame) -> RateSettings:
    """The shipped settings, with the fleet's own in their place. kept : name, value; other names are left aside"""
    known = {one.name for one in fields(RateSettings)}
    own = {str(name): float(value) for name, value in zip(kept["name"], kept["value"], strict=True) if name in known}
    return replace(RateSettings(), **own)


def settings_words(kept: Sequence[Mapping[Any, Any]]) -> str:
    """What the fleet's own settings stand on, "" where the shipped ones hold.

    kept : rows of tuned_on, intervals, gain_percent [None or NaN: not known], by
    """
    if not kept:
        return ""
    newest = max(kept, key=lambda row: row["tuned_on"])
    gain = newest["gain_percent"]
    held = "" if gain is None or gain != gain else f", held-out gain {gain:.1f} %"
    return (
        f"The rate model's settings are this fleet's own, of {newest['tuned_on']:%Y-%m-%d}, from "
        f"{newest['intervals']:,.0f} reading intervals, kept by {newest['by']}{held}."
    )
