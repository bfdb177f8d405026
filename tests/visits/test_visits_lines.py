"""Records with their true line numbers, whatever is wrong with the lines around them."""

from __future__ import annotations

import io
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from tapwear.visits.lines import LONGEST_LINE, Record, declared_encoding, numbered, open_text, records


def read(text: str, width: int = 4, delimiter: str = ",", encoding: str = "utf-8") -> list[Record]:
    return list(records(numbered(io.StringIO(text)), delimiter, width, encoding))


def test_blank_lines_are_passed_over_and_still_counted() -> None:
    found = read("a,b,c,d\n\n , , ,\ne,f,g,h\n")
    assert [(record.line, record.cells) for record in found] == [(1, ["a", "b", "c", "d"]), (4, ["e", "f", "g", "h"])]


def test_a_quote_that_is_never_closed_costs_its_own_line_only() -> None:
    found = read('a,b,c,"d\ne,f,g,h\ni,j,k,l\n')
    assert [record.line for record in found] == [1, 2, 3]
    assert found[0].problem == 'a stray " in the line'
    assert [record.cells for record in found[1:]] == [["e", "f", "g", "h"], ["i", "j", "k", "l"]]


def test_two_stray_quotes_do_not_swallow_the_rows_between_them() -> None:
    found = read('a,b,"c,d\ne,f,g,h\ni,j,k",l\nm,n,o,p\n')
    good = [record.line for record in found if not record.problem]
    assert 2 in good
    assert 4 in good
    assert 1 not in good


def test_a_quoted_remark_may_run_over_several_lines() -> None:
    found = read('a,b,c,"seen:\nrust, ""old""\nand oil"\ne,f,g,h\n')
    assert [(record.line, record.problem) for record in found] == [(1, ""), (4, "")]
    assert found[0].cells[3] == 'seen:\nrust, "old"\nand oil'


def test_a_quote_inside_a_cell_is_a_mark_like_any_other() -> None:
    assert read('a,b,c,gap 2" wide\n')[0].cells[3] == 'gap 2" wide'


def test_text_behind_a_closed_quote_is_a_stray_quote() -> None:
    assert read('a,b,"c"x,d\n')[0].problem == 'a stray " in the line'


def test_a_file_of_nothing_but_quotes_ends() -> None:
    problems = [record.problem for record in read('"\n' * 500, width=3)]
    assert problems
    assert all(problems)


def test_a_nul_byte_and_an_endless_line_are_told_and_reading_goes_on() -> None:
    found = read("a,b\0,c,d\n" + "x" * (3 * LONGEST_LINE) + "\ne,f,g,h\n")
    assert [record.line for record in found] == [1, 2, 3]
    assert "NUL" in found[0].problem
    assert "more than 100,000 characters" in found[1].problem
    assert found[2].cells == ["e", "f", "g", "h"]


def test_bytes_that_are_not_utf8_are_named_and_the_neighbours_kept(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_bytes(b"T1,ok\r\nT2,caf\xe9\r\nT3,\xc3\xa9\r\n")
    with open_text(path, "utf-8") as stream:
        found = list(records(numbered(stream), ",", 2, "utf-8"))
    assert [record.problem for record in found] == ["", "byte \\xe9 is not utf-8", ""]
    assert found[2].cells == ["T3", "é"]


def test_a_byte_order_mark_declares_the_encoding(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    for encoding, declared in (("utf-8-sig", "utf-8-sig"), ("utf-16", "utf-16"), ("utf-8", None)):
        path.write_text("unit,wert\nT1,é\n", encoding=encoding)
        assert declared_encoding(path) == declared
    path.write_text("unit;wert\nT1;é\n", encoding="utf-16")
    with open_text(path, "utf-16") as stream:
        assert [text for _, text in numbered(stream)] == ["unit;wert", "T1;é"]


def test_old_line_ends_count_as_lines(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_bytes(b"a,b\rc,d\re,f\r")
    with open_text(path, "utf-8") as stream:
        assert [number for number, _ in numbered(stream)] == [1, 2, 3]


@given(st.lists(st.text(alphabet='ab,"\n x', max_size=12), max_size=12))
def test_whole_unquoted_rows_survive_any_neighbours(rubbish: list[str]) -> None:
    text = "".join(f"{piece}\nT{number},1,2,3\n" for number, piece in enumerate(rubbish))
    kept = {record.cells[0] for record in read(text) if not record.problem}
    assert kept >= {f"T{number}" for number in range(len(rubbish))}
