"""The monthly sheet out of two assessments."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pandas as pd
from books import service_row
from outlook_dues import AS_OF, due

from tapwear.oil.types import OilFinding, OilVerdict
from tapwear.outlook.changes import Changes, changes_between
from tapwear.outlook.conditions import Noted
from tapwear.outlook.followups import FollowUp
from tapwear.outlook.next import SampleWanted
from tapwear.outlook.stops import Stop
from tapwear.outlook.track import told
from tapwear.outlook.types import Outlook

SINCE = AS_OF - timedelta(days=30)
ODD = Noted("motor_current", "peak odd", date(2026, 6, 20), date(2027, 3, 31), False, "K. Arden")
HOT = Noted("infrared", "6 K above the tank", date(2026, 1, 5), None, False, "P. Lund")


def reading(number: int, status: str) -> dict[str, object]:
    day = pd.Timestamp("2026-06-01")
    return {"reading_id": number, "unit": "T1", "value": 1000 + number, "read_on": day, "status": status, "reason": ""}


def verdict(unit: str, call: str, *kinds: str, severe: bool = False) -> OilVerdict:
    found = tuple(OilFinding(kind, f"{kind} seen.") for kind in kinds)
    return OilVerdict(unit, AS_OF, call, severe, findings=found)  # type: ignore[arg-type]


def sheet() -> Changes:
    then = told(Outlook(SINCE, (due(as_of=SINCE),)), {})
    now = told(Outlook(AS_OF, (due(early=date(2026, 8, 1)), due(unit="T9", severe=True))), {})
    before = {"T1": verdict("T1", "nothing unusual", "wet oil"), "T2": verdict("T2", "resample", "heating")}
    after = {
        "T1": verdict("T1", "pull forward", "wet oil", "arcing"),
        "T2": verdict("T2", "resample", "heating"),
        "T9": verdict("T9", "pull forward", "heating", severe=True),
    }
    done = (("T1", str(SINCE), "overhaul"), ("T2", "2026-06-12", "overhaul"), ("T3", "2026-06-20", "other"))
    services = pd.DataFrame([service_row(unit, day, work=work) for unit, day, work in done])
    samples = {
        "T2": SampleWanted(date(2026, 7, 9), "flagged", "To confirm."),
        "T3": SampleWanted(AS_OF, "first", "None is recorded."),
    }
    old = pd.DataFrame([reading(1, "doubtful"), reading(2, "used")])
    new = pd.DataFrame([reading(1, "doubtful"), reading(2, "doubtful"), reading(3, "used")])
    notes = (follow_up("T1", SINCE), follow_up("T2", AS_OF), follow_up("T3", SINCE, AS_OF), follow_up("T9", AS_OF))
    conditions = ({"T2": (HOT,), "T3": (HOT,)}, {"T1": (ODD,), "T2": (HOT,)})
    return changes_between(
        then, now, (before, after), (old, new), services, samples, ["a rule"], SINCE, AS_OF, notes, conditions
    )


def test_what_people_noted_since_is_on_the_sheet_and_what_they_settled() -> None:
    assert sheet().conditions == (
        "T1: motor current: peak odd, noted 2026-06-20 by K. Arden (act by 2027-03-31)",
        "T3: settled: infrared: 6 K above the tank, noted 2026-01-05 by P. Lund",
    )


def follow_up(unit: str, first_on: date, closed_on: date | None = None) -> FollowUp:
    words = "cabinet heater faulty"
    return FollowUp(unit, "heater", "", "", words, first_on, first_on, 1, "observation", closed_on=closed_on, by="Kim")


def test_follow_ups_seen_before_and_those_of_severe_units_are_not_on_the_sheet() -> None:
    assert sheet().followups == (
        f"T2: cabinet heater faulty; seen {AS_OF}",
        f"T3: cabinet heater faulty; seen {SINCE}; closed {AS_OF} by Kim: ",
    )


def test_only_what_is_new_is_on_the_sheet() -> None:
    found = sheet()
    assert found.work == ("T2: overhaul on 2026-06-12", "T3: other work on 2026-06-20")
    assert found.readings == ("T1: reading 1,002 of 2026-06-01: does not fit",)
    assert found.samples == (("T2", date(2026, 7, 9), "To confirm."),)
    assert found.rules == ("a rule",)


def test_severe_units_come_first_and_are_named_apart() -> None:
    found = sheet()
    assert found.severe == ("T9",)
    assert found.oil == (
        "T9: internal inspection (before: no sample); heating seen",
        "T1: internal inspection (before: nothing unusual); arcing seen",
    )


def test_dates_stand_then_and_now() -> None:
    (moved, new) = sheet().dates
    assert (moved.unit, moved.days) == ("BRK-T1", (date(2026, 8, 1) - date(2026, 9, 14)).days)
    assert new.reasons == ("new on the list",)


def stop_rows(**given: object) -> pd.DataFrame:
    days = ("opened_on", "work_released_on", "work_from_on", "cleared_on")
    row = dict.fromkeys(days) | {"unit": "T1", "work_engineer": "", "work_words": "", "cleared_engineer": ""}
    row |= {"cleared_words": "", **given}
    return pd.DataFrame([row]).astype(dict.fromkeys(days, "datetime64[us]"))


def stop_events(then: dict[str, Stop], now: dict[str, Stop], **row: object) -> tuple[str, ...]:
    none = pd.DataFrame({name: [] for name in ("unit", "done_on", "work", "reading_id", "read_on", "status", "value")})
    none = none.astype({"done_on": "datetime64[us]"}).assign(reason="")
    rows = stop_rows(opened_on="2026-05-26", **row)
    found = changes_between(
        (), (), ({}, {}), (none, none), none, {}, [], SINCE, AS_OF, stops=(then, now), stop_rows=rows
    )
    return found.stop_events


def test_stops_opened_contradicted_released_and_cleared_are_told_with_who_and_why() -> None:
    stop = Stop("T1", date(2026, 6, 3), ("Ethylene rose.",))
    assert stop_events({}, {"T1": stop}) == ("T1: stopped: Ethylene rose.",)
    assert stop_events({"T1": stop}, {"T1": stop}) == ()
    (words,) = stop_events({"T1": stop}, {"T1": replace(stop, contradicted_on=date(2026, 6, 20))})
    assert words.startswith("T1: The sample of 2026-06-20 contradicts it")
    work = {"work_released_on": "2026-06-10", "work_from_on": "2026-07-02", "work_engineer": "K. Arden"}
    assert stop_events({"T1": stop}, {"T1": stop}, **work, work_words="open it") == (
        "T1: released on 2026-06-10 by K. Arden for work de-energised from 2026-07-02: open it",
    )
    end = {"cleared_on": "2026-06-12", "cleared_engineer": "K. Arden", "cleared_words": "contacts renewed"}
    assert stop_events({"T1": stop}, {}, **end) == (
        "T1: stop of 2026-05-26 cleared on 2026-06-12 by K. Arden: contacts renewed",
    )
    assert stop_events({}, {}, **(end | {"cleared_on": str(SINCE)})) == ()
