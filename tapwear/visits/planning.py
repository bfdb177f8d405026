"""The tables that a plan is made from, as they can be handed in: what stations allow, who works, what is decided."""

from __future__ import annotations

from tapwear.visits.specs import FieldSpec as F
from tapwear.visits.specs import TableSpec

NOTE_KINDS = ("pin", "forbid", "request", "progress", "other work")
REQUEST_WORDS = ("asked", "approved", "refused", "cancelled")
PROGRESS_WORDS = ("started", "done", "stopped")

CLOSURES = TableSpec(
    "closures",
    "weeks or days in which nothing may be out at a station, once or every year",
    (
        F("station", "text", "station", required=True),
        F("from_on", "date", "first day (or give weeks)"),
        F("to_on", "date", "last day"),
        F("weeks", "text", "weeks, e.g. 2027-W20..2027-W36; for every year W24..W35 or, over its turn, W49..W05"),
        F("why", "text", "reason, e.g. summer peak"),
    ),
    ("station", "from_on", "to_on"),
)
TRANSFER_GROUPS = TableSpec(
    "transfer_groups",
    "of each group one transformer at a time may be out",
    (
        F("group", "text", "name of the group", required=True),
        F("station", "text", "a station, meaning all its units (or give unit)"),
        F("unit", "text", "one unit"),
    ),
    ("group", "station", "unit"),
)
CREWS = TableSpec(
    "crews",
    "crew hours on offer by week, beside those of named teams",
    (
        F("region", "text", "region", required=True),
        F("week", "week", "ISO week, e.g. 2027-W05", required=True),
        F("hours", "number", "hours of all crews in that week", required=True, low=0, high=100_000),
    ),
    ("region", "week"),
)
TEAMS = TableSpec(
    "teams",
    "named crews: home region, hours in each week, skills",
    (
        F("team", "text", "name of the team", required=True),
        F("region", "text", "its home region", required=True),
        F("hours_per_week", "number", "hours that it works in a week", required=True, low=0, high=10_000),
        F("skills", "list", "what it is trained for, e.g. vacuum;reactor type"),
    ),
    ("team",),
)
TEAM_HOLIDAYS = TableSpec(
    "team_holidays",
    "days on which a team does not work",
    (
        F("team", "text", "name of the team", required=True),
        F("from_on", "date", "first day", required=True),
        F("to_on", "date", "last day", required=True),
        F("why", "text", "reason, e.g. summer holidays"),
    ),
    ("team", "from_on", "to_on"),
)
RESOURCES = TableSpec(
    "resources",
    "what is booked for an outage: mobile transformers, load transfers, oil plants",
    (
        F("resource", "text", "its name", required=True),
        F("number", "count", "how many there are", required=True, low=0, high=1_000),
        F("from_on", "date", "first day; blank: always"),
        F("to_on", "date", "last day; blank: always"),
    ),
    ("resource", "from_on", "to_on"),
)
OUTAGE_TERMS = TableSpec(
    "outage_terms",
    "what an outage takes at a station, for a scheme, or for one unit (the narrower goes first)",
    (
        F("station", "text", "station that it holds for (or give scheme or unit)"),
        F("scheme", "text", "service scheme that it holds for"),
        F("unit", "text", "unit that it holds for"),
        F("permit_weeks", "number", "lead time of the switching permit [weeks]", low=0, high=260),
        F("recall_hours", "number", "how soon it can be back in service when called [hours]", low=0, high=10_000),
        F("resources", "list", "resources that it needs while out, e.g. mobile transformer"),
        F("skill", "text", "skill that the work needs"),
        F("consequence", "number", "how much being late matters, against 1 for others", low=0.01, high=1_000),
        F("exchanged", "yes or no", "bypassed and exchanged, as step-voltage regulators are: no outage"),
        F("approver", "text", "who approves the outage"),
        F("conditions", "text", "under which it may be out, e.g. station load below 20 MVA"),
        F("pcb", "text", "PCB status of the oil, as the owner's records have it"),
    ),
    ("station", "scheme", "unit"),
)
OTHER_OUTAGES = TableSpec(
    "other_outages",
    "outages by others: what shares a transfer group may not be out then",
    (
        F("station", "text", "station where it is (or give unit)"),
        F("unit", "text", "unit whose transformer is out anyway: its own job may then go with it"),
        F("from_on", "date", "first day", required=True),
        F("to_on", "date", "last day", required=True),
        F("what", "text", "what is out and why", required=True),
        F("who", "text", "whose outage it is"),
    ),
    ("station", "unit", "from_on", "what"),
)
JOB_NOTES = TableSpec(
    "job_notes",
    "what is decided or known about a unit's outage: weeks, request, progress, other work in it",
    (
        F("unit", "text", "the owner's asset tag of the tap changer", required=True),
        F("kind", "choice", "what the row says", required=True, choices=NOTE_KINDS),
        F("weeks", "text", "pin: its week, 2027-W18; forbid: weeks, 2027-W20..2027-W25; request: the week asked for"),
        F("status", "choice", "of a request or of progress", choices=(*REQUEST_WORDS, *PROGRESS_WORDS)),
        F("happened_on", "date", "day of the request's answer, or of the progress"),
        F("person", "text", "who answered, decided or does the other work"),
        F("words", "text", "why, or the other work"),
    ),
    ("unit", "kind", "weeks", "status", "happened_on", "words"),
)
PLANNING = (
    *(CLOSURES, TRANSFER_GROUPS, CREWS, TEAMS, TEAM_HOLIDAYS),
    *(RESOURCES, OUTAGE_TERMS, OTHER_OUTAGES, JOB_NOTES),
)
