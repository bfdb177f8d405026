"""What every page of an outage plan says in the same words: how good it is, how it stands, what comes first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import date

from tapwear.plan.jobs import kit_parts
from tapwear.plan.types import AtEngineer, PlanResult
from tapwear.report.plain import plain
from tapwear.report.plan_data import JobRow, PlanView
from tapwear.weeks import iso_week
from tapwear.words import percent_words, stop_notice

# Field of Costs -> what it says; only the ratios matter.
COST_WORDS = {
    "late": "cost of an expected week past the date of becoming due, by weight of the job",
    "early": "cost of an expected week of interval thrown away",
    "trip": "cost of a week with work in a neighbourhood of stations",
    "unplaced": "cost of leaving a job out, by its weight, on top of its lateness",
    "move": "cost of moving a job away from its week in the plan that is followed",
}
PROVEN_BEST = 0.0005  # a gap below this prints as 0.0 % and is called none


def count_words(number: int, one: str) -> str:
    """`1 outage`, `14 outages`."""
    return f"{number} {one}" + ("" if number == 1 else "s")


def headline(view: PlanView) -> str:
    """`Outage plan 2027-a for 2027, as of 2026-06-30: 14 outages placed, 2 found no place, 1 with unknown date.`"""
    result = view.result
    parts = [f"{count_words(len(result.placed), 'outage')} placed"]
    parts += [f"{len(result.stopped)} found no place"] if result.stopped else []
    parts += [f"{len(result.undated)} with unknown date"] if result.undated else []
    parts += [f"{len(result.at_engineer)} stopped and taken out"] if result.at_engineer else []
    start = f"Outage plan {plain(view.name)} for {result.year}, as of {result.as_of.isoformat()}"
    return f"{start}: {', '.join(parts)}."


def proof_words(result: PlanResult) -> str:
    """How much better any other plan could be; blank where nobody looked."""
    proof = result.proof
    if proof is None:
        return ""
    if proof.time_limited:
        return (
            f"Time-limited: up to {_percent(proof.gap)} of its cost might be saved. Another run, or one with more "
            "seconds, may give another plan."
        )
    if proof.gap < PROVEN_BEST:
        return "Optimal for these limits and costs."
    return f"Within {_percent(proof.gap)} of the best possible."


def cost_words(result: PlanResult) -> str:
    """`Costs: late 10, early 1, trip 40, unplaced 100, move 60 (tapwear plan costs says of what).`"""
    told = ", ".join(f"{name} {getattr(result.costs, name):g}" for name in COST_WORDS)
    return f"Costs: {told} (tapwear plan costs says of what)."


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %" if share < 0.1 else f"{100 * share:.0f} %"


def chance_words(row: JobRow) -> str:
    """`12 %`, `under 1 %`, `over 99 %`; blank where there is no place."""
    return "" if row.chance_late is None else percent_words(row.chance_late)


def engineer_words(stopped: Sequence[AtEngineer]) -> str:
    """What stands above a plan and all that is made of it; blank where no stop stands."""
    if not stopped:
        return ""
    return f"{stop_notice(*(one.unit for one in stopped))} Taken out of the plan: the engineer decides now."


def engineer_lines(stopped: Sequence[AtEngineer]) -> list[str]:
    """The same, then each unit with its evidence and the week that it was taken out of."""
    lines = [
        f"{one.stop}: {one.unit}{f' ({one.station})' if one.station else ''}, {one.reason}. {one.words}"
        for one in stopped
    ]
    return [engineer_words(stopped), *lines] if lines else []


def release_words(row: JobRow) -> str:
    """What is said first of a stopped unit that an engineer has released for work; blank for any other."""
    return f"{row.stop}; {row.release.rstrip('.')}. Suspected: {' '.join(row.suspected)}" if row.release else ""


def day_words(day: date | None) -> str:
    """`2027-03-01`, or blank."""
    return day.isoformat() if day else ""


def weeks_words(row: JobRow) -> str:
    """`W06`, `W06-08`; blank where there is no place."""
    if row.start_week is None or row.end_on is None:
        return ""
    return row.start_week[-3:] + (f"-{iso_week(row.end_on)[-2:]}" if row.weeks > 1 else "")


def request_words(row: JobRow) -> str:
    """How the outage request stands: in the words kept with it, else its status, else `not submitted`."""
    if not row.needs_outage:
        return "no outage: exchanged beside its bypass"
    return row.request_words or row.request_status or "not submitted"


def requests_words(rows: Sequence[JobRow]) -> str:
    """`Outage requests: 3 approved, 2 asked, 9 not submitted.`; blank where no outage is to be asked for."""
    open_ones = [row.request_status or "not submitted" for row in rows if row.needs_outage and row.progress != "done"]
    counts = [f"{count} {status}" for status, count in Counter(sorted(open_ones)).items()]
    return f"Outage requests: {', '.join(counts)}." if counts else ""


def passed_words(rows: Sequence[JobRow], day: date) -> str:
    """What was to be ordered or asked for before `day`: `kit of U1 (by 2026-10-26)`; blank where nothing was."""
    found = []
    for row in rows:
        if row.kit and row.kit_order_by and row.kit_order_by < day:
            found.append(f"kit of {row.unit} (by {row.kit_order_by})")
        if row.permit_ask_by and row.permit_ask_by < day and row.request_status not in ("asked", "approved"):
            found.append(f"outage request of {row.unit} (by {row.permit_ask_by})")
    return "; ".join(found)


def resources_words(row: JobRow) -> str:
    """`needs mobile transformer; emergency return to service: 12 h`; blank where nothing of it is known."""
    needs = f"needs {', '.join(row.resources)}" if row.resources else ""
    recall = f"emergency return to service: {recall_words(row)}" if recall_words(row) else ""
    return "; ".join(part for part in (needs, recall) if part)


def recall_words(row: JobRow) -> str:
    """Time to emergency return to service, `12 h`; blank where it is not given."""
    return "" if row.recall_hours is None else f"{row.recall_hours:g} h"


def kit_items(row: JobRow) -> list[str]:
    """The things that its kit names, each once."""
    return kit_parts(row.kit)


def kit_words(row: JobRow) -> str:
    """`contact set, gasket set R, oil`."""
    return ", ".join(kit_items(row))


def hours_words(row: JobRow) -> str:
    """`80 crew hours, side-mounted, region North`."""
    region = f"region {row.region}" if row.region else ""
    return ", ".join(part for part in (f"{row.crew_hours:g} crew hours", row.skill, region) if part)


def state_words(row: JobRow) -> str:
    """What else is settled about a job: `pinned`, `started`, `done 2027-03-04`."""
    done = " ".join(part for part in (row.progress, day_words(row.done_on)) if part)
    return "; ".join(part for part in ("pinned" if row.pinned_week and row.progress != "started" else "", done) if part)


def parts(view_rows: Sequence[JobRow]) -> tuple[list[JobRow], list[JobRow]]:
    """The rows with a place, and those without."""
    return [row for row in view_rows if row.start_week], [row for row in view_rows if not row.start_week]
