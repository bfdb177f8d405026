"""When each unit is to be read and sampled next: by the visit rule of its scheme or its own, else as is usual for it.

A rule counts from the last reading or sample, whoever made it. Where no rule says how often a unit is read, a reading
is due only when it is some times its usual interval old. Samples without a rule are the oil's business
(tapwear.report.oil_unit): here they are due by rule only.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING

from tapwear.outlook.next import OVERDUE_TIMES, UNSAID_CADENCE_DAYS, SampleWanted, usual_intervals
from tapwear.weeks import two_ages

if TYPE_CHECKING:
    import pandas as pd

BESIDE = ("controller", "sample")  # sources of readings for which nobody stands at the drive
COLUMNS = ("unit", "station", "what", "last_on", "every_days", "due_on", "by_rule")


def visits_due(
    units: pd.DataFrame, visit_rules: pd.DataFrame, readings: pd.DataFrame, samples: pd.DataFrame, as_of: date
) -> pd.DataFrame:
    """When the counter of each unit in service is to be read, and its oil sampled where a rule says how often.

    Frames as in tapwear.store.book, known by `as_of`. Of several compartments the one sampled longest ago counts.

    Returns DataFrame: unit, station, what [reading or sample], last_on [NaT: never], every_days, due_on [what was
    never done is due on as_of], by_rule; sorted by due_on, station, unit. Severe units are among them: whoever
    suggests a visit leaves them out.
    """
    import pandas as pd

    rules = visit_rules.set_index("unit")
    here = units[units["state"] == "in service"]
    tags, stations = here["unit"].astype(str), here["station"].astype(str)
    usual = usual_intervals(units, readings)
    beside = readings["source"].isin(BESIDE)
    read = readings[~beside].groupby("unit")["read_on"].max()
    own = samples[samples["taken_from"] == "compartment"]
    sampled = own.groupby(["unit", "compartment"])["sampled_on"].max().groupby("unit").min()
    as_usual = tags.map(lambda tag: OVERDUE_TIMES * usual.get(tag, UNSAID_CADENCE_DAYS))
    parts = []
    for what, last, rule in (("reading", read, "read_every_days"), ("sample", sampled, "sample_every_days")):
        asked = tags.map(dict(rules[rule])).astype(float)
        every = asked.fillna(as_usual) if what == "reading" else asked
        parts.append(
            pd.DataFrame(
                {
                    "unit": tags,
                    "station": stations,
                    "what": what,
                    "last_on": pd.to_datetime(tags.map(dict(last))).astype("datetime64[us]"),
                    "every_days": every,
                    "by_rule": asked.notna(),
                }
            ).dropna(subset=["every_days"])
        )
    found = pd.concat(parts, ignore_index=True)
    due_on = found["last_on"] + pd.to_timedelta(found["every_days"].round(), unit="D")
    found["due_on"] = due_on.fillna(pd.Timestamp(as_of)).astype("datetime64[us]")
    return found.sort_values(["due_on", "station", "unit", "what"], kind="stable")[list(COLUMNS)].reset_index(drop=True)


def overdue(due: pd.DataFrame, as_of: date) -> pd.DataFrame:
    """The rows of `visits_due` whose day has come."""
    import pandas as pd

    return due[due["due_on"] <= pd.Timestamp(as_of)].reset_index(drop=True)


def read_by_rule(due: pd.DataFrame) -> dict[str, tuple[date, float]]:
    """By when a rule wants each unit's counter read, and every how many days; from the rows of `visits_due`."""
    rows = due[due["by_rule"] & (due["what"] == "reading")]
    return {
        str(unit): (day.date(), float(every))
        for unit, day, every in zip(rows["unit"], rows["due_on"], rows["every_days"], strict=True)
    }


def with_samples_by_rule(
    wanted: Mapping[str, SampleWanted], due: pd.DataFrame, as_of: date, deadline: date
) -> dict[str, SampleWanted]:
    """The samples that the oil asks for, and those that a rule asks for by the deadline where the oil does not."""
    import pandas as pd

    found = dict(wanted)
    rows = due[due["by_rule"] & (due["what"] == "sample")]
    ages = (pd.Timestamp(as_of) - rows["last_on"]).dt.days
    for unit, by, every, age in zip(rows["unit"], rows["due_on"].dt.date, rows["every_days"], ages, strict=True):
        if by <= deadline and unit not in found:
            old, rule = two_ages(0 if age != age else int(age), round(every))
            last = "no sample yet" if age != age else f"last sample {old} old"
            words = f"{last}; the visit rule says every {rule}."
            found[str(unit)] = SampleWanted(max(by, as_of), "rule", words)
    return found
