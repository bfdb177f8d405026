"""Kept dates against what happened: whole through a document, moved for stated reasons, judged by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest
from books import AS_OF, book, rule_row, service_row, steady_readings, unit_row
from outlook_dues import due

from tapwear.counts.rate import RateModel
from tapwear.fleet import assess_book
from tapwear.outlook.track import Told, compare, from_document, moved, outcomes, score, to_document, told
from tapwear.outlook.types import Outlook

(THEN,) = told(Outlook(AS_OF, (due(),)), {})
NOW = replace(THEN, as_of=AS_OF + timedelta(days=90))


def reasons(now: Told) -> tuple[str, ...]:
    (row,) = compare([THEN], [now])
    return row.reasons


def test_kept_dates_come_back_whole_through_json() -> None:
    unknown = replace(THEN, unit="T2", early=None, middle=None, late=None, known=False, last_service_on=None)
    kept = (THEN, unknown)
    assert from_document(json.loads(json.dumps(to_document(kept)))) == kept
    with pytest.raises(ValueError, match=r"tapwear\.snapshot/1"):
        from_document({"schema": "other/9", "dues": []})


def test_a_date_says_how_far_it_moved_and_each_reason() -> None:
    (row,) = compare([THEN], [replace(NOW, early=date(2026, 8, 15), last_reading_on=date(2026, 9, 1))])
    assert (row.days, row.reasons) == (-30, ("new reading of 2026-09-01",))
    assert reasons(NOW) == ("nothing new, only time has passed",)
    assert reasons(replace(NOW, interval_operations=50_000)) == ("rule changed: 70,000 to 50,000 operations",)
    assert reasons(replace(NOW, interval_years=None)) == ("rule changed: 8 to no years",)
    assert reasons(replace(NOW, readings_doubtful=3)) == ("1 more reading doubtful",)
    sampled = replace(NOW, last_sample_on=date(2026, 8, 1), oil_call="resample")
    assert reasons(sampled) == ("new sample of 2026-08-01", "oil: no sample, now another sample")


def test_a_service_says_it_all() -> None:
    done = replace(NOW, last_service_on=date(2026, 9, 9), last_reading_on=date(2026, 9, 9))
    assert reasons(done) == ("contact service of 2026-09-09 recorded",)


def test_dues_that_came_or_went_are_there_with_a_word() -> None:
    other = replace(NOW, unit="T9")
    rows = {row.unit: row for row in compare([THEN], [other])}
    assert rows["T9"].reasons == ("new on the list",)
    assert rows["BRK-T1"].reasons == ("no longer on the list",)
    assert all(moved(row) for row in rows.values())


def test_only_moves_of_two_weeks_or_from_and_to_unknown_are_worth_a_line() -> None:
    def of(**changes: object) -> bool:
        (row,) = compare([THEN], [replace(NOW, **changes)])  # type: ignore[arg-type]
        return moved(row)

    assert not of(early=date(2026, 9, 27))
    assert of(early=date(2026, 9, 28))
    assert of(early=None, known=False)


def test_a_date_that_is_asked_for_on_the_day_does_not_move_with_the_days() -> None:
    at_once = replace(THEN, early=AS_OF, driver="oil")
    (row,) = compare([at_once], [replace(at_once, as_of=NOW.as_of, early=NOW.as_of)])
    assert row.days == 0
    (row,) = compare([replace(THEN, driver="oil")], [replace(NOW, early=NOW.as_of, driver="oil")])
    assert row.days == 0  # it was told for a day that has come; nothing put it off


def test_what_the_oil_says_is_no_reason_for_another_task_to_move() -> None:
    sampled = replace(NOW, task="oil change", last_sample_on=date(2026, 8, 1), oil_call="resample")
    (row,) = compare([replace(THEN, task="oil change")], [sampled])
    assert row.reasons == ("nothing new, only time has passed",)
    assert reasons(replace(NOW, driver="condition")) == ("a noted condition with a day to act by",)


def kept(**changes: object) -> Told:
    """T1 made 20 a day from 2018-01-01 on; 20,000 since its service of 2020-01-01 were made on 2022-09-27."""
    fields: dict[str, object] = {
        "unit": "T1", "as_of": date(2021, 6, 30), "last_service_on": date(2020, 1, 1), "interval_operations": 20_000,
        "interval_years": None, "early": date(2022, 8, 1), "middle": date(2022, 9, 27), "late": date(2022, 12, 1),
    }  # fmt: skip
    return replace(THEN, **(fields | changes))  # type: ignore[arg-type]


def model_of(readings: list[dict[str, object]]) -> RateModel:
    one = book([unit_row("T1")], [rule_row("T1")], readings, [service_row("T1", "2020-01-01")])
    return assess_book(one, AS_OF).model


def test_the_limit_is_read_off_the_count_and_placed_in_the_told_range() -> None:
    readings = steady_readings("T1", 20.0)
    model = model_of(readings)
    told_dates = [
        kept(),
        kept(early=date(2022, 10, 15)),  # reached before the early date
        kept(late=date(2022, 9, 1), middle=date(2022, 8, 15)),  # reached after the late one
        kept(interval_operations=400_000),  # not reached though its late date has passed
        kept(interval_years=2.7, early=date(2022, 7, 1)),  # 2.7 years end on 2022-09-14, before the operations do
        kept(late=date(2030, 1, 1)),  # its late date is still to come
        kept(as_of=date(2022, 8, 2)),  # may have passed when it was told
        kept(driver="oil"),
        kept(weighted=True),
        kept(unit="gone"),
    ]
    found = outcomes(told_dates, model)
    assert [one.place for one in found] == [
        "within", "before", "after", "after", "within", None, None, None, None, None,
    ]  # fmt: skip
    assert found[0].reached_on is not None
    assert abs((found[0].reached_on - date(2022, 9, 27)).days) <= 3
    assert (found[4].reached_on, found[3].reached_on) == (date(2022, 9, 14), None)
    held = score(found)
    assert (held.before, held.within, held.after, held.judged) == (1, 2, 2, 5)


def test_a_unit_not_read_since_the_late_date_is_not_judged() -> None:
    readings = steady_readings("T1", 20.0, end=date(2022, 9, 1))
    model = model_of(readings)
    (found,) = outcomes([kept()], model)
    assert (found.reached_on, found.place) == (None, None)


def test_a_later_date_says_that_the_stop_was_cleared_or_the_condition_settled() -> None:
    later = {"early": date(2028, 1, 1), "middle": date(2028, 2, 1), "late": date(2028, 3, 1)}
    (row,) = compare((kept(severe=True),), (kept(**later),))
    assert row.reasons == ("its stop was cleared",)
    (row,) = compare((kept(),), (kept(severe=True),))
    assert row.reasons == ("stopped",)
    (row,) = compare((kept(driver="condition"),), (kept(**later),))
    assert row.reasons == ("no noted condition with a day to act by any more",)
