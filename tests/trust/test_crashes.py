"""A killed writer, a full disk, a disk that cannot be written to: nothing lost, nothing half done, told in words.

The long run is `python tests/trust/crash.py --kills 100`.
"""

from __future__ import annotations

import ctypes
import os
import random
import resource
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import crash
import pytest
from desk_store import make_desk
from store_content import content, proved

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="kills and limits as Linux has them")


@pytest.mark.parametrize("kind", crash.KINDS)
def test_a_writer_killed_at_a_random_moment_leaves_what_it_acknowledged(kind: str, tmp_path: Path) -> None:
    crash.kill_one(kind, tmp_path, random.Random(kind))


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_desk(tmp_path_factory.mktemp("desk"))


@pytest.fixture
def store(desk: Path, tmp_path: Path) -> Path:
    import shutil

    folder = tmp_path / "disk"
    folder.mkdir()
    lines = "".join(f"AH-T1,{2000 + n // 12}-{n % 12 + 1:02d}-01,{n}\n" for n in range(240))
    (folder / "readings.csv").write_text("unit,read_on,value\n" + lines * 1, encoding="utf-8")
    return Path(shutil.copy(desk, folder / "fleet.db"))


WRITES = {
    "log": ("log", "AH-T1", "48100", "--on", "2026-06-29", "--sure", "seen"),
    "import": ("import", "readings.csv"),
    "backup": ("backup", "b.db"),
    "dump": ("dump", "d"),
    "init": ("--db", "new.db", "init"),
    "restore": ("restore", "kept.db", "--replace"),
    "plan build": ("plan", "build", "2027"),
    "report": ("report", "--out", "r.html"),
    "snapshot": ("snapshot",),
}

QUICK = ("log", "import", "backup", "restore")
EACH = [name if name in QUICK else pytest.param(name, marks=pytest.mark.slow) for name in WRITES]


def run(store: Path, words: tuple[str, ...], before: Callable[[], None]) -> subprocess.CompletedProcess[str]:
    env = {**os.environ, "TAPWEAR_TODAY": "2026-06-30", "TAPWEAR_NAME": "Kim", "TAPWEAR_DB": str(store)}
    program = [sys.executable, "-m", "tapwear", *words]
    return subprocess.run(program, cwd=store.parent, env=env, capture_output=True, text=True, preexec_fn=before)


def keep_a_backup(store: Path) -> None:
    done = run(store, ("backup", "kept.db"), lambda: None)
    assert done.returncode == 0, done.stderr


def seen(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir() if not path.name.endswith(("-wal", "-shm"))}


def told_in_words(done: subprocess.CompletedProcess[str]) -> None:
    assert done.returncode in (2, 4), (done.returncode, done.stderr)
    assert "Traceback" not in done.stderr
    assert done.stderr.count("\n") <= 4
    assert any(word in done.stderr for word in ("full", "limited", "read-only", "cannot be", "written")), done.stderr


@pytest.mark.parametrize("name", EACH)
def test_a_full_disk_is_told_and_leaves_everything_as_it_was(store: Path, name: str) -> None:
    keep_a_backup(store)
    before, files = content(store), seen(store.parent)
    done = run(store, WRITES[name], lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096)))
    told_in_words(done)
    proved(store)
    assert content(store) == before
    assert seen(store.parent) == files
    if name not in ("init", "report"):
        again = run(store, WRITES[name], lambda: None)
        assert again.returncode in (0, 6), again.stderr  # once there is room


def without_override() -> None:
    """Takes from root what lets it write where nobody may (capabilities(7): CAP_DAC_OVERRIDE is 1; prctl(2): 24)."""
    ctypes.CDLL(None).prctl(24, 1, 0, 0, 0)


@pytest.mark.parametrize("name", EACH)
def test_a_disk_that_cannot_be_written_to_is_told_and_left_alone(store: Path, name: str) -> None:
    keep_a_backup(store)
    for path in store.parent.iterdir():
        path.chmod(0o444)
    before, files = store.read_bytes(), seen(store.parent)
    store.parent.chmod(0o555)
    try:
        done = run(store, WRITES[name], without_override)
    finally:
        store.parent.chmod(0o755)
    told_in_words(done)
    assert store.read_bytes() == before
    assert seen(store.parent) == files


@pytest.mark.parametrize("words", [("due", "--json"), ("unit", "list"), ("why", "AH-T1")])
def test_a_copy_that_cannot_be_written_to_can_still_be_read(store: Path, words: tuple[str, ...]) -> None:
    keep_a_backup(store)
    store.unlink()
    copy = store.parent / "kept.db"
    copy.chmod(0o444)
    store.parent.chmod(0o555)
    try:
        done = run(copy, words, without_override)
    finally:
        store.parent.chmod(0o755)
    assert done.returncode == 0, done.stderr
    assert "AH-T1" in done.stdout


@pytest.mark.parametrize("words", [("due",), ("due", "--csv"), ("unit", "list", "--json"), ("findings", "--csv")])
def test_output_that_cannot_be_written_is_told_without_a_traceback(store: Path, words: tuple[str, ...]) -> None:
    env = {**os.environ, "TAPWEAR_TODAY": "2026-06-30", "TAPWEAR_DB": str(store)}
    with open("/dev/full", "w", encoding="utf-8") as full:
        done = subprocess.run(
            [sys.executable, "-m", "tapwear", *words], env=env, stdout=full, stderr=subprocess.PIPE, text=True
        )
    assert done.returncode != 0
    assert "Traceback" not in done.stderr
    reader = subprocess.Popen(
        [sys.executable, "-m", "tapwear", *words], env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    reader.stdout.close()  # like `| head -0`
    assert "Traceback" not in reader.stderr.read()
    reader.stderr.close()
    reader.wait()
