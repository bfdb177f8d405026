"""The oil of one unit: when to sample next, ratios, what is read from the frames."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd
import pytest
from oil_examples import AS_OF, pulled, sample, unit, verdict

from tapwear.report.oil_unit import HOT_GASES, gas_text, limits_seen, next_sample, number, oil_units, ratio
from tapwear.words import stop_notice


def test_a_routine_sample_is_advised_six_to_twelve_months_after_the_last() -> None:
    advice = next_sample(unit(sample("2026-03-01")))
    assert (advice.why, advice.earliest, advice.by) == ("routine", date(2026, 8, 31), date(2027, 3, 1))
    assert advice.words == "Routine, every 6 to 12 months: between 2026-08-31 and 2027-03-01."


def test_a_routine_sample_more_than_a_year_after_the_last_is_overdue() -> None:
    advice = next_sample(unit(sample("2025-06-01")))
    assert advice.words == "The routine one is overdue: it was due by 2026-06-01, a year after the last."


def test_the_compartment_sampled_longest_ago_governs_the_routine() -> None:
    two = unit(sample("2026-03-01", compartment="A"), sample("2025-01-10", compartment="B"))
    assert next_sample(two).by == date(2026, 1, 10)


def test_a_flagged_unit_is_sampled_by_the_date_of_its_verdict() -> None:
    flagged = unit(sample("2026-06-20"), verdict=verdict("resample", resample_by=date(2026, 7, 18)))
    advice = next_sample(flagged)
    assert (advice.why, advice.by) == ("flagged", date(2026, 7, 18))
    assert advice.words == "Within 4 weeks, by 2026-07-18, to confirm what the oil shows."


def test_a_flagged_unit_whose_date_has_come_is_sampled_now() -> None:
    late = unit(sample("2026-03-20"), verdict=verdict("resample", resample_by=AS_OF))
    assert next_sample(late).words == "Now, to confirm what the oil shows: the 4 weeks for it are over."


def test_a_unit_whose_oil_wants_it_opened_is_sampled_within_days_and_the_engineer_asked_today() -> None:
    advice = next_sample(unit(sample("2026-06-20"), verdict=pulled(last_sample_on=date(2026, 6, 20))))
    assert (advice.why, advice.earliest, advice.by) == ("alarm", AS_OF, date(2026, 7, 4))
    assert advice.words.endswith("Ask the responsible engineer today whether it may stay in service.")
    late = next_sample(unit(sample("2026-03-01"), verdict=pulled(last_sample_on=date(2026, 3, 1))))
    assert (late.by, late.words[:5]) == (AS_OF, "Today")


def test_no_oil_is_drawn_from_a_low_compartment_whatever_it_says() -> None:
    for told in (pulled(), verdict("resample"), verdict()):
        advice = next_sample(unit(sample("2024-03-01"), verdict=told, low_oil=True))
        assert (advice.why, advice.earliest, advice.by) == ("low oil", None, None)


def test_renewed_oil_asks_for_a_new_baseline_one_to_four_weeks_later() -> None:
    renewed = unit(sample("2026-05-01"), events=((date(2026, 6, 20), "oil_changed"),))
    advice = next_sample(renewed)
    assert (advice.why, advice.earliest, advice.by) == ("baseline", date(2026, 6, 27), date(2026, 7, 18))
    past = next_sample(unit(sample("2026-03-01"), events=((date(2026, 4, 1), "overhaul"),)))
    assert past.words.endswith("by 2026-04-29. That is past.")


def test_a_sample_after_the_oil_was_renewed_is_the_baseline() -> None:
    done = unit(sample("2026-05-01"), events=((date(2026, 4, 20), "oil_changed"),))
    assert next_sample(done).why == "routine"


def test_severe_units_are_never_asked_for_a_sample() -> None:
    advice = next_sample(unit(sample("2024-01-01"), stop="STOP since 2026-05-01", verdict=pulled(severe=True)))
    assert (advice.words, advice.earliest, advice.by) == (stop_notice("AH-T1"), None, None)


def test_units_at_rest_wait_for_their_service_and_new_ones_for_a_visit() -> None:
    resting = next_sample(unit(sample("2020-01-01"), identity={"state": "workshop"}))
    assert (resting.why, resting.by) == ("not in service", None)
    assert next_sample(unit()).words == "None is recorded: take a first one at the next visit."


def test_sampling_only_in_an_outage_is_said_with_the_advice() -> None:
    words = next_sample(unit(sample("2026-03-01"), identity={"sampling_needs_outage": True})).words
    assert words.endswith("It can be sampled only in an outage.")


@pytest.mark.parametrize(
    ("acetylene", "changed", "expected"),
    [
        (300.0, {}, 0.2),
        (2.4, {}, None),  # less than 5 times the usual limit of 0.5
        (2.5, {}, 24.0),
        (300.0, {"acetylene_below": True}, None),
        (300.0, {"ethylene_below": True}, None),
        (300.0, {"ethylene": float("nan")}, None),
    ],
)
def test_a_ratio_needs_enough_gas(acetylene: float, changed: dict[str, Any], expected: float | None) -> None:
    row = sample("2026-01-01", acetylene=acetylene, **changed)
    assert ratio(row, ("ethylene",), "acetylene", limits_seen([])) == pytest.approx(expected)


def test_the_largest_detection_limit_of_the_reports_decides_what_is_enough() -> None:
    rows = [sample("2026-01-01", acetylene=4.0), sample("2025-01-01", acetylene=1.0, acetylene_below=True)]
    assert limits_seen(rows)["acetylene"] == 1.0
    assert ratio(rows[0], ("ethylene",), "acetylene", limits_seen(rows)) is None


def test_the_hydrocarbon_ratio_is_methane_ethane_and_ethylene_over_acetylene() -> None:
    row = sample("2026-01-01", acetylene=100.0, ethylene=30.0)  # methane and ethane 10 each
    assert ratio(row, HOT_GASES, "acetylene", limits_seen([])) == pytest.approx(0.5)


def test_gases_are_written_as_the_laboratory_reported_them() -> None:
    row = sample("2026-01-01", acetylene=0.5, acetylene_below=True, ethylene=float("nan"))
    assert (gas_text(row, "acetylene"), gas_text(row, "ethylene"), gas_text(row, "methane")) == ("<0.5", "", "10")
    assert (number(2874.4), number(14.23), number(None)) == ("2,874", "14.2", "")


def test_units_are_read_from_the_frames_with_their_own_rows_newest_first() -> None:
    units = pd.DataFrame([unit().identity, {**unit().identity, "unit": "AH-T2", "oil_group": "field"}])
    samples = pd.DataFrame([sample("2025-01-01"), sample("2026-01-01"), sample("2026-02-01", unit="AH-T2")])
    days = pd.to_datetime(["2024-01-01", "2024-05-01"])
    events = pd.DataFrame({"unit": "AH-T1", "happened_on": days, "kind": ["overhaul", "oil_degassed"]})
    limits = pd.DataFrame({"oil_group": ["field"], "quantity": ["acetylene"], "value": [50.0], "source": ["us"]})
    found = oil_units(units, samples, events, {"AH-T1": verdict()}, {"AH-T2": "STOP since 2026-05-01"}, AS_OF, limits)
    one, two = found["AH-T1"], found["AH-T2"]
    assert [str(row["sampled_on"].date()) for row in one.samples] == ["2026-01-01", "2025-01-01"]
    assert one.events == ((date(2024, 5, 1), "oil_degassed"), (date(2024, 1, 1), "overhaul"))
    assert (one.severe, two.severe, two.verdict) == (False, True, None)
    assert (dict(one.limits), two.limits["acetylene"].value) == ({}, 50.0)
    assert (one.place, one.last_reset(), one.last_samples()) == ("AH, T1", date(2024, 5, 1), {"": date(2026, 1, 1)})
