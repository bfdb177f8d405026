"""The page about one unit: what its dates rest on, the answer first and the evidence under it."""

from __future__ import annotations

from tapwear.outlook.types import Due
from tapwear.report.due_choice import LEAD_TASK
from tapwear.report.due_words import (
    action_words,
    chance_words,
    clock_days,
    count_words,
    day_words,
    driver_words,
    interval_words,
    moved_words,
    place_words,
    reading_words,
    sentence,
    service_words,
    status_words,
)
from tapwear.report.frames import day_of, given, newest, stay_words, whole_number
from tapwear.report.page import Block, Line, table
from tapwear.report.stories import Subject
from tapwear.report.visit_notes import note_blocks
from tapwear.report.why_count import count_lines, reading_lines
from tapwear.report.why_oil import oil_block
from tapwear.words import stop_notice

TECHNOLOGY = {
    "arcing_resistor": "arcing in oil, resistor type",
    "arcing_reactor": "arcing in oil, reactor type",
    "vacuum": "interrupts in vacuum",
}
BREATHING = {"free": "free-breathing", "desiccant": "breathes through desiccant", "sealed": "sealed"}


def why_page(subject: Subject, *, width: int = 78, full: bool = False, ascii_only: bool = False) -> list[Block]:
    """The page's blocks in reading order.

    width : columns for charts; full : every reading and sample instead of the latest; ascii_only : charts in
    letters. With a severe finding the page opens with it and suggests no sample, exercise or visit.
    """
    blocks = [stop_block(subject)] if subject.severe else []
    if subject.waiting:
        blocks.append(Block("Held back", tuple(Line(sentence(words)) for words in subject.waiting)))
    blocks.append(_identity(subject))
    blocks.append(_dates(subject))
    doubts = list(dict.fromkeys(sentence(doubt) for due in subject.dues for doubt in due.doubts))
    if doubts:
        blocks.append(Block("Data caveats", tuple(Line(doubt) for doubt in doubts)))
    lead = lead_due(subject.dues)
    if lead is not None and lead.clocks:
        blocks.append(_clocks(lead))
    blocks.append(_services(subject))
    if subject.wear is not None:
        blocks.append(Block("Contacts as found", tuple(Line(words) for words in subject.wear.words)))
    blocks += note_blocks(subject)
    blocks.append(Block("Count of operations", tuple(count_lines(subject, lead, width, ascii_only))))
    blocks.append(Block("Counter readings", tuple(reading_lines(subject, full))))
    blocks.append(oil_block(subject, width, full, ascii_only))
    return blocks


def stop_block(subject: Subject) -> Block:
    """What stands before everything about a stopped unit: the notice, its evidence, an engineer's release."""
    evidence = list(dict.fromkeys(words for due in subject.dues for words in due.stop_words))
    if subject.stop is not None:
        evidence = list(subject.stop.evidence)
    releases = [due.release for due in subject.dues if due.release]
    lines = [*evidence, *(sentence(words) for words in dict.fromkeys(releases))]
    return Block(stop_notice(subject.unit), tuple(Line(words) for words in lines), loud=True)


def lead_due(dues: tuple[Due, ...]) -> Due | None:
    """The due of the contact service, else the most pressing one."""
    return next((due for due in dues if due.task == LEAD_TASK), dues[0] if dues else None)


def _identity(subject: Subject) -> Block:
    """Who the unit is: place, kind, serial numbers, and where it stood before."""
    row = subject.identity
    lead = lead_due(subject.dues)
    place = place_words(lead) if lead else str(row.get("station") or "no station")
    station_name = str(row.get("station_name") or "")
    name = f" ({station_name})" if station_name and station_name != row.get("station") else ""
    kind = [
        TECHNOLOGY.get(str(row.get("technology")), "how it interrupts is not recorded"),
        BREATHING.get(str(row.get("breathing")), ""),
        f"{row['digits']:.0f}-digit counter" if given(row.get("digits")) else "",
        str(row.get("state") or ""),
    ]
    since = day_of(row.get("commissioned_on"))
    paper = [
        f"serial {row['serial']}" if row.get("serial") else "serial not recorded",
        f"transformer {row['transformer_serial']}" if row.get("transformer_serial") else "",
        f"commissioned {since.isoformat()}" if since else "",
        f"scheme {row['scheme']}" if row.get("scheme") else "",
    ]
    lines = [Line(sentence("; ".join(part for part in parts if part))) for parts in (kind, paper)]
    stays = newest(subject.stays, "from_on", None)[::-1]
    if len(stays) > 1:
        lines.append(Line("Stood at: " + "; ".join(stay_words(stay) for stay in stays) + "."))
    return Block(f"{subject.unit}   {place}{name}   as of {subject.as_of.isoformat()}", tuple(lines))


def _dates(subject: Subject) -> Block:
    """When each task is due, and what to do next."""
    if not subject.dues:
        return Block("Due", (Line("Nothing: the unit is retired or not yet in service."),))
    rows = [
        [due.task, *(day_words(day, due) for day in (due.early, due.middle, due.late)), driver_words(due)]
        for due in subject.dues
    ]
    lines = table(["", "early", "middle", "late", "driven by"], rows)
    for due in subject.dues:
        status = status_words(due)
        lines += [Line(f"{sentence(due.task)[:-1]}: {status[:1].lower()}{status[1:]}")] if status else []
    lead = lead_due(subject.dues)
    if lead is not None:
        lines += [Line(words)] if (words := moved_words(lead)) else []
    actions = [] if subject.severe else action_words(subject.dues)
    return Block("Due", (*lines, *(Line(f"Next, {action}") for action in actions)))


def _clocks(due: Due) -> Block:
    """The three clocks of one task, each with its own dates and the chance that it runs out first."""
    rows = [
        [
            clock.driver,
            *clock_days(clock, due.as_of, "-"),
            chance_words(due.driver_share[clock.driver]) if clock.driver in due.driver_share else "",
            clock.words,
        ]
        for clock in due.clocks
    ]
    clocks = table(["", "early", "middle", "late", "first", ""], rows)
    interval = f"Interval: {interval_words(due)}. Last: {service_words(due)}."
    lines = [Line(words) for words in (interval, _since_words(due), _weighted_words(due)) if words]
    return Block(f"The {'three ' if len(due.clocks) == 3 else ''}clocks of the {due.task}", (*lines, *clocks))


def _since_words(due: Due) -> str:
    """`61,200 operations since then (60,100 to 62,800); last read 14 days ago.`"""
    if due.operations_since is None:
        return ""
    spread = ""
    if due.operations_since_low is not None and due.operations_since_high is not None:
        low, high = count_words(due.operations_since_low), count_words(due.operations_since_high)
        spread = f" ({low} to {high})" if low != high else ""
    kind = f", {due.weighted.words}" if due.weighted else ""
    return f"{count_words(due.operations_since)} operations since then{spread}{kind}; last read: {reading_words(due)}."


def _weighted_words(due: Due) -> str:
    """`An operation to come counts as 0.35. As counted: 61,200 since then, of about 143,000 in the interval.`"""
    if due.weighted is None:
        return ""
    words = f"An operation to come counts as {due.weighted.ahead:.2g}."
    if due.weighted.plain_since is None:
        return words
    limit = due.weighted.plain_limit
    of = "" if limit is None else f", of about {count_words(limit)} that use the interval up"
    return f"{words} As counted: {count_words(due.weighted.plain_since)} since then{of}."


def _services(subject: Subject) -> Block:
    """The work done, newest first."""
    services = newest(subject.services, "done_on", None)
    if not services:
        return Block("Work done", (Line("None is recorded."),))
    rows = []
    for service in services:
        contacts = ""
        if given(service.get("contact_left_mm")):
            contacts = f"{service['contact_left_mm']:g} mm left"
            if given(service.get("condemning_limit_mm")):
                contacts += f", limit {service['condemning_limit_mm']:g}"
        counters = [whole_number(service.get(name)) for name in ("as_found_counter", "as_left_counter")]
        resets = ", ".join(str(task) for task in service.get("resets") or ())
        rows.append([str(day_of(service["done_on"])), str(service["work"]), *counters, contacts, resets])
    headings = ["done", "work", "as found", "as left", "contacts", "intervals reset"]
    used = [i for i in range(len(headings)) if any(row[i] for row in rows)]
    right = [place for place, i in enumerate(used) if i in (2, 3)]
    lines = table([headings[i] for i in used], [[row[i] for i in used] for row in rows], right)
    return Block("Work done", tuple(lines))
