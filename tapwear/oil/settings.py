"""Numbers the oil layer rests on, each with its source; one frozen record that a caller may replace.

Sources named here: "domain notes" are the project's own notes on the trade; "our choice" is an explicit,
editable choice. No absolute concentration is used as a limit.
"""

from __future__ import annotations

from dataclasses import dataclass, field

#: Gases that the signatures read, in the order of the arrays in this package.
READ_GASES = ("hydrogen", "methane", "ethane", "ethylene", "acetylene")
H2, CH4, C2H6, C2H4, C2H2 = range(5)


@dataclass(frozen=True)
class OilSettings:
    """What the assessment assumes.

    Losses are fractions a year [1/year] of the gas dissolved in an open or desiccant-breathing
    compartment; hydrogen is lost first, then methane, and ethane least (domain notes: order confirmed;
    amounts are our choice, near to what steady compartments show).
    """

    # --- how gas comes, stays and goes ---------------------------------------------------------
    loss_per_year: tuple[float, ...] = (3.0, 1.2, 0.45, 0.6, 0.8)  # READ_GASES; our choice
    loss_factor: dict[str, float] = field(
        default_factory=lambda: {"free": 1.0, "desiccant": 0.9, "sealed": 0.15, "": 0.9}
    )  # our choice
    loss_multiples: tuple[tuple[float, float], ...] = ((1.0, 0.6), (0.4, 0.4))
    vacuum_loss_factor: float = 0.5  # fewer bubbles stir the oil of a vacuum unit; our choice
    residual_share: float = 0.12  # 5-20 % of the gas comes back after a reset (domain notes)
    residual_share_most: float = 0.20  # (domain notes)

    # --- how exact a sample is -----------------------------------------------------------------
    laboratory_sd: float = 0.13  # about +-15 % at routine level (domain notes)
    laboratory_sd_between: float = 0.10  # a change of laboratory can shift all values; our choice
    limit_sd_share: float = 0.35  # further error, as a share of the detection limit; our choice
    usual_limit: tuple[float, ...] = (5.0, 1.0, 1.0, 1.0, 0.5)  # READ_GASES [uL/L], where none is named
    healthy_sd: float = 0.08  # own scatter of a sound unit's gas ratios; our choice
    per_operation_sd: float = 0.12  # own scatter of a sound unit's gas per operation; our choice
    tails: float = 4.0  # degrees of freedom of the errors: now and then one is far off; our choice

    # --- own past and like units ---------------------------------------------------------------
    baseline_gap_years: float = 1.0  # samples younger than this do not define the own past; our choice
    newest_held_out: int = 1  # nor does the newest one; our choice
    history_samples: int = 60  # newest samples of a compartment that are read at all; our choice
    tested_samples: int = 5  # newest samples that are weighed for a growing fault; our choice

    breather_change_sd: float = 0.6  # another breather keeps more gas, or less [log]; our choice
    drift_sd: float = 0.10  # the own level wanders so much in a year [log]; our choice

    # --- what a fault looks like ---------------------------------------------------------------
    faults_per_year: float = 0.05  # of all kinds, a unit and year, before its oil is seen; our choice
    fault_onset: float = 0.03  # severity at which a growing fault counts as begun; our choice
    heating_ml_per_year_at_limit: float = 3700.0  # ethylene made when contacts must be replaced; our choice
    heating_log_sd: float = 0.7  # how much units differ in that; our choice
    heating_power: float = 1.9  # ethylene grows as severity to this power; our choice
    arcing_excess_at_limit: float = 2.5  # gas per operation is 1 + this at the burn-off limit; our choice
    arcing_excess_log_sd: float = 0.45
    vacuum_ml_per_1000_at_limit: float = 25.0  # acetylene when one operation in ten arcs in oil
    vacuum_ml_log_sd: float = 0.8
    leak_share_per_year_at_limit: float = 0.5  # share of the compartment's oil exchanged in a year
    leak_share_log_sd: float = 0.3

    # --- calls ---------------------------------------------------------------------------------
    pull_probability: float = 0.10  # that a fault has begun; our choice, as an outage costs a tenth of a miss
    pull_probability_after_repair: float = 0.2  # where gas of the old fault may still come back; our choice
    pull_severity: float = 0.04  # below this there is time for another sample; our choice
    keep_probability: float = 0.05  # an earlier call stands while the chance is still so high; our choice
    resample_probability: float = 0.15
    agreeing_evidence: float = 0.2  # log likelihood ratio of a sample that agrees; our choice
    severe_severity: float = 0.12  # share of the limit that one sample has to show; our choice
    severe_evidence: float = 4.5  # log likelihood ratio of that sample; our choice
    severe_excess: float = 0.7  # the newest sample is at least 1.7 times the usual; our choice
    severe_probability: float = 0.5  # that a fault has begun, where the limit seems reached; our choice
    severe_evidence_per_operation: float = 8.0  # a count may be wrong as well; our choice
    resample_within_days: int = 28  # days to 4 weeks (domain notes)
    stale_after_days: int = 820  # older than this: no oil evidence; our choice
