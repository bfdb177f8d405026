"""Service rules that were changed since a day, out of the register's own history. Light, without the models."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from tapwear.store.lean import lean


@dataclass(frozen=True)
class RuleChange:
    """One field of one rule, before and after. whose : `scheme R` or a unit's tag."""

    whose: str
    task: str
    field: str
    before: str | None
    after: str | None
    on: date
    by: str
    reason: str

    @property
    def words(self) -> str:
        """`T1, contact service: interval operations 68500 to 50000, on 2026-05-02 by Kim (as-found wear)`."""
        why = f" ({self.reason})" if self.reason else ""
        name = self.field.replace("_", " ")
        return (
            f"{self.whose}, {self.task}: {name} {self.before or 'none'} to {self.after or 'none'}, on {self.on} by "
            f"{self.by}{why}"
        )


def rule_changes(connection: Connection, since: date, until: date) -> list[RuleChange]:
    """Intervals and exponents recorded after the end of `since` and by the end of `until` [UTC], oldest first.

    Units' own rules made anew are among them.
    """
    change = lean("register_change", "id", *("table_name", "row_id", "field", "before", "after"), *_WHEN)
    rule = lean("service_rule", "id", "scheme_id", "tap_changer_id", "task")
    scheme, changer = lean("scheme", "id", "name"), lean("tap_changer", "id", "tag")
    after, last = (datetime.combine(day, time.max, tzinfo=UTC) for day in (since, until))
    query = (
        sa.select(
            scheme.c.name,
            changer.c.tag,
            rule.c.task,
            *(change.c[name] for name in ("field", "before", "after", "recorded_at", "recorded_by", "reason")),
        )
        .join_from(change, rule, change.c.row_id == rule.c.id)
        .join(scheme, rule.c.scheme_id == scheme.c.id, isouter=True)
        .join(changer, rule.c.tap_changer_id == changer.c.id, isouter=True)
        .where(change.c.table_name == "service_rule", change.c.field.in_(_FIELDS))
        .where(change.c.recorded_at > after, change.c.recorded_at <= last)
        .order_by(change.c.id)
    )
    return [
        RuleChange(tag or f"scheme {name}", task, field, before, now, at.date(), by, reason)
        for name, tag, task, field, before, now, at, by, reason in connection.execute(query)
    ]


_WHEN = ("recorded_at", "recorded_by", "reason")
_FIELDS = ("interval_operations", "interval_years", "current_exponent")
