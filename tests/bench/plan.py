"""Solves one instance of the plan bench with the tool's own optimiser.

    python tests/bench/plan.py INSTANCE OUT.csv --seconds 180
    python tests/bench/plan.py INSTANCE OUT.csv --keep PLAN.csv --pull JOB

INSTANCE is a folder with jobs.csv, stations.csv, groups.csv, crews.csv and others.csv; its rules and costs are put
into jobs, limits and costs of the tool. OUT.csv gets job_id, start_week. `--keep` follows an earlier plan; `--pull`
gives one job dates that are 26 weeks earlier, as a new oil finding would, and the share of the other jobs that move
is told.
"""

from __future__ import annotations

import argparse
import csv
import re
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from tapwear.plan.check import check
from tapwear.plan.optimise import optimise
from tapwear.plan.types import Costs, Job, Limits
from tapwear.weeks import iso_week, monday

PULL = timedelta(weeks=26)


def rows(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def day(text: str) -> date | None:
    return date.fromisoformat(text) if text else None


def weeks_in(text: str) -> Iterator[str]:
    """The weeks of `2027-W14..2027-W16 2027-W40`."""
    for part in text.split():
        first, _, last = part.partition("..")
        week = monday(first)
        while week <= monday(last or first):
            yield iso_week(week)
            week += timedelta(weeks=1)


def in_peak(peak: str, week: str) -> bool:
    """Whether a week lies in `W24..W35` or, over the turn of the year, `W49..W05`."""
    if not peak:
        return False
    first, last = (int(number) for number in re.findall(r"\d+", peak))
    number = int(week[-2:])
    return first <= number <= last if first <= last else number >= first or number <= last


def read(folder: Path) -> tuple[tuple[Job, ...], Limits, date]:
    crews = rows(folder, "crews")
    weeks = tuple(sorted({row["week"] for row in crews}))
    stations = {row["station"]: row for row in rows(folder, "stations")}
    closed: dict[str, dict[str, str]] = defaultdict(dict)
    for name, row in stations.items():
        closed[name].update(dict.fromkeys(weeks_in(row["closed_weeks"]), "closed week"))
        closed[name].update({week: "peak" for week in weeks if in_peak(row["peak"], week)})
    for row in rows(folder, "others"):
        first, last = date.fromisoformat(row["from"]), date.fromisoformat(row["to"])
        for week in weeks:
            if monday(week) <= last and monday(week) + timedelta(days=6) >= first:
                closed[row["station"]].setdefault(week, row["what"])
    jobs = tuple(job(row, weeks) for row in rows(folder, "jobs"))
    groups: dict[str, set[str]] = defaultdict(set)
    for row in rows(folder, "groups"):
        groups[row["transfer_group"]] |= {
            job.job_id for job in jobs if (job.unit == row["unit"] if row["unit"] else job.station == row["station"])
        }
    hours = {(row["region"], row["week"]): float(row["hours"]) for row in crews}
    skills = {
        (row["region"], name.removeprefix("hours_"), row["week"]): float(value)
        for row in crews
        for name, value in row.items()
        if name.startswith("hours_")
    }
    limits = Limits(
        weeks, dict(closed), {group: frozenset(ids) for group, ids in groups.items()}, hours,
        neighbourhoods={name: row["neighbourhood"] for name, row in stations.items()}, skill_hours=skills,
    )  # fmt: skip
    return jobs, limits, monday(weeks[0])


def job(row: dict[str, str], weeks: tuple[str, ...]) -> Job:
    duration = int(row["duration_weeks"])
    return Job(
        row["job_id"], row["unit"], "contact service", row["station"], row["region"], row["bank"],
        day(row["early"]), day(row["middle"]), day(row["late"]), duration,
        duration * float(row["crew_hours_per_week"]), kit_ready_on=day(row["kit_ready"]), weight=float(row["weight"]),
        skill=row["skill"], permit_from=monday(weeks[0]) + timedelta(weeks=int(row["permit_weeks"])),
        pinned_week=row["pinned_week"] or None, forbidden_weeks=tuple(weeks_in(row["forbidden_weeks"])),
    )  # fmt: skip


def pulled(job: Job) -> Job:
    assert job.early
    assert job.middle
    assert job.late
    return replace(job, early=job.early - PULL, middle=job.middle - PULL, late=job.late - PULL)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("instance", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--keep", type=Path, help="an earlier plan to follow")
    parser.add_argument("--pull", help="a job that comes 26 weeks earlier")
    given = parser.parse_args()
    jobs, limits, as_of = read(given.instance)
    kept: dict[str, str] = {}
    if given.keep:
        with given.keep.open(encoding="utf-8", newline="") as file:
            kept = {row["job_id"]: row["start_week"] for row in csv.DictReader(file)}
        jobs = tuple(replace(job, kept_week=kept.get(job.job_id) or None) for job in jobs)
    jobs = tuple(pulled(job) if job.job_id == given.pull else job for job in jobs)
    began = time.monotonic()
    result = optimise(jobs, limits, as_of, costs=Costs(), seconds=given.seconds)
    took = time.monotonic() - began
    start = {slot.job.job_id: slot.start_week or "" for slot in result.slots}
    with given.out.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["job_id", "start_week"])
        writer.writerows([job.job_id, start[job.job_id]] for job in jobs)
    proof = result.proof
    assert proof is not None
    for words in check(result):
        print(words)
    print(
        f"cost {proof.cost:.1f}, bound {proof.bound:.1f}, gap {proof.gap:.2%}, greedy {proof.greedy_cost:.1f}, "
        f"{took:.1f} s, {'time-limited' if proof.time_limited else 'solved'}, placed {len(result.placed)}"
        f" of {len(jobs)}"
    )
    if kept:
        moved = [job_id for job_id, week in start.items() if job_id != given.pull and week != kept.get(job_id)]
        print(f"{len(moved)} of {len(jobs)} other jobs moved ({len(moved) / max(1, len(jobs)):.1%}): {moved}")


if __name__ == "__main__":
    main()
