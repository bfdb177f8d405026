"""What people typed comes out safe: JSON that reads back unchanged and drives no terminal, cells that never run."""

from __future__ import annotations

import json

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tapwear.report.due_data import FORMULA, csv_cell
from tapwear.report.plain import _UNSAFE, json_text


@given(content=st.dictionaries(st.text(), st.lists(st.text() | st.integers() | st.none())))
@example(content={"\x7f\x9b": ["\u202e\u2066", "\u2028", "\x1b[31m", "\\u001b", "\n"]})
def test_json_reads_back_unchanged_and_holds_nothing_that_a_terminal_obeys(content: dict[str, list[object]]) -> None:
    text = json_text(content)
    assert json.loads(text) == content
    assert not _UNSAFE.search(text.replace("\n", ""))


def test_json_refuses_what_is_no_number() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_text({"x": float("nan")})


@given(text=st.text())
@example(text="=1")
@example(text="'=1")
@example(text="\t'' @x")
@example(text="'plain")
def test_a_text_cell_never_runs_and_gives_back_what_it_was(text: str) -> None:
    cell = csv_cell(text)
    assert isinstance(cell, str)
    assert cell.lstrip()[:1] not in FORMULA
    begins = cell.lstrip("'" + " \t\n\r\x0b\x0c")[:1] in FORMULA
    assert (cell[1:] if begins else cell) == text
