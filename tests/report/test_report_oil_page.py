"""The page about the oil of one unit, as lines of text."""

from __future__ import annotations

from datetime import date
from typing import Any

from oil_examples import HEATING, TREND, pulled, sample, unit, verdict

from tapwear.oil.limits import Limit
from tapwear.oil.types import AcetyleneTrend, OilFinding
from tapwear.report.oil_fleet import like_groups, member_of
from tapwear.report.oil_page import oil_page
from tapwear.report.oil_words import call_sentence, call_short, figure_words, rate_words
from tapwear.report.page import page_plain
from tapwear.words import CAUTIONS, stop_notice

WET = OilFinding("wet oil", "Water rose from the usual 9 to 30 and 33 mg/kg.", {}, "own past", "our choice")


def page(one: Any, **options: Any) -> str:
    return "\n".join(page_plain(oil_page(one, **options)))


def test_the_page_says_who_the_unit_is() -> None:
    text = page(unit(sample("2026-03-01")))
    assert text.startswith("AH-T1   AH, T1 (Alder Hill)   oil as of 2026-06-30")
    assert (
        "Arcing in oil, resistor type; breathes through desiccant; shares the conservator with the main tank." in text
    )
    assert "300 L of oil in the compartment; group of like equipment: town; serial S-1042." in text
    assert "only in an outage" not in text
    assert "Can be sampled only in an outage." in page(unit(identity={"sampling_needs_outage": True}))


def test_a_call_to_open_leads_with_the_early_date_and_gives_figures_source_and_standing() -> None:
    text = page(unit(sample("2026-03-01"), verdict=pulled()))
    call = "Oil results call for an internal inspection by 2026-08-01; middle 2026-10-01, late 2027-01-01, which is not"
    assert call in text
    assert HEATING.words in text
    assert "Figures: chance that a fault has begun: 8 in 10; ethylene of hot oil: 1,539 mL." in text
    assert "Rule: IEEE C57.139; our own rule." in text
    assert CAUTIONS[2] in text


def test_an_early_date_that_has_come_reads_now() -> None:
    now = unit(verdict=pulled(open_by_early=date(2026, 6, 30)))
    assert call_sentence(now).startswith("Oil results call for an internal inspection now; middle 2026-10-01")
    assert call_short(now) == "open now"
    past = unit(verdict=pulled(open_by_late=date(2026, 6, 30), open_by_early=date(2026, 6, 30)))
    assert call_sentence(past) == "Oil results call for an internal inspection now (3 samples)."


def test_a_severe_finding_comes_first_and_nothing_else_is_suggested() -> None:
    severe = unit(sample("2026-03-01"), stop="STOP since 2026-05-01", verdict=pulled(severe=True, oil_work=(WET,)))
    text = page(severe)
    assert text.splitlines()[0] == stop_notice("AH-T1")
    for suggestion in ("Next sample", "Oil work", "resample", CAUTIONS[2]):
        assert suggestion not in text
    assert call_short(severe) == "stopped"
    noted = page(unit(sample("2026-03-01"), stop="STOP since 2026-05-01"))
    assert "Arcing or overheating is suspected, by what people recorded." in noted
    assert "No abnormal result" not in noted


def test_oil_work_is_told_apart_from_opening() -> None:
    text = page(unit(sample("2026-03-01"), verdict=verdict(oil_work=(WET,))))
    assert "Oil work, no reason to open: Water rose from the usual 9 to 30 and 33 mg/kg." in text
    assert "Oil work" not in page(unit(sample("2026-03-01")))


def test_no_sample_for_long_reads_no_oil_evidence_since_and_never_nothing_unusual() -> None:
    stale = page(unit(sample("2022-03-01"), verdict=verdict("no oil evidence", last_sample_on=date(2022, 3, 1))))
    assert "No recent oil sample since 2022-03-01." in stale
    assert "No abnormal result" not in stale
    assert "No abnormal result in 3 samples." in page(unit(sample("2026-03-01")))
    never = page(unit(verdict=verdict("no oil evidence")))
    assert "No recent oil sample: no sample is recorded." in never


def test_the_rate_has_its_interval_and_both_units() -> None:
    assert rate_words(TREND) == (
        "Acetylene rises by 608 ppm a year (8 in 10: 424 to 757); 20.1 mL per 1,000 operations (14.6 to 26.4); "
        "11 samples since 2022-05-18."
    )
    falling = AcetyleneTrend(-5.0, -8.0, -2.0, 4, date(2024, 1, 1))
    assert rate_words(falling) == "Acetylene falls by 5 ppm a year (8 in 10: -8 to -2); 4 samples since 2024-01-01."
    level = AcetyleneTrend(1.0, -8.0, 9.0, 4, date(2024, 1, 1))
    assert rate_words(level).startswith("Acetylene shows no clear change, 1 ppm a year (8 in 10: -8 to 9);")


def test_figures_carry_the_unit_after_the_comma_of_their_name() -> None:
    assert figure_words("ethylene of hot oil, mL", 12.34) == "ethylene of hot oil: 12.3 mL"
    assert figure_words("chance that a fault has begun", 0.99) == "chance that a fault has begun: almost sure"
    assert figure_words("samples that speak for it", 4.0) == "samples that speak for it: 4"


def test_samples_since_the_reset_are_shown_and_all_of_them_when_asked() -> None:
    rows = [sample(f"20{year}-03-01") for year in range(15, 27)]
    changed = unit(*rows, events=((date(2020, 6, 1), "overhaul"),))
    text = page(changed)
    assert "2021-03-01" in text
    assert "2020-03-01" not in text
    assert "--- overhaul 2020-06-01 ---\n  and 6 older (--all shows them)" in text
    everything = page(changed, full=True)
    assert "2015-03-01" in everything
    assert "older" not in everything


def test_resets_changes_of_laboratory_and_of_test_method_stand_between_the_samples() -> None:
    rows = [
        sample("2026-03-01", laboratory="South lab", breakdown_method="ASTM D877"),
        sample("2025-09-01"),
        sample("2025-03-01"),
    ]
    events = ((date(2025, 12, 1), "laboratory_changed"), (date(2025, 6, 1), "breather_changed"))
    lines = page(unit(*rows, events=events)).splitlines()
    first = next(i for i, line in enumerate(lines) if line.startswith("  2026-03-01"))
    assert lines[first + 1].strip() == "--- laboratory from here on: South lab; before: North lab ---"
    assert lines[first + 2].strip() == (
        "--- breakdown test from here on: ASTM D877, gap 2.5 mm; before: IEC 60156, gap 2.5 mm ---"
    )
    assert lines[first + 3].startswith("  2025-09-01")
    assert lines[first + 4].strip() == "--- breather changed 2025-06-01 ---"


def test_oil_renewed_by_the_gases_alone_is_marked_as_not_recorded() -> None:
    rows = [sample("2025-03-01"), sample("2026-03-01")]
    seen = unit(*rows, verdict=verdict(evidence_since=date(2025, 9, 1)))
    assert "--- oil renewed about 2025-09-01, by the gases; no record says so ---" in page(seen)
    known = unit(*rows, events=((date(2025, 9, 1), "oil_changed"),), verdict=verdict(evidence_since=date(2025, 9, 1)))
    assert "by the gases" not in page(known)


def test_values_below_the_limit_and_ratios_without_enough_gas_are_shown_as_such() -> None:
    rows = [sample("2026-03-01", acetylene=0.5, acetylene_below=True), sample("2025-03-01")]
    lines = page(unit(*rows)).splitlines()
    newest = next(line.split() for line in lines if line.startswith("  2026-03-01"))
    assert newest == ["2026-03-01", "10", "10", "10", "60", "<0.5", "--", "--"]
    older = next(line.split() for line in lines if line.startswith("  2025-03-01"))
    assert older[-2:] == ["0.20", "0.27"]


def test_a_vacuum_unit_has_no_ratio_to_the_acetylene_that_it_hardly_makes() -> None:
    text = page(unit(sample("2026-03-01"), identity={"technology": "vacuum"}))
    assert "e/a" not in text
    assert "Interrupts in vacuum" in text


def test_each_compartment_and_the_main_tank_stand_apart() -> None:
    rows = [sample("2026-03-01", compartment=name) for name in "AB"]
    tank = sample("2026-02-01", taken_from="main_tank", acetylene=40.0, hydrogen=100.0)
    text = page(unit(*rows, tank))
    assert "Samples of the compartment A\n" in text
    assert "Samples of the compartment B\n" in text
    assert "Main tank beside it\n" in text
    assert "0.40" in text.split("Main tank beside it")[1]
    assert "never excludes arcing in the main tank" in " ".join(text.split())
    assert "Main tank" not in page(unit(*rows))


def test_the_place_among_like_units_is_said_once() -> None:
    fleet = [unit(sample("2026-03-01", acetylene=100.0 + i), identity={"unit": f"U{i:02d}"}) for i in range(12)]
    groups = like_groups(fleet)
    like = member_of(groups, "U11")
    assert like is not None
    assert "Newest acetylene 111 ppm; among like units above all of 11 others (town: arcing" in page(
        fleet[-1], like=like
    )
    ranked = OilFinding("above like units", "Acetylene of 111 ppm is above 9 in 10 of 12 like units.")
    told = unit(sample("2026-03-01"), verdict=verdict(findings=(ranked,)))
    assert "Newest acetylene" not in page(told, like=like)


def test_limits_that_are_set_are_named_with_their_source_and_drawn() -> None:
    limited = unit(
        *(sample(f"202{i}-03-01") for i in range(6)), limits={"acetylene": Limit(450.0, "our rules of 2025")}
    )
    text = page(limited)
    assert "Limits set: acetylene 450 (our rules of 2025)." in text
    assert "limit of acetylene" in text
    assert "limit of" not in page(unit(sample("2026-03-01"), sample("2025-03-01")))


def test_what_people_typed_cannot_control_the_terminal() -> None:
    text = page(unit(sample("2026-03-01", laboratory="\x1b[31mred"), identity={"station_name": "a\x07b"}))
    assert "\x1b" not in text
    assert "\x07" not in text
