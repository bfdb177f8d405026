"""What a store does under Windows' rules for files, laid over this machine's: no run of a real one.

A file that is open cannot be replaced, renamed or deleted; only a handle that may write can be flushed; there are no
locks of the kind that marks unfinished work.
"""

from __future__ import annotations

import errno
import fcntl
import os
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from old_stores import old_store
from store_content import content

from tapwear.store import backup, restore, unfinished
from tapwear.store.engine import Store, open_store
from tapwear.store.entries import add_reading
from tapwear.store.migrate import upgrade
from tapwear.store.recording import Stamp
from tapwear.store.register import add_unit
from tapwear.store.version import LATEST

STAMP = Stamp("Kim", datetime(2026, 6, 30, tzinfo=UTC))


def opened(path: object) -> bool:
    """Whether this process has the file open."""
    try:
        wanted = os.stat(os.fspath(path))  # type: ignore[call-overload]
    except OSError:
        return False
    for number in os.listdir("/proc/self/fd"):
        try:
            found = os.stat(f"/proc/self/fd/{number}")
        except OSError:
            continue
        if (found.st_dev, found.st_ino) == (wanted.st_dev, wanted.st_ino):
            return True
    return False


@pytest.fixture(autouse=True)
def windows(monkeypatch: pytest.MonkeyPatch) -> None:
    if not Path("/proc/self/fd").is_dir():
        pytest.skip("which files are open cannot be told here")
    flush = os.fsync

    def fsync(handle: int) -> None:
        folder = os.path.isdir(f"/proc/self/fd/{handle}")
        if not folder and fcntl.fcntl(handle, fcntl.F_GETFL) & os.O_ACCMODE == os.O_RDONLY:
            raise OSError(errno.EBADF, "Bad file descriptor")
        flush(handle)

    def guarded(name: str, both: bool) -> Any:
        usual = getattr(os, name)

        def rule(path: Any, *more: Any, **named: Any) -> Any:
            for one in (path, *more[:1]) if both else (path,):
                if isinstance(one, str | os.PathLike) and not os.path.isdir(one) and opened(one):
                    raise PermissionError(errno.EACCES, "The process cannot access the file", os.fspath(one))
            return usual(path, *more, **named)

        return rule

    monkeypatch.setattr(os, "fsync", fsync)
    for name in ("replace", "rename"):
        monkeypatch.setattr(os, name, guarded(name, both=True))
    for name in ("unlink", "remove"):
        monkeypatch.setattr(os, name, guarded(name, both=False))
    monkeypatch.setattr(unfinished, "flock", None)
    for module in (backup, restore):
        monkeypatch.setattr(module, "opened_files_stay", lambda: True)


@pytest.fixture
def store(file_store: Store) -> Store:
    with file_store.rows(writing=True) as connection:
        unit = add_unit(connection, {"unit": "T1", "station": "NORTH", "counter_digits": 6}, STAMP)
        add_reading(connection, unit, {"value": 5, "read_on": date(2026, 6, 3)}, STAMP)
    return file_store


def test_a_backup_is_made_and_comes_back_into_a_new_file_and_over_a_store(store: Store, tmp_path: Path) -> None:
    backup.back_up(store, tmp_path / "b.db")
    store.close()
    restore.restore(tmp_path / "b.db", tmp_path / "new.db", aside=tmp_path / "aside.db")
    assert content(tmp_path / "new.db") == content(store.path)
    done = restore.restore(tmp_path / "b.db", store.path, aside=tmp_path / "aside.db", replace=True)
    assert done.aside == tmp_path / "aside.db"
    assert content(tmp_path / "aside.db") == content(store.path) == content(tmp_path / "new.db")


def test_a_dump_is_made_and_comes_back(store: Store, tmp_path: Path) -> None:
    from tapwear.store.dump import dump_store

    dump_store(store, tmp_path / "d", at=STAMP.at)
    restore.restore(tmp_path / "d", tmp_path / "new.db", aside=tmp_path / "aside.db")
    assert content(tmp_path / "new.db")["reading"] == content(store.path)["reading"]


def test_an_old_store_is_upgraded(tmp_path: Path) -> None:
    path = old_store(1, tmp_path / "old.db")
    old = open_store(path, any_version=True)
    assert len(upgrade(old, tmp_path / "kept.db")) == LATEST - 1
    assert (tmp_path / "kept.db").exists()
