"""As-found contact wear, worked out by hand."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
import pytest
from books import service_row
from outlook_dues import due

from tapwear.outlook.wear import Wear, wear_of

AS_OF = date(2026, 6, 30)


def between(since: Sequence[date], until: Sequence[date]) -> np.ndarray:
    """27.4 operations a day, known exactly: 10,000 in 365 days."""
    days = np.array([(b - a).days for a, b in zip(since, until, strict=True)], float)
    return np.repeat((days * 10_000 / 365)[:, None], 3, axis=1)


def wear(*rows: dict[str, object], **changed: Any) -> Wear:
    one = due(
        interval_operations=changed.pop("interval", 20_000),
        last_service_on=changed.pop("last", date(2024, 1, 2)),
        **changed,
    )
    found = wear_of(pd.DataFrame(list(rows)), [one], between, AS_OF)
    assert found is not None
    return found


def found(day: str, left: float, limit: float = 4.0, *, replaced: bool = False) -> dict[str, object]:
    resets = ("contact service", "contact replacement") if replaced else ("contact service",)
    return service_row("T1", day, contact_left_mm=left, condemning_limit_mm=limit, resets=resets)


# 2 mm in 1,461 days, that is in 40,027 operations: 0.05 mm per 1,000.
FIRST, SECOND = found("2020-01-02", 9.0), found("2024-01-02", 7.0)


def test_two_measurements_on_one_set_of_contacts_give_the_wear_with_its_range() -> None:
    told = wear(FIRST, SECOND)
    assert told.per_thousand is not None
    # Two measurements of 0.2 mm each: 0.283 mm, times 1.28 is 0.362 mm in 40,027 operations.
    assert told.per_thousand == pytest.approx((1.6375 / 40.027, 2 / 40.027, 2.3625 / 40.027), rel=1e-3)
    assert told.reach is not None
    assert told.reach[1] == pytest.approx(3.0 / 2 * 40_027, rel=1e-3)
    assert "from 2 measurements on 1 set of contacts" in told.words[1]


@pytest.mark.parametrize(
    ("interval", "verdict"),
    # From 7 mm the 3 mm above the limit last 50,800 to 73,300 operations.
    [(80_000, "long"), (60_000, "perhaps long"), (40_000, "fits"), (20_000, "short")],
)
def test_the_interval_is_held_against_what_the_contacts_last(interval: int, verdict: str) -> None:
    told = wear(FIRST, SECOND, interval=interval)
    assert told.verdict == verdict
    assert "tapwear unit change BRK-T1 --interval-operations N" in told.words[-1]


def test_operations_between_the_measurement_and_the_last_service_count() -> None:
    # Serviced again 730 days, 20,000 operations, later without a measurement: 20,000 + 40,000 may pass the limit.
    assert wear(FIRST, SECOND, interval=40_000, last=date(2026, 1, 1)).verdict == "perhaps long"


def test_new_contacts_part_the_sets_and_leave_only_the_wear_to_tell() -> None:
    told = wear(FIRST, found("2024-01-02", 7.0, replaced=True), found("2025-01-01", 9.5), found("2026-01-01", 9.0))
    assert told.sets == 2
    assert told.per_thousand is not None
    assert told.per_thousand[1] == pytest.approx(2.5 / 50.027, rel=1e-3)
    fresh = wear(FIRST, found("2024-01-02", 7.0, replaced=True))
    assert (fresh.reach, fresh.verdict) == (None, "unclear")
    assert "new contacts since then" in fresh.words[0]


def test_one_measurement_tells_no_wear_and_says_what_is_missing() -> None:
    told = wear(SECOND)
    assert (told.per_thousand, told.reach, told.verdict) == (None, None, "unclear")
    assert told.words == (
        "7 mm left on 2024-01-02, limit 4 mm.",
        "Wear per operation is not known: it takes a second measurement on the same set of contacts.",
    )


def test_contacts_that_seem_to_have_grown_wear_at_most_a_little() -> None:
    told = wear(found("2020-01-02", 7.0), found("2024-01-02", 7.1))
    assert told.per_thousand is not None
    assert told.per_thousand[:2] == (0.0, 0.0)
    assert told.reach is not None
    assert told.reach[0] == pytest.approx(3.1 / 0.2625 * 40_027, rel=1e-2)
    assert "without end" in told.words[2]


def test_nothing_measured_says_nothing() -> None:
    assert wear_of(pd.DataFrame([service_row("T1", "2024-01-02")]), [due()], between, AS_OF) is None


def test_a_measurement_dated_after_as_of_is_not_used() -> None:
    assert wear(FIRST, SECOND, found("2026-07-01", 1.0)).left_mm == 7.0


def test_without_a_condemning_limit_only_the_wear_is_said() -> None:
    told = wear(found("2020-01-02", 9.0, np.nan), found("2024-01-02", 7.0, np.nan))
    assert (told.reach, told.verdict) == (None, "unclear")
    assert "no condemning limit given" in told.words[0]
