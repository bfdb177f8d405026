"""The calendar of a plan, read back by a second reader that shares nothing with its writer."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from icalendar import Calendar
from ics_reader import Part, read_calendar
from plan_examples import HOSTILE, job, released, stopped, usual, view

from tapwear.plan.types import LeftOut
from tapwear.report.plan_data import PlanView
from tapwear.report.plan_ics import plan_ics
from tapwear.words import CAUTION_SHORT, stop_notice


def events(plan: PlanView, *earlier: PlanView) -> list[Part]:
    return read_calendar(plan_ics(plan, earlier)).parts


def one(plan: PlanView, *earlier: PlanView) -> dict[str, object]:
    (event,) = events(plan, *earlier)
    return event.values


def test_events_are_all_day_over_whole_weeks_and_end_on_the_day_after() -> None:
    assert [(event.values["DTSTART"], event.values["DTEND"]) for event in events(usual())] == [
        (date(2027, 3, 1), date(2027, 3, 8)),
        (date(2027, 5, 3), date(2027, 5, 17)),
    ]
    assert CAUTION_SHORT in str(events(usual())[0].values["DESCRIPTION"])


def test_both_readers_find_the_same_in_every_event() -> None:
    jobs = [job(f"U{i}", "2027-06-07", "BIRCH", why=text, kit=text, permit_from=date(2026, 9, 1))
            for i, text in enumerate((*HOSTILE, "a, b; c\\d", "résistance de passage élevée " * 9))]  # fmt: skip
    content = plan_ics(view(*jobs))
    for event, other in zip(read_calendar(content).parts, Calendar.from_ical(content).walk("VEVENT"), strict=True):
        for name in ("UID", "SUMMARY", "DESCRIPTION", "LOCATION", "STATUS"):
            assert event.values[name] == str(other[name])
        assert event.values["DTSTART"] == other.decoded("dtstart")
        assert event.values["SEQUENCE"] == other["sequence"]
        alarms = [alarm.values["TRIGGER"] for alarm in event.parts]
        assert alarms == [alarm.decoded("trigger") for alarm in other.walk("VALARM")]
        assert len(alarms) == 2


def test_alarms_ring_in_the_morning_of_the_last_day_to_order_and_to_ask() -> None:
    (event,) = events(view(job("U1", permit_from=date(2026, 8, 11))))
    rings = {str(alarm.values["DESCRIPTION"]): alarm.values["TRIGGER"] for alarm in event.parts}
    # The kit takes 154 days and the permit 42; the outage starts at midnight of 1 March.
    assert rings == {
        "Last day to ask for the outage and the switching permit: U1, ALDER, out from 2027-03-01": timedelta(
            days=-42, hours=8
        ),
        "Last day to order kit 7: U1, ALDER, out from 2027-03-01": timedelta(days=-154, hours=8),
    }
    assert "by 2027-01-18: ask for the outage" in str(event.values["DESCRIPTION"])


@pytest.mark.parametrize("status", ["asked", "approved"])
def test_an_outage_asked_for_needs_no_alarm_to_ask(status: str) -> None:
    asked = job("U1", permit_from=date(2026, 8, 11), request_status=status, request_words=f"{status} 2026-06-20")
    (event,) = events(view(asked))
    assert [str(alarm.values["DESCRIPTION"])[:17] for alarm in event.parts] == ["Last day to order"]
    assert f"outage request: {status} 2026-06-20" in str(event.values["DESCRIPTION"])


def test_a_job_done_rings_no_more_and_says_so() -> None:
    (event,) = events(view(job("U1", permit_from=date(2026, 8, 11), progress="done", done_on=date(2027, 3, 4))))
    assert event.parts == []
    assert event.values["SUMMARY"] == "done: contact service: U1, ALDER"


def test_a_unit_keeps_its_entry_from_plan_to_plan_and_the_later_plan_wins() -> None:
    draft, later = (one(view(job("U1", due), sequence=sequence))
                    for due, sequence in (("2027-03-01", 0), ("2027-09-06", 1)))  # fmt: skip
    assert draft["UID"] == later["UID"]
    assert draft["DTSTART"] != later["DTSTART"]
    assert (draft["SEQUENCE"], later["SEQUENCE"]) == (0, 1)
    published = one(replace(view(job("U1")), status="published"))
    assert (draft["STATUS"], published["STATUS"]) == ("TENTATIVE", "CONFIRMED")


def test_a_refused_outage_is_not_firm_even_in_a_published_plan() -> None:
    plan = view(job("U1", request_status="refused", request_words="refused 2026-06-20"))
    assert one(replace(plan, status="published"))["STATUS"] == "TENTATIVE"


def test_what_an_earlier_plan_had_and_this_one_has_not_is_cancelled() -> None:
    first = view(job("U1"), job("U2", "2027-05-03", "BIRCH"), job("U3", "2027-06-07", "CEDAR"))
    moved = view(job("U2", "2027-06-07", "BIRCH"), sequence=1)
    stopped = job("U3", station="SHUT")
    now = view(job("U2", "2027-09-06", "BIRCH"), stopped, sequence=2)
    by_uid = {event.values["UID"]: event.values for event in events(first)}
    found = {str(event.values["SUMMARY"]): event.values for event in events(now, first, moved)}
    assert list(found) == [
        "contact service: U2, BIRCH",
        "cancelled: contact service: U1, ALDER",
        "cancelled: contact service: U3, CEDAR",
    ]
    gone = found["cancelled: contact service: U1, ALDER"]
    assert (gone["STATUS"], gone["SEQUENCE"], gone["DTSTART"]) == ("CANCELLED", 2, date(2027, 3, 1))
    assert gone["UID"] in by_uid
    assert gone["DESCRIPTION"] == "2027-a: no longer in the plan for 2027"
    why = str(found["cancelled: contact service: U3, CEDAR"]["DESCRIPTION"])
    assert "station SHUT closed (rebuilding)" in why


def test_what_was_done_is_not_cancelled_by_a_later_plan_without_it() -> None:
    done = view(job("U1", progress="done", done_on=date(2027, 3, 4)))
    now = view(job("U2", station="BIRCH"), sequence=1)
    left = (LeftOut("U1", "contact service due from 2034-03-04, last done on 2027-03-04"),)
    _, gone = events(replace(now, result=replace(now.result, left_out=left)), done)
    assert (gone.values["STATUS"], gone.values["SUMMARY"]) == ("CONFIRMED", "done: contact service: U1, ALDER")
    assert "last done on 2027-03-04" in str(gone.values["DESCRIPTION"])


def test_a_release_for_work_stands_first_in_its_entry() -> None:
    event = one(view(released("U1")))
    assert event["SUMMARY"] == "STOP: only work de-energised: contact service: U1, ALDER"
    assert "by K. Arden: open it. Suspected: Ethylene rose." in str(event["DESCRIPTION"]).split("\n")[0]


def test_a_stop_is_said_by_the_calendar_and_makes_no_event() -> None:
    plan = stopped("U2", job("U1"))
    calendar = read_calendar(plan_ics(plan))
    assert str(calendar.values["DESCRIPTION"]).startswith(stop_notice("U2"))
    assert [event.values["SUMMARY"] for event in calendar.parts] == ["contact service: U1, ALDER"]


def test_the_entry_of_a_unit_stopped_since_is_cancelled_with_a_higher_sequence_and_without_alarms() -> None:
    before = view(job("U1", permit_from=date(2026, 9, 1)))
    now = stopped("U1", job("U1", permit_from=date(2026, 9, 1)))
    old, gone = events(before)[0], events(replace(now, revised={"U1": 1}))[0]
    assert len(old.parts) == 2
    assert gone.parts == []
    assert (gone.values["STATUS"], gone.values["UID"]) == ("CANCELLED", old.values["UID"])
    assert gone.values["SUMMARY"] == "STOP, cancelled: contact service: U1, ALDER"
    assert str(gone.values["DESCRIPTION"]).startswith(stop_notice("U1"))
    assert (old.values["SEQUENCE"], gone.values["SEQUENCE"]) == (0, 1)
    later = stopped("U1", job("U2", station="BIRCH"), sequence=1)
    assert "STOP, cancelled: contact service: U1, ALDER" in [event.values["SUMMARY"] for event in events(later, now)]


def test_text_of_the_store_cannot_begin_a_line_of_its_own() -> None:
    made = plan_ics(view(job("U1\r\nBEGIN:VALARM", why="a, b; c\nEND:VCALENDAR", permit_from=None, kit="")))
    (event,) = read_calendar(made).parts
    assert event.parts == []
    assert made.count(b"END:VCALENDAR\r\n") == 1


def test_a_plan_without_jobs_is_a_calendar_without_events() -> None:
    assert events(view()) == []


@pytest.mark.parametrize(
    ("broken", "says"),
    [
        (b"BEGIN:VCALENDAR\nEND:VCALENDAR\n", "CR LF"),
        (b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n", "lacks"),
        (b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:" + b"x" * 80 + b"\r\nEND:VCALENDAR\r\n", "octets"),
        (b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:a,b\r\nEND:VCALENDAR\r\n", "unescaped"),
    ],
)
def test_the_second_reader_is_strict(broken: bytes, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        read_calendar(broken)
