"""Every row of the book is found with who, when and why, in which unit's history, and what became of it."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
import sqlalchemy as sa
from sqlalchemy.engine import Connection
from sqlmodel import SQLModel

from tapwear.errors import UsageError
from tapwear.store import models
from tapwear.store.amending import amend_entry, given_of, withdraw_entry
from tapwear.store.conditions import add_condition, close_condition
from tapwear.store.counters import find_counter
from tapwear.store.deferrals import add_deferral
from tapwear.store.engine import Store
from tapwear.store.entries import add_event, add_reading, add_sample, add_service, withdraw
from tapwear.store.find import UnitKey, find_unit
from tapwear.store.lean import lean
from tapwear.store.recording import Stamp, record
from tapwear.store.register import add_unit, move_unit, swap_units
from tapwear.store.trail import TrailRow, book_tables, tag_of, trail_of
from tapwear.store.undoing import last_entry, undo
from tapwear.visits.types import Below

BEGIN = datetime(2026, 6, 1, 8, tzinfo=UTC)
DAY = date(2026, 6, 3)


class Book:
    """A store with unit T1 of six digits; every entry is an hour later than the one before."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.hours = 0
        with self.store.rows(writing=True) as connection:
            self.unit = add_unit(
                connection, {"unit": "T1", "station": "NORTH", "counter_digits": 6}, self.stamp("Robin")
            )

    def stamp(self, by: str = "Kim", reason: str = "") -> Stamp:
        self.hours += 1
        return Stamp(by, BEGIN + timedelta(hours=self.hours), reason)

    def reading(self, value: int, day: date = DAY, by: str = "Kim") -> None:
        with self.store.rows(writing=True) as connection:
            add_reading(connection, self.unit, {"value": value, "read_on": day}, self.stamp(by))

    def amend(self, row: TrailRow, by: str = "Kim", **changes: object) -> int:
        with self.store.rows(writing=True) as connection:
            return amend_entry(connection, self.unit, row, {**given_of(row), **changes}, self.stamp(by, "wrong"))

    def undo(self, by: str = "Kim") -> None:
        with self.store.rows(writing=True) as connection:
            undo(connection, last_entry(connection, by), self.stamp(by, "mistaken"))

    def trail(self, *kinds: str, unit: UnitKey | None = None) -> list[TrailRow]:
        with self.store.rows() as connection:
            return trail_of(connection, unit or self.unit, kinds)

    def standing(self, *kinds: str) -> list[TrailRow]:
        return [row for row in self.trail(*kinds) if row.stands]

    def values(self) -> list[int]:
        return [row.says["value"] for row in self.standing("reading")]


@pytest.fixture
def book(empty_store: Store) -> Book:
    return Book(empty_store)


# --- the trail ------------------------------------------------------------------------------------------------


def test_the_tables_of_the_book_are_those_whose_rows_are_entries(empty_store: Store) -> None:
    with empty_store.rows() as connection:
        found = book_tables(connection)
    entries = {
        table.name: {column.name for column in table.columns}
        for table in SQLModel.metadata.sorted_tables
        if {"uid", "supersedes_id", "withdrawn"} <= {column.name for column in table.columns}
    }
    assert {"reading", "event", "sample", "service", "condition", "stay", "observation"} <= set(found)
    assert set(found) == set(entries)
    carried = set(models.Entry.model_fields) | {"id", "supersedes_id"}
    assert {name: set(columns) for name, columns in found.items()} == {
        name: columns - carried for name, columns in entries.items()
    }


def test_a_corrected_reading_shows_with_what_replaced_it_and_why(book: Book) -> None:
    book.reading(500)
    book.amend(book.standing("reading")[0], by="Robin", value=600)
    first, second = book.trail("reading")
    assert (first.says["value"], first.recorded_by, first.replaced_by, first.stands) == (500, "Kim", second.id, False)
    assert (second.says["value"], second.recorded_by, second.reason) == (600, "Robin", "wrong")
    assert (second.supersedes_id, second.replaced_by, second.stands) == (first.id, None, True)
    assert first.name == f"reading {first.id} of 2026-06-03"
    assert first.says["drive"] == "1"


def test_readings_follow_the_drive_to_the_unit_on_which_it_was(book: Book) -> None:
    book.reading(500)
    with book.store.rows(writing=True) as connection:
        other = add_unit(connection, {"unit": "T2", "station": "NORTH", "counter_digits": 6}, book.stamp())
        fitting = lean("fitting", "drive_id", "tap_changer_id")
        drive = connection.execute(
            sa.select(fitting.c.drive_id).where(fitting.c.tap_changer_id == book.unit.id)
        ).scalar_one()
        fitted = {"drive_id": drive, "tap_changer_id": other.id, "slot": "B", "from_on": date(2026, 6, 5)}
        record(connection, "fitting", book.stamp(), **fitted)
        add_reading(connection, other, {"value": 510, "read_on": date(2026, 6, 9), "drive": "B"}, book.stamp())
        rows = trail_of(connection, other, ["reading"])
        assert [(row.says["value"], row.says["drive"]) for row in rows] == [(510, "B")]
        assert [tag_of(connection, row) for row in last_entry(connection, "Kim").rows] == ["T2"]
    assert book.values() == [500]


# --- correcting -----------------------------------------------------------------------------------------------


def test_every_kind_of_row_is_corrected_keeping_what_is_not_said(book: Book) -> None:
    with book.store.rows(writing=True) as connection:
        stamp = book.stamp()
        gases = {"acetylene_ul_per_l": 120.0, "hydrogen_ul_per_l": Below(5.0)}
        add_sample(connection, book.unit, {"sampled_on": DAY, "laboratory": "East", **gases}, stamp)
        add_service(connection, book.unit, {"done_on": DAY, "work": "overhaul", "resets": ("none",)}, stamp)
        add_condition(connection, book.unit, {"noted_on": DAY, "kind": "infrared", "words": "warm"}, stamp)
        add_event(connection, book.unit, {"happened_on": DAY, "kind": "inspection"}, stamp)
        add_deferral(
            connection, book.unit, task="contact service", decided_on=DAY, expires_on=date(2027, 1, 1),
            engineer="Sam", reason="new unit comes", extra_checks="sample each month", stamp=stamp,
        )  # fmt: skip
    by_kind = {row.kind: row for row in book.standing()}
    book.amend(by_kind["sample"], acetylene_ul_per_l=130.0)
    book.amend(by_kind["service"], witness="Ann")
    book.amend(by_kind["condition"], severe=True)
    book.amend(by_kind["event"], remark="seen")
    book.amend(by_kind["deferral"], expires_on=date(2026, 12, 1))
    now = {row.kind: row.says for row in book.standing()}
    assert (now["sample"]["acetylene_ul_per_l"], now["sample"]["laboratory"]) == (130.0, "East")
    assert (now["sample"]["hydrogen_ul_per_l"], now["sample"]["hydrogen_below"]) == (5.0, True)
    assert (now["service"]["witness"], now["service"]["resets"]) == ("Ann", "none")
    assert (now["condition"]["severe"], now["condition"]["words"]) == (True, "warm")
    assert now["event"]["remark"] == "seen"
    assert (now["deferral"]["expires_on"], now["deferral"]["engineer"]) == (date(2026, 12, 1), "Sam")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"value": 1_234_567}, "more digits than the counter"),
        ({"read_on": date(2026, 6, 10)}, "about the same thing"),
        ({"value": -3}, "is negative"),
    ],
)
def test_a_correction_that_cannot_be_is_refused_and_changes_nothing(
    book: Book, changes: dict[str, object], said: str
) -> None:
    book.reading(500)
    book.reading(510, date(2026, 6, 10))
    with pytest.raises(UsageError, match=said):
        book.amend(book.standing("reading")[0], **changes)
    assert book.values() == [500, 510]


def test_a_row_corrected_meanwhile_is_not_corrected_again_from_its_old_state(book: Book) -> None:
    book.reading(500)
    old = book.standing("reading")[0]
    book.amend(old, value=600)
    with pytest.raises(UsageError, match="does not stand any more"):
        book.amend(old, value=700)


def test_a_stay_keeps_its_place_between_the_others(book: Book) -> None:
    for day in (date(2026, 3, 1), date(2026, 5, 1)):
        with book.store.rows(writing=True) as connection:
            move_unit(connection, "T1", day, book.stamp(), state="workshop" if day.month == 3 else "spare")
    middle = next(row for row in book.standing("stay") if row.day == date(2026, 3, 1))
    with pytest.raises(UsageError, match="lies between"):
        book.amend(middle, from_on=date(2026, 5, 2))
    book.amend(middle, from_on=date(2026, 4, 1))
    assert [row.day for row in book.standing("stay")] == [None, date(2026, 5, 1), date(2026, 4, 1)]


# --- undoing --------------------------------------------------------------------------------------------------


def test_undo_takes_the_last_entry_of_that_person_back_one_after_the_other(book: Book) -> None:
    book.reading(500, date(2026, 6, 1))
    book.reading(510, date(2026, 6, 2))
    book.reading(520, date(2026, 6, 3), by="Ann")
    book.undo()
    assert book.values() == [500, 520]
    book.undo()
    assert book.values() == [520]
    with pytest.raises(UsageError, match="no entry by Kim"):
        book.undo()
    last = book.trail("reading")[-1]
    assert (last.withdrawn, last.recorded_by, last.reason) == (True, "Kim", "undone: mistaken")


def test_undoing_a_correction_brings_back_what_it_corrected_and_a_second_undo_that_too(book: Book) -> None:
    book.reading(500)
    book.amend(book.standing("reading")[0], value=600)
    book.undo()
    assert book.values() == [500]
    book.undo()
    assert book.values() == []


def test_undoing_a_withdrawal_puts_the_row_into_force_again(book: Book) -> None:
    book.reading(500)
    with book.store.rows(writing=True) as connection:
        withdraw_entry(connection, book.standing("reading")[0], book.stamp(reason="other unit"))
    assert book.values() == []
    book.undo()
    assert book.values() == [500]


def test_undoing_a_closed_condition_opens_it_again(book: Book) -> None:
    with book.store.rows(writing=True) as connection:
        add_condition(connection, book.unit, {"noted_on": DAY, "kind": "infrared", "words": "warm"}, book.stamp("Ann"))
        close_condition(connection, book.unit, "infrared", DAY, "set right", book.stamp())
    book.undo()
    assert [row.says["closed_on"] for row in book.standing("condition")] == [None]


def test_rows_recorded_together_are_taken_back_together(book: Book) -> None:
    with book.store.rows(writing=True) as connection:
        stamp = book.stamp()
        add_service(connection, book.unit, {"done_on": DAY, "work": "overhaul", "as_found_counter": 500}, stamp)
        add_reading(connection, book.unit, {"value": 500, "read_on": DAY}, stamp)
    book.undo()
    assert book.standing("reading", "service") == []


def test_an_entry_that_another_person_corrected_since_is_not_undone(book: Book) -> None:
    book.reading(500)
    book.amend(book.standing("reading")[0], by="Ann", value=600)
    with pytest.raises(UsageError, match="was corrected since, by Ann"):
        book.undo()
    assert book.values() == [600]


def test_an_import_is_not_undone_as_a_whole(book: Book) -> None:
    with book.store.rows(writing=True) as connection:
        run = connection.exec_driver_sql(
            "INSERT INTO import_run (recorded_at, recorded_by, what, rows_stored, rows_known, rows_in_findings) "
            "VALUES ('2026-06-01 08:00:00', 'Kim', 'x', 0, 0, 0) RETURNING id"
        ).scalar_one()
        stamp = Stamp("Kim", BEGIN + timedelta(days=1), "", run)
        add_reading(connection, book.unit, {"value": 500, "read_on": DAY}, stamp)
    with pytest.raises(UsageError, match="was an import of 1 rows"):
        book.undo()


def test_a_replaced_counter_is_not_taken_back_under_its_readings(book: Book) -> None:
    book.reading(900_000, date(2026, 6, 1), by="Ann")
    exchange = {"happened_on": date(2026, 6, 2), "kind": "counter_replaced", "old_reading": 900_010, "new_reading": 0}
    with book.store.rows(writing=True) as connection:
        add_event(connection, book.unit, exchange, book.stamp(), digits=5)
    book.reading(12, date(2026, 6, 9), by="Ann")
    with pytest.raises(UsageError, match="a reading recorded since rests on it"):
        book.undo()
    event = book.standing("event")[0]
    with book.store.rows(writing=True) as connection, pytest.raises(UsageError, match="rests on it"):
        withdraw_entry(connection, event, book.stamp())
    book.undo(by="Ann")
    book.undo()
    assert book.standing("event") == []


def test_a_counter_of_another_length_that_nobody_read_goes_with_its_exchange(book: Book) -> None:
    book.reading(900_000, date(2026, 6, 1), by="Ann")
    with book.store.rows(writing=True) as connection:
        exchange = {"happened_on": date(2026, 6, 2), "kind": "counter_replaced"}
        add_event(connection, book.unit, exchange, book.stamp(), digits=5)
        assert _digits(connection) == 5
    book.undo()
    with book.store.rows() as connection:
        assert _digits(connection) == 6


def _digits(connection: Connection) -> int | None:
    counter = find_counter(connection, find_unit(connection, "T1"), "1", "mechanical", date(2026, 6, 20))
    return counter.digits if counter else None


def test_a_unit_that_was_added_is_not_taken_back_and_a_move_only_before_the_next(book: Book) -> None:
    with pytest.raises(UsageError, match="the only stay of the unit"):
        book.undo(by="Robin")
    with book.store.rows(writing=True) as connection:
        move_unit(connection, "T1", date(2026, 5, 1), book.stamp(), state="workshop")
        move_unit(connection, "T1", date(2026, 5, 9), book.stamp("Ann"), state="spare")
    with pytest.raises(UsageError, match="a later move from 2026-05-09 rests on it"):
        book.undo()
    book.undo(by="Ann")
    book.undo()
    assert [row.says["state"] for row in book.standing("stay")] == ["in service"]


def test_a_swap_is_taken_back_for_both_units(book: Book) -> None:
    with book.store.rows(writing=True) as connection:
        spare = {"unit": "SP", "station": "NORTH", "counter_digits": 6, "state": "spare"}
        add_unit(connection, spare, book.stamp("Robin"))
        swap_units(connection, "T1", "SP", date(2026, 5, 1), book.stamp(), state="workshop")
    book.undo()
    with book.store.rows() as connection:
        states = {
            tag: [row.says["state"] for row in trail_of(connection, find_unit(connection, tag), ["stay"]) if row.stands]
            for tag in ("T1", "SP")
        }
    assert states == {"T1": ["in service"], "SP": ["spare"]}


def test_what_was_withdrawn_by_hand_is_not_undone_a_second_time(book: Book) -> None:
    book.reading(500)
    with book.store.rows(writing=True) as connection:
        withdraw(connection, "reading", book.standing("reading")[0].id, book.stamp("Ann"))
    with pytest.raises(UsageError, match="was withdrawn since, by Ann"):
        book.undo()


def test_words_like_those_of_an_undo_are_only_words(book: Book) -> None:
    book.reading(500)
    with book.store.rows(writing=True) as connection:
        other = add_unit(connection, {"unit": "T2", "station": "NORTH", "counter_digits": 6}, book.stamp("Robin"))
        add_reading(connection, other, {"value": 700, "read_on": DAY}, book.stamp())
    (row,) = book.trail("reading", unit=other)
    with book.store.rows(writing=True) as connection:
        stamp = book.stamp(reason="undone: the book was wrong")
        amend_entry(connection, other, row, {**given_of(row), "value": 710}, stamp)
    book.undo()
    assert book.values() == [500]
    assert [one.says["value"] for one in book.trail("reading", unit=other) if one.stands] == [700]


def test_an_entry_under_a_clock_that_ran_ahead_is_the_last_only_until_the_next(book: Book) -> None:
    book.reading(500, date(2026, 6, 1))
    book.hours += 20_000
    book.reading(510, date(2026, 6, 2))
    book.hours -= 20_000
    book.reading(520, date(2026, 6, 3))
    assert [row.says["value"] for row in book.trail("reading")] == [500, 510, 520]
    book.undo()
    assert book.values() == [500, 510]
    book.undo()
    assert book.values() == [500]


def test_a_move_recorded_under_a_clock_that_ran_ahead_does_not_hide_what_rests_on_it(book: Book) -> None:
    book.hours += 20_000
    with book.store.rows(writing=True) as connection:
        move_unit(connection, "T1", date(2026, 5, 1), book.stamp(), state="workshop")
    book.hours -= 20_000
    with book.store.rows(writing=True) as connection:
        move_unit(connection, "T1", date(2026, 5, 9), book.stamp("Ann"), state="spare")
    with pytest.raises(UsageError, match="a later move from 2026-05-09 rests on it"):
        book.undo()
