"""What holds for every unit, whatever its rate, its services and its oil: tried through all layers."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pandas as pd
from books import AS_OF, book, rule_row, service_row, steady_readings, unit_row
from hypothesis import given, settings
from hypothesis import strategies as st

from tapwear.fleet import Assessment, assess_book, ground_of
from tapwear.oil.types import OilFinding, OilVerdict
from tapwear.outlook.build import build_outlook
from tapwear.outlook.types import Due
from tapwear.store.book import Book

FAR = date(9999, 1, 1)
rates = st.floats(0.2, 60.0)  # operations a day
ages = st.integers(1, 2500)  # days since the last overhaul
spans = st.lists(st.integers(-400, 3000), min_size=3, max_size=3).map(sorted)  # open-by days of the oil, from as_of


def one_unit(rate: float, age: int, **changes: object) -> Book:
    made = book(
        units=[unit_row("T1")],
        rules=[rule_row("T1"), rule_row("T1", task="oil change", interval_operations=float("nan"), interval_years=6.0)],
        readings=steady_readings("T1", rate),
        services=[
            service_row("T1", str(AS_OF - timedelta(days=age)), resets=("contact service", "oil change")),
        ],
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def under(found: Assessment, verdicts: dict[str, OilVerdict]) -> dict[str, Due]:
    """The dues by task of the same counts under other oil."""
    made = found.book
    ground = ground_of(made, found.history, found.model, verdicts, AS_OF)
    outlook = build_outlook(made.units, made.rules, made.services, made.events, ground, AS_OF)
    return {due.task: due for due in outlook.dues}


def days(due: Due) -> tuple[date, date, date]:
    return (due.early or FAR, due.middle or FAR, due.late or FAR)


@settings(max_examples=30)
@given(rates, ages, spans, st.sampled_from(["pull forward", "resample", "nothing unusual"]), st.booleans())
def test_oil_never_postpones_and_the_dates_stay_in_order(
    rate: float, age: int, span: list[int], call: str, severe: bool
) -> None:
    found = assess_book(one_unit(rate, age), AS_OF)
    early, middle, late = (AS_OF + timedelta(days=day) for day in span)
    oil = OilVerdict("T1", AS_OF, call, severe and call == "pull forward", early, middle, late)  # type: ignore[arg-type]
    without, pulled = under(found, {}), under(found, {"T1": oil})
    for task, due in pulled.items():
        assert all(new <= old for new, old in zip(days(due), days(without[task]), strict=True))
        assert days(due) == tuple(sorted(days(due)))
    if call != "pull forward":
        assert {task: days(due) for task, due in pulled.items()} == {task: days(due) for task, due in without.items()}
    assert days(pulled["oil change"]) == days(without["oil change"])


@settings(max_examples=15)
@given(rates, ages, ages)
def test_an_oil_change_moves_no_contact_rule(rate: float, age: int, changed: int) -> None:
    plain = one_unit(rate, age)
    day = str(AS_OF - timedelta(days=changed))
    oil_work = pd.DataFrame([service_row("T1", day, service_id=2, work="oil change", resets=("oil change",))])
    more = replace(
        plain,
        services=pd.concat([plain.services, oil_work], ignore_index=True),
        oil_events=pd.DataFrame({"unit": ["T1"], "happened_on": [pd.Timestamp(day)], "kind": ["oil_changed"]}),
    )
    (before,) = [due for due in assess_book(plain, AS_OF).outlook.dues if due.task == "contact service"]
    (after,) = [due for due in assess_book(more, AS_OF).outlook.dues if due.task == "contact service"]
    assert days(after) == days(before)
    assert after.operations_since == before.operations_since
    assert after.last_service_on == before.last_service_on


@settings(max_examples=15)
@given(st.floats(2.0, 60.0), st.integers(100, 2000))
def test_time_in_store_moves_the_operations_clock_only(rate: float, stored: int) -> None:
    since = AS_OF - timedelta(days=stored)
    used = one_unit(rate, 2500, readings=pd.DataFrame(steady_readings("T1", rate, end=since)))
    stays = pd.DataFrame(
        {
            "unit": ["T1", "T1"],
            "place": ["AH/T1", ""],
            "from_on": pd.to_datetime(["2010-01-01", since]),
            "to_on": pd.to_datetime([since, None]),
            "state": ["in service", "spare"],
        }
    )
    spare = replace(used, units=pd.DataFrame([unit_row("T1", state="spare")]), stays=stays)
    (idle,) = [due for due in assess_book(spare, AS_OF).outlook.dues if due.task == "contact service"]
    (busy,) = [due for due in assess_book(used, AS_OF).outlook.dues if due.task == "contact service"]
    clocks = [{clock.driver: clock for clock in due.clocks} for due in (idle, busy)]
    assert clocks[0]["calendar"] == clocks[1]["calendar"]
    assert (clocks[0]["operations"].middle or FAR) >= (clocks[1]["operations"].middle or FAR)
    assert idle.operations_since is not None
    assert busy.operations_since is not None
    assert idle.operations_since < busy.operations_since


def test_what_the_oil_shows_goes_with_the_contact_service_where_it_calls_for_something() -> None:
    found = assess_book(one_unit(20.0, 900), AS_OF)
    shows = (OilFinding("heating", "Ethylene rose."), OilFinding("severe", "The sample is severe."))
    calls = {
        call: under(found, {"T1": OilVerdict("T1", AS_OF, call, findings=shows)})  # type: ignore[arg-type]
        for call in ("pull forward", "resample", "nothing unusual")
    }
    assert calls["pull forward"]["contact service"].oil_findings == ("Ethylene rose.",)
    assert calls["resample"]["contact service"].oil_findings == ("Ethylene rose.",)
    assert calls["pull forward"]["oil change"].oil_findings == ()
    assert calls["nothing unusual"]["contact service"].oil_findings == ()
