"""Whatever the bytes of any file that a command reads: findings or a clear refusal, in bounded memory."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from hostile_store import run
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tapwear.store.engine import create_store
from tapwear.visits.mapping_file import parse_mapping
from tapwear.visits.reading import read_paths
from tapwear.visits.types import Intake

NASTY = Path(__file__).parents[1] / "data" / "nasty"
KEPT = settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
FEW = settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
WORKBOOKS = parse_mapping('[[feed]]\nfile = "*.xlsx"\ntable = "readings"', "map")
LONG = parse_mapping(
    '[[feed]]\nfile = "*.csv"\ntable = "samples"\ncolumns = { unit = "Unit", sampled_on = "Day", reference = "No" }\n'
    'long = { name = "What", value = "Result", unit = "In", names = { C2H2 = "acetylene_ul_per_l" } }',
    "map",
)


def told(intake: Intake) -> None:
    for finding in intake.findings:
        assert finding.file
        assert finding.found
        assert finding.remedy
        assert finding.sentence().isprintable()


@KEPT
@given(places=st.lists(st.tuples(st.integers(0, 1500), st.integers(0, 255)), max_size=8), cut=st.integers(0, 1500))
def test_a_workbook_with_bytes_changed_gives_rows_or_findings(
    tmp_path: Path, places: list[tuple[int, int]], cut: int
) -> None:
    content = bytearray((NASTY / "readings_sound.xlsx").read_bytes())
    for place, value in places:
        content[place % len(content)] = value
    if cut % 3 == 0:
        del content[cut:]
    (tmp_path / "readings.xlsx").write_bytes(content)
    told(read_paths([tmp_path / "readings.xlsx"], WORKBOOKS))


ELEMENTS = (
    *("<row>", "</row>", '<row r="2">', '<c r="A1">', '<c t="s">', '<c t="d">', "<c>", "</c>", "<v>", "</v>", "7", "x"),
    *("1e999", "NaN", '<c s="1"><v>-5</v></c>', '<c r="XFD1">', '<c r="1A">', "<is><t>T1</t></is>", "&#0;", "<!--"),
    *("<c><v>1e999</v></c>", '<c t="d"><v>0000</v></c>', "<c><v>1e400</v></c>", '<row r="1e9">'),
)
XML = st.lists(st.sampled_from(ELEMENTS), max_size=14)


@KEPT
@given(parts=XML)
def test_a_sheet_of_any_elements_gives_rows_or_findings(tmp_path: Path, parts: list[str]) -> None:
    import zipfile

    path = tmp_path / "readings.xlsx"
    with zipfile.ZipFile(NASTY / "readings_sound.xlsx") as sound, zipfile.ZipFile(path, "w") as book:
        for name in sound.namelist():
            content = sound.read(name)
            if "sheet1" in name:
                content = content.replace(b"</sheetData>", "".join(parts).encode() + b"</sheetData>")
            book.writestr(name, content)
    told(read_paths([path], WORKBOOKS))


CELL = st.text(max_size=8) | st.sampled_from(["T1", "2024-05-01", "C2H2", "H2", "<5", "12", "ppm", "%", "", '"', "B1"])


@KEPT
@given(rows=st.lists(st.lists(CELL, min_size=6, max_size=6), max_size=8))
def test_a_laboratory_file_with_one_row_a_result_gives_rows_or_findings(tmp_path: Path, rows: list[list[str]]) -> None:
    lines = ["Unit,Day,No,What,Result,In", *(",".join(row) for row in rows)]
    (tmp_path / "lab.csv").write_bytes("\n".join(lines).encode("utf-8", "surrogatepass"))
    told(read_paths([tmp_path / "lab.csv"], LONG))


ANY_JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["T1", "2024-05-01"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                [
                    "id",
                    "unit",
                    "visited_on",
                    "by",
                    "counters",
                    "observations",
                    "value",
                    "drive",
                    "oil_temp_c",
                    "revision",
                    "x",
                ]
            ),
            inner,
            max_size=5,
        )
    ),
    max_leaves=12,
)


@KEPT
@given(visits=ANY_JSON | st.lists(ANY_JSON, max_size=3), good=st.booleans())
@example(
    visits=[{"id": "a" * 32, "unit": "T1", "visited_on": "2024-05-01", "counters": [{"value": 10**400}]}], good=True
)
@example(visits=[{"id": "a" * 32, "unit": "\ud800", "visited_on": "2024-05-01"}], good=True)
def test_a_visit_file_of_any_json_gives_visits_or_findings(tmp_path: Path, visits: object, good: bool) -> None:
    if good and isinstance(visits, list):
        visits = [
            {"id": "b" * 32, "unit": "T1", "visited_on": "2024-05-01", **one} if isinstance(one, dict) else one
            for one in visits
        ]
    (tmp_path / "v.json").write_text(json.dumps({"tapwear_visits": 1, "visits": visits}), encoding="utf-8")
    told(read_paths([tmp_path / "v.json"]))


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("any") / "fleet.db"
    create_store(path).close()
    assert run(path, "unit", "add", "T1", "--station", "NORTH", "--new-station", "--digits", "6").exit_code == 0
    return path


PIECES = (
    *(
        b"unit_id",
        b"origin",
        b"horizon_days",
        b"as_of",
        b",",
        b"\n",
        b"\r",
        b"T1",
        b"2024-05-01",
        b"180",
        b"\xff",
        b"\0",
    ),
    *(b'"', b"-1", b"1e9", b'db = "', b"[", b"access=3", b"\xef\xbb\xbf", b"= "),
)
BYTES = st.binary(max_size=120) | st.lists(st.sampled_from(PIECES), max_size=25).map(b"".join)
READERS = {
    "questions about counts": ("backtest", "counts", "--origins", "FILE", "--out", "OUT"),
    "questions about oil": ("backtest", "oil", "--asof", "FILE", "--out", "OUT"),
    "a mapping": ("import", "--map", "FILE", str(NASTY / "readings_sound.xlsx")),
    "a backup": ("--db", "OUT", "restore", "FILE"),
}


@pytest.mark.parametrize("reader", READERS)
@FEW
@given(content=BYTES)
@example(content=b"unit_id,origin,horizon_days\nT1,2024-05-01,99999999999\n")
@example(content=b"unit_id,as_of\nT1,0000-00-00\n")
@example(content=b"SQLite format 3\0" + b"\0" * 84)
def test_any_bytes_in_a_file_that_a_command_reads_are_read_or_explained(
    tmp_path: Path, store: Path, reader: str, content: bytes
) -> None:
    (tmp_path / "file").write_bytes(content)
    (tmp_path / "out").unlink(missing_ok=True)
    words = {"FILE": str(tmp_path / "file"), "OUT": str(tmp_path / "out")}
    done = run(store, *(words.get(word, word) for word in READERS[reader]))
    assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
    assert done.exit_code in (0, 2, 3, 4, 5), done.output
    if done.exit_code:
        assert done.stderr.strip()


@FEW
@given(content=BYTES)
@example(content=b"access = 'everybody'")
@example(content=b"name = []")
@example(content=b"db = 3")
def test_any_settings_file_is_read_or_explained(
    tmp_path: Path, store: Path, monkeypatch: pytest.MonkeyPatch, content: bytes
) -> None:
    (tmp_path / "tapwear.toml").write_bytes(content)
    monkeypatch.setenv("TAPWEAR_CONFIG", str(tmp_path / "tapwear.toml"))
    done = run(store, "unit", "list")
    assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
    assert done.exit_code in (0, 2)


MEASURE = """
import resource, sys
from pathlib import Path
from tapwear.visits.reading import read_paths
import tapwear.visits.visit_file
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
found = read_paths([Path(sys.argv[1])])
print(len(found.rows), len(found.findings), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


def measure(path: Path) -> tuple[int, int, int]:
    """Rows, findings, and the memory that reading took at most [KiB]."""
    done = subprocess.run([sys.executable, "-c", MEASURE, str(path)], capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    rows, findings, memory = map(int, done.stdout.split())
    return rows, findings, memory


HUGE = 100_000_000


@pytest.mark.parametrize(
    ("name", "before", "fill"),
    [
        ("readings.csv", b"unit,read_on,value\nT1,2024-05-01,12\n", b"x"),
        ("readings.csv", b"", b"x"),
        ("readings.csv", b"unit,read_on,value\nT1,2024-05-01,12\n", b'"'),
        ("readings.csv", b'unit,read_on,value\nT1,2024-05-01,12\n"', b","),
        ("readings.csv", b"unit,read_on,value\nT1,2024-05-01,12\n", b"\0"),
        ("visits.json", b'{"tapwear_visits": 1, "visits": [', b"7,"),
    ],
)
def test_a_line_of_100_megabytes_costs_little_memory(tmp_path: Path, name: str, before: bytes, fill: bytes) -> None:
    path = tmp_path / name
    with path.open("wb") as file:
        file.write(before)
        for _ in range(HUGE // 1_000_000):
            file.write(fill * (1_000_000 // len(fill)))
        file.write(b"\nT1,2024-06-01,13\n")
    rows, findings, memory = measure(path)
    assert rows == (2 if before.startswith(b"unit") else 0)
    assert findings >= 1
    assert memory < 64_000
