"""What to look at next, for people and for programs.

JSON is one object:

    schema    "tapwear.next/1"; the number rises when a field changes its meaning or goes away
    as_of     the day as of which everything is said [ISO date]
    read_on   the day on which the readings are supposed to be taken [ISO date]
    how       how the narrowing was worked out, as a sentence
    caution   what to keep in mind before any work
    stops     [{stop, unit, station, region, bank}]: stopped units, which nobody visits
    severe    their tags
    looks     [{the fields below}], those with alarms first, then station by station

CSV has one row per unit with the same fields, named in its first line; stopped units first, of which only stop, unit
and place are filled in.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from tapwear.outlook.next import Look, Round
from tapwear.outlook.signs import STAYS
from tapwear.report.due_data import csv_cell
from tapwear.report.frames import json_values
from tapwear.report.page import Block, Line, stop_blocks, table
from tapwear.report.plain import json_text, plain
from tapwear.words import CAUTION_SHORT, CAUTIONS

NEXT_SCHEMA = "tapwear.next/1"
OUTAGE = "needs an outage"
# name -> meaning of every field of a look, in order
NEXT_FIELDS: dict[str, str] = {
    "stop": "what stands at the unit: nobody visits it; blank: nothing",
    "station": "station where it stands",
    "unit": "the owner's asset tag",
    "region": "crew region",
    "bank": "transformer bank",
    "alarms": "what the responsible engineer has to decide today, as sentences",
    "look_by": "look before the end of this day [ISO date]",
    "task": "the task whose date would be narrowed",
    "early": "day by which it has become due with 10 % [ISO date]",
    "late": "the same with 90 %",
    "width_days": "days from early to late now; null: no date, or a reading does not set it",
    "width_after_days": "the same if the counter is read on read_on and shows what is expected; null: or never read",
    "narrows_days": "the difference [days]",
    "last_reading_on": "day of the last usable reading [ISO date]",
    "reading_overdue": "the last reading is older than usual for this unit",
    "reading": "why the counter is to be read; blank: no need",
    "sample": "why the oil is to be sampled; blank: no need",
    "sample_by": "by when [ISO date]",
    "sample_moves_days": "days by which the early date comes forward if the sample shows the same as the last one",
    "sample_needs_outage": "its compartments can be sampled only in an outage",
}


def how_words(found: Round) -> str:
    """How the narrowing was worked out."""
    return (
        f"Narrowing: early to late now, less early to late if the counter is read on {found.read_on} and shows what is "
        "expected. A sample: what the early date does if it shows the same as the last one."
    )


def next_page(found: Round) -> list[Block]:
    """The list in reading order: what it means, then station by station."""
    count, stations = len(found.looks), len({look.station for look in found.looks})
    head = [
        f"{count} unit{'s' if count != 1 else ''} at {stations} station{'s' if stations != 1 else ''}.",
        how_words(found),
        f"{CAUTIONS[2]} Confirm station, bank and serial number before a reading or a sample.",
    ]
    title = f"What to look at next, as of {found.as_of}"
    title += f", before {found.read_on}" if found.read_on > found.as_of else ""
    alarmed = [look for look in found.looks if look.alarms]
    blocks = [*stop_blocks(found.severe), *([_alarms(alarmed)] if alarmed else [])]
    blocks.append(Block(title, tuple(Line(line) for line in head)))
    for station in found.stations:
        mine = [look for look in found.looks if look.station == station and not look.alarms]
        gain = sum(look.narrows_days for look in mine)
        name = f"Station {station or 'not recorded'}"
        name += f": total reduction in date range: {_days(gain)}" if gain else ""
        rows = [[look.unit, look.bank, look.by.isoformat(), range_words(look), what_words(look)] for look in mine]
        blocks.append(Block(name, tuple(table(["unit", "bank", "visit by", "range, days", ""], rows))))
    return blocks


def _alarms(looks: Sequence[Look]) -> Block:
    """Units that wait for the engineer's decision, with what to do about each, and its sample where it may be taken."""
    lines = []
    for look in looks:
        said = " ".join(look.alarms)
        what = what_words(look) if look.reading or look.sample else ""
        words = [said, what.replace(f" {STAYS}", "") if STAYS in said else what]
        lines.append(Line(f"{look.unit}, {look.station or 'no station'}: {' '.join(words).rstrip()}"))
    return Block("First: for the responsible engineer, today", tuple(lines), loud=True)


def range_words(look: Look) -> str:
    """`51 to 37`: days from early to late now and after a reading; `946 now` where no reading is there yet; `-` where a
    reading does not set the date."""
    if look.width_days is None:
        return "-"
    if look.width_after_days is None:
        return f"{look.width_days:,} now"
    return f"{look.width_days:,} to {look.width_after_days:,}"


def what_words(look: Look) -> str:
    """`Read the counter: last read 14 months ago. Sample the oil (needs an outage): ...`"""
    parts = [f"Read the counter: {look.reading}."] if look.reading else []
    if look.sample:
        outage = f" ({OUTAGE})" if look.sample_needs_outage else ""
        parts.append(f"Sample the oil{outage}: {look.sample}")
        parts += [again_words(look.sample_moves_days)] if look.sample_moves_days is not None else []
    return " ".join(parts) or "No visit needed before then."


def again_words(days: int) -> str:
    """What a sample that shows the same as the last one would do to the early date."""
    if days <= 0:
        return "If it shows the same again, no date moves."
    return f"If it shows the same again, the early date comes {_days(days)} forward."


def _days(count: int) -> str:
    return f"{count:,} day{'s' if count != 1 else ''}"


def next_record(look: Look) -> dict[str, Any]:
    """One look as plain values. Keys: NEXT_FIELDS."""
    texts = ("station", "unit", "region", "bank", "task", "reading", "sample")
    days = ("early", "late", "last_reading_on", "sample_by")
    values: dict[str, Any] = {"stop": "", "alarms": [plain(words) for words in look.alarms]}
    values |= {name: plain(getattr(look, name)) for name in texts}
    values |= {name: day.isoformat() if (day := getattr(look, name)) else None for name in days}
    values["look_by"] = look.by.isoformat()
    plainly = (
        *("width_days", "width_after_days", "narrows_days", "reading_overdue", "sample_moves_days"),
        "sample_needs_outage",
    )
    values |= {name: getattr(look, name) for name in plainly}
    return {name: values[name] for name in NEXT_FIELDS}


def next_json(found: Round) -> str:
    """The list as JSON text, see the top of this module."""
    page = {
        "schema": NEXT_SCHEMA,
        "as_of": found.as_of.isoformat(),
        "read_on": found.read_on.isoformat(),
        "how": how_words(found),
        "caution": f"{CAUTION_SHORT} {CAUTIONS[2]}",
        "stops": [asdict(one) for one in found.stopped],
        "severe": list(found.severe),
        "looks": [next_record(look) for look in found.looks],
    }
    return json_text(json_values(page))


def next_csv(found: Round) -> str:
    """The list as CSV text with a heading line."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(NEXT_FIELDS)
    for one in found.stopped:
        writer.writerow([csv_cell(getattr(one, name, None)) for name in NEXT_FIELDS])
    for look in found.looks:
        record = next_record(look)
        record |= {"alarms": " ".join(record["alarms"])}
        writer.writerow([csv_cell(value) for value in record.values()])
    return out.getvalue()
