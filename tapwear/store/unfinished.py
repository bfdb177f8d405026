"""Where work goes until it is finished: a folder beside its place, which tells afterwards what a stopped one left.

The folder holds a mark, locked for as long as somebody is at work (flock(2)). What was left is cleared away only when
it is proved ours: it has our mark, nothing else than what we make, and nobody holds the lock.
"""

from __future__ import annotations

import json
import os
import platform
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tapwear.store.engine import FILES, explain

try:
    from fcntl import LOCK_EX, LOCK_NB, flock
except ImportError:  # pragma: no cover - Windows has none: what was left is named there, never cleared away
    flock = None  # type: ignore[assignment, unused-ignore]

MARK = "unfinished.json"
KIND = "unfinished work of tapwear"
LARGEST_MARK = 10_000  # our choice, in bytes: ours take some hundred
# `mkdtemp` and `mkstemp` put eight of these between what comes before and after; 0.2.0 made files named so.
_NAMED = re.compile(r"(?P<of>.+)\.[a-z0-9_]{8}\.part(-wal|-shm|-journal)?", re.DOTALL)


@dataclass(frozen=True)
class Leftover:
    """What a stopped backup, dump or restore left, or what looks like it; `doubt` says why it is not proved ours."""

    path: Path
    size: int  # [bytes]
    doubt: str = ""


@contextmanager
def making(to: Path) -> Iterator[Path]:
    """A path in a folder beside `to`, for its owner only, which is gone afterwards with what was not moved out of it.

    Raises StoreError for whatever stops the writing: a full disk, a folder that cannot be written to.
    """
    folder: Path | None = None
    mark: int | None = None
    try:
        folder = Path(tempfile.mkdtemp(prefix=f"{to.name}.", suffix=".part", dir=to.parent))
        mark = os.open(folder / MARK, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
        locked = _locked(mark)  # before anything is written: a mark that can be read was locked once
        said = {"kind": KIND, "of": to.name, "host": platform.node(), "locked": locked}
        os.write(mark, json.dumps(said).encode())
        yield folder / to.name
    except (OSError, sqlite3.Error) as error:
        raise explain(to, error) from error
    finally:
        if mark is not None:
            os.close(mark)
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)


def leftovers(folder: Path, *, clear: bool = False) -> tuple[Leftover, ...]:
    """What stopped work left in a folder, by name; what somebody is still at is not among it.

    clear : deletes what is proved ours
    """
    try:
        named = sorted(path for path in folder.iterdir() if _NAMED.fullmatch(path.name))
    except OSError:
        return ()
    found = []
    for path in named:
        try:
            one = _look_at(path, clear)
        except FileNotFoundError:  # somebody finished it, or cleared it away, just now
            continue
        except OSError as error:
            one = Leftover(path, 0, f"it cannot be read: {error.strerror}")
        if one is not None:
            found.append(one)
    return tuple(found)


def _look_at(path: Path, clear: bool) -> Leftover | None:
    if path.is_symlink() or not path.is_dir():
        return Leftover(path, path.lstat().st_size, "it has no mark of ours")
    size = sum(one.lstat().st_size for one in path.rglob("*") if not one.is_dir())
    try:
        mark = os.open(path / MARK, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
    except PermissionError:
        return Leftover(path, size, "it is somebody else's")
    except OSError:
        return Leftover(path, size, "it has no mark of ours")
    try:
        doubt = _doubt(path, os.read(mark, LARGEST_MARK))
        if doubt:
            return Leftover(path, size, doubt)
        if not _locked(mark):
            return None  # somebody is at it
        if clear:
            shutil.rmtree(path)
        return Leftover(path, size)
    except FileNotFoundError:
        raise
    except OSError as error:
        return Leftover(path, size, f"it cannot be deleted: {error.strerror}")
    finally:
        os.close(mark)


def second_names(path: Path) -> tuple[Path, ...]:
    """Other names of the same file in its folder: a restore that was stopped between its last two steps leaves one."""
    try:
        own = path.stat()
        if own.st_nlink < 2:
            return ()
        beside = sorted(one for one in path.parent.iterdir() if one.is_file() and not one.is_symlink())
        return tuple(one for one in beside if one.samefile(path) and one.name != path.name)
    except OSError:
        return ()


def _doubt(path: Path, text: bytes) -> str:
    """Why a folder cannot be proved ours, or that nobody is at it; "" when it can."""
    try:
        said = json.loads(text)
        kind, of, host, locked = said["kind"], said["of"], said["host"], said["locked"]
    except (ValueError, TypeError, KeyError, RecursionError):
        return "its mark cannot be read"
    named = _NAMED.fullmatch(path.name)
    if kind != KIND or named is None or of != named["of"]:
        return "its mark is not of this folder"
    if host != platform.node() or locked is not True or flock is None:
        return f"whether somebody on {host} is still at it cannot be told here"
    if any(not _made_by_us(one, of) for one in path.iterdir()):
        return "it holds what we did not make"
    return ""


def _made_by_us(path: Path, of: str) -> bool:
    """Whether that is the mark, a store's file named `of`, or a folder named so with the files of a dump."""
    if path.is_symlink():
        return False
    if path.is_dir():
        return path.name == of and all(
            one.is_file() and not one.is_symlink() and (one.suffix == ".csv" or one.name == "manifest.json")
            for one in path.iterdir()
        )
    return path.is_file() and path.name in (MARK, *(f"{of}{ending}" for ending in FILES))


def _locked(mark: int) -> bool:
    """Whether the lock of an open mark is ours now; it goes with the file's closing, or with the process."""
    if flock is None:  # pragma: no cover - Windows
        return False
    try:
        flock(mark, LOCK_EX | LOCK_NB)
    except OSError:  # another has it, or the file system knows no locks
        return False
    return True
