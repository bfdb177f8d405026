"""Recorded deferrals put into the outlook: said at every due they concern, until the work is done or they expire."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pandas as pd

from tapwear.outlook.types import Due, Outlook


def with_deferrals(outlook: Outlook, deferrals: pd.DataFrame) -> Outlook:
    """The outlook with each due's deferral said. No date moves: a deferral permits, it does not change what is due.

    deferrals : unit, task, decided_on, expires_on, engineer, reason, extra_checks, decided by outlook.as_of; of several
        for one task the newest decision counts, and a service since then settles it
    """
    if deferrals.empty:
        return outlook
    known = deferrals[deferrals["decided_on"] <= pd.Timestamp(outlook.as_of)]
    newest = known.sort_values("decided_on", kind="stable").groupby(["unit", "task"]).last()
    rows = {(str(key[0]), str(key[1])): row for key, row in newest.iterrows()}  # type: ignore[index]
    return replace(outlook, dues=tuple(_deferred(due, rows.get((due.unit, due.task))) for due in outlook.dues))


def _deferred(due: Due, row: pd.Series | None) -> Due:
    if row is None or (due.last_service_on is not None and due.last_service_on >= row["decided_on"].date()):
        return due
    until: date = row["expires_on"].date()
    who = f"by {row['engineer']}"
    if until < due.as_of:
        return replace(due, doubts=(f"the deferral of the {due.task} to {until} {who} has expired", *due.doubts))
    severe = due.severe  # nobody is sent there, for no check either
    words = f"deferred to {until} {who}: {row['reason']}" + ("" if severe else f"; checks: {row['extra_checks']}")
    action = due.next_action
    if action == f"plan the {due.task} now":
        action = f"plan the {due.task} before {until}, when its deferral ends; meanwhile: {row['extra_checks']}"
    said = (f"{due.task} {words}", *due.doubts)
    return replace(due, doubts=said, next_action=action, deferral=words, deferred_until=until)
