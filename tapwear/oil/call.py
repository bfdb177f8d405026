"""From evidence to a call: two samples that agree before a date moves, unless one is severe.

A pull stands until an overhaul, or until a later sample contradicts it: the evidence is therefore judged
as it stood after each of the last few samples, oldest first.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tapwear.oil.growth import Evidence
from tapwear.oil.samples import Bools, Floats
from tapwear.oil.settings import OilSettings

SAMPLES_BACK = 3  # how many samples back a pull may have been called; our choice
SEVERE_AT_LIMIT = ("heating", "vacuum acetylene")  # severe once the limit seems reached; our choice
WORTH_A_LOOK = 0.3  # log likelihood ratio of an earlier sample that may have led to a call; our choice


@dataclass(frozen=True)
class Judgement:
    """What one signature asks for, per compartment.

    pull, resample : (S,)
    jump : (S,) the newest sample alone carries the call
    severe : (S,) a call on one sample's jump, or a limit already reached
    standing : (S,) called on an earlier sample; the newest one does not contradict it
    withdrawn : (S,) called on an earlier sample, and contradicted by the newest one
    probability : (S,) that a fault of this kind has begun
    """

    pull: Bools
    resample: Bools
    jump: Bools
    severe: Bools
    standing: Bools
    withdrawn: Bools
    probability: Floats


def judge(
    weigh: Callable[[Bools, Bools], Evidence], tested: Bools, asked: Bools, beside: Bools, settings: OilSettings
) -> tuple[Evidence, Judgement]:
    """The evidence of all samples, and the call, with earlier calls kept or withdrawn.

    Parameters
    ----------
    weigh : gives the evidence of a set of samples (S, L) for some compartments (S,); the others show nothing
    tested : (S, L) samples since the last overhaul
    asked : (S,) compartments to give a call on
    beside : (S,) those from which is learnt what is usual: earlier samples of theirs are read where it is done to all
    """
    evidence = weigh(tested, asked)
    pull, jump = _called(evidence, settings)
    probability = _probability(evidence)
    earlier = np.zeros(len(pull), dtype=bool)
    look = _worth_a_look(evidence, pull)
    others = beside & ~asked
    if look.any() and others.any():
        theirs = weigh(tested, others)
        look |= _worth_a_look(theirs, _called(theirs, settings)[0])
    rank = np.cumsum(tested[:, ::-1], axis=1)[:, ::-1]
    for back in range(SAMPLES_BACK, 0, -1):
        if not look.any():
            break
        seen = weigh(tested & (rank > back) & look[:, None], asked & look)
        called, _ = _called(seen, settings)
        earlier = called | (earlier & (_probability(seen) >= settings.keep_probability))
    kept = earlier & ~pull & (probability >= settings.keep_probability)
    resample = ~pull & ~kept & (probability >= settings.resample_probability)
    passed = evidence.severity >= 1.0 if evidence.kind in SEVERE_AT_LIMIT else np.zeros(len(pull), dtype=bool)
    severe = pull & (jump | (passed & (probability >= settings.severe_probability)))
    return evidence, Judgement(
        pull=pull | kept,
        resample=resample,
        jump=jump & pull,
        severe=severe,
        standing=kept,
        withdrawn=earlier & ~pull & ~kept,
        probability=probability,
    )


def _worth_a_look(evidence: Evidence, pull: Bools) -> Bools:
    """(S,) not pulled now, but one of the earlier samples may have led to a call."""
    return np.asarray(~pull & (evidence.support[:, :-1] >= WORTH_A_LOOK).any(axis=1))


def _called(evidence: Evidence, settings: OilSettings) -> tuple[Bools, Bools]:
    """(S,) pulled on this evidence alone, and pulled on its newest sample alone."""
    support = evidence.support
    newest = support[:, -1]
    earlier = np.max(support[:, :-1], axis=1, initial=-np.inf)
    agree = (newest >= settings.agreeing_evidence) & (earlier >= settings.agreeing_evidence)
    by_count = evidence.kind == "arcing"
    least = settings.severe_evidence_per_operation if by_count else settings.severe_evidence
    jump = (
        (newest >= least) & (evidence.severity >= settings.severe_severity) & _far_beyond(evidence, settings) & ~agree
    )
    plain = settings.pull_probability
    chance = np.where(evidence.carried > 0, max(plain, settings.pull_probability_after_repair), plain)
    likely = (_probability(evidence) >= chance) & (evidence.severity >= settings.pull_severity)
    return likely & (agree | jump), likely & jump


def _far_beyond(evidence: Evidence, settings: OilSettings) -> Bools:
    """(S,) True where the newest sample lies so far beyond the usual that it may count as severe on its own."""
    if evidence.kind == "arcing":  # the excess is a factor there
        return np.asarray(evidence.excess >= 1.0 + settings.severe_excess)
    return np.asarray(evidence.excess >= settings.severe_excess * evidence.usual + 2.0 * evidence.carried)


def _probability(evidence: Evidence) -> Floats:
    return np.asarray(evidence.odds / (1.0 + evidence.odds))
