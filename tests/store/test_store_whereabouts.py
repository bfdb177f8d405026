"""Positions of places and drives of units, day by day."""

from __future__ import annotations

from datetime import date

from tapwear.store.whereabouts import FittingRow, StayRow, drive_changes, first_days, spells

NAMES = {1: "NORTH//", 2: "SOUTH//"}


def test_whoever_takes_over_a_place_inherits_the_position_left_last() -> None:
    stays = [
        StayRow(1, "A", 1, None, "in service", None),
        StayRow(2, "B", 1, None, "in service", None),
        StayRow(3, "A", None, None, "retired", date(2020, 1, 1)),
        StayRow(4, "B", None, None, "workshop", date(2024, 6, 1)),
        StayRow(5, "C", 1, None, "in service", date(2024, 6, 1)),
    ]
    found = spells(stays, NAMES)
    assert [spell.place for spell in found["A"]] == ["NORTH//", "retired: A"]
    assert [spell.place for spell in found["B"]] == ["NORTH//#2", "workshop: B"]
    assert [spell.place for spell in found["C"]] == ["NORTH//#2"]


def test_a_unit_whose_transformer_changes_keeps_its_position_beside_a_free_one() -> None:
    stays = [
        StayRow(1, "A", 1, None, "in service", None),
        StayRow(2, "B", 1, 7, "in service", None),
        StayRow(3, "A", 2, None, "in service", date(2024, 6, 1)),
        StayRow(4, "B", 1, 8, "in service", date(2024, 6, 1)),
    ]
    assert [spell.place for spell in spells(stays, NAMES)["B"]] == ["NORTH//#2", "NORTH//#2"]


def test_a_stay_corrected_on_the_same_day_leaves_one_spell() -> None:
    stays = [
        StayRow(1, "A", 1, None, "in service", None),
        StayRow(2, "A", 2, None, "in service", date(2024, 6, 1)),
        StayRow(3, "A", 1, None, "spare", date(2024, 6, 1)),
    ]
    found = spells(stays, NAMES)["A"]
    assert [(spell.stay.id, spell.to_on) for spell in found] == [(1, date(2024, 6, 1)), (3, None)]


def test_as_of_a_day_later_stays_do_not_exist_but_no_unit_is_lost() -> None:
    stays = [
        StayRow(1, "A", 1, None, "in service", date(2020, 1, 1)),
        StayRow(2, "A", 2, None, "in service", date(2024, 1, 1)),
        StayRow(3, "B", 2, None, "in service", date(2023, 1, 1)),
    ]
    found = spells(stays, NAMES, as_of=date(2022, 1, 1))
    assert [(spell.place, spell.to_on) for spell in found["A"]] == [("NORTH//", None)]
    assert [spell.place for spell in found["B"]] == ["SOUTH//"]


def test_another_drive_on_a_unit_shows_with_the_last_and_the_first_count() -> None:
    fittings = [
        FittingRow(1, 10, "A", "1", None, None),
        FittingRow(2, 10, "", "1", date(2024, 6, 1), 98_765),
        FittingRow(3, 11, "A", "1", date(2024, 6, 2), 40),
    ]
    (change,) = drive_changes(fittings)
    assert (change.unit, change.slot, change.on) == ("A", "1", date(2024, 6, 2))
    assert (change.old_reading, change.new_reading) == (98_765, 40)


def test_a_drive_refitted_to_the_same_unit_is_no_exchange() -> None:
    fittings = [FittingRow(1, 10, "A", "1", None, None), FittingRow(2, 10, "A", "1", date(2024, 6, 1), 5)]
    assert drive_changes(fittings) == []


def test_a_drive_belongs_to_its_unit_until_the_day_on_which_it_is_taken_off() -> None:
    day = date(2024, 6, 1)
    off = FittingRow(2, 10, "", "1", day, None)
    first, on = FittingRow(1, 10, "A", "1", None, None), FittingRow(3, 10, "B", "1", day, None)
    assert first_days([first, off]) == [0, day.toordinal() + 1]
    assert first_days([first, on]) == [0, day.toordinal()]
    assert first_days([first, off, on]) == [0, day.toordinal(), day.toordinal()]  # the later row holds
    assert first_days([]) == []
