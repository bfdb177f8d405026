"""Job sheets of a plan: for each overhaul what the crew must know beforehand, and room for what they find and do.

A unit whose stop stands gets no sheet. One that an engineer has released for work has one like any other, with the
release and what is suspected at its head.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tapwear.report.plan_data import JobRow, PlanView, job_rows, stop_rows
from tapwear.report.plan_orders import items_of, us_gallons
from tapwear.report.plan_words import chance_words, engineer_lines, hours_words, parts, recall_words, request_words
from tapwear.report.templating import house
from tapwear.words import CAUTIONS, as_typed

NO_SERIAL = "not given: take it from the nameplate and check the unit before anything else"
NO_PCB = "not given: have it established before oil is drained"
NO_VOLUME = "not given: take it from the nameplate or the manual"
OPENING = ("contact service", "contact replacement")  # these open the compartment and reach the contacts
# What is ticked off, in this order; the maker's manual comes first. After the trade's usual course of an overhaul.
BEFORE = (
    "outage and recall time confirmed with the control room",
    "nameplate: station, bank and serial are those above",
    "de-energised, isolated, tested, locked or tagged, earthed; release signed",
    "drive supply off and locked; springs may be charged",
    "mechanism in the position that the manual asks for",
    "PCB status known; oil sample taken",
)
DRAINING = (
    "drained through earthed conductive hoses",
    "opened, ventilated for at least 15 minutes, no flame or spark; atmosphere tested",
)
CONTACTS = (
    "carbon cleaned out; contacts, springs, braids and transition impedance measured",
    "change-over selector and barrier board looked at; kit and gaskets renewed",
)
AFTER = (
    "refilled with tested oil; no leak",
    "timing and resistance tests done; drive run through all positions by hand, then by motor",
    "tools counted, earths removed, release handed back",
)
LATER = "new baseline sample 1 to 4 weeks after going back into service"
TESTS = (
    "transition resistance [ohm]",
    "contact timing [ms]",
    "winding resistance",
    "motor current [A]",
    "oil filled in",
)


@dataclass(frozen=True)
class JobSheet:
    """One sheet.

    release : by whom a stopped unit was released for work de-energised, since when and why; "" where it was not
    suspected : what its stop rests on
    """

    unit: str
    title: str
    identity: tuple[tuple[str, str], ...]
    why: tuple[str, ...]
    needs: tuple[tuple[str, str], ...]
    kit: tuple[str, ...]
    steps: tuple[str, ...]
    phases: tuple[str, ...]  # of the rows for contacts; empty where the contacts are not reached
    command: str
    suspected: tuple[str, ...] = ()
    release: str = ""


def job_sheets(view: PlanView, units: Sequence[str] = ()) -> list[JobSheet]:
    """The sheets in the order of the plan's weeks: of the units named, else of all that are still to be done.

    Jobs without a place have none, and units whose stop stands have none either.
    """
    placed, _ = parts(job_rows(view.result))
    away = {one.unit for one in stop_rows(view.result)}
    chosen = [row for row in placed if (row.unit in units if units else row.progress != "done")]
    return [_sheet(row, view) for row in chosen if row.unit not in away]


def _sheet(row: JobRow, view: PlanView) -> JobSheet:
    opens = row.task in OPENING
    steps = (*BEFORE, *DRAINING, *(CONTACTS if opens else ()), *AFTER, LATER)
    phase = [row.phase] * 6 if row.phase else ["A", "A", "B", "B", "C", "C"]
    return JobSheet(
        unit=row.unit,
        title=f"Job sheet: {row.task}, {row.unit}",
        identity=_identity(row, view),
        why=_why(row),
        needs=_needs(row),
        kit=tuple(items_of(row)),
        steps=steps,
        phases=tuple(phase) if opens else (),
        command=_command(row),
        suspected=row.suspected,
        release=f"{row.stop}; {row.release}" if row.release else "",
    )


def _identity(row: JobRow, view: PlanView) -> tuple[tuple[str, str], ...]:
    facts = {
        "unit": row.unit,
        "serial": row.serial or NO_SERIAL,
        "station": row.station,
        "bank, phase": ", ".join(part for part in (row.bank, row.phase) if part),
        "out from": f"{row.start_on} to {row.end_on}",
        "crew": hours_words(row),
        "plan": f"{view.name}, job {row.number}",
        "outage request": request_words(row),
    }
    return tuple((name, words) for name, words in facts.items() if words)


def _why(row: JobRow) -> tuple[str, ...]:
    """Why now and what the date rests on, one sentence each."""
    ends = " to ".join(day.isoformat() for day in (row.early, row.late) if day)
    due = f"due from {ends} (10 and 90 %)" if row.early and row.late else f"due from {row.early}" if row.early else ""
    chance = f"chance of being past due when the outage starts: {chance_words(row)}" if chance_words(row) else ""
    return tuple(words for words in (row.why, due, chance, *row.rests_on) if words)


def _needs(row: JobRow) -> tuple[tuple[str, str], ...]:
    litres = row.oil_volume_l
    volume = f"{litres:,.0f} L ({us_gallons(litres):,g} US gal)" if litres is not None else NO_VOLUME
    facts = {
        "oil volume": volume,
        "PCB status": row.pcb or NO_PCB,
        "resources": ", ".join(row.resources),
        "recall time": recall_words(row),
        "conditions": row.conditions,
        "other work": "; ".join(row.other_work),
    }
    return tuple((name, words) for name, words in facts.items() if words)


def _command(row: JobRow) -> str:
    """What records the work afterwards."""
    work = {"contact service": "overhaul"}.get(row.task, row.task)
    unit = f'"{row.unit}"' if " " in row.unit else row.unit
    kind = f'"{work}"' if " " in work else work
    work = f"--work {kind} --on DATE --serial SERIAL --as-found N --as-left N --witness NAME"
    return f"tapwear service {as_typed(unit)} {work}"


def sheets_html(view: PlanView, sheets: Sequence[JobSheet]) -> str:
    """The sheets, each on A4 from a new page. Raises MissingExtra without jinja2."""
    page = house("Job sheets on paper").get_template("plan_jobsheets.html")
    stopped = engineer_lines(stop_rows(view.result))
    return f"{page.render(name=view.name, stopped=stopped, sheets=sheets, cautions=CAUTIONS, tests=TESTS)}\n"
