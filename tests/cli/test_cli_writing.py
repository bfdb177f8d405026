"""What is written out: with --out into a file of its own, never over the store; in letters that the output has."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from desk_store import make_desk, run

COMMANDS = (
    "limits export",
    "oil --requests",
    "report AH-T1 --force",
    "sheet --station AH --force",
    "backtest counts --origins origins.csv",
    "backtest oil --asof asof.csv",
)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("desk")
    (folder / "origins.csv").write_text("unit_id,origin,horizon_days\nAH-T1,2025-06-30,90\n", encoding="utf-8")
    (folder / "asof.csv").write_text("unit_id,as_of\nAH-T1,2025-06-30\n", encoding="utf-8")
    store = make_desk(folder)
    os.link(store, folder / "other name.db")
    return store


@pytest.mark.parametrize("words", COMMANDS)
@pytest.mark.parametrize("name", ["", "-wal", "other name.db"])
def test_the_store_is_never_written_over(desk: Path, monkeypatch: pytest.MonkeyPatch, words: str, name: str) -> None:
    monkeypatch.chdir(desk.parent)
    out = name if name.endswith(".db") else f"{desk}{name}"
    before = desk.read_bytes()
    done = run(desk, *words.split(), "--out", out)
    assert done.exit_code == 2, done.output
    assert "is the store, which is never written over" in done.stderr
    assert desk.read_bytes() == before


def test_a_file_that_cannot_be_written_is_told(desk: Path) -> None:
    done = run(desk, "limits", "export", "--out", str(desk.parent / "none" / "limits.csv"))
    assert done.exit_code == 2
    assert "limits.csv cannot be written: No such file or directory. Name another file." in done.stderr


@pytest.mark.parametrize("words", [*COMMANDS, "report --format html --force"])
def test_a_file_whose_ending_says_something_else_is_not_written(desk: Path, words: str) -> None:
    out = desk.parent / "x.docx"
    done = run(desk, *words.split(), "--out", str(out))
    if "--format" in words:  # said in so many words
        assert done.exit_code == 0, done.output
        out.unlink()
        return
    assert done.exit_code == 2, done.output
    assert "x.docx cannot be written as its ending says" in done.stderr
    assert not out.exists()


def test_a_hyphen_is_standard_output(desk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for words in ("report AH-T1", "sheet --station AH", "limits export", "oil --requests"):
        done = run(desk, *words.split(), "--out", "-")
        assert done.exit_code == 0, done.output
        assert done.stdout
        assert "to -" not in done.stderr
        assert "Wrote -" not in done.stderr
    assert run(desk, "report", "--format", "xlsx", "--out", "-").stdout_bytes.startswith(b"PK")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("words", ["--help", "unit show BW-T1", "unit list --json"])
@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_letters_that_the_output_has_not_are_spelled_out(desk: Path, words: str, encoding: str) -> None:
    assert run(desk, "unit", "change", "BW-T1", "--note", "Łódź").exit_code == 0
    env = {**os.environ, "PYTHONIOENCODING": encoding, "TAPWEAR_TODAY": "2026-06-30"}
    program = [sys.executable, "-m", "tapwear", "--db", str(desk), *words.split()]
    done = subprocess.run(program, env=env, capture_output=True)
    assert (done.returncode, done.stderr) == (0, b"")
    if encoding == "cp1252" and "show" in words:
        assert b"\\u0141\xf3d\\u017a" in done.stdout
