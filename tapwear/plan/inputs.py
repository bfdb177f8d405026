"""What the planner has given beside closures, transfer groups and crew weeks: rows as the store lists them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from tapwear.weeks import iso_week, monday, weeks_between

Row = Mapping[str, Any]
WORKING_DAYS = 5  # Monday to Friday; of a week of outage, and of a team. Our choice


@dataclass(frozen=True)
class Inputs:
    """Rows as mappings; text not given is "", everything else None.

    yearly     station, from_week, to_week [numbers; 49 to 5 runs over the turn of the year], why
    teams      team, region, hours_per_week, skills [tuple]
    holidays   team, from_on, to_on
    resources  resource, number, from_on, to_on
    terms      station or scheme or unit; permit_weeks, recall_hours, resources [tuple], skill, consequence,
               exchanged, approver, conditions, pcb
    others     station or unit; from_on, to_on, what, who
    notes      unit, kind, weeks, status, happened_on, person, words, recorded_on; the newest last
    """

    yearly: tuple[Row, ...] = ()
    teams: tuple[Row, ...] = ()
    holidays: tuple[Row, ...] = ()
    resources: tuple[Row, ...] = ()
    terms: tuple[Row, ...] = ()
    others: tuple[Row, ...] = ()
    notes: tuple[Row, ...] = ()

    @classmethod
    def of(cls, found: Mapping[str, Sequence[Row]]) -> Inputs:
        """From rows by kind, as tapwear.store.planning.load_planning gives them."""
        kinds = {
            "yearly": "yearly closure", "teams": "team", "holidays": "holiday", "resources": "resource",
            "terms": "terms", "others": "other outage", "notes": "note",
        }  # fmt: skip
        return cls(**{name: tuple(found.get(kind, ())) for name, kind in kinds.items()})


def yearly_weeks(first: int, last: int, weeks: Sequence[str]) -> list[str]:
    """The weeks of a plan that a run of week numbers covers; 49 to 5 covers both ends. Week 53 goes with week 52."""
    named = {number for number in range(1, 54) if _inside(number, first, last)}
    if 52 in named:
        named.add(53)
    return [week for week in weeks if int(week[-2:]) in named]


def _inside(number: int, first: int, last: int) -> bool:
    return first <= number <= last if first <= last else number >= first or number <= last


def weeks_touched(begin: date, end: date, weeks: Sequence[str]) -> list[str]:
    """The weeks of a plan that have a day between two days, both included."""
    first, last = max(begin, monday(weeks[0])), min(end, monday(weeks[-1]) + timedelta(days=6))
    return weeks_between(iso_week(first), iso_week(last)) if first <= last else []


def share_away(team: str, holidays: Sequence[Row], week: str) -> float:
    """The share of a week's working days on which a team is on holiday, 0 to 1."""
    first = monday(week)
    days = [first + timedelta(days=ahead) for ahead in range(WORKING_DAYS)]
    mine = [row for row in holidays if row["team"] == team]
    return sum(any(row["from_on"] <= day <= row["to_on"] for row in mine) for day in days) / WORKING_DAYS


def hours_of_teams(
    inputs: Inputs, weeks: Sequence[str]
) -> tuple[dict[str, dict[str, float]], dict[tuple[str, str, str], float]]:
    """Hours of all teams, by region and week, and by (region, skill, week); a skill that only teams elsewhere have
    counts as 0 hours."""
    hours: dict[str, dict[str, float]] = {}
    skills: dict[tuple[str, str, str], float] = {}
    for row in inputs.teams:
        region = hours.setdefault(row["region"], dict.fromkeys(weeks, 0.0))
        for week in weeks:
            offered = float(row["hours_per_week"]) * (1.0 - share_away(row["team"], inputs.holidays, week))
            region[week] += offered
            for skill in row["skills"]:
                skills[row["region"], skill, week] = skills.get((row["region"], skill, week), 0.0) + offered
    return hours, skills


def resources_free(inputs: Inputs, weeks: Sequence[str]) -> dict[tuple[str, str], int]:
    """How many of each resource there are in each week; one that is not there on every day of a week is not counted."""
    free: dict[tuple[str, str], int] = {}
    for row in inputs.resources:
        for week in weeks:
            first, last = monday(week), monday(week) + timedelta(days=6)
            there = (row["from_on"] or first) <= first and (row["to_on"] or last) >= last
            key = (row["resource"], week)
            free[key] = free.get(key, 0) + (int(row["number"]) if there else 0)
    return free
