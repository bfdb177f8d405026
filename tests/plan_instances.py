"""Jobs, limits and random years of work for the tests of the plan."""

from __future__ import annotations

from datetime import date, timedelta
from random import Random
from typing import Any

from hypothesis import strategies as st

from tapwear.plan.types import Job, Limits
from tapwear.weeks import monday, weeks_of_year

AS_OF = date(2026, 6, 30)
WEEKS = tuple(weeks_of_year(2027))


def job(unit: str, due: str | None = "2027-03-01", spread: int = 0, **given: Any) -> Job:
    middle = date.fromisoformat(due) if due else None
    early, late = (middle - timedelta(days=spread), middle + timedelta(days=spread)) if middle else (None, None)
    values: dict[str, Any] = {
        "job_id": f"{unit} / contact service", "unit": unit, "task": "contact service", "station": "ALDER",
        "region": "North", "bank": "", "early": early, "middle": middle, "late": late, "weeks": 1, "crew_hours": 80.0,
    }  # fmt: skip
    return Job(**{**values, **given})


def limits(**given: Any) -> Limits:
    return Limits(**{"weeks": WEEKS, "closed": {}, "groups": {}, "crew_hours": {}, **given})


def group(*units: str) -> dict[str, frozenset[str]]:
    return {"G": frozenset(f"{unit} / contact service" for unit in units)}


@st.composite
def instances(
    draw: st.DrawFn, *, most: int = 12, weeks_at_most: int = 53, special: bool = True
) -> tuple[tuple[Job, ...], Limits, date]:
    """A random year of work; `special` also draws severe, undated and pinned jobs."""
    year = draw(st.sampled_from([2026, 2027]))
    weeks = tuple(weeks_of_year(year))
    weeks = weeks[len(weeks) - min(weeks_at_most, len(weeks)) :]
    stations = [f"S{i}" for i in range(4)]
    day = st.dates(date(year - 1, 6, 1), date(year, 12, 31))
    rarely = st.integers(0, 9).map(lambda number: number == 0)
    jobs = []
    for number in range(draw(st.integers(0, most))):
        dates = sorted(draw(st.lists(day, min_size=3, max_size=3)))
        known = not (special and draw(rarely))
        at = draw(st.integers(0, 3))
        unit = f"U{number}"
        jobs.append(
            Job(
                f"{unit} / contact service", unit, "contact service", stations[at], ("North", "South")[at % 2],
                draw(st.sampled_from(["", "", "T1", "T2"])), *(dates if known else (None, None, None)),
                draw(st.integers(1, min(4, len(weeks)))), float(draw(st.integers(0, 200))),
                kit_ready_on=draw(st.none() | day), severe=special and draw(rarely),
                overdue=known and draw(st.integers(0, 4)) == 0, weight=float(draw(st.sampled_from([1, 1, 2, 4, 8]))),
                skill=draw(st.sampled_from(["", "", "diverter", "vacuum"])), permit_from=draw(st.none() | day),
                pinned_week=draw(st.sampled_from(weeks)) if special and draw(rarely) else None,
                forbidden_weeks=tuple(draw(st.lists(st.sampled_from(weeks), max_size=3))),
                kept_week=draw(st.none() | st.sampled_from(weeks)), needs_outage=not draw(rarely),
                resources=draw(st.sampled_from([(), (), ("mobile transformer",)])),
            )
        )  # fmt: skip
    closed = {}
    for station in stations:
        first, length = draw(st.integers(0, len(weeks) - 1)), draw(st.integers(0, len(weeks) * 3 // 4))
        closed[station] = dict.fromkeys(weeks[first : first + length], "peak")
    ids = [job.job_id for job in jobs]
    groups = {f"G{i}": frozenset(draw(st.sets(st.sampled_from(ids)))) for i in range(2 if ids else 0)}
    random = Random(draw(st.integers(0, 999)))  # one draw for all weeks is many times quicker than one a week
    hours = {("North", week): random.choice([0.0, 60.0, 120.0]) for week in weeks}
    skills = {("North", "diverter", week): random.choice([0.0, 50.0, 120.0]) for week in weeks[::2]}
    free = {("mobile transformer", week): random.randrange(3) for week in weeks} if draw(st.booleans()) else {}
    as_of = draw(st.dates(monday(weeks[0]) - timedelta(days=200), monday(weeks[len(weeks) // 2])))
    return tuple(jobs), Limits(weeks, closed, groups, hours, (), {"S0": "hills", "S1": "hills"}, skills, free), as_of
