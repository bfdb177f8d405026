"""Reading the counter: what becomes of readings, one kind of trouble at a time."""

from __future__ import annotations

import datetime as dt

import pytest
from clean_frames import clean, monthly, status, steady, total


def only_doubtful(history) -> tuple[int, str]:
    """Place and reason of the one doubtful reading."""
    table = history.readings.reset_index(drop=True)
    doubtful = table[table["status"] == "doubtful"]
    assert len(doubtful) == 1
    return int(doubtful.index[0]), str(doubtful["reason"].iloc[0])


def test_operations_are_counted_from_the_first_reading():
    history = clean(monthly("T1", [1000, 1100, 1205, 1300]))
    assert history.points["operations"].tolist() == [0.0, 100.0, 205.0, 300.0]
    assert status(history) == ["used"] * 4
    assert history.open_ends.empty


def test_a_rollover_goes_on_counting():
    values = steady(99_500, 200, 12)
    assert min(values) < 99_500  # it does roll over
    history = clean(monthly("T1", values))
    assert set(status(history)) == {"used"}
    assert total(history) == (values[-1] - values[0]) % 100_000


def test_more_than_one_turn_is_counted_when_the_rate_says_so():
    before = monthly("T1", steady(0, 3000, 12, digits=4), digits=4)
    value = (before[-1][2] + 24_000) % 10_000
    history = clean([*before, ("T1", "2021-08-12", value, {"digits": 4})])  # eight months later
    made = history.points["operations"].diff().iloc[-1]
    assert made == 24_000


def test_two_digits_exchanged_are_found_with_the_number_that_was_meant():
    values = [13_800, 13_935, 14_062, 14_195, 14_325, 14_452, 14_581, 14_712, 14_843, 14_970]
    values[5] = 14_542
    history = clean(monthly("T1", values))
    place, reason = only_doubtful(history)
    assert place == 5
    assert reason == "digits transposed? 14542 instead of 14452"
    assert total(history) == 14_970 - 13_800


def test_a_digit_left_out_is_found():
    values = steady(31_000, 400, 12)
    values[4] = int(str(values[4])[:2] + str(values[4])[3:])
    place, reason = only_doubtful(clean(monthly("T1", values)))
    assert place == 4
    assert reason.startswith("a digit left out?")


def test_a_copied_number_is_found_once_the_next_one_makes_up_for_it():
    values = steady(8_000, 300, 12)
    values[6] = values[5]
    place, reason = only_doubtful(clean(monthly("T1", values)))
    assert place == 6
    assert reason == "same number as last time, though operations went on"


def test_two_units_read_the_wrong_way_round_are_both_found_and_named():
    one, two = steady(8_000, 300, 12), steady(54_000, 500, 12)
    one[6], two[6] = two[6], one[6]
    history = clean(monthly("T1", one) + monthly("T2", two))
    doubtful = history.readings[history.readings["status"] == "doubtful"]
    assert doubtful["unit"].tolist() == ["T1", "T2"]
    assert doubtful["reason"].tolist() == ["looks like the counter of T2", "looks like the counter of T1"]
    assert total(history, "T1") == one[-1] - one[0]


def test_a_change_of_regime_is_no_misreading():
    values = steady(10_000, 200, 12)
    values += [values[-1] + 450 * k for k in range(1, 8)]
    assert set(status(clean(monthly("T1", values)))) == {"used"}


@pytest.mark.parametrize(("old", "new"), [(2_350, 70_000), (2_350, None), (None, 70_000), (None, None)])
def test_a_recorded_replacement_keeps_the_count_going(old, new):
    before = steady(1_000, 200, 7)
    after = [70_000 + 50 + 200 * k for k in range(8)]
    history = clean(monthly("T1", before + after), [("T1", "2020-08-02", "counter_replaced", old, new)])
    assert set(status(history)) == {"used"}
    made = history.points["operations"].diff().iloc[7]
    known = (2_350 - before[-1]) + 50
    if old is not None and new is not None:
        assert made == known
    else:
        assert made == pytest.approx(200, abs=80)


def test_a_new_counter_started_at_nought_needs_no_record_of_it():
    before = steady(5_000, 200, 7)
    after = [90 + 200 * k for k in range(8)]
    history = clean(
        monthly("T1", before + after), [("T1", "2020-08-02", "counter_replaced", before[-1] + 110, None)]
    )
    assert history.points["operations"].diff().iloc[7] == 200


def test_an_unrecorded_reset_starts_again_without_losing_the_count():
    before, after = steady(45_000, 200, 10), [120 + 200 * k for k in range(9)]
    history = clean(monthly("T1", before + after))
    assert set(status(history)) == {"used"}
    assert total(history) == pytest.approx((before[-1] - before[0]) + 200 + 8 * 200, abs=100)
    reasons = history.readings["reason"].tolist()
    assert reasons[10] == "the counter seems to have been set back or exchanged before this reading, without a record"
    assert set(reasons[:10] + reasons[11:]) == {""}


def test_an_unrecorded_exchange_for_a_counter_that_shows_more_is_no_flood_of_operations():
    before, after = steady(2_000, 200, 10), [71_000 + 200 * k for k in range(9)]
    history = clean(monthly("T1", before + after))
    assert total(history) == pytest.approx((before[-1] - before[0]) + 200 + 8 * 200, abs=100)


def test_an_unmoved_counter_is_right_while_the_unit_is_out_of_service():
    values = steady(20_000, 400, 10)
    values += [values[-1] + 20] * 4
    values += [values[-1] + 400 * k for k in range(1, 8)]
    events = [("T1", "2020-10-13", "out_of_service", None, None), ("T1", "2021-02-10", "back_in_service", None, None)]
    assert set(status(clean(monthly("T1", values), events))) == {"used"}


def test_days_in_the_workshop_do_not_count_as_service():
    values = steady(20_000, 400, 10)
    values += [values[-1] + 20] * 4
    values += [values[-1] + 400 * k for k in range(1, 8)]
    stays = [
        ("T1", "P1", "2019-01-01", "2020-10-13", "in service"),
        ("T1", "shop", "2020-10-13", "2021-02-10", "workshop"),
        ("T1", "P1", "2021-02-10", None, "in service"),
    ]
    assert set(status(clean(monthly("T1", values), stays=stays))) == {"used"}


def test_of_two_readings_on_one_day_the_one_that_fits_is_used():
    rows = monthly("T1", steady(20_000, 400, 10))
    rows.insert(5, (rows[5][0], rows[5][1], 77_777))
    history = clean(rows)
    assert sorted(status(history)) == ["superseded"] + ["used"] * 10
    twin = history.readings[history.readings["status"] == "superseded"].iloc[0]
    assert twin["value"] == 77_777
    assert twin["reason"] == f"another reading of that day, {rows[6][2]}, fits better"


def test_a_reading_entered_twice_counts_once():
    rows = monthly("T1", steady(20_000, 400, 6))
    history = clean([*rows, rows[3]])
    assert sorted(status(history)) == ["superseded"] + ["used"] * 6
    twin = history.readings[history.readings["status"] == "superseded"].iloc[0]
    assert (twin["reason"], twin["reading_id"]) == ("entered twice", history.readings["reading_id"].max())


def test_raise_and_lower_counters_are_added():
    up, down = steady(1_000, 100, 6), steady(5_000, 90, 6)
    rows = monthly("T1", up, source="raise") + monthly("T1", down, source="lower")
    history = clean(rows)
    assert len(history.points) == 6
    assert total(history) == (up[-1] - up[0]) + (down[-1] - down[0])


def test_a_raise_counter_without_its_lower_counter_is_left_aside():
    history = clean(monthly("T1", steady(1_000, 100, 6), source="raise"))
    assert set(status(history)) == {"left aside"}
    assert history.points.empty


def test_a_controllers_count_stands_in_only_after_the_last_mechanical_reading():
    mechanical = steady(20_000, 100, 6)
    controller = steady(700, 100, 9)
    history = clean(monthly("T1", mechanical) + monthly("T1", controller, source="controller"))
    assert len(history.points) == 9
    assert total(history) == (mechanical[-1] - mechanical[0]) + (controller[8] - controller[5])
    aside = history.readings[history.readings["status"] == "left aside"]
    assert set(aside["source"]) == {"controller"}
    assert len(aside) == 6
    assert set(aside["reason"]) == {"another counter of this drive governs"}


def test_three_drives_are_three_series():
    rows = [row for d in "123" for row in monthly("T1", steady(1_000 * int(d), 100 * int(d), 5), drive=d)]
    points = clean(rows).points
    assert sorted(points["series"].unique()) == [0, 1, 2]
    assert points.groupby("drive")["operations"].max().rank().tolist() == [1.0, 2.0, 3.0]


def test_readings_after_the_day_asked_about_are_left_aside():
    history = clean(monthly("T1", steady(1_000, 100, 6)), as_of=dt.date(2020, 4, 13))
    assert status(history) == ["used", "used", "used", "left aside", "left aside", "left aside"]
    assert history.readings["reason"].iloc[-1] == "dated after 2020-04-13"


def test_counter_readings_on_oil_samples_are_left_aside():
    rows = monthly("T1", steady(1_000, 100, 6), source="sample")
    assert set(status(clean(rows))) == {"left aside"}


def test_the_latest_reading_stays_open_and_the_greater_count_is_the_one_to_act_on():
    values = [55_000 + 200 * k for k in range(11)] + [57_700]  # a slip of one digit, or a change of regime?
    history = clean(monthly("T1", values))
    assert status(history)[-1] == "used"
    assert len(history.open_ends) == 1
    end = history.open_ends.iloc[0]
    assert (end["unit"], end["operations"]) == ("T1", 2_200.0)
    assert end["probability"] == pytest.approx(1 - history.points["probability"].iloc[-1], abs=0.01)
    assert end["words"] == (
        "the latest reading may be wrong (one digit mistyped? 57700 instead of 57200): "
        "then 500 operations fewer were made; to act on: the reading as it stands"
    )


def test_the_next_reading_settles_what_the_latest_one_was():
    values = [55_000 + 200 * k for k in range(11)] + [57_700]
    slip = clean(monthly("T1", [*values, 57_400]))
    assert status(slip)[-2:] == ["doubtful", "used"]
    change = clean(monthly("T1", [*values, 58_500, 59_300]))
    assert status(change)[-3:] == ["used", "used", "used"]
    assert slip.open_ends.empty
    assert change.open_ends.empty


def test_a_latest_number_far_off_is_doubtful_and_its_count_kept_as_second_explanation():
    values = steady(52_000, 500, 12)
    values[-1] = values[-2]
    history = clean(monthly("T1", values))
    assert status(history)[-1] == "doubtful"
    assert (history.open_ends["operations"] == values[-2] - values[0]).all()


def test_a_number_with_too_many_digits_is_doubtful():
    values = steady(52_000, 500, 12)
    values[4] = 523_456
    place, reason = only_doubtful(clean(monthly("T1", values)))
    assert place == 4
    assert reason == "more digits than the counter has"
