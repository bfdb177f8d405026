"""The guided service: the right unit first, what restarts shown before anything is stored, a draft until then."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cli.visit_store import guided, in_one_line, make_store, own_copy

from tapwear.cli import visit_asking
from tapwear.cli.visit_draft import ServiceDraft, draft_path, load_draft
from tapwear.store.engine import open_store

# Answers in the order of the questions for an overhaul of T1.
UNIT = ["", "s1042", "over"]
COUNTER = ["11110", "6", "11116"]
PEOPLE = ["", "Lee"]
CONTACTS = ["3.2", "2.5", "carbon on phase B"]
WHOLE = [*UNIT, *COUNTER, *PEOPLE, *CONTACTS, "", "y"]


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_store(tmp_path_factory.mktemp("service"))


@pytest.fixture
def db(template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return own_copy(template, tmp_path, monkeypatch)


def service(db: Path, *words: str, typed: list[str] | None = None, code: int = 0) -> str:
    return in_one_line(guided("service", *words, typed=typed), code)


def stored(db: Path) -> list[dict[str, Any]]:
    store = open_store(db)
    with store.rows() as connection:
        rows = connection.exec_driver_sql(
            "SELECT done_on, work, as_found_counter, as_left_counter, contact_left_mm, done_by, witness, remark "
            "FROM service ORDER BY id"
        )
        found = [dict(row) for row in rows.mappings()]
    store.close()
    return found


def draft_of(db: Path) -> Path:
    return draft_path(db.parent, db.name, "T1", ServiceDraft)


def test_work_typed_in_is_shown_with_its_intervals_and_then_stored(db: Path) -> None:
    text = service(db, "T1", typed=WHOLE)
    (row,) = stored(db)
    assert row == {
        "done_on": "2026-11-01", "work": "overhaul", "as_found_counter": 11_110, "as_left_counter": 11_116,
        "contact_left_mm": 3.2, "done_by": "Kim", "witness": "Lee",
        "remark": "carbon on phase B; 6 operations by hand between the counter as found and as left",
    }  # fmt: skip
    shown = text.index("Work on T1, NORTH, bank B1: overhaul on 2026-11-01")
    for words in (
        "serial number s1042", "done by Kim, witnessed by Lee",
        "counter as found 11110, 6 operations by hand, as left 11116", "contacts: 3.2 mm left, condemning limit 2.5 mm",
        "Interval restarts: contact service", "Record this work",
    ):  # fmt: skip
        assert shown < text.index(words, shown) < text.index("Stored:")
    assert text.index("Day on which the work was finished") < text.index("Serial number on the nameplate")
    assert not draft_of(db).exists()


def test_another_serial_number_is_told_at_once_and_loses_nothing(db: Path) -> None:
    text = service(db, "T1", typed=["", "S-9020", "", *WHOLE[1:]])
    assert "That is T2: you seem to stand before it (tapwear service T2)" in text
    assert text.index("That is T2") < text.index("What was done")
    assert len(stored(db)) == 1
    assert "it is another unit" in service(db, "T1", typed=["", "S-9020", "n"], code=2)
    assert not draft_of(db).exists()


def test_nothing_is_stored_before_the_yes_and_no_keeps_the_draft(db: Path) -> None:
    text = service(db, "T1", typed=[*WHOLE[:-1], "n"], code=130)
    assert "nothing is in the store yet. 12 answers are kept" in text
    assert stored(db) == []
    draft = load_draft(draft_of(db), "T1", ServiceDraft)
    assert draft is not None
    assert draft.values["as_left_counter"] == 11_116
    assert "was left unfinished after 12 answers" in service(db, "T1", typed=WHOLE, code=2)
    assert "Going on with the service of 2026-11-01 by Kim" in service(db, "T1", "--resume", typed=["y"])
    assert len(stored(db)) == 1
    assert not draft_of(db).exists()


class _Stopping:
    """A console with typed answers, and Ctrl-C when they are used up."""

    def __init__(self, answers: list[str]) -> None:
        self.answers: Iterator[str] = iter(answers)

    def input(self, prompt: object) -> str:
        try:
            return next(self.answers)
        except StopIteration:
            raise KeyboardInterrupt from None


@pytest.mark.parametrize("at", range(1, len(WHOLE)))
def test_stopped_at_any_question_the_work_goes_on_where_it_was(
    db: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    monkeypatch.setattr(visit_asking.Asking, "console", _Stopping(WHOLE[:at]))
    service(db, "T1", typed=[], code=130)
    assert stored(db) == []
    monkeypatch.setattr(visit_asking.Asking, "console", _Stopping(WHOLE[at:]))
    service(db, "T1", "--resume", typed=[])
    assert [row["as_left_counter"] for row in stored(db)] == [11_116]


def test_what_was_given_as_an_option_is_not_asked(db: Path) -> None:
    words = ["--on", "2026-10-30", "--serial", "S-1042", "--work", "overhaul", "--as-found", "11110", "--by", "Ann"]
    words += ["--as-left", "11116", "--witness", "Lee", "--wear-left-mm", "3", "--condemning-mm", "2", "--remark", "ok"]
    text = service(db, "T1", *words, "--resets", "none", typed=["", "y"])
    assert "Operations by hand crank" in text
    for question in ("Day on which", "Serial number on the nameplate", "What was done", "Counter as found", "Findings"):
        assert f"{question} (" not in text
    assert stored(db)[0]["done_by"] == "Ann"


def test_less_than_sign_goes_back_to_the_question_before(db: Path) -> None:
    typed = [*UNIT, "11110", "6", "<", "8", "11118", *PEOPLE, *CONTACTS, "", "y"]
    service(db, "T1", typed=typed)
    assert stored(db)[0]["remark"].endswith("8 operations by hand between the counter as found and as left")


def test_the_counter_as_left_is_held_against_what_was_cranked_by_hand(db: Path) -> None:
    few = service(db, "T1", typed=[*UNIT, "11110", "20", "11116", "n", "11130", *PEOPLE, *CONTACTS, "", "y"])
    assert "6 operations from as found to as left, where 20 were made by hand" in few
    assert stored(db)[0]["as_left_counter"] == 11_130
    many = service(db, "T1", "--work", "repair", typed=["", "S-1042", "11110", "", "15000", "<"], code=130)
    assert "3890 operations from as found to as left are many for one piece of work" in many


def test_a_counter_that_fell_is_read_again_unless_it_was_set_back(db: Path) -> None:
    typed = [*UNIT, "11110", "", "11011", "n", "11116", *PEOPLE, *CONTACTS, "", "y"]
    assert "Was it set back or replaced" in service(db, "T1", typed=typed)
    assert stored(db)[0]["as_left_counter"] == 11_116


def test_work_of_the_same_kind_within_two_weeks_is_asked_about(db: Path) -> None:
    service(db, "T1", "--work", "overhaul", "--on", "2026-10-29", "--by", "Ann")
    same = service(db, "T1", typed=[*UNIT, "y"], code=2)
    assert "Is it the same work as the overhaul of 2026-10-29 by Ann" in same
    assert "tapwear service T1 --work overhaul --on 2026-10-29 --replace --because REASON" in same
    assert len(stored(db)) == 1
    service(db, "T1", typed=[*UNIT, "n", *WHOLE[3:]])
    assert len(stored(db)) == 2
    for day, work in (("2026-10-14", "overhaul"), ("2026-11-01", "inspection")):  # too long ago, or other work
        asked = service(db, "T1", "--anew", "--on", day, "--work", work, typed=["S-1042"], code=130)
        assert "What was done" not in asked
        assert "same work" not in asked


def test_without_questions_a_second_overhaul_is_recorded_only_where_somebody_is_sure(db: Path) -> None:
    service(db, "T1", "--work", "overhaul", "--on", "2026-10-29")
    again = ("T1", "--work", "overhaul", "--on", "2026-11-01", "--as-found", "11110", "--as-left", "19000")
    assert "T1 was overhauled on 2026-10-29, too" in service(db, *again, code=3)
    assert len(stored(db)) == 1
    service(db, *again, "--sure", "gasket leaked")
    assert len(stored(db)) == 2
    assert not draft_of(db).exists()


def test_a_witness_is_another_person(db: Path) -> None:
    text = service(db, "T1", typed=[*UNIT, *COUNTER, "Ann", "ann", "Lee", *CONTACTS, "", "y"])
    assert "The witness is a second person" in text
    assert (stored(db)[0]["done_by"], stored(db)[0]["witness"]) == ("Ann", "Lee")


def test_a_drive_is_asked_for_only_where_there_are_several(db: Path) -> None:
    typed = ["", "", "over", "D", "b", "40", "", "", "", "", "", "", "", "", "y"]
    text = service(db, "T3", typed=typed)
    assert "T3 has drives A, B, C." in text
    assert "counter of drive B as found 40" in text
    assert stored(db)[0]["as_found_counter"] == 40
