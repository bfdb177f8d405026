"""The plain sentence of every finding, with the figures behind it."""

from __future__ import annotations

from datetime import date

from tapwear.oil.growth import Evidence
from tapwear.oil.limits import amount
from tapwear.oil.samples import Floats
from tapwear.oil.settings import C2H2, C2H4
from tapwear.oil.types import OilFinding, Standing
from tapwear.words import stop_notice

LEAK = "It suggests a leak from the compartment and never excludes arcing in the main tank"
SOURCES: dict[str, tuple[str, Standing]] = {
    "heating": (
        "ethylene, methane and ethane are the heating gases (IEEE C57.139); own past and like units",
        "our choice",
    ),
    "arcing": ("gas follows the number of operations (IEEE C57.139); own past and like units", "our choice"),
    "vacuum acetylene": ("own baseline of the vacuum unit", "provisional"),
    "main tank acetylene": ("acetylene in the main tank points to the tap changer (IEC 60599)", "provisional"),
}


def finding(evidence: Evidence, row: int, gas: Floats, compared: Floats, vacuum: bool, volume_l: float) -> OilFinding:
    """What one signature shows in one compartment or tank.

    Parameters
    ----------
    gas : (5,) newest weighed sample [uL/L]
    compared : (5,) the same with the shift of its laboratory taken out; what is usual is told as that laboratory
        would have it
    """
    usual, excess = float(evidence.usual[row]), float(evidence.excess[row])
    if evidence.kind != "arcing":
        leading = C2H4 if evidence.kind == "heating" else C2H2
        usual *= float(gas[leading] / compared[leading])
    figures: dict[str, float] = {"chance that a fault has begun": float(evidence.odds[row] / (1 + evidence.odds[row]))}
    count = int((evidence.support[row] >= 0.3).sum())
    figures["samples for it"] = float(max(count, 1))
    if evidence.kind == "heating" and not vacuum:
        acetylene, ethylene = float(gas[C2H2]), float(gas[C2H4])
        ratios = f"{amount(usual / acetylene, 2)} to {amount(ethylene / acetylene, 2)}"
        words = (
            f"Ethylene rose from the usual {ratios} times acetylene, "
            "more than laboratory error explains, which suggests heating"
        )
        figures["ethylene of hot oil, mL"] = excess * volume_l / 1000.0
    elif evidence.kind == "heating":
        words = (
            f"Ethylene rose from the usual {amount(usual)} to {amount(float(gas[C2H4]))} ppm, "
            "more than its own past and its operations explain, which suggests heating"
        )
        figures["ethylene of hot oil, mL"] = excess * volume_l / 1000.0
    elif evidence.kind == "arcing":
        words = (
            f"Gas per operation is {amount(excess, 2)} times the usual {amount(usual)} mL of acetylene "
            "per 1,000 operations, which suggests worn contacts or weak springs"
        )
    elif evidence.kind == "vacuum acetylene":
        words = (
            f"Acetylene rose from the own baseline of {amount(usual, 2)} to {amount(float(gas[C2H2]))} ppm, "
            "which suggests that operations arc in the oil of this vacuum unit"
        )
    else:
        words = f"Acetylene in the main tank rose from {amount(usual, 2)} to {amount(float(gas[C2H2]))} ppm. {LEAK}"
    source, standing = SOURCES[evidence.kind]
    return OilFinding(evidence.kind, words + ".", figures, source, standing)


def severe_finding(on: date) -> OilFinding:
    """The words for the responsible engineer; nothing else may be suggested beside them."""
    return OilFinding("severe", f"The sample of {on} is severe. {stop_notice()}", {}, "domain practice", "our choice")


def one_sample_finding(kind: str, on: date) -> OilFinding:
    """Why a date does not move yet."""
    words = f"Only the sample of {on} speaks of {kind}: a second one that agrees is needed before a date moves."
    return OilFinding("one sample", words, {}, "single samples mislead (IEEE C57.139)", "confirmed")


def watch_finding(kind: str, on: date) -> OilFinding:
    """Why a date does not move although samples agree."""
    words = f"The samples up to {on} hint at {kind}, too weakly or too early to move a date: one more is needed."
    return OilFinding("one sample", words, {}, "own odds of a begun fault", "our choice")


def standing_finding(kind: str, on: date) -> OilFinding:
    """Why a call stands although the newest sample alone would not make it."""
    words = f"An earlier sample called for opening on {kind}; the sample of {on} does not contradict it, so it stands."
    return OilFinding("stands", words, {}, "a call stands until a service or a contradiction", "our choice")


def withdrawn_finding(kind: str, on: date) -> OilFinding:
    """Why an earlier call no longer holds."""
    words = f"An earlier sample called for opening on {kind}; the sample of {on} contradicts it, so it is withdrawn."
    return OilFinding("withdrawn", words, {}, "a call stands until a service or a contradiction", "our choice")


def exchanged_finding(other: str, on: date, again: bool) -> OilFinding:
    """Labels that seem to be exchanged."""
    words = f"The samples of this unit and of {other} of {on} look exchanged: each fits the other unit's last one"
    words += ", so both are left aside" + ("; take both again." if again else ".")
    return OilFinding("exchanged labels", words, {}, "comparison with the last samples of both units", "our choice")


def left_aside_finding(on: date) -> OilFinding:
    """A sample that the next one contradicts."""
    words = f"The sample of {on} is far from the ones before and after it, so it is left aside."
    return OilFinding("left aside", words, {}, "comparison with the samples around it", "our choice")


def unrecorded_reset_finding(after: date, before: date) -> OilFinding:
    """A fall of every gas that no record explains."""
    words = f"Every gas fell by about half or more between {after} and {before} without recorded oil work. "
    words += "Was the oil changed or degassed? Record it, or withdraw the sample if the bottle was another unit's."
    return OilFinding("unrecorded reset", words, {}, "all gases fall together", "our choice", after)


def rank_finding(acetylene: float, share: float, group_size: int) -> OilFinding | None:
    """Where the unit stands among like units, when there are enough and it stands high."""
    for nine, least in (("95 in 100", 0.95), ("9 in 10", 0.90)):
        if share >= least:
            words = f"Acetylene of {amount(acetylene)} ppm is above {nine} of {group_size} like units."
            source = "percentiles of like units (method of IEEE C57.139), for comparison only"
            return OilFinding("above like units", words, {}, source, "provisional")
    return None
