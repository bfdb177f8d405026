"""Whatever the bytes of a file or the words of a map: rows, findings or a usage error, and nothing else."""

from __future__ import annotations

import tomllib
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tapwear.errors import UsageError
from tapwear.visits.fields import TABLES
from tapwear.visits.mapping_file import parse_mapping
from tapwear.visits.reading import read_paths
from tapwear.visits.types import Intake

KEPT = settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
PIECES = (
    b"unit,read_on,value\n", b"T1,2024-05-01,12\n", b"T1", b",", b";", b"\t", b'"', b'""', b"\n", b"\r", b"\r\n", b" ",
    b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\xe9", b"=1", b"2024-05-01", b"-7", b"9" * 20, b"sep=;\n", b"sep=", b"<0.5",
)  # fmt: skip


def read(folder: Path, content: bytes, name: str = "readings.csv") -> Intake:
    (folder / name).write_bytes(content)
    intake = read_paths([folder / name])
    told = {finding.line for finding in intake.findings if finding.severity == "rejected" and finding.line}
    assert len(intake.rows) + len(told) >= min(intake.rows_seen, 1)
    for finding in intake.findings:
        assert finding.file
        assert finding.field
        assert finding.found
        assert finding.remedy
        assert finding.sentence().isprintable()
        assert finding.row.isprintable()
    return intake


@KEPT
@given(content=st.binary(max_size=400))
@example(content=b"")
@example(content=b"\xff\xfe")
@example(content=b"\xff\xfea")
@example(content=b'sep=\0\n"unit",read_on\n')
def test_any_bytes_at_all_give_rows_or_findings(tmp_path: Path, content: bytes) -> None:
    assert read(tmp_path, content).rows == ()


@KEPT
@given(pieces=st.lists(st.sampled_from(PIECES), max_size=30))
def test_bytes_that_look_like_a_file_give_rows_or_findings(tmp_path: Path, pieces: list[bytes]) -> None:
    intake = read(tmp_path, b"".join(pieces))
    assert all(row.values["value"] >= 0 for row in intake.rows)


@KEPT
@given(data=st.data(), table=st.sampled_from(sorted(TABLES)))
def test_any_text_under_the_right_headings_gives_rows_or_findings(
    tmp_path: Path, data: st.DataObject, table: str
) -> None:
    names = [spec.name for spec in TABLES[table].fields]
    cell = st.text(max_size=12) | st.sampled_from(["", "T1", "7", "2024-05-01", "2027-W05", "A;B", "<0.5", "yes"])
    rows = data.draw(st.lists(st.lists(cell, min_size=len(names), max_size=len(names)), max_size=4))
    lines = [",".join(names), *(",".join(row) for row in rows)]
    read(tmp_path, "\n".join(lines).encode("utf-8", "surrogatepass"), f"{table}.csv")


@KEPT
@given(
    good=st.lists(st.integers(0, 99_999), min_size=1, max_size=5),
    rubbish=st.lists(st.text(st.characters(exclude_characters="\r\n"), max_size=30), min_size=1, max_size=5),
)
def test_rubbish_between_rows_costs_no_row(tmp_path: Path, good: list[int], rubbish: list[str]) -> None:
    lines = ["unit,read_on,value"]
    for number, value in enumerate(good):
        lines += [rubbish[number % len(rubbish)].replace(",", ""), f"T1,2024-05-{number + 1:02d},{value}"]
    intake = read(tmp_path, "\n".join(lines).encode("utf-8", "surrogatepass"))
    assert [row.values["value"] for row in intake.rows] == good
    assert [row.line for row in intake.rows] == [3 + 2 * number for number in range(len(good))]


ENCODINGS = ("utf-16", "utf-32", "utf-7", "idna", "punycode", "undefined", "shift_jis", "cp037")


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_a_file_in_another_encoding_than_announced_is_told(tmp_path: Path, encoding: str) -> None:
    (tmp_path / "readings.csv").write_bytes(b"unit,read_on,value\n\xe9\x80\xff,2024-05-01,12\n")
    mapping = parse_mapping(f'[[feed]]\nfile="readings.csv"\ntable="readings"\nencoding="{encoding}"', "map")
    intake = read_paths([tmp_path], mapping)
    assert intake.rows == ()
    assert intake.findings
    assert all(one.field and one.found and one.remedy and one.sentence().isprintable() for one in intake.findings)


LEAF = st.text(max_size=8) | st.integers() | st.floats() | st.booleans() | st.dates() | st.just("readings")
KEYS = (
    *("file", "table", "columns", "fixed", "units", "words", "where", "ignore"),
    *("date_format", "encoding", "delimiter"),
)


def toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + "".join(c if c.isalnum() and c.isascii() else f"\\U{ord(c):08x}" for c in value) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{toml(key)} = {toml(one)}" for key, one in value.items()) + "}"
    return str(value)


@KEPT
@given(
    feed=st.dictionaries(
        st.sampled_from(KEYS),
        st.recursive(
            LEAF, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3)
        ),
    )
)
def test_any_map_is_read_or_explained(feed: dict[str, object]) -> None:
    text = "[[feed]]\n" + "\n".join(f"{key} = {toml(value)}" for key, value in {"file": "a", **feed}.items())
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        return  # a character that TOML does not allow
    with suppress(UsageError):
        assert parse_mapping(text, "map").feeds
