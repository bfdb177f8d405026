"""Backups, dumps and the way back, as typed; what is written is for its owner's eyes, unless a group is named."""

from __future__ import annotations

import errno
import json
import sys
from pathlib import Path

import pytest
from desk_store import make_desk, run

sys.path[:0] = [str(Path(__file__).parents[1] / "store")]

from store_content import past_the_guards  # noqa: E402


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    return make_desk(tmp_path)


def test_a_backup_goes_beside_the_store_and_comes_back_in_one_command(desk: Path, tmp_path: Path) -> None:
    done = run(desk, "backup")
    assert done.exit_code == 0, done.output
    (copy,) = tmp_path.glob("fleet-backup-*.db")
    assert f"Wrote {copy}:" in done.stderr
    again = run(tmp_path / "again.db", "restore", str(copy))
    assert again.exit_code == 0, again.output
    assert run(tmp_path / "again.db", "due").stdout == run(desk, "due").stdout


def test_a_store_that_is_there_is_replaced_only_when_it_is_said_and_kept(desk: Path, tmp_path: Path) -> None:
    run(desk, "backup", str(tmp_path / "b.db"))
    run(desk, "log", "AH-T1", "48100", "--sure", "seen twice")
    refused = run(desk, "restore", str(tmp_path / "b.db"))
    assert refused.exit_code == 4
    assert "3 units" in refused.stderr
    done = run(desk, "restore", str(tmp_path / "b.db"), "--replace")
    assert done.exit_code == 0, done.output
    (aside,) = tmp_path.glob("fleet-before-restore-*.db")
    assert "48100" in run(aside, "unit", "show", "AH-T1").stdout.replace(",", "")
    assert "48100" not in run(desk, "unit", "show", "AH-T1").stdout.replace(",", "")


def test_a_dump_comes_back_with_restore_and_import_says_so(desk: Path, tmp_path: Path) -> None:
    assert run(desk, "dump", str(tmp_path / "d")).exit_code == 0
    told = run(desk, "import", str(tmp_path / "d"))
    assert told.exit_code == 2
    assert "restore" in told.stderr
    assert run(tmp_path / "new.db", "restore", str(tmp_path / "d")).exit_code == 0
    assert run(tmp_path / "new.db", "unit", "list").stdout == run(desk, "unit", "list").stdout


WRITTEN = (
    ("init",),
    ("backup", "b.db"),
    ("dump", "d"),
    ("import", "--template", "t"),
    ("limits", "export", "--out", "l.csv"),
    ("oil", "--requests", "--out", "o.txt"),
    ("report", "--out", "r.html"),
    ("report", "--out", "r.xlsx"),
    ("report", "--format", "json", "--out", "r.json"),
    ("plan", "build", "2027"),
    ("plan", "export", "--format", "ics", "--out", "p.ics"),
    ("plan", "export", "--format", "csv", "--out", "p.csv"),
)


@pytest.mark.parametrize(("access", "file", "folder"), [("owner", 0o600, 0o700), ("group", 0o660, 0o770)])
def test_whatever_is_written_is_readable_by_whom_it_is_said(
    desk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, access: str, file: int, folder: int
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    monkeypatch.chdir(out)
    if access == "group":  # the owner is the usual
        monkeypatch.setenv("TAPWEAR_ACCESS", "group")
    desk.chmod(file)
    for words in WRITTEN:
        done = run(out / "new.db" if words == ("init",) else desk, *words)
        assert done.exit_code in (0, 6), (words, done.output)
    found = {path: path.stat().st_mode & 0o777 for path in out.rglob("*")}
    assert len(found) > 40
    assert {path.name for path, mode in found.items() if mode != (folder if path.is_dir() else file)} == set()


def test_another_word_for_who_may_read_is_refused(desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TAPWEAR_ACCESS", "everybody")
    done = run(desk, "due")
    assert done.exit_code == 2
    assert "owner or group" in done.stderr


def test_check_tells_in_lines_or_json_and_ends_with_its_own_code(desk: Path) -> None:
    sound = run(desk, "check")
    assert sound.exit_code == 0, sound.output
    assert sound.stdout == ""
    with past_the_guards(desk) as raw:
        raw.execute("UPDATE reading SET read_on = '2099-01-01' WHERE id = 7")
    found = run(desk, "check")
    assert found.exit_code == 7
    assert found.stdout.startswith("value: reading 7, read_on: 2099-01-01 lies in the future -> ")
    assert json.loads(run(desk, "check", "--json").stdout)["found"][0]["where"] == "reading 7, read_on"


@pytest.mark.parametrize("words", [("backup", "b.db"), ("dump", "d"), ("restore", "kept.db", "--replace")])
def test_the_next_run_clears_away_what_a_stopped_one_left_and_names_the_rest(
    desk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    from tapwear.store.unfinished import MARK, making

    monkeypatch.chdir(tmp_path)
    run(desk, "backup", "kept.db")
    with making(tmp_path / "b.db") as part:
        mark = (part.parent / MARK).read_bytes()
    part.parent.mkdir()
    part.write_bytes(b"half")
    (part.parent / MARK).write_bytes(mark)
    (tmp_path / "x.abcd_123.part").mkdir()
    looked = run(desk, "check")
    assert looked.exit_code == 0, looked.output
    assert looked.stdout.count("leftover: ") == 2
    done = run(desk, *words)
    assert done.exit_code == 0, done.output
    assert f"Cleared away {part.parent.name} (" in done.stderr or f"Cleared away {part.parent} (" in done.stderr
    assert "x.abcd_123.part looks like" in done.stderr
    assert [path.name for path in tmp_path.glob("*.part")] == ["x.abcd_123.part"]


def test_as_typed_a_fleet_goes_to_the_server_is_worked_with_there_and_comes_back(
    empty_database: str, tmp_path: Path
) -> None:
    desk = make_desk(tmp_path)
    assert run(desk, "dump", str(tmp_path / "d")).exit_code == 0
    assert run(empty_database, "restore", str(tmp_path / "d"), "--replace").exit_code == 2
    done = run(empty_database, "restore", str(tmp_path / "d"))
    assert done.exit_code == 0, done.output
    assert "read back and found equal" in done.stderr
    assert run(empty_database, "due", "--csv").stdout == run(desk, "due", "--csv").stdout
    logged = run(empty_database, "log", "AH-T1", "48100", "--on", "2026-06-29", "--sure", "seen")
    assert logged.exit_code == 0, logged.output
    looked = run(empty_database, "check")
    assert looked.exit_code == 0, looked.output
    assert "only the server can prove" in looked.stderr
    assert run(empty_database, "dump", str(tmp_path / "e")).exit_code == 0
    assert run(tmp_path / "again.db", "restore", str(tmp_path / "e")).exit_code == 0
    assert run(tmp_path / "again.db", "due", "--csv").stdout == run(empty_database, "due", "--csv").stdout
    assert "48100" in run(tmp_path / "again.db", "unit", "show", "AH-T1").stdout.replace(",", "")


LONG = "x" * 300  # file systems take names of up to 255 bytes


@pytest.mark.parametrize(
    "words",
    [
        ("--db", f"{LONG}.db", "unit", "list"),
        ("--db", f"{LONG}.db", "init"),
        ("--db", f"{LONG}.db", "restore", "FLEET"),
        ("restore", LONG),
        ("backup", LONG),
        ("dump", LONG),
        ("import", f"{LONG}.csv"),
        ("import", "--map", LONG, "readings.csv"),
        ("import", "--template", LONG),
        ("report", "--out", f"{LONG}.html"),
        ("sheet", "--station", "AH", "--out", LONG),
        ("oil", "--requests", "--out", LONG),
        ("limits", "export", "--out", LONG),
        ("backtest", "counts", "--origins", LONG, "--out", LONG),
        ("upgrade", "--backup", LONG),
        ("demo", LONG),
    ],
)
def test_a_place_that_cannot_be_used_is_told_without_a_fault(
    desk: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    done = run(desk, *(str(desk) if word == "FLEET" else word for word in words))
    assert done.exception is None or isinstance(done.exception, SystemExit), repr(done.exception)
    assert done.exit_code in ((0,) if words[0] == "upgrade" else (2, 3, 4)), done.output
    assert done.stderr.strip()


def test_a_folder_that_may_not_be_entered_is_told(desk: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def forbidden(path: Path, **_: object) -> object:
        raise PermissionError(errno.EACCES, "Permission denied", str(path))

    monkeypatch.setattr(Path, "exists", forbidden)  # as it does for others than root
    done = run(desk, "unit", "list")
    assert done.exit_code == 4, done.output
    assert f"{desk} cannot be used: Permission denied." in done.stderr
