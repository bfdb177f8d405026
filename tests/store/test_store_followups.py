"""Follow-ups in the book: put down, closed, opened again; what observations show is closed by a row of its own."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from tapwear.errors import UsageError
from tapwear.store.engine import Store
from tapwear.store.find import find_unit
from tapwear.store.followups import add_followup, close_followup, list_followups, reopen_followup
from tapwear.store.loading import load_book
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit

NOW = datetime(2026, 11, 2, 9, tzinfo=UTC)
STAMP = Stamp("Robin", NOW)
DAY = date(2026, 6, 3)


@pytest.fixture
def store(empty_store: Store) -> Store:
    with empty_store.rows(writing=True) as connection:
        add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 5}, STAMP)
    return empty_store


def put(store: Store, words: str, kind: str = "other") -> int | None:
    with store.rows(writing=True) as connection:
        return add_followup(connection, find_unit(connection, "T1"), kind, words, DAY, STAMP)


def close(store: Store, **changes: Any) -> None:
    about: dict[str, Any] = {"kind": "other", "compartment": "", "place": "", "first_on": DAY, "words": "lock stiff"}
    about |= {"origin": "hand", "on": date(2026, 7, 1), "how": "oiled", "stamp": STAMP} | changes
    with store.rows(writing=True) as connection:
        close_followup(connection, find_unit(connection, "T1"), **about)


def rows(store: Store) -> list[tuple[str, str, date | None, str]]:
    with store.rows() as connection:
        return [(row.words, row.origin, row.closed_on, row.closed_words) for row in list_followups(connection)]


def test_the_same_put_down_twice_stands_there_once(store: Store) -> None:
    assert put(store, "lock  stiff") is not None
    assert put(store, "lock stiff") is None
    assert rows(store) == [("lock stiff", "hand", None, "")]


def test_without_words_a_kind_or_how_it_was_settled_nothing_is_recorded(store: Store) -> None:
    with pytest.raises(UsageError, match="Say it in a sentence"):
        put(store, "  ")
    with pytest.raises(UsageError, match="they are seepage"):
        put(store, "odd", kind="odd")
    put(store, "lock stiff")
    with pytest.raises(UsageError, match="How was it settled"):
        close(store, how=" ")
    with pytest.raises(UsageError, match="not open any more"):
        close(store, words="another")
    assert rows(store) == [("lock stiff", "hand", None, "")]


def test_one_by_hand_is_closed_by_a_row_that_supersedes_and_opened_again_by_another(store: Store) -> None:
    put(store, "lock stiff")
    close(store)
    assert rows(store) == [("lock stiff", "hand", date(2026, 7, 1), "oiled")]
    with store.rows(writing=True) as connection:
        key = find_unit(connection, "T1")
        again = reopen_followup(connection, key, "other", "LOCK", Stamp("Kim", NOW, "stiff again"))
        assert again.closed_words == "oiled"
        with pytest.raises(UsageError, match="no closed follow-up other that says lock"):
            reopen_followup(connection, key, "other", "lock", STAMP)
    assert rows(store) == [("lock stiff", "hand", None, "")]


def test_what_observations_show_is_closed_by_a_row_of_its_own_of_which_there_may_be_several(store: Store) -> None:
    about = {"kind": "seepage", "place": "drain valve", "words": "drain valve", "origin": "observation"}
    close(store, **about)
    close(store, **about, on=date(2026, 9, 1), how="gasket renewed")
    frame = load_book(store).followups
    assert list(frame["closed_words"]) == ["oiled", "gasket renewed"]
    assert list(frame["place"]) == ["drain valve"] * 2
    before = load_book(store, as_of=date(2026, 8, 1)).followups
    assert list(before["closed_on"].notna()) == [True, False]
    with store.rows(writing=True) as connection:
        reopen_followup(connection, find_unit(connection, "T1"), "seepage", "", STAMP)
    assert list(load_book(store).followups["closed_on"].notna()) == [True, False]
