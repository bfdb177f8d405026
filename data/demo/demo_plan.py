"""What the invented utility's stations and crews allow, and what its planner has decided so far."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

Rows = list[dict[str, Any]]
PEAKS = {"summer": "W26..W35", "winter": "W49..W07"}
# Crew hours a week by region, beside the team named below.
USUAL = {"North": 160, "East": 170, "South": 160, "West": 120}

TEAMS: Rows = [{"team": "Works team", "region": "West", "hours_per_week": 100, "skills": "furnace transformers"}]
TEAM_HOLIDAYS: Rows = [
    {"team": "Works team", "from_on": date(2027, 7, 26), "to_on": date(2027, 8, 13), "why": "works closed"}
]
RESOURCES: Rows = [{"resource": "mobile transformer", "number": 1}]
OTHER_OUTAGES: Rows = [
    {"station": "OR", "from_on": date(2027, 4, 5), "to_on": date(2027, 4, 16), "what": "line to Lark moor, painting",
     "who": "line department"},
]  # fmt: skip
JOB_NOTES: Rows = [
    {"unit": "JE-T3", "kind": "other work", "person": "test team", "words": "bushing tests"},
    {"unit": "HB-T2", "kind": "forbid", "weeks": "2027-W09..2027-W10", "words": "town fair"},
]


def closures(stations: list[tuple[str, str]]) -> Rows:
    """Peak weeks of every year, by (station, peak), and works at one station."""
    rows = [
        {"station": code, "weeks": weeks, "why": f"{season} peak"}
        for code, peak in stations
        for season, weeks in PEAKS.items()
        if peak in (season, "both")
    ]
    return [*rows, {"station": "BW", "weeks": "2027-W16..2027-W17", "why": "busbar works"}]


def outage_terms(stations: list[tuple[str, str]]) -> Rows:
    """Permit, recall and approver of every station; what a scheme and single units need besides."""
    rows: Rows = [
        {"station": code, "permit_weeks": 3, "recall_hours": 24, "approver": "control room"} for code, _ in stations
    ]
    return [
        *rows,
        {"scheme": "furnace", "skill": "furnace transformers", "consequence": 3},
        {"unit": "JE-T3", "resources": "mobile transformer", "conditions": "works' load below 12 MVA"},
        {"unit": "BW-T2", "pcb": "none found, tested 2011"},
    ]


def crews(first: date) -> Rows:
    """Crew hours a week and region, from a day to the end of 2027; half in August, none at the year's end."""
    rows = []
    monday = first - timedelta(days=first.weekday())
    while (week := monday.isocalendar()).year < 2028:
        factor = 0.0 if week.week >= 52 else 0.5 if 32 <= week.week <= 34 else 1.0
        name = f"{week.year}-W{week.week:02d}"
        rows += [{"region": region, "week": name, "hours": round(hours * factor)} for region, hours in USUAL.items()]
        monday += timedelta(weeks=1)
    return rows
