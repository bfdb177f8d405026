"""What to look at next: which visits are worth it, by when, and who is never visited."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import oil_frames
import pandas as pd
import pytest
from books import AS_OF, book, rule_row, service_row, steady_readings, unit_row
from outlook_dues import due

from tapwear.fleet import assess_book, moved_if_repeated, outlook_if_read
from tapwear.outlook.next import Look, Round, SampleWanted, next_round, usual_intervals
from tapwear.outlook.signs import STAYS
from tapwear.outlook.types import Outlook
from tapwear.report.next_view import next_page, range_words, what_words
from tapwear.weeks import cadence_days
from tapwear.words import stop_notice


def round_of(now: Outlook, then: Outlook, **changes: object) -> Round:
    given: dict[str, object] = {"verdicts": {}, "usual_days": {}, "samples": {}, "needs_outage": set()} | changes
    return next_round(
        now,
        then,
        given["verdicts"],  # type: ignore[arg-type]
        given["usual_days"],  # type: ignore[arg-type]
        given["samples"],  # type: ignore[arg-type]
        given["needs_outage"],  # type: ignore[arg-type]
        everything=bool(given.get("everything", False)),
    )


NOW = due(last_reading_on=AS_OF - timedelta(days=20))
THEN = replace(NOW, early=date(2026, 10, 14), late=date(2027, 4, 2))


def only(found: Round) -> Look:
    (look,) = found.looks
    return look


def test_the_narrowing_is_the_width_now_less_the_width_after_the_reading() -> None:
    # 2026-09-14 to 2027-05-02 are 230 days, 2026-10-14 to 2027-04-02 are 170.
    look = only(round_of(Outlook(AS_OF, (NOW,)), Outlook(AS_OF, (THEN,))))
    assert (look.width_days, look.width_after_days, look.narrows_days) == (230, 170, 60)
    assert look.reading == "the range of its date would narrow by 60 days"


def test_one_day_is_one_day() -> None:
    then = replace(NOW, late=date(2027, 5, 1))
    page = next_page(round_of(Outlook(AS_OF, (NOW,)), Outlook(AS_OF, (then,)), everything=True))
    assert page[1].heading == "Station BRK: total reduction in date range: 1 day"


def test_what_a_first_reading_would_tell_is_not_said() -> None:
    never = replace(NOW, readings_used=0, last_reading_on=None)
    look = only(round_of(Outlook(AS_OF, (never,)), Outlook(AS_OF, (never,))))
    assert (look.width_days, look.width_after_days, look.narrows_days) == (230, None, 0)
    assert (look.reading, range_words(look)) == ("no usable reading yet", "230 now")


def test_a_narrowing_of_days_or_of_a_far_date_is_not_worth_a_visit() -> None:
    little = replace(NOW, early=date(2026, 9, 16), late=date(2027, 5, 1))
    assert round_of(Outlook(AS_OF, (NOW,)), Outlook(AS_OF, (little,))).looks == ()
    far = replace(NOW, early=date(2031, 1, 1), late=date(2035, 1, 1))
    nearer = replace(far, late=date(2034, 1, 1))
    assert round_of(Outlook(AS_OF, (far,)), Outlook(AS_OF, (nearer,))).looks == ()
    assert only(round_of(Outlook(AS_OF, (far,)), Outlook(AS_OF, (nearer,)), everything=True)).narrows_days == 365


def test_severe_units_go_to_the_engineer_and_are_never_visited() -> None:
    severe = replace(NOW, severe=True, next_action=stop_notice("T1"))
    other = replace(NOW, task="contact replacement")
    found = round_of(
        Outlook(AS_OF, (severe, other)),
        Outlook(AS_OF, (THEN,)),
        samples={"BRK-T1": SampleWanted(AS_OF, "flagged", "x")},
        everything=True,
    )
    assert (found.looks, found.severe) == ((), ("BRK-T1",))


def test_a_reading_older_than_usual_is_overdue_whatever_it_does_to_the_date() -> None:
    old = replace(NOW, last_reading_on=AS_OF - timedelta(days=140))
    look = only(round_of(Outlook(AS_OF, (old,)), Outlook(AS_OF, (old,)), usual_days={"BRK-T1": 91.3}))
    assert look.reading_overdue
    assert look.reading == "last read 5 months ago, usually every 3 months"
    assert round_of(Outlook(AS_OF, (old,)), Outlook(AS_OF, (old,)), usual_days={"BRK-T1": 182.0}).looks == ()


def test_a_wanted_sample_is_listed_with_its_day_and_marked_where_it_needs_an_outage() -> None:
    wanted = {"BRK-T1": SampleWanted(date(2026, 7, 20), "flagged", "Within 4 weeks.")}
    found = round_of(Outlook(AS_OF, (NOW,)), Outlook(AS_OF, (NOW,)), samples=wanted, needs_outage={"BRK-T1"})
    look = only(found)
    assert (look.sample, look.sample_by, look.sample_needs_outage) == ("Within 4 weeks.", date(2026, 7, 20), True)
    assert look.by == AS_OF


def test_units_in_store_are_not_visited() -> None:
    spare = replace(NOW, state="spare")
    assert round_of(Outlook(AS_OF, (spare,)), Outlook(AS_OF, (THEN,)), everything=True).looks == ()


def test_stations_with_the_most_to_gain_come_first() -> None:
    poor = replace(NOW, unit="ALD-T1", station="Alder")
    poor_then = replace(poor, late=date(2027, 4, 20))
    found = round_of(Outlook(AS_OF, (poor, NOW)), Outlook(AS_OF, (poor_then, THEN)))
    assert found.stations == (NOW.station, "Alder")


def test_through_the_layers_the_unit_not_read_for_a_year_gains_more_than_its_twin_read_last_month() -> None:
    units = [unit_row("OLD"), unit_row("NEW", station="BH")]
    readings = steady_readings("OLD", 15.0, end=AS_OF - timedelta(days=360)) + steady_readings("NEW", 15.0)
    services = [service_row("OLD", "2019-06-01"), service_row("NEW", "2019-06-01")]
    rules = [rule_row("OLD", interval_years=float("nan")), rule_row("NEW", interval_years=float("nan"))]
    assessment = assess_book(book(units, rules, readings, services), AS_OF)
    then = outlook_if_read(assessment, AS_OF)
    gains = {look.unit: look.narrows_days for look in round_of(assessment.outlook, then, everything=True).looks}
    assert gains["OLD"] > gains["NEW"] >= 0
    assert gains["OLD"] > 14


@pytest.mark.parametrize(
    ("words", "days"),
    [("quarterly", 91.3), ("Every 3 months", 91.32), ("2 weeks", 14.0), ("week", 7.0), ("when dry", None), ("", None)],
)
def test_a_cadence_is_read_from_words(words: str, days: float | None) -> None:
    assert cadence_days(words) == (pytest.approx(days) if days is not None else None)


def test_without_words_the_usual_interval_is_the_median_of_the_newest_ones() -> None:
    readings = pd.DataFrame(
        {
            "unit": ["T1"] * 4 + ["T2"],
            "read_on": pd.to_datetime(["2026-01-01", "2026-02-01", "2026-03-01", "2026-06-01", "2026-01-01"]),
        }
    )
    units = pd.DataFrame({"unit": ["T1", "T2", "T3"], "visit_cadence": ["", "", "yearly"]})
    assert usual_intervals(units, readings) == {"T1": 31.0, "T3": 365.25}


def test_a_sample_that_repeats_one_high_acetylene_is_said_to_bring_the_date_forward() -> None:
    samples, units = oil_frames.steady(8, vacuum=False)
    last = samples["unit"].eq("T1") & samples["sampled_on"].eq(samples["sampled_on"].max())
    samples.loc[last, ["acetylene", "ethylene", "hydrogen"]] *= 2.6
    one = book(
        units=[unit_row(tag, oil_group="like", breathing="free") for tag in units["unit"]],
        rules=[rule_row(tag, interval_years=12.0) for tag in units["unit"]],
        readings=[row for tag in units["unit"] for row in steady_readings(tag, 4.0, end=oil_frames.AS_OF)],
        services=[service_row(tag, "2016-01-01") for tag in units["unit"]],
        samples=samples.to_dict("records"),
    )
    found = assess_book(one, oil_frames.AS_OF)
    assert (found.verdicts["T1"].call, found.verdicts["T2"].call) == ("resample", "nothing unusual")
    moved = moved_if_repeated(found, ["T1", "T2"], oil_frames.AS_OF + timedelta(days=60))
    assert moved["T1"] > 365
    assert moved["T2"] == 0


def test_without_a_sample_nothing_can_repeat() -> None:
    one = book(units=[unit_row("T1")], rules=[rule_row("T1")], readings=steady_readings("T1", 4.0))
    assert moved_if_repeated(assess_book(one, AS_OF), ["T1"], AS_OF) == {}


def test_the_list_says_what_a_repeated_sample_would_do_to_the_date() -> None:
    for days, words in ((412, "the early date comes 412 days forward."), (0, "no date moves.")):
        wanted = {"BRK-T1": SampleWanted(date(2026, 7, 20), "flagged", "Within 4 weeks.", days)}
        look = only(round_of(Outlook(AS_OF, (NOW,)), Outlook(AS_OF, (NOW,)), samples=wanted))
        assert what_words(look) == f"Sample the oil: Within 4 weeks. If it shows the same again, {words}"


def test_an_alarm_counts_its_station_and_asks_for_the_engineer_once() -> None:
    alarm = replace(NOW, alarms=(f"Oil results call for an internal inspection now. {STAYS}",))
    wanted = {"BRK-T1": SampleWanted(AS_OF, "alarm", f"Today, to see how fast it rises. {STAYS}", 0)}
    first, page = next_page(round_of(Outlook(AS_OF, (alarm,)), Outlook(AS_OF, (THEN,)), samples=wanted))
    (line,) = first.lines
    assert line.text.count(STAYS) == 1
    assert "Sample the oil: Today, to see how fast it rises. If it shows" in line.text
    assert page.lines[0].text == "1 unit at 1 station."


def test_nobody_is_sent_to_a_unit_in_the_bank_of_a_stopped_one() -> None:
    beside = replace(NOW, bank_stop="Stopped in the same bank: BRK-T2.", alarms=("Stopped in the same bank: BRK-T2.",))
    wanted = {"BRK-T1": SampleWanted(AS_OF, "flagged", "x")}
    look = only(round_of(Outlook(AS_OF, (beside,)), Outlook(AS_OF, (THEN,)), samples=wanted))
    assert (look.reading, look.sample, look.sample_by) == ("", "", None)
