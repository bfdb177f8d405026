"""The append-only tables of the plan: what a row of each is about, and what it holds. Light, without the models."""

from __future__ import annotations

# Table -> the columns that say what a row is about, and those in which two such rows may differ (as in entries).
SAME: dict[str, tuple[str, ...]] = {
    "yearly_closure": ("station_id", "from_week", "to_week"),
    "team": ("team",),
    "team_holiday": ("team", "from_on", "to_on"),
    "resource": ("resource", "from_on", "to_on"),
    "outage_terms": ("station_id", "scheme_id", "tap_changer_id"),
    "other_outage": ("station_id", "tap_changer_id", "from_on", "what"),
    "job_note": ("tap_changer_id", "kind", "weeks", "status", "happened_on", "words"),
}
COMPARED: dict[str, tuple[str, ...]] = {
    "yearly_closure": (),
    "team": ("region", "hours_per_week", "skills"),
    "team_holiday": (),
    "resource": ("number",),
    "outage_terms": (
        *("permit_weeks", "recall_hours", "resources", "skill", "consequence", "exchanged", "approver"),
        *("conditions", "pcb"),
    ),
    "other_outage": ("to_on",),
    "job_note": (),
}
BESIDES: dict[str, tuple[str, ...]] = {
    "yearly_closure": ("why",),
    "team_holiday": ("why",),
    "other_outage": ("who",),
    "job_note": ("person",),
}
COSTS = ("late_cost", "early_cost", "trip_cost", "unplaced_cost", "move_cost")
COLUMNS: dict[str, tuple[str, ...]] = {
    **{table: (*same, *COMPARED[table], *BESIDES.get(table, ())) for table, same in SAME.items()},
    "plan_cost": COSTS,
    "plan_publication": ("plan_id",),
}
