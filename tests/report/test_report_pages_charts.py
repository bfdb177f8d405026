from __future__ import annotations

import xml.etree.ElementTree as ET
from datetime import date

import pytest
from due_examples import AS_OF

from tapwear.report.charts_svg import GasPanel, amount_ticks, bars_svg, count_svg, day_ticks, gas_svg
from tapwear.report.why_count import Drawn

DAYS = (date(2022, 1, 1), date(2023, 1, 1), date(2024, 1, 1), date(2025, 1, 1))


def drawn(limit: float | None = 5_000.0) -> Drawn:
    ahead = [date(2026, 6, 30), date(2026, 12, 30)]
    low, middle, high = [4e3, 4.4e3], [4e3, 4.6e3], [4e3, 4.8e3]
    return Drawn(DAYS[0], True, list(DAYS), [0.0, 1e3, 2e3, 3e3], ahead, low, middle, high, limit)


def count(**changed: str) -> str:
    due = (date(2026, 9, 1), date(2026, 11, 1))
    return count_svg(drawn(), AS_OF, **({"key": "a", "title": "T", "about": "A"} | changed), due=due)


def words(svg: str) -> list[str]:
    """Everything that the drawing says in letters. What is parsed is our own drawing."""
    tree = ET.fromstring(svg)  # noqa: S314
    return ["".join(one.itertext()).strip() for one in tree.iter() if one.tag.endswith("}text")]


def test_words_of_a_drawing_stay_words() -> None:
    said = words(count())
    assert "interval 5,000" in said
    assert "early 2026-09-01, late 2026-11-01" in said
    assert "as of 2026-06-30" in said


@pytest.mark.parametrize(
    ("early", "late"),
    [
        (date(2022, 3, 1), date(2022, 9, 1)),  # long ago: the words stand after it
        (date(2023, 1, 1), date(2025, 6, 1)),  # wide: they stand under it
        (date(2026, 9, 1), date(2026, 11, 1)),
        (date(2023, 11, 1), date(2023, 11, 1)),
    ],
)
def test_the_words_about_the_dates_stay_within_the_drawing(early: date, late: date) -> None:
    tree = ET.fromstring(count_svg(drawn(), AS_OF, key="a", title="T", about="A", due=(early, late)))  # noqa: S314
    width = float(tree.attrib["viewBox"].split()[2])
    texts = [one for one in tree.iter() if one.tag.endswith("}text")]
    (text,) = (one for one in texts if "".join(one.itertext()).strip().startswith("early"))
    x, at_end = float(text.attrib["x"]), "text-anchor: end" in text.attrib["style"]
    reach = 4.6 * len("".join(text.itertext()).strip())  # of letters of 9 points
    first = x - reach if at_end else x
    assert first > 0
    assert first + reach < width


def test_title_and_description_are_escaped() -> None:
    svg = count(title="<b>&", about="</desc><script>")
    assert "&lt;b&gt;&amp;" in svg
    assert "<script" not in svg
    ET.fromstring(svg)  # noqa: S314


def test_a_drawing_is_small_has_no_head_and_is_the_same_each_time() -> None:
    svg = count()
    assert svg.startswith("<svg ")
    assert len(svg) < 14_000
    assert "metadata" not in svg
    assert "DejaVu" not in svg
    assert "#" not in svg.replace("#a", "").replace("#111111", "").replace("#555555", "").replace(
        "#c8c8c8", ""
    ).replace("#d9d9d9", "").replace("#ffffff", "")
    assert count() == svg


def test_ids_carry_the_key_so_that_two_drawings_do_not_meet() -> None:
    ids = {key: {one for one in count(key=key).split('"') if one.startswith(key)} for key in ("xa", "xb")}
    assert ids["xa"]
    assert not ids["xa"] & ids["xb"]


def test_a_date_beyond_the_drawing_is_not_drawn() -> None:
    svg = count_svg(drawn(None), AS_OF, key="a", title="T", about="A", due=(date(2040, 1, 1), None))
    assert not any("early" in said or "interval" in said for said in words(svg))


def test_gases_have_a_panel_each_and_a_limit_where_one_is_set() -> None:
    panels = [
        GasPanel("acetylene [ppm]", DAYS, (0.5, 90.0, 20.0, 50.0), (True, False, False, False), 75.0),
        GasPanel("ethylene [ppm]", DAYS, (5.0, 9.0, 2.0, 4.0), (False,) * 4),
    ]
    said = words(gas_svg(panels, [date(2023, 6, 1)], AS_OF, key="g", title="T", about="A"))
    assert "acetylene [ppm]" in said
    assert "ethylene [ppm]" in said
    assert [one for one in said if one.startswith("limit")] == ["limit 75"]


def test_no_line_joins_samples_across_a_reset() -> None:
    def lines(resets: list[date]) -> int:
        panel = GasPanel("acetylene [ppm]", DAYS, (1.0, 2.0, 3.0, 4.0), (False,) * 4)
        return gas_svg([panel], resets, AS_OF, key="g", title="T", about="A").count("stroke-width: 1.1")

    assert lines([]) == 1
    assert lines([date(2023, 6, 1)]) == 2


def test_bars_say_their_counts() -> None:
    assert words(bars_svg(["overdue", "Q3"], [2, 0], key="b", title="T", about="A")) == ["overdue", "Q3", "2", "0"]


@pytest.mark.parametrize("top", [0.4, 1.0, 7.3, 99.0, 100.0, 81_200.0, 1_000_000.0])
def test_amounts_are_round_and_few(top: float) -> None:
    ticks = amount_ticks(top)
    assert ticks[0] == 0
    assert ticks[-1] <= top
    assert 2 <= len(ticks) <= 6


@pytest.mark.parametrize("years", [0.1, 1, 2, 4, 9, 20, 45])
def test_days_are_labelled_often_enough_and_not_too_often(years: float) -> None:
    first = date(2004, 3, 17)
    ticks = day_ticks(first, date.fromordinal(first.toordinal() + round(years * 365.25)))
    assert (years < 1) or 2 <= len(ticks) <= 8
    assert all(day.day == 1 for day, _ in ticks)
