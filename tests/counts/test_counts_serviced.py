"""Counters noted with services count as readings where it is clear of which drive they are."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest
from books import book, service_row, steady_readings, unit_row

from tapwear.counts.serviced import with_service_readings


def numbers(
    services: list[dict[str, Any]], readings: list[dict[str, Any]] | None = None, **unit: object
) -> list[tuple[str, str, int]]:
    """Day, drive and number of all readings of one unit, in order of days."""
    given = book([unit_row("A", **unit)], readings=readings or steady_readings("B", 1.0), services=services)
    made = with_service_readings(given.readings, given.services, given.units)
    mine = made[made["unit"] == "A"].sort_values("read_on")
    return [
        (str(day.date()), drive, int(value))
        for day, drive, value in zip(mine["read_on"], mine["drive"], mine["value"], strict=True)
    ]


def serviced(done_on: str, found: float, left: float = float("nan")) -> dict[str, Any]:
    return service_row("A", done_on, as_found_counter=found, as_left_counter=left)


def test_a_unit_that_was_never_read_goes_by_its_services() -> None:
    work = [serviced("2018-05-04", 40_120, 40_126), serviced("2024-05-04", 90_500)]
    assert numbers(work, only_drive="main") == [("2018-05-04", "main", 40_126), ("2024-05-04", "main", 90_500)]


@pytest.mark.parametrize(
    "unit",
    [
        pytest.param({"only_drive": ""}, id="several drives"),
        pytest.param({}, id="not known"),
        pytest.param({"only_drive": "main", "digits": 0}, id="no counter"),
    ],
)
def test_a_number_that_may_be_of_any_drive_is_left_aside(unit: dict[str, object]) -> None:
    assert numbers([serviced("2018-05-04", 40_120)], **unit) == []


def test_a_number_as_left_that_belongs_to_another_counter_is_left_aside() -> None:
    assert numbers([serviced("2018-05-04", 40_120, 3)], only_drive="main") == []


def test_a_reading_of_the_same_day_goes_before_the_number_of_the_service() -> None:
    read = steady_readings("A", 1.0, start="2026-01-01", every=100)
    services = [serviced("2026-01-01", 1_005), serviced("2026-02-01", 1_030)]
    assert numbers(services, read, only_drive="main") == [
        ("2026-01-01", "1", 1_000),
        ("2026-02-01", "1", 1_030),
        ("2026-04-11", "1", 1_100),
    ]


def test_what_is_typed_of_a_service_reading_is_blank_not_missing() -> None:
    work = [serviced("2018-05-04", 7)]
    given = book([unit_row("A", only_drive="1")], readings=steady_readings("B", 1.0), services=work)
    made = with_service_readings(given.readings.assign(remark="seen"), given.services, given.units)
    assert pd.Series(made.loc[made["unit"] == "A", "remark"]).tolist() == [""]
