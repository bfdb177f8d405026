"""Deferrals in the outlook: said until they end or the work is done; no date moves."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
from outlook_dues import AS_OF, due

from tapwear.outlook.deferral import with_deferrals
from tapwear.outlook.types import Due, Outlook
from tapwear.words import stop_notice

LATE = due(overdue=True, next_action="plan the contact service now", doubts=("no oil sample",))
WORDS = "deferred to 2027-03-01 by K. Lund: winter peak; checks: monthly sample"


def deferral(**changes: object) -> dict[str, object]:
    row: dict[str, object] = {
        "unit": "BRK-T1", "task": "contact service", "decided_on": "2026-06-01", "expires_on": "2027-03-01",
        "engineer": "K. Lund", "reason": "winter peak", "extra_checks": "monthly sample",
    }  # fmt: skip
    row |= changes
    return row | {name: pd.Timestamp(str(row[name])) for name in ("decided_on", "expires_on")}


def seen(one: Due, *rows: dict[str, object]) -> Due:
    frame = pd.DataFrame(list(rows) or [deferral()])
    (found,) = with_deferrals(Outlook(AS_OF, (one,)), frame).dues
    return found


def test_one_in_force_is_said_first_and_changes_what_to_do_next_but_no_date() -> None:
    found = seen(LATE)
    assert (found.deferral, found.deferred_until) == (WORDS, date(2027, 3, 1))
    assert found.doubts == (f"contact service {WORDS}", "no oil sample")
    assert found.next_action == (
        "plan the contact service before 2027-03-01, when its deferral ends; meanwhile: monthly sample"
    )
    assert (found.early, found.middle, found.late, found.overdue) == (LATE.early, LATE.middle, LATE.late, True)


def test_it_holds_on_its_last_day_and_has_expired_the_day_after() -> None:
    assert seen(LATE, deferral(expires_on=AS_OF)).deferred_until == AS_OF
    gone = seen(LATE, deferral(expires_on=AS_OF - timedelta(days=1)))
    assert (gone.deferral, gone.deferred_until, gone.next_action) == ("", None, LATE.next_action)
    assert gone.doubts[0] == "the deferral of the contact service to 2026-06-29 by K. Lund has expired"


def test_the_newest_decision_counts() -> None:
    found = seen(LATE, deferral(decided_on="2026-06-20", expires_on="2026-09-01"), deferral())
    assert found.deferred_until == date(2026, 9, 1)


def test_work_done_since_settles_it_and_other_tasks_are_not_touched() -> None:
    done = due(last_service_on=date(2026, 6, 10))
    assert seen(done) == done
    other = due(task="oil change")
    assert seen(other) == other


def test_a_decision_dated_after_as_of_is_not_known_yet() -> None:
    assert seen(LATE, deferral(decided_on="2026-07-01")) == LATE


def test_a_severe_finding_keeps_its_one_thing_to_do() -> None:
    found = seen(due(severe=True, next_action=stop_notice("T1")))
    assert found.next_action == stop_notice("T1")
    assert found.deferral == "deferred to 2027-03-01 by K. Lund: winter peak"  # and no sample as a check meanwhile


def test_a_fleet_without_deferrals_is_left_alone() -> None:
    outlook = Outlook(AS_OF, (LATE,))
    assert with_deferrals(outlook, pd.DataFrame([deferral()]).iloc[:0]) is outlook
