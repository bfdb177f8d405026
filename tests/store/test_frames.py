"""Columns of a table read as one text each."""

import json

import numpy as np
import pytest

from tapwear.store.frames import _rare, _texts

LISTS = [
    [],
    ["", "", ""],
    ["a", "ab", "", "b", "a"],
    ["eight by", "eight byt", "eight by", "sixteen letters.", "sixteen letters, and more"],
    ["longer than what is told apart as numbers", "short"],
    ['said "so"', "back\\slash", "two\nlines"],
    ["é", "e", "°C", "€", "\u0000", ""],
]


@pytest.mark.parametrize("separators", [(",", ":"), (", ", ": ")])
@pytest.mark.parametrize("texts", LISTS)
def test_texts_come_back_as_they_were_written(texts, separators):
    assert list(_texts(json.dumps(texts, separators=separators, ensure_ascii=False), len(texts))) == texts


@pytest.mark.parametrize("texts", LISTS)
def test_rare_texts_stand_in_the_rows_that_have_them(texts):
    ids = np.arange(len(texts), dtype=np.int64)[::-1] + 7
    some = [row for row, text in enumerate(texts) if text]
    written = json.dumps([int(ids[row]) for row in some]), json.dumps([texts[row] for row in some])
    assert list(_rare(*written, ids)) == texts
