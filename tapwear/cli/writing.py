"""Writing the file that somebody named: never over the store, over another one only where that was said, and as what
its name says that it is. A name of `-` is standard output, as usual.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from tapwear.errors import UsageError

if TYPE_CHECKING:
    from tapwear.store.engine import Store


# What may be written to files whose names end so; no ending leaves the choice to the command.
HTML = {".html": "html", ".htm": "html"}
CSV = {".csv": "csv", ".txt": "csv"}
TEXT = {".txt": "txt", ".md": "txt", ".json": "json"}
_STANDARD_OUTPUT = Path("-")


def kind_by_name(out: Path, endings: Mapping[str, str]) -> str:
    """What a file is to hold by the ending of its name; the first of all kinds where it has none of these."""
    return endings.get(out.suffix.lower(), next(iter(endings.values())))


def named(out: Path) -> str:
    """The file as it is called in a sentence."""
    return "standard output" if out == _STANDARD_OUTPUT else str(out)


def may_write(out: Path, store: Store, *, force: bool, endings: Mapping[str, str] | None = None) -> None:
    """Raises UsageError where the file is part of the store, or is there already and must stay, or its name ends like
    that of something else, which some program would expect in it.

    force : another file that is there may be written over. endings : as for `kind_by_name`; None: any will do
    """
    from tapwear.store.engine import FILES

    if out == _STANDARD_OUTPUT:
        return
    where, path = out.resolve(), store.path.resolve()
    if where in {Path(f"{path}{ending}") for ending in FILES} or (
        out.exists() and path.exists() and out.samefile(path)
    ):
        raise UsageError(f"{out} is the store, which is never written over. Name another file.")
    if out.is_symlink():
        raise UsageError(f"{out} is a link to {out.resolve()}. Name the file itself, or remove the link.")
    if _holds_a_database(out):
        raise UsageError(f"{out} is a database, perhaps another store; it is never written over. Name another file.")
    if endings is not None and out.suffix and out.suffix.lower() not in endings:
        listed = ", ".join(endings)
        raise UsageError(f"{out} cannot be written as its ending says. Endings of what is written here: {listed}.")
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
    if out == _STANDARD_OUTPUT:
        if isinstance(content, bytes) and b"\0" in content and sys.stdout.isatty():
            raise UsageError("A workbook cannot be read on a screen. Name a file, or lead the output into one.")
        typer.echo(content, nl=False)
        return
    try:
        out.write_bytes(content.encode() if isinstance(content, str) else content)
    except OSError as error:
        raise UsageError(f"{out} cannot be written: {error.strerror or error}. Name another file.") from error
