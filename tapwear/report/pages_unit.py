"""The page about one unit in a report: identity, dates and what drives them, doubts, conditions, work done."""

from __future__ import annotations

from collections.abc import Sequence

from tapwear.outlook.conditions import Noted
from tapwear.outlook.types import Due
from tapwear.report.due_words import (
    action_words,
    chance_words,
    clock_days,
    count_words,
    day_words,
    driver_words,
    interval_words,
    moved_words,
    operations_words,
    reading_words,
    sentence,
    service_words,
    status_words,
    told_day,
)
from tapwear.report.frames import day_of, given, newest, stay_words, whole_number
from tapwear.report.oil_unit import OilUnit, number
from tapwear.report.pages_evidence import count_section, oil_section, readings_section
from tapwear.report.pages_fleet import many
from tapwear.report.pages_parts import Section, UnitPage, table, tables
from tapwear.report.stories import Subject
from tapwear.report.visit_notes import note_section
from tapwear.report.why_view import BREATHING, TECHNOLOGY, lead_due, stop_block

DATE_WORDS = (
    "Early, middle, late: the days by which the task has become due with 10, 50 and 90 %. "
    "The late date is not approval to wait."
)
INSPECTION, INSPECTIONS_SHOWN = "inspection", 3  # how many a page shows: our choice


def unit_page(subject: Subject, oil: OilUnit | None, noted: Sequence[Noted], key: str) -> UnitPage:
    """The page of one unit.

    oil : its samples and what they say; noted : open conditions that people noted about it
    key : letters and digits that set its drawings apart from those of other pages
    """
    severe = subject.severe or bool(oil and oil.severe) or any(one.severe for one in noted)
    lead = lead_due(subject.dues)
    row = subject.identity
    sections = [
        Section("Held back", tuple(map(sentence, subject.waiting))) if subject.waiting else None,
        _identity(subject),
        _dates(subject),
        _doubts(subject, noted),
        _clocks(lead) if lead is not None and lead.clocks else None,
        count_section(subject, lead, key),
        oil_section(subject.unit, oil, key, severe=severe),
        _work(subject),
        Section("Contacts as found", subject.wear.words) if subject.wear else None,
        note_section(subject),
        readings_section(subject),
    ]
    phase = f"phase {row['phase']}" if row.get("phase") else ""
    parts = (row.get("station_name") or row.get("station"), row.get("bank"), phase)
    return UnitPage(
        unit=subject.unit,
        place=", ".join(str(part) for part in parts if part) or "no station",
        severe=severe,
        stop_words=" ".join(_stop_words(subject)) if severe else "",
        lead=_lead_words(lead),
        actions=() if severe else tuple(action_words(subject.dues)),
        sections=tuple(section for section in sections if section is not None),
    )


def _stop_words(subject: Subject) -> list[str]:
    """The notice, its evidence, an engineer's release: as on the page in a terminal."""
    opening = stop_block(subject)
    return [opening.heading, *(line.text for line in opening.lines)]


def _lead_words(due: Due | None) -> str:
    """`Contact service: early 2026-10-10, middle 2026-10-29, late 2026-11-17; governed by operations.`"""
    if due is None:
        return "Nothing is due: the unit is retired or not yet in service."
    status = status_words(due)
    if due.must_stop and told_day(due.early, due) is None:
        return ""
    if not due.known:
        return f"{sentence(due.task)[:-1]}: {status[:1].lower()}{status[1:]}"
    days = [day_words(day, due) for day in (due.early, due.middle, due.late)]
    if days[0] == days[2]:
        when = f"{days[0]}" if due.early else f"due {days[0]}"
    else:
        when = f"early {days[0]}, middle {days[1]}, late {days[2]}"
    said = (f"{sentence(due.task)[:-1]}: {when}; governed by {driver_words(due)}.", status, moved_words(due))
    return " ".join(words for words in said if words)


def _identity(subject: Subject) -> Section:
    """Who the unit is, and where it stood before."""
    row = subject.identity
    code, name = row.get("station") or "", row.get("station_name") or ""
    since = day_of(row.get("commissioned_on"))
    facts = [
        ("station", f"{name} ({code})" if name and name != code else str(code) or "none"),
        ("state", str(row.get("state") or "")),
        ("serial number", str(row.get("serial") or "not recorded")),
        ("transformer", str(row.get("transformer_serial") or "")),
        ("kind", TECHNOLOGY.get(str(row.get("technology")), "how it interrupts is not recorded")),
        ("breathing", BREATHING.get(str(row.get("breathing")), "")),
        ("counter", f"{row['digits']:.0f} digits" if given(row.get("digits")) else ""),
        ("rated through-current", _with_unit(row.get("rated_current_a"), "A")),
        ("oil in the compartment", _with_unit(row.get("oil_volume_l"), "L")),
        ("commissioned", since.isoformat() if since else ""),
        ("scheme", str(row.get("scheme") or "")),
    ]
    stays = newest(subject.stays, "from_on", None)[::-1]
    if len(stays) > 1:
        facts.append(("stood at", "; ".join(stay_words(stay) for stay in stays)))
    return Section("Identity", facts=tuple((name, words) for name, words in facts if words))


def _with_unit(value: object, unit: str) -> str:
    return f"{number(value)} {unit}" if given(value) else ""


def _dates(subject: Subject) -> Section | None:
    """When each task is due."""
    if not subject.dues:
        return None
    headings = ("task", "early", "middle", "late", "governed by", "operations since", "interval", "last service")
    rows = [
        (
            due.task,
            *(day_words(day, due) for day in (due.early, due.middle, due.late)),
            driver_words(due),
            operations_words(due) if due.interval_operations is not None else count_words(due.operations_since),
            interval_words(due).removesuffix(", whichever comes first"),
            service_words(due),
        )
        for due in subject.dues
    ]
    said = [(due.task, status_words(due)) for due in subject.dues]
    status = [f"{sentence(task)[:-1]}: {words[:1].lower()}{words[1:]}" for task, words in said if words]
    after = (*status, DATE_WORDS)
    return Section("Dates", tables=(table(f"Dates of {subject.unit}", headings, rows),), after=after)


def _doubts(subject: Subject, noted: Sequence[Noted]) -> Section | None:
    """What people noted about the unit, and what else makes the dates doubtful."""
    said = [sentence(one.sentence) for one in noted]
    doubts = dict.fromkeys(sentence(doubt) for due in subject.dues for doubt in due.doubts)
    found = (*said, *(doubt for doubt in doubts if doubt not in said))
    return Section("Noted and doubtful", found) if found else None


def _clocks(due: Due) -> Section:
    """The three clocks of one task, each with its own dates and the chance that it runs out first."""
    rows = [
        (
            clock.driver,
            *clock_days(clock, due.as_of, "–"),
            chance_words(due.driver_share[clock.driver]) if clock.driver in due.driver_share else "",
            clock.words,
        )
        for clock in due.clocks
    ]
    found = table(f"Clocks of {due.unit}", ("clock", "early", "middle", "late", "runs out first", "rests on"), rows)
    return Section(f"What drives the {due.task}", facts=tuple(_rests_on(due)), tables=(found,))


def _rests_on(due: Due) -> list[tuple[str, str]]:
    """The figures that the date rests on, by name."""
    facts = []
    if due.operations_since is not None:
        low, high = count_words(due.operations_since_low), count_words(due.operations_since_high)
        spread = f" (8 in 10: {low} to {high})" if low != high else ""
        facts.append(("operations since", f"{count_words(due.operations_since)} of {interval_words(due)}{spread}"))
    if due.weighted is not None:
        plain = due.weighted.plain_since
        counted = "" if plain is None else f"; as counted, {count_words(plain)} since the last service"
        if plain is not None and due.weighted.plain_limit is not None:
            counted += f", of about {count_words(due.weighted.plain_limit)} that use the interval up"
        facts.append(("current", f"{due.weighted.words}; one to come counts as {due.weighted.ahead:.2g}{counted}"))
    if due.operations_per_year is not None and due.state == "in service":
        facts.append(("present rate", f"about {count_words(due.operations_per_year)} operations a year"))
    read = f"{due.last_reading_value:,} on {due.last_reading_on}, " if due.last_reading_value is not None else ""
    facts.append(("last reading", f"{read}{reading_words(due)}"))
    facts.append(("readings", f"{due.readings_used} relied on, {due.readings_doubtful} doubtful"))
    facts.append(("last oil sample", due.last_sample_on.isoformat() if due.last_sample_on else "none recorded"))
    return facts


def _work(subject: Subject) -> Section:
    """The work done, newest first; of inspections, only the latest."""
    rows, inspections = [], 0
    for service in newest(subject.services, "done_on", None):
        if service["work"] == INSPECTION:
            inspections += 1
            if inspections > INSPECTIONS_SHOWN:
                continue
        contacts = ""
        if given(service.get("contact_left_mm")):
            contacts = f"{service['contact_left_mm']:g} mm left"
            if given(service.get("condemning_limit_mm")):
                contacts += f", limit {service['condemning_limit_mm']:g} mm"
        counters = [whole_number(service.get(name)) for name in ("as_found_counter", "as_left_counter")]
        resets = ", ".join(str(task) for task in service.get("resets") or ())
        remark = str(service.get("remark") or "") if given(service.get("remark")) else ""
        rows.append((str(day_of(service["done_on"])), str(service["work"]), *counters, contacts, resets, remark))
    headings = ("done on", "work", "counter as found", "as left", "contacts", "clocks started again", "remark")
    right = ("counter as found", "as left")
    found = table(f"Work done on {subject.unit}", headings, rows, right)
    older = inspections - INSPECTIONS_SHOWN
    after = (f"{many(older, 'older inspection')} not shown.",) if older > 0 else ()
    return Section("Work done", () if rows else ("None is recorded.",), tables=tables(found), after=after)
