"""A few damaged copies and cut connections each time; `python tests/trust/damage.py` and `cuts.py` try hundreds."""

from __future__ import annotations

import pytest
from cuts import main as cut
from damage import main as damage


@pytest.mark.slow
def test_damaged_copies_are_told_and_never_called_sound() -> None:
    became = damage(12, seed=7)
    assert became.total() == 12
    assert not [what for kind, what in became if "another answer" in what and kind != "bit flip"]


@pytest.mark.slow
def test_a_cut_connection_never_brings_a_false_word(empty_database: str) -> None:
    said = cut(empty_database.replace("+psycopg", ""), 8, seed=7)
    assert said["after the commit", "recorded"] == 2
    assert said["after the commit, and nobody answers then", "not known"] == 2


@pytest.mark.long
def test_three_hundred_damaged_copies() -> None:
    assert damage(300, seed=1).total() == 300


@pytest.mark.long
def test_two_hundred_cuts(empty_database: str) -> None:
    assert cut(empty_database.replace("+psycopg", ""), 200, seed=1).total() == 200
