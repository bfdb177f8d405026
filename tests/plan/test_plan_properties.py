"""Whatever is given: the plan keeps its rules, tells of every unit, and comes back from its document."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_dues import AS_OF, due

from tapwear.outlook.types import Outlook
from tapwear.plan.build import build_plan
from tapwear.plan.check import check
from tapwear.plan.compare import compare_plans
from tapwear.plan.document import from_document, to_document
from tapwear.plan.inputs import Inputs
from tapwear.plan.publish import past_limit
from tapwear.plan.since import told_since
from tapwear.weeks import weeks_of_year

UNITS = ("U1", "U2", "U3", "U4", "U5")
STATIONS = {"U1": "ALDER", "U2": "ALDER", "U3": "ALDER", "U4": "BIRCH", "U5": "CEDAR"}
YEARS = (2026, 2027, 2032)
unit = st.sampled_from(UNITS)
number = st.integers(1, 53)


@st.composite
def notes(draw: st.DrawFn, year: int) -> dict[str, Any]:
    weeks = weeks_of_year(year)
    kind = draw(st.sampled_from(("pin", "forbid", "request", "progress", "other work")))
    week = draw(st.sampled_from(weeks))
    status = {"request": ("asked", "approved", "refused", "cancelled"), "progress": ("started", "done", "stopped")}
    row = {"unit": draw(unit), "kind": kind, "weeks": week, "status": "", "happened_on": None}
    row |= {"person": "", "words": ""}
    if kind in status:
        row["status"] = draw(st.sampled_from(status[kind]))
    if kind == "progress":
        row["happened_on"] = AS_OF - timedelta(days=draw(st.integers(0, 500)))
    if kind == "other work":
        row["words"] = "paint"
    return row


@st.composite
def given_inputs(draw: st.DrawFn, year: int) -> Inputs:
    day = st.integers(0, 800).map(lambda days: AS_OF + timedelta(days=days))
    yearly = st.builds(
        lambda station, first, last: {"station": station, "from_week": first, "to_week": last, "why": "peak"},
        st.sampled_from(("ALDER", "BIRCH")), number, number,
    )  # fmt: skip
    team = st.builds(
        lambda hours, skills: {"team": "A", "region": "North", "hours_per_week": hours, "skills": skills},
        st.sampled_from((0.0, 80.0, 170.0)), st.sampled_from(((), ("vacuum",))),
    )  # fmt: skip
    other = st.builds(
        lambda who, begin, days: {"station": "", "unit": who, "from_on": begin,
                                  "to_on": begin + timedelta(days=days), "what": "line", "who": ""},
        unit, day, st.integers(0, 60),
    )  # fmt: skip
    term = st.builds(
        lambda who, permit, exchanged, skill, resources: {
            "station": "", "scheme": "", "unit": who, "permit_weeks": permit, "recall_hours": None,
            "consequence": None, "exchanged": exchanged, "skill": skill, "approver": "", "conditions": "", "pcb": "",
            "resources": resources,
        },
        unit, st.sampled_from((None, 2.0, 60.0)), st.booleans(), st.sampled_from(("", "vacuum")),
        st.sampled_from(((), ("mobile",))),
    )  # fmt: skip
    resource = st.builds(
        lambda many: {"resource": "mobile", "number": many, "from_on": None, "to_on": None}, st.integers(0, 2)
    )
    return Inputs(
        yearly=tuple(draw(st.lists(yearly, max_size=2))),
        teams=tuple(draw(st.lists(team, max_size=2))),
        others=tuple(draw(st.lists(other, max_size=2))),
        terms=tuple(draw(st.lists(term, max_size=4))),
        resources=tuple(draw(st.lists(resource, max_size=1))),
        notes=tuple(draw(st.lists(notes(year), max_size=6))),
    )


@settings(max_examples=80, deadline=None, derandomize=True)
@given(st.data())
def test_every_plan_keeps_its_rules_and_tells_of_every_unit(data: st.DataObject) -> None:
    year = data.draw(st.sampled_from(YEARS))
    offsets = data.draw(st.lists(st.integers(-200, 900), min_size=0, max_size=5))
    dues = tuple(
        due(tag, (date(year, 3, 1) + timedelta(days=days)).isoformat(), station=STATIONS[tag],
            bank="B" if tag in ("U2", "U3") else tag, duration_days=5.0 + 5.0 * (days % 3))
        for tag, days in zip(UNITS, offsets, strict=False)
    )  # fmt: skip
    inputs = data.draw(given_inputs(year))
    frames = {
        "closures": pd.DataFrame([], columns=["station", "from_on", "to_on", "why"]),
        "transfer_groups": pd.DataFrame([("ring", "BIRCH", ""), ("ring", "CEDAR", "")],
                                        columns=["group", "station", "unit"]),
        "crews": pd.DataFrame([], columns=["region", "week", "hours"]),
        "units": pd.DataFrame([(tag, STATIONS[tag], tag, "in service", "") for tag in UNITS],
                              columns=["unit", "station", "bank", "state", "neighbourhood"]),
    }  # fmt: skip
    outlook = Outlook(AS_OF, dues)
    result = build_plan(outlook, year, **frames, inputs=inputs, seconds=0.3)
    assert check(result) == []
    told = [slot.job.unit for slot in result.slots] + [one.unit for one in result.left_out]
    assert sorted(told) == sorted(one.unit for one in dues)
    assert from_document(to_document(result)) == result
    assert len(told_since(result, inputs.notes, {}, AS_OF).slots) == len(result.slots)
    same = compare_plans(result, result)
    assert (same.moved, same.added, same.dropped, same.same + same.without) == ((), (), (), len(result.slots))
    assert all(line.split()[0] in UNITS for line in past_limit(result, [], AS_OF))
    again = build_plan(outlook, year, **frames, inputs=inputs, seconds=0.3, follow=result, follows="first")
    assert check(again) == []
    assert {slot.job.unit for slot in again.slots} == {slot.job.unit for slot in result.slots}
