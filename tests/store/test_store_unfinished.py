"""What stopped work leaves is told apart from work under way and from what is not ours, and only ours is cleared."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from tapwear.store.checking import LEFTOVER, check_beside, check_store
from tapwear.store.engine import Store
from tapwear.store.unfinished import MARK, leftovers, making

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="without flock nothing is ever cleared away")

STOPPED = """
import os, signal, sys
from pathlib import Path
from tapwear.store.unfinished import making
with making(Path(sys.argv[1])) as part:
    if sys.argv[2] == "dump":
        part.mkdir()
        part = part / "unit.csv"
    part.write_bytes(b"x" * 1_500_000)
    os.kill(os.getpid(), signal.SIGKILL)
"""


def stop_half_way(to: Path, kind: str = "backup") -> Path:
    """What a process that was killed at its work leaves."""
    done = subprocess.run([sys.executable, "-c", STOPPED, str(to), kind], check=False)
    assert done.returncode == -signal.SIGKILL
    (left,) = to.parent.glob(f"{to.name}.????????.part")
    return left


@pytest.mark.parametrize("kind", ["backup", "dump"])
def test_what_a_killed_process_left_is_told_and_cleared_away(tmp_path: Path, kind: str) -> None:
    left = stop_half_way(tmp_path / "copy", kind)
    assert [(one.path, one.doubt) for one in leftovers(tmp_path)] == [(left, "")]
    assert left.exists()  # a look deletes nothing
    (cleared,) = leftovers(tmp_path, clear=True)
    assert 1_500_000 < cleared.size < 1_501_000
    assert list(tmp_path.iterdir()) == []


def test_work_under_way_is_no_leftover(tmp_path: Path) -> None:
    with making(tmp_path / "copy.db") as part:
        part.write_bytes(b"half")
        assert leftovers(tmp_path, clear=True) == ()
        assert part.read_bytes() == b"half"
    assert list(tmp_path.iterdir()) == []


def other_file(left: Path) -> None:
    (left / "letter.txt").write_text("mine", encoding="utf-8")


def other_file_in_the_dump(left: Path) -> None:
    (left / "copy" / "letter.txt").write_text("mine", encoding="utf-8")


def link_inside(left: Path) -> None:
    (left / "copy" / "away.csv").symlink_to(left.parent)


def no_mark(left: Path) -> None:
    (left / MARK).unlink()


def mark_is_a_link(left: Path) -> None:
    (left / MARK).rename(left.parent / "elsewhere")
    (left / MARK).symlink_to(left.parent / "elsewhere")


def other_mark(left: Path) -> None:
    (left / MARK).write_text("[1]", encoding="utf-8")


def mark_that_gives_nothing(left: Path) -> None:
    (left / MARK).unlink()
    os.mkfifo(left / MARK)


def changed_mark(left: Path, **values: object) -> None:
    said = json.loads((left / MARK).read_text(encoding="utf-8"))
    (left / MARK).write_text(json.dumps({**said, **values}), encoding="utf-8")


def other_machine(left: Path) -> None:
    changed_mark(left, host="another")


def other_place(left: Path) -> None:
    changed_mark(left, of="other")


def never_locked(left: Path) -> None:
    changed_mark(left, locked=False)


@pytest.mark.parametrize(
    ("change", "doubt"),
    [
        (other_file, "did not make"),
        (other_file_in_the_dump, "did not make"),
        (link_inside, "did not make"),
        (no_mark, "no mark"),
        (mark_is_a_link, "no mark"),
        (other_mark, "cannot be read"),
        (mark_that_gives_nothing, "cannot be"),
        (other_machine, "on another is still at it"),
        (other_place, "not of this folder"),
        (never_locked, "is still at it"),
    ],
)
def test_what_is_not_proved_ours_is_named_and_stays(tmp_path: Path, change: object, doubt: str) -> None:
    left = stop_half_way(tmp_path / "copy", "dump")
    assert callable(change)
    change(left)
    before = sorted(tmp_path.rglob("*"))
    (named,) = leftovers(tmp_path, clear=True)
    assert named.path == left
    assert doubt in named.doubt
    assert sorted(tmp_path.rglob("*")) == before


def test_files_and_links_with_such_a_name_are_named_and_others_ignored(tmp_path: Path) -> None:
    (tmp_path / "fleet.db.abcd_123.part").write_bytes(b"")
    (tmp_path / "film.part").write_bytes(b"")
    (tmp_path / "away.abcd_123.part").symlink_to(tmp_path)
    named = [one.path.name for one in leftovers(tmp_path, clear=True)]
    assert named == ["away.abcd_123.part", "fleet.db.abcd_123.part"]
    assert len(list(tmp_path.iterdir())) == 3


def test_check_names_what_lies_beside_the_store_with_the_remedy(file_store: Store, tmp_path: Path) -> None:
    assert check_beside(file_store.path) == ()
    stop_half_way(tmp_path / "copy.db")
    (tmp_path / "fleet.db.abcd_123.part").write_bytes(b"")
    os.link(file_store.path, tmp_path / "aside.db")  # a restore killed between its last two steps
    second, ours, doubtful = check_beside(file_store.path)
    assert (second.kind, Path(second.where).name) == ("second name", "aside.db")
    assert (ours.kind, ours.found) == (LEFTOVER, "unfinished work that was stopped (1.5 MB)")
    assert "next tapwear backup, dump or restore" in ours.remedy
    assert doubtful.kind == LEFTOVER
    assert "delete it if nobody needs it" in doubtful.remedy
    now = datetime(2100, 1, 1, tzinfo=UTC)
    assert check_store(file_store, today=date(2036, 1, 1), now=now) == ()
