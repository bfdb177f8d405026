"""The chart of gases over time."""

from __future__ import annotations

from datetime import date

from tapwear.report.charts_gas import GasLine, gas_chart, share_a_scale

DAYS = tuple(date(2020 + i, 1, 1) for i in range(6))
ACETYLENE = GasLine("acetylene", DAYS, (0.5, 10.0, 20.0, 30.0, 40.0, 50.0), (True, *[False] * 5))
ETHYLENE = GasLine("ethylene", DAYS, (5.0, 6.0, 7.0, 8.0, 9.0, 10.0), (False,) * 6)


def test_each_gas_has_its_sign_and_values_below_the_limit_another() -> None:
    lines = gas_chart([ACETYLENE, ETHYLENE], as_of=date(2025, 6, 1))
    chart = "\n".join(lines[:-1])
    assert chart.count("●") == 5
    assert chart.count("○") == 1
    assert "◆" in chart
    assert lines[-1] == "● acetylene   ○ below limit   ◆ ethylene"


def test_letters_stand_in_for_signs_where_the_screen_has_none() -> None:
    lines = gas_chart(
        [ACETYLENE, ETHYLENE],
        as_of=date(2025, 6, 1),
        renewed=[date(2022, 6, 1)],
        laboratory_changed=[date(2023, 6, 1)],
        ascii_only=True,
    )
    assert "\n".join(lines).isascii()
    assert lines[-1].endswith("| oil renewed   : other laboratory")


def test_no_line_joins_samples_across_renewed_oil() -> None:
    two = GasLine("acetylene", (date(2020, 1, 1), date(2025, 1, 1)), (50.0, 50.0), (False, False))
    joined = gas_chart([two], as_of=date(2025, 1, 1))[:-1]
    parted = gas_chart([two], as_of=date(2025, 1, 1), renewed=[date(2022, 6, 1)])[:-1]
    dots = [sum(0x2800 < ord(sign) < 0x2900 for line in lines for sign in line) for lines in (joined, parted)]
    assert dots[0] > 20
    assert dots[1] == 0


def test_a_limit_is_drawn_with_its_name_and_lies_within_the_chart() -> None:
    lines = gas_chart([ACETYLENE], as_of=date(2025, 6, 1), limits=[(100.0, "limit of acetylene")])
    assert lines[0].startswith("100 │─ limit of acetylene ───")


def test_nothing_is_drawn_without_two_days_or_without_gas() -> None:
    assert gas_chart([], as_of=date(2025, 1, 1)) == []
    assert gas_chart([GasLine("acetylene", DAYS[:1], (5.0,), (False,))], as_of=DAYS[0]) == []
    assert gas_chart([GasLine("acetylene", DAYS, (0.0,) * 6, (False,) * 6)], as_of=date(2025, 1, 1)) == []


def test_no_line_is_wider_than_asked_for() -> None:
    lines = gas_chart([ACETYLENE, ETHYLENE], as_of=date(2025, 6, 1), renewed=[date(2022, 6, 1)], width=60)
    assert max(map(len, lines)) <= 60


def test_gases_far_apart_do_not_share_a_scale() -> None:
    assert share_a_scale(ACETYLENE, ETHYLENE)
    assert not share_a_scale(ACETYLENE, GasLine("ethylene", DAYS, (2.0,) * 6, (False,) * 6))
