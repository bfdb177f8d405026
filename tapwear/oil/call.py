"""From evidence to a call: two samples that agree before a date moves, unless one is severe."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapwear.oil.growth import Evidence
from tapwear.oil.samples import Bools, Floats
from tapwear.oil.settings import OilSettings


@dataclass(frozen=True)
class Judgement:
    """What one signature asks for, per compartment.

    pull, resample, severe, agree : (S,)
    probability : (S,) that a fault of this kind has begun
    """

    pull: Bools
    resample: Bools
    severe: Bools
    agree: Bools
    probability: Floats


def judge(evidence: Evidence, settings: OilSettings) -> Judgement:
    """Pull where the odds are high and two samples agree or one is severe; resample where only one speaks."""
    probability = evidence.odds / (1.0 + evidence.odds)
    support = evidence.support
    newest = support[:, -1]
    earlier = np.max(support[:, :-1], axis=1, initial=-np.inf)
    agree = (newest >= settings.agreeing_evidence) & (earlier >= settings.agreeing_evidence)
    least = settings.severe_evidence_per_operation if evidence.kind == "arcing" else settings.severe_evidence
    jump = (newest >= least) & (evidence.severity >= settings.severe_severity)
    likely = (probability >= settings.pull_probability) & (evidence.severity >= settings.pull_severity)
    pull = likely & (agree | jump)
    resample = ~pull & (probability >= settings.resample_probability)
    return Judgement(pull, resample, pull & jump & (evidence.severity >= 1.0), agree, probability)
