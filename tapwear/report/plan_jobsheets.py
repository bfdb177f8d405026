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
LATER = "baseline sample 1 to 4 weeks after return to service"
VACUUM, RESISTOR, REACTOR = "vacuum", "arcing_resistor", "arcing_reactor"
DESIGN = {
    RESISTOR: "arcing in oil, transition resistors",
    REACTOR: "arcing in oil, preventive autotransformer (reactor)",
    VACUUM: "vacuum interrupters",
    "": "not recorded: take it from the nameplate",
}
# What is ticked off, in this order, under its heading; the maker's manual comes first. Drawn up after the usual course
# of an overhaul (de-energise, drain, open, inspect, close, fill, test, return to service): Tapwear's own list.
SAFE = (
    "outage, emergency return to service confirmed with control room",
    "nameplate checked: station, bank and serial",
    "de-energised, isolated, tested dead, locked or tagged; earthed on all sides and at the neutral; permit received",
    "no back-feed: voltage transformers, auxiliary supply and tertiary isolated",
    "current-transformer circuits closed before a terminal is opened; bushing taps noted as found",
    "drive and tap changer on the same position (noted); set to the position given in the manual",
    "drive supply off and locked, stored energy released; hand-crank interlock tested",
    "compartment relay, on-line filter or pump, and heater isolated; each noted, to be restored",
    "skin, eyes and clothing protected from carbon and old oil; fall protection and tested lifting gear on site",
    "spill control: trays, absorbent, drains covered",
    "PCB status known; oil sample taken",
)
BYPASSED = "bypassed only at verified neutral, control locked there; neutral never taken from records"
DRAINING = (
    "oil cool enough to drain and handle",
    "conservator valves shut; pressure or vacuum equalised before a cover is loosened",
    "drained through earthed conductive hoses",
    "opened and ventilated until the atmosphere test is below the owner's limit; no flame or spark",
)
LIFTING = "insert lifted with nobody below it or under the load; work at height secured"
CARBON = "carbon cleaned out of compartment and insert"
CONTACTS = "contacts measured against the condemning limit; springs and braids inspected"
RESISTORS = "transition resistors inspected and measured, none open"
AUTOTRANSFORMER = "preventive autotransformer (reactor) and its leads inspected, winding resistance measured"
INTERRUPTERS = (
    "each interrupter's vacuum tested by the manual",
    "contact wear read at each interrupter's gauge",
    "no carbon cleaning is due: black oil or carbon means arcing in the oil, stop and tell the engineer",
    "bypass contacts, springs and braids inspected",
)
INSPECTING = {
    RESISTOR: (CARBON, CONTACTS, RESISTORS),
    REACTOR: (CARBON, CONTACTS, AUTOTRANSFORMER),
    VACUUM: (*INTERRUPTERS, "transition resistors or preventive autotransformer measured, by design"),
    "": (
        "if arcing in oil: carbon cleaned out; contacts measured, springs and braids inspected",
        "if vacuum: each interrupter's vacuum tested and its wear gauge read; no carbon cleaning is due",
        "transition resistors or preventive autotransformer measured, by design",
    ),
}
SELECTOR = "change-over selector and barrier board inspected"
CLOSING = (
    "kit and gaskets renewed; tools accounted for, nothing left inside; closed",
    "refilled with tested oil, air bled, no leak; oil level set for the oil temperature",
    "conservator valves opened; relay, filter or pump, and heater restored",
    "by hand through all positions, end stops tested; then by motor",
    "drive and tap changer on the same position at both ends and in the middle",
    "timing and resistance tests done (below)",
)
RETURNING = (
    "compartment relay tested through to the trip; current-transformer circuits, bushing taps as found",
    "earths removed, permit cleared",
    "first energisation without load, position agreed with the control room; then stepped, then loaded",
    LATER,
)
_TIMING = ("contact timing [ms]", "winding resistance [ohm]")
_RESISTANCE, _REACTOR = "transition resistance [ohm]", "preventive autotransformer, winding resistance [ohm]"
_LAST = ("motor current [A]", "relay trip", "oil added [L]", "breakdown voltage after filling [kV]")
TESTS = {
    RESISTOR: (_RESISTANCE, *_TIMING, *_LAST),
    REACTOR: (_REACTOR, *_TIMING, *_LAST),
    VACUUM: ("vacuum of each interrupter", "transition resistor or reactor winding [ohm]", *_TIMING, *_LAST),
    "": ("transition resistor or reactor winding [ohm]", "vacuum, if vacuum interrupters", *_TIMING, *_LAST),
}


@dataclass(frozen=True)
class JobSheet:
    """One sheet; a unit whose stop stands has none.

    release : by whom a stopped unit was released for work de-energised, since when and why; "" where it was not
    suspected : what the oil, visits and noted conditions show
    steps, closing : headings and what is ticked off under each, before the work is done and after it
    """

    unit: str
    title: str
    identity: tuple[tuple[str, str], ...]
    why: tuple[str, ...]
    needs: tuple[tuple[str, str], ...]
    kit: tuple[str, ...]
    steps: tuple[tuple[str, tuple[str, ...]], ...]
    phases: tuple[str, ...]  # of the rows for contacts; empty where the contacts are not reached
    command: str
    closing: tuple[tuple[str, tuple[str, ...]], ...] = ()
    suspected: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()
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
    phase = [row.phase] * 6 if row.phase else ["A", "A", "B", "B", "C", "C"]
    return JobSheet(
        unit=row.unit,
        title=f"Job sheet: {row.task}, {row.unit}",
        identity=_identity(row, view),
        why=_why(row),
        needs=_needs(row),
        kit=tuple(items_of(row)),
        steps=_steps(row),
        closing=(("Close and fill", CLOSING), ("Return to service", RETURNING)),
        phases=tuple(phase) if opens else (),
        command=_command(row),
        suspected=row.suspected,
        tests=TESTS[_technology(row)],
        release=f"{row.stop}; {row.release}" if row.release else "",
    )


def _technology(row: JobRow) -> str:
    return row.technology if row.technology in DESIGN else ""


def _steps(row: JobRow) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """The steps up to the work itself on a unit of this technology, group by group."""
    groups: list[tuple[str, tuple[str, ...]]] = [
        ("Make safe", SAFE if row.needs_outage else (*SAFE[:2], BYPASSED, *SAFE[2:])),
        ("Drain and open", DRAINING),
    ]
    if row.task in OPENING:
        groups.append(("Inspect and renew", (LIFTING, *INSPECTING[_technology(row)], SELECTOR)))
    return tuple(groups)


def _identity(row: JobRow, view: PlanView) -> tuple[tuple[str, str], ...]:
    facts = {
        "serial": row.serial or NO_SERIAL,
        "station": row.station,
        "bank, phase": ", ".join(part for part in (row.bank, row.phase) if part),
        "out from": f"{row.start_on} to {row.end_on}",
        "crew": hours_words(row),
        "plan": f"{view.name}, job {row.number}",
        "outage request": request_words(row),
        "technology": DESIGN[_technology(row)],
    }
    return tuple((name, words) for name, words in facts.items() if words)


def _why(row: JobRow) -> tuple[str, ...]:
    """Why now and what the date rests on, one sentence each."""
    ends = " to ".join(day.isoformat() for day in (row.early, row.late) if day)
    due = f"due from {ends} (10 and 90 %)" if row.early and row.late else f"due from {row.early}" if row.early else ""
    chance = f"probability of being overdue at start: {chance_words(row)}" if chance_words(row) else ""
    return tuple(words for words in (row.why, due, chance, *row.rests_on) if words)


def _needs(row: JobRow) -> tuple[tuple[str, str], ...]:
    litres = row.oil_volume_l
    volume = f"{litres:,.0f} L ({us_gallons(litres):,g} US gal)" if litres is not None else NO_VOLUME
    facts = {
        "oil volume": volume,
        "PCB status": row.pcb or NO_PCB,
        "resources": ", ".join(row.resources),
        "emergency return to service": recall_words(row),
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
    return f"{page.render(name=view.name, stopped=stopped, sheets=sheets, cautions=CAUTIONS)}\n"
