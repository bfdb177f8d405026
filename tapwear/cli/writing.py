"""Writing the file that somebody named: never over the store, and over another one only where that was said."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from tapwear.errors import UsageError

if TYPE_CHECKING:
    from tapwear.store.engine import Store


def may_write(out: Path, store: Store, *, force: bool) -> None:
    """Raises UsageError where the file is part of the store, or is there already and must stay.

    force : another file that is there may be written over
    """
    from tapwear.store.engine import FILES

    where, path = out.resolve(), store.path.resolve()
    if where in {Path(f"{path}{ending}") for ending in FILES} or (
        out.exists() and path.exists() and out.samefile(path)
    ):
        raise UsageError(f"{out} is the store, which is never written over. Name another file.")
    if out.is_symlink():
        raise UsageError(f"{out} is a link to {out.resolve()}. Name the file itself, or remove the link.")
    if _holds_a_database(out):
        raise UsageError(f"{out} is a database, perhaps another store; it is never written over. Name another file.")
    if out.exists() and not force:
        raise UsageError(f"{out} is there already. Name another file, or write over it with --force.")


def _holds_a_database(path: Path) -> bool:
    """Whether the file begins as SQLite's do (sqlite.org/fileformat.html, 1.3.1)."""
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(16) == b"SQLite format 3\0"


def write_out(out: Path, content: str | bytes) -> None:
    """Writes the file. Raises UsageError where that cannot be."""
    try:
        out.write_bytes(content.encode() if isinstance(content, str) else content)
    except OSError as error:
        raise UsageError(f"{out} cannot be written: {error.strerror or error}. Name another file.") from error
