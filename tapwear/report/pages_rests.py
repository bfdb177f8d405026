"""What a whole report rests on, in sentences: how dates are meant, intervals and where they come from, limits."""

from __future__ import annotations

from tapwear.outlook.types import horizon
from tapwear.report.due_words import after_words
from tapwear.report.frames import given
from tapwear.report.pages_fleet import Fleet, many
from tapwear.words import limits_words

RULES_SHOWN = 40


def rests_on(fleet: Fleet) -> list[str]:
    """The assumptions behind the dates, then the service rules with their provenance."""
    lines = [
        f"Everything is said as of {fleet.as_of}, from what was dated by then.",
        "A task is due at the earliest of three clocks: operations, calendar, and the oil where its results call for "
        "an internal inspection. The oil can bring a date forward; it never postpones one.",
        "Early, middle and late are the days by which the task has become due with 10, 50 and 90 %. The early date "
        "leads; the late one is not approval to wait.",
        f"A date later than {horizon(fleet.as_of)} is said as {after_words(fleet.as_of)}.",
        "Where the last service is unknown the date is unknown; commissioning is no substitute.",
        "Doubtful readings are kept and shown, and not relied on.",
    ]
    limits = {name for unit in fleet.oil.values() for name in unit.limits}
    if limits:
        lines.append("Oil limits of your own are set for: " + ", ".join(sorted(limits)).replace("_", " ") + ".")
    else:
        lines.append("No oil limits of your own are set: the oil is judged by each unit's past and by similar units.")
    return lines + _rules(fleet)


def _rules(fleet: Fleet) -> list[str]:
    """`Contact service every 68,500 operations or 7 years (own choice): 12 units.`"""
    units: dict[str, int] = {}
    for row in fleet.rules.to_dict("records"):
        numbers = (row["interval_operations"], row["interval_years"])
        limits = limits_words(*(number if given(number) else None for number in numbers))
        task = str(row["task"])
        source = str(row["provenance"]) if given(row.get("provenance")) else "where it comes from is not recorded"
        words = f"{task[:1].upper()}{task[1:]} every {limits or 'unknown interval'} ({source})"
        units[words] = units.get(words, 0) + 1
    ordered = sorted(units.items(), key=lambda item: (-item[1], item[0]))
    lines = [f"{words}: {many(count, 'unit')}." for words, count in ordered[:RULES_SHOWN]]
    rest = len(ordered) - RULES_SHOWN
    return lines + ([f"And {many(rest, 'further rule')}; see the units' pages."] if rest > 0 else [])
