"""The way back from a backup or a dump: proved first, put in place in one move, and the former store kept aside."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tapwear.errors import SchemaError, StoreError, UsageError
from tapwear.store.backup import OF_OWNER_AND_GROUP, Proof, copy, name_it, opened_files_stay, prove, sync
from tapwear.store.engine import APPLICATION_ID, FILES, explain, not_of_a_journal
from tapwear.store.unfinished import making
from tapwear.store.version import LATEST
from tapwear.words import first_few

PATIENCE_S = 5.0  # our choice: how long to wait until nobody uses the store that is to be replaced


@dataclass(frozen=True)
class Restored:
    """What stands at the store's path now, where what stood there before was put (None: there was nothing), and what
    a look through it found that cannot be right."""

    proof: Proof
    aside: Path | None
    found: tuple[str, ...] = ()


def restore(
    source: Path,
    path: Path,
    *,
    aside: Path,
    replace: bool = False,
    access: int = 0o600,
    look: Callable[[Path], Sequence[str]] = lambda part: (),
    as_it_is: bool = False,
) -> Restored:
    """Puts a backup (a file) or a dump (a folder) in place as the store at `path`.

    Parameters
    ----------
    aside : where the store that stands at `path` goes, when there is one and it may be replaced
    replace : a store that is there may be replaced
    access : who may read and write a store that is new there, as the bits of a file's mode
    look : tells what cannot be right in the new store, before it has its place
    as_it_is : it is put in place with that

    Everything is written and proved beside `path` first; then one renaming puts it in place, so that a crash leaves
    either the former store or the new one. Raises StoreError when the source is no store of ours or not sound, when
    something stands at `path` and may not be replaced, or is in use; SchemaError when the source is too new.
    """
    from tapwear.store.undump import load_dump

    not_of_a_journal(path)
    if not source.exists():
        raise UsageError(f"There is nothing at {source}. Name a backup, or a folder made by tapwear dump.")
    if path.exists():
        if path.samefile(source):
            raise UsageError(f"{source} is the store itself. Name a backup of it.")
        _may_be_replaced(path, aside, replace)
    with making(path) as part:
        if source.is_dir():
            load_dump(source, part)
        else:
            _copy_of(source, part)
        proof = prove(part)
        if proof.faults:
            raise StoreError(f"{source} is not sound: {first_few(proof.faults)}. Nothing was changed.")
        found = tuple(look(part)) if proof.version == LATEST else ()
        if found and not as_it_is:
            raise StoreError(
                f"{source} is not sound: {first_few(found)}. Nothing was changed. To have it all the same, and set it "
                "right there: --as-it-is"
            )
        if not path.exists():
            part.chmod(access)
            _put_aside(path, aside)  # the log of a store that is gone must not be taken for this one's
            name_it(part, path)
            return Restored(proof, None, found)
        part.chmod(path.stat().st_mode & OF_OWNER_AND_GROUP)
        sync(part)
        with _taken_over(path) as (sound, let_go):
            name_it(path, aside)
            if not sound:
                _put_aside(path, aside)  # a damaged store may need what its log still holds
            if opened_files_stay():
                let_go()
            part.replace(path)
        sync(path.parent)
    return Restored(proof, aside, found)


def _may_be_replaced(path: Path, aside: Path, replace: bool) -> None:
    """Raises StoreError unless the person said so, and what stands there is a store, sound or damaged."""
    if path.is_dir():
        raise StoreError(f"{path} is a folder. Name a file for the store.")
    if not replace:
        raise StoreError(
            f"{path} is there already{_extent(path)}. Restore into a new file with --db, or say with --replace that it "
            f"may be replaced: it is kept then as {aside}. Nothing was changed."
        )
    if aside.exists():
        raise StoreError(f"{aside} is there already; name another file to keep the present store.")


def _extent(path: Path) -> str:
    try:
        proof = prove(path)
    except StoreError:
        return ", and cannot be read as a store"
    units = proof.rows.get("tap_changer", 0)
    return f", with {units:,} units and {proof.total:,} rows"


def _copy_of(source: Path, part: Path) -> None:
    proof = prove(source)
    if proof.faults:
        raise StoreError(f"{source} is not sound: {first_few(proof.faults)}. Nothing was changed.")
    if proof.version > LATEST:
        raise SchemaError(
            f"{source} was written by a newer Tapwear (schema {proof.version}, this one knows {LATEST}). "
            "Install the newer Tapwear; nothing was changed."
        )
    raw = sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)
    try:
        copy(raw, part, "WAL")
    finally:
        raw.close()


@contextmanager
def _taken_over(path: Path) -> Iterator[tuple[bool, Callable[[], None]]]:
    """Holds the store so that nobody reads or writes it; gives False for a file too damaged to be held, and what lets
    it go before the end.

    Whoever waits for it meanwhile finds, when it is let go, that another file has its name, and records nothing.
    """
    raw = sqlite3.connect(path.resolve(), isolation_level=None, timeout=PATIENCE_S)
    try:
        held = _hold(raw, path)
        yield held, raw.close
    finally:
        raw.close()  # with what it holds


def _hold(raw: sqlite3.Connection, path: Path) -> bool:
    try:
        ours = raw.execute("PRAGMA application_id").fetchone()[0] == APPLICATION_ID
        if ours:
            # Leaving the write-ahead log brings all of it into the file, and works only while nobody else has the
            # file open (sqlite.org/wal.html).
            raw.execute("PRAGMA journal_mode=DELETE")
            raw.execute("BEGIN EXCLUSIVE")
    except sqlite3.Error as error:
        if "locked" in str(error) or "busy" in str(error):
            raise StoreError(
                f"{path} is in use. Nothing was changed; restore when nobody works with it, or into a new file."
            ) from error
        if "not a database" in str(error) or "malformed" in str(error):
            return False
        raise explain(path, error) from error
    if not ours:
        raise StoreError(f"{path} belongs to another program. Nothing was changed; name another file for the store.")
    return True


def _put_aside(path: Path, aside: Path) -> None:
    for ending in FILES[1:]:
        if Path(f"{path}{ending}").exists():
            os.replace(f"{path}{ending}", f"{aside}{ending}")
