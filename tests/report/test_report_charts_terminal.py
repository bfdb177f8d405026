from __future__ import annotations

from datetime import date, timedelta

import pytest

from tapwear.report.charts_terminal import Canvas, acetylene_chart, count_chart

START = date(2020, 1, 1)


def days(count: int, step: int) -> list[date]:
    return [START + timedelta(days=step * i) for i in range(count)]


def test_a_rising_line_runs_from_the_lower_left_to_the_upper_right() -> None:
    canvas = Canvas(2, 2, (0.0, 1.0), (0.0, 1.0))
    canvas.line([0.0, 1.0], [0.0, 1.0])
    assert canvas.rows(ascii_only=True) == [" *", "* "]


def test_braille_dots_stand_where_the_point_is() -> None:
    canvas = Canvas(1, 1, (0.0, 1.0), (0.0, 3.0))
    canvas.line([0.0, 0.0], [0.0, 0.0])
    assert canvas.rows() == ["⡀"]


def test_points_outside_the_field_are_not_drawn() -> None:
    canvas = Canvas(4, 2, (0.0, 1.0), (0.0, 1.0))
    canvas.line([2.0, 3.0], [0.5, 0.5])
    canvas.letter(5.0, 0.5, "x")
    assert canvas.rows() == ["    ", "    "]


@pytest.mark.parametrize("width", [40, 76, 100])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_the_count_chart_keeps_its_width_and_names_interval_and_days(width: int, ascii_only: bool) -> None:
    as_of = date(2022, 1, 1)
    lines = count_chart(
        days(8, 100),
        [1_000.0 * i for i in range(8)],
        as_of=as_of,
        forecast_days=[as_of, date(2023, 6, 1)],
        low=[7_200.0, 11_000.0],
        middle=[7_300.0, 12_500.0],
        high=[7_400.0, 14_000.0],
        limit=10_000.0,
        limit_name="interval 10,000",
        width=width,
        ascii_only=ascii_only,
    )
    assert max(len(line) for line in lines) <= width
    assert len(lines) == 11
    assert lines[0].startswith("14,000 ")
    assert lines[-2].split()[0] == "0"
    assert any("interval 10,000" in line for line in lines)
    assert lines[-1].split()[0] == "2020-01-01"
    assert lines[-1].split()[-1] == "2023-06-01"
    assert all(line.isascii() for line in lines) is ascii_only


def test_the_as_of_day_is_marked_and_dated() -> None:
    lines = count_chart(
        days(8, 100), [1.0] * 8, as_of=date(2022, 1, 1), forecast_days=[date(2022, 1, 1), date(2024, 1, 1)],
        low=[1.0, 2.0], middle=[1.0, 3.0], high=[1.0, 4.0], width=80,
    )  # fmt: skip
    assert lines[-1].split() == ["2020-01-01", "2022-01-01", "2024-01-01"]
    assert any("┊" in line for line in lines)


def test_a_single_day_or_nothing_draws_nothing() -> None:
    assert count_chart([], [], as_of=START) == []
    assert count_chart([START], [5.0], as_of=START) == []
    assert acetylene_chart([], [], [], [], as_of=START) == []
    assert acetylene_chart([START], [0.0], [True], [], as_of=date(2021, 1, 1)) == []


def test_samples_below_the_limit_are_open_and_resets_stand_upright() -> None:
    lines = acetylene_chart(
        days(4, 200), [0.5, 40.0, 5.0, 30.0], [True, False, False, False], [date(2020, 10, 1)], as_of=date(2022, 1, 1)
    )
    text = "\n".join(line.split("│", 1)[1] for line in lines[:-1])
    assert (text.count("○"), text.count("●")) == (1, 3)
    assert text.count("│") >= 5


def test_no_line_joins_samples_across_a_reset() -> None:
    together = acetylene_chart(days(2, 200), [10.0, 10.0], [False] * 2, [], as_of=date(2021, 1, 1))
    apart = acetylene_chart(days(2, 200), [10.0, 10.0], [False] * 2, [date(2020, 4, 1)], as_of=date(2021, 1, 1))
    assert any("⠁" in line or "⠈" in line for line in together)
    assert not any("⠁" in line or "⠈" in line for line in apart)


def test_resets_before_the_first_sample_are_left_out() -> None:
    lines = acetylene_chart(days(3, 200), [1.0, 2.0, 3.0], [False] * 3, [date(2015, 1, 1)], as_of=date(2022, 1, 1))
    assert lines[-1].split()[0] == "2020-01-01"
