"""One cell at a time: what becomes a value, and what is said about a cell that does not."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapwear.errors import UsageError
from tapwear.visits.dates import strptime_pattern
from tapwear.visits.fields import TABLES, FieldSpec
from tapwear.visits.types import Below
from tapwear.visits.values import Unfit, in_kept_unit, parser_for, printable, show

COUNT = TABLES["readings"].field("value")
GAS = TABLES["samples"].field("acetylene_ul_per_l")
VOLUME = TABLES["units"].field("oil_volume_l")
TEMPERATURE = TABLES["samples"].field("oil_temp_c")
REMARK = TABLES["readings"].field("remark")
READ_ON = TABLES["readings"].field("read_on")


def refusal(spec: FieldSpec, text: str, **settings: object) -> Unfit:
    with pytest.raises(Unfit) as caught:
        parser_for(spec, **settings)(text)  # type: ignore[arg-type]
    return caught.value


@pytest.mark.parametrize(("text", "value"), [("12345", 12345), ("000123", 123), ("+7", 7), ("880.0", 880), ("0", 0)])
def test_counts_are_whole_numbers_as_people_and_spreadsheets_write_them(text: str, value: int) -> None:
    assert parser_for(COUNT)(text) == value


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("12x45", "not a whole number"),
        ("12.5", "not a whole number"),
        ("12.50", "not a whole number"),
        ("1e5", "not a whole number"),
        ("-5", "negative"),
        ("12,345", "separators of thousands"),
        ("12.345", "separators of thousands"),
        ("12 345", "separators of thousands"),
        ("12'345", "separators of thousands"),
        ("nan", "not a whole number"),
        ("1234567890", "lies above 999,999,999"),
        ("9" * 400, "has 400 digits"),
        ("١٢٣", "not a whole number"),
        ("=1+1", "not a whole number"),
    ],
)
def test_a_count_that_is_none_is_explained(text: str, said: str) -> None:
    assert said in refusal(COUNT, text).found


def test_a_decimal_comma_is_read_only_where_it_was_announced() -> None:
    spec = TABLES["units"].field("rated_current_a")
    assert parser_for(spec, decimal_comma=True)("12,5") == 12.5
    assert "decimal_comma = true" in refusal(spec, "12,5").remedy
    assert "has a point" in refusal(spec, "1.234", decimal_comma=True).found  # 1.234 or 1234: not to be guessed


@pytest.mark.parametrize("text", ["nan", "NaN", "inf", "-Infinity", "1e999", "n/a", "-", "1,234.5", "0x10", "1_000"])
def test_a_number_is_finite_and_written_in_digits(text: str) -> None:
    assert refusal(TABLES["units"].field("rated_current_a"), text).found


def test_a_gas_below_the_detection_limit_is_not_zero_and_not_the_limit() -> None:
    assert parser_for(GAS)("<0.5") == Below(0.5)
    assert parser_for(GAS)("< 2") == Below(2.0)
    assert parser_for(GAS, decimal_comma=True)("<0,5") == Below(0.5)
    assert parser_for(GAS)("0.5") == 0.5
    assert "no detection limit" in refusal(GAS, "<0").found
    assert "not a number" in refusal(GAS, "ND").found
    assert "not a number" in refusal(GAS, "<nan").found


def test_units_of_measure_become_ours_and_the_range_holds_for_what_is_kept() -> None:
    assert in_kept_unit(VOLUME, 100.0, "gal_us") == pytest.approx(378.5411784)
    assert in_kept_unit(TEMPERATURE, 212.0, "°F") == pytest.approx(100.0)
    assert in_kept_unit(GAS, Below(0.5), "ppm") == Below(0.5)
    with pytest.raises(Unfit, match=r"lies above 150"):
        in_kept_unit(TEMPERATURE, 400.0, "f")  # 204 °C
    with pytest.raises(Unfit, match="not known for gas"):
        in_kept_unit(GAS, 3.0, "µmol/mol")


def test_dates_are_iso_unless_a_format_is_stated_and_are_never_guessed() -> None:
    assert parser_for(READ_ON)("2024-02-29") == date(2024, 2, 29)
    assert parser_for(READ_ON)("2024-05-01 08:30:00") == date(2024, 5, 1)
    assert parser_for(READ_ON, date_format="DD/MM/YYYY")("03/04/2024") == date(2024, 4, 3)
    assert parser_for(READ_ON, date_format="MM/DD/YYYY")("03/04/2024") == date(2024, 3, 4)
    assert parser_for(READ_ON, date_format="%d.%m.%y")("3.4.24") == date(2024, 4, 3)
    assert parser_for(READ_ON, date_format="DD-MON-YYYY")("03-Apr-2024") == date(2024, 4, 3)
    assert "state the format" in refusal(READ_ON, "03/04/2024").remedy
    assert "not a date written as DD/MM/YYYY" in refusal(READ_ON, "2024-04-03", date_format="DD/MM/YYYY").found


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2023-02-29", "not a day of the calendar"),
        ("2023-13-01", "not a day of the calendar"),
        ("0024-05-01", "before 1900"),
        ("45123", "not a date"),
        ("20240501", "not a date"),
        ("2024-5-1", "not a date"),
        ("2024-W05-1", "not a date"),
    ],
)
def test_an_impossible_date_is_explained(text: str, said: str) -> None:
    assert said in refusal(READ_ON, text).found


@pytest.mark.parametrize("words", ["", "DD/MM", "YYYY-MM", "%d %H", "sometime", "%Q%d%m%Y", "DD/DD/YYYY"])
def test_a_date_format_needs_day_month_and_year(words: str) -> None:
    with pytest.raises(UsageError, match="A date format holds day, month and year"):
        strptime_pattern(words)


def test_choices_do_not_mind_capitals_blanks_and_underscores() -> None:
    kind = TABLES["events"].field("kind")
    assert parser_for(kind)("Counter replaced") == "counter_replaced"
    assert parser_for(TABLES["units"].field("state"))("IN_SERVICE") == "in service"
    assert "write one of: counter_replaced" in refusal(kind, "exploded").remedy


@pytest.mark.parametrize("text", ["=HYPERLINK(A1)", "+1 555", "-2+3", "@SUM(A1)", "- nothing seen"])
def test_text_that_a_spreadsheet_would_run_is_refused(text: str) -> None:
    assert "begins like a spreadsheet formula" in refusal(REMARK, text).found


def test_text_is_kept_in_one_form_and_invisible_characters_are_named() -> None:
    assert parser_for(REMARK)("two\nlines and\u00a0more") == "two lines and more"
    assert parser_for(REMARK)("Ka\u0308lte") == "Kälte"
    assert "\\u200b" in refusal(REMARK, "T\u200b1").found
    assert "\\x1b" in refusal(REMARK, "red \x1b[31m").found
    assert "2,001 characters" in refusal(REMARK, "x" * 2001).found


def test_lists_weeks_and_yes_or_no() -> None:
    drives = TABLES["units"].field("drives")
    assert parser_for(drives)("A; B;C;") == ("A", "B", "C")
    assert parser_for(drives)("A, B,C") == ("A", "B", "C")
    assert parser_for(drives)("A, left; A, right") == ("A, left", "A, right")
    assert "twice" in refusal(drives, "A;A").found
    assert parser_for(TABLES["crews"].field("week"))("2026-w53") == "2026-W53"
    assert "ISO week" in refusal(TABLES["crews"].field("week"), "2027-W53").found
    outage = TABLES["units"].field("sampling_needs_outage")
    assert [parser_for(outage)(word) for word in ("Yes", "n", "TRUE", "0")] == [True, False, True, False]
    assert "neither yes nor no" in refusal(outage, "maybe").found


def test_what_is_shown_of_a_cell_is_printable_and_short() -> None:
    assert printable("caf\udce9\x00") == "caf\\xe9\\x00"
    assert show("x" * 100) == "'" + "x" * 60 + "...'"


@given(st.text(max_size=40), st.sampled_from([field for table in TABLES.values() for field in table.fields]))
def test_no_text_whatsoever_does_more_than_give_a_value_or_a_complaint(text: str, spec: FieldSpec) -> None:
    text = text.strip()
    if not text:
        return
    said: object
    try:
        said = parser_for(spec)(text)
        if spec.measure:
            said = in_kept_unit(spec, said, "")  # type: ignore[arg-type]
    except Unfit as error:
        said = error.found and error.remedy
    assert said is not None
    assert said != ""
