"""What the oil says of a unit that is stopped: nothing that speaks against the stop."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from tapwear.oil.types import AcetyleneTrend, OilFinding, OilVerdict
from tapwear.outlook.stops import Stop, under_stops

AS_OF = date(2026, 6, 30)
TREND = AcetyleneTrend(60.0, 55.0, 65.0, 8, date(2022, 1, 1))
STOP = Stop("T1", date(2026, 5, 26), ("Ethylene rose.",), oil_since=date(2026, 5, 26))


def test_of_two_samples_that_contradict_one_another_neither_is_left_aside() -> None:
    aside = OilFinding("left aside", "The sample of 2026-05-26 is far from the ones before and after it.")
    wet = OilFinding("wet oil", "Wet.")
    verdict = OilVerdict("T1", AS_OF, "nothing unusual", findings=(aside, wet), trend=TREND)
    found = under_stops({"T1": verdict}, {"T1": replace(STOP, contradicted_on=date(2026, 6, 27))}, AS_OF)["T1"]
    said = [one.words for one in found.findings]
    assert said[0] == "Ethylene rose."
    assert said[1].startswith("The sample of 2026-06-27 contradicts it")
    assert said[2:] == ["Wet."]
    assert found.trend is None  # it would leave out the one or the other


def test_a_trend_that_nothing_contradicts_stays() -> None:
    verdict = OilVerdict("T1", AS_OF, "pull forward", severe=True, trend=TREND)
    assert under_stops({"T1": verdict}, {"T1": STOP}, AS_OF)["T1"].trend == TREND
