from __future__ import annotations

import io
from dataclasses import replace
from datetime import date

import pandas as pd
import pytest
from due_examples import OVERDUE, UNKNOWN, due
from rich.console import Console
from why_examples import story, subject, verdict

from tapwear.oil.types import OilFinding
from tapwear.outlook.types import Clock
from tapwear.report.page import page_plain, print_page
from tapwear.report.stories import Subject
from tapwear.report.why_count import drawn_from
from tapwear.report.why_view import why_page


def text_of(page: Subject, **options) -> str:
    return "\n".join(page_plain(why_page(page, **options)))


def test_the_page_answers_first_and_shows_its_evidence_after() -> None:
    text = text_of(subject())
    headings = [line for line in text.splitlines() if line and not line.startswith(" ")]
    assert headings == [
        "BRK-T1   Brackwater, T1   as of 2026-06-30",
        "Due",
        "Data caveats",
        "The three clocks of the contact service",
        "Work done",
        "Count of operations",
        "Counter readings",
        "Oil",
    ]
    assert "  contact service  2026-09-14  2026-12-20  2027-05-02  mostly operations" in text
    assert "  Next, contact service: schedule outage before 2026-09-14." in text
    assert "  2 of 41 readings doubtful." in text


def test_each_next_step_says_which_tasks_it_is_for() -> None:
    order = "order kit by 2027-05-13; schedule outage before 2027-09-16"
    dues = (
        due(next_action=order),
        due(task="oil change", next_action="schedule outage before 2027-09-16"),
        due(task="inspection", next_action="schedule outage before 2027-09-16"),
    )
    steps = [line.strip() for line in text_of(subject(dues=dues)).splitlines() if line.startswith("  Next")]
    assert steps == [
        f"Next, contact service: {order}.",
        "Next, oil change, inspection: schedule outage before 2027-09-16.",
    ]


def test_days_that_the_oil_brings_forward_are_counted_only_where_there_is_a_date_without_it() -> None:
    dated = due(oil_moved_days=1_039, clocks=(Clock("calendar", *[date(2029, 5, 4)] * 3, "7 years"),))
    assert "  The oil brings the middle date forward by 1,039 days." in text_of(subject(dues=(dated,)))
    far = due(oil_moved_days=5_479, clocks=(Clock("operations", None, None, None, "300,000 operations"),))
    assert "  The oil brings the middle date forward from after 2041." in text_of(subject(dues=(far,)))


def test_identity_says_kind_serial_and_first_day() -> None:
    text = text_of(subject())
    assert "Arcing in oil, resistor type; breathes through desiccant; 6-digit counter; in service." in text
    assert "Serial 48211; commissioned 2004-05-11." in text


def test_each_clock_shows_its_dates_and_the_chance_to_run_out_first() -> None:
    lines = text_of(subject()).splitlines()
    assert "  operations  2026-09-14  2026-12-20  2027-05-02  8 in 10   70,000 operations" in lines
    assert "  calendar    2027-03-12  2027-03-12  2027-03-12  2 in 10   8 years" in lines
    assert "  oil         -           -           -           unlikely  nothing unusual" in lines
    assert "  Interval: 70,000 operations or 8 years, whichever comes first. Last: 2019-03-12 at 104,233." in lines


def test_doubtful_readings_stand_among_the_others_with_their_reason() -> None:
    lines = text_of(subject()).splitlines()
    first = lines.index("Counter readings") + 2
    assert lines[first] == "  2026-05-04  104,000  right as understood: 7 in 10"
    assert lines[first + 1] == "  2026-01-24  103,000  doubtful: two digits changed places"
    assert lines[first + 2] == "  2025-10-16  102,000"


def test_older_readings_are_counted_and_shown_on_demand() -> None:
    told = story()
    many = pd.concat([told.readings] * 2, ignore_index=True)
    page = subject(story=type(told)(told.points, told.forecast, told.rate_words, many))
    assert "and 8 older, 2 doubtful in all; --all shows them" in text_of(page)
    assert "older" not in text_of(page, full=True)


def test_the_source_is_named_only_where_not_all_are_the_drives_own_counter() -> None:
    told = story()
    mixed = told.readings.assign(source=["controller"] + ["mechanical"] * 9)
    page = subject(story=type(told)(told.points, told.forecast, told.rate_words, mixed))
    assert "2023-11-16   95,000  controller" in text_of(page)
    assert "mechanical" not in text_of(subject())


def test_the_chart_counts_from_the_last_service_and_shows_the_interval() -> None:
    served = due(last_service_on=date(2024, 2, 24), operations_since=8_360.0, interval_operations=10_000)
    drawn = drawn_from(story(), served, served.as_of)
    assert (drawn.start, drawn.from_service, drawn.limit) == (date(2024, 2, 24), True, 10_000.0)
    assert drawn.days[:2] == [date(2024, 2, 24), date(2024, 6, 3)]
    assert drawn.operations[:2] == [0.0, 1_000.0]
    assert drawn.middle[0] == 8_360.0
    assert drawn.ahead[-1] <= date(2027, 8, 30)
    assert "interval 10,000" in text_of(subject(dues=(served,)))


def test_without_a_known_service_the_chart_counts_from_the_first_visit_and_has_no_limit() -> None:
    drawn = drawn_from(story(), UNKNOWN, UNKNOWN.as_of)
    assert (drawn.start, drawn.from_service, drawn.limit) == (date(2023, 11, 16), False, None)
    assert drawn.operations[0] == 0.0


def test_readings_of_several_drives_say_of_which() -> None:
    told = story()
    drives = replace(told, readings=told.readings.assign(drive=["A", "B"] * 5), drive="B")
    text = text_of(subject(story=drives))
    assert "  2026-05-04  104,000  B      right as understood: 7 in 10" in text
    assert "Operations of drive B since the service of 2019-03-12" in text
    assert "drive" not in text_of(subject()).split("Counter readings")[1].split("Oil")[0]


def test_a_severe_finding_comes_first_and_nothing_suggests_a_sample_or_a_visit() -> None:
    oil = verdict(
        call="resample",
        severe=True,
        resample_by=date(2026, 7, 5),
        oil_work=(OilFinding("wet oil", "water has risen: change the breather"),),
    )
    for page in (subject(verdict=oil), subject(verdict=oil, dues=(due(severe=True, next_action="take a sample"),))):
        text = text_of(page)
        assert text.splitlines()[0].startswith("STOP: possible arcing or overheating in ")
        for words in ("Next", "resample", "breather", "take a sample"):
            assert words not in text


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        (
            {},
            "Oil results call for an internal inspection by 2026-08-01; middle 2026-10-01, late 2027-01-01, which is "
            "not approval to wait (4 samples since 2023-12-01).",
        ),
        (
            dict.fromkeys(("open_by_early", "open_by_middle", "open_by_late"), date(2026, 6, 30)),
            "Oil results call for an internal inspection now (4 samples since 2023-12-01).",
        ),
        ({"severe": True}, "Oil results point to arcing or overheating (4 samples since 2023-12-01)."),
        (
            {"call": "resample", "resample_by": date(2026, 7, 5)},
            "Oil results are unusual: resample by 2026-07-05, to confirm it (4 samples since 2023-12-01).",
        ),
        (
            {"call": "nothing unusual", "samples_used": 1, "evidence_since": None},
            "No abnormal result in 1 sample. Due dates unchanged.",
        ),
        ({"call": "no oil evidence"}, "No recent oil sample since 2025-08-23."),
        ({"call": "no oil evidence", "last_sample_on": None}, "No recent oil sample: no sample is recorded."),
    ],
)
def test_the_call_of_the_oil_is_a_sentence(changed: dict, words: str) -> None:
    assert f"  {words}\n" in text_of(subject(verdict=verdict(**changed)))


def test_oil_findings_come_with_figures_and_how_far_to_trust_them() -> None:
    text = text_of(subject())
    assert "Ethylene has overtaken acetylene. Figures: ratio: 1.32. Rule: provisional rule." in text
    assert (
        "Acetylene rises by 34.2 ppm a year (8 in 10: 20.1 to 48); 1.22 mL per 1,000 operations (0.9 to 1.6); "
        "4 samples since 2024-01-01." in text
    )


def test_gas_below_the_limit_is_shown_as_below_it() -> None:
    rows = [line.split() for line in text_of(subject()).splitlines() if line.startswith("  2024-01-01  compartment")]
    assert rows[0][-1] == "<0.5"


def test_a_unit_that_nobody_read_sampled_or_serviced_still_has_a_page() -> None:
    told = story()
    nothing = type(told)(told.points.head(0), told.forecast.head(0), (), told.readings.head(0))
    full = subject()
    bare = subject(
        dues=(UNKNOWN,),
        services=full.services.head(0),
        samples=full.samples.head(0),
        oil_events=full.oil_events.head(0),
        verdict=None,
        story=nothing,
    )
    for page in (bare, subject(story=None, verdict=None, dues=())):
        assert "No recent oil sample: no sample is recorded." in text_of(page)
        assert "No usable reading." in text_of(page)
    text = text_of(bare)
    assert "Contact service: due date unknown. If never serviced: overdue since 2011-04-02" in text
    assert "  None is recorded." in text
    assert "retired or not yet in service" in text_of(subject(dues=()))


def test_several_tasks_are_listed_and_overdue_ones_say_so() -> None:
    text = text_of(subject(dues=(due(task="inspection"), OVERDUE)))
    assert "Contact service: overdue since about May 2025: passed between 2025-01-10 and 2025-11-02." in text
    assert "  inspection       2026-09-14" in text
    assert "The three clocks of the contact service" in text


def test_a_unit_that_moved_says_where_it_stood() -> None:
    first, second = pd.Timestamp("2020-09-16"), pd.Timestamp("2021-05-01")
    stays = pd.DataFrame(
        {
            "unit": "BRK-T1",
            "place": ["HAL/T2/", "spare: BRK-T1", "BRK/T1/A#2"],
            "from_on": [pd.NaT, first, second],
            "to_on": [first, second, pd.NaT],
            "state": ["in service", "spare", "in service"],
        }
    )
    text = text_of(subject(stays=stays))
    stood = "HAL, T2 until 2020-09-16; spare from 2020-09-16 to 2021-05-01; BRK, T1, A from 2021-05-01."
    assert f"Stood at: {stood}" in text


@pytest.mark.parametrize("width", [50, 80, 120])
def test_on_a_screen_words_wrap_within_its_width_and_go_on_under_their_column(width: int) -> None:
    console = Console(file=io.StringIO(), width=width, markup=False, highlight=False)
    print_page(why_page(subject(), width=width - 4), console)
    assert isinstance(console.file, io.StringIO)
    lines = console.file.getvalue().splitlines()
    fixed = [line for line in lines if "  sampled" in line or " compartment " in line]
    assert max(len(line) for line in lines if line not in fixed) <= width
    assert "70,000" in " ".join(lines)


def test_what_people_typed_cannot_steer_the_screen() -> None:
    page = subject(identity={**subject().identity, "serial": "\x1b[31m[bold]7"})
    console = Console(file=io.StringIO(), width=80, force_terminal=True, no_color=True, markup=False, highlight=False)
    print_page(why_page(page), console)
    assert isinstance(console.file, io.StringIO)
    assert "Serial [bold]7" in console.file.getvalue()
    assert "\x1b[31m" not in console.file.getvalue()
