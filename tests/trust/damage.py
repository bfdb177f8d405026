"""Damaged copies of a store: never a traceback, never another answer without a word, never called sound.

python tests/trust/damage.py [--copies 300] [--seed 1]

Bits flipped, pages torn or emptied, the file cut short, and values that cannot be, written past the triggers. A value
that is changed into another possible one, as a station's name into another, is beyond what a look at one copy can find:
only a dump kept elsewhere tells. A flipped bit may do that; such copies are counted by themselves.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1] / name) for name in ("store", "cli")]

import sqlalchemy as sa  # noqa: E402
from desk_store import make_desk, run  # noqa: E402
from store_content import past_the_guards  # noqa: E402
from test_cli_twice import WRITING  # noqa: E402

from tapwear.store.lean import lean  # noqa: E402
from tapwear.store.possible import OTHERWISE, SPECS  # noqa: E402

PAGE = 4096
DAYS = ("2026-13-45", "soon", "0000-00-00", "2025-02-30", "", "9999-99-99", "12026-01-01", "2026-1-1")
NUMBERS = (-1, 10**15, 1e308)
TEXTS = (b"\xff\xfe",)
WORDS = ("junk", *TEXTS)  # where only some words can stand
DOCUMENTS = ("junk", "{", "[]", "", *TEXTS)
COMMANDS = (
    *(("due", "--all", "--json"), ("why", "AH-T1"), ("unit", "list"), ("history", "AH-T1"), ("plan", "show")),
    *(("log", "AH-T2", "48100", "--on", "2026-06-29", "--sure", "x"), ("oil", "--fleet"), ("track",), ("confirm",)),
)


def sound_store(folder: Path) -> Path:
    """A store with some of everything, in one file."""
    path = make_desk(folder)
    before = [("log", tag, "47990", "--on", "2026-06-15", "--sure", "seen") for tag in ("AH-T1", "AH-T2")]
    for words in (*before, ("stop", "raise", "BW-T1", "--because", "smell of burnt oil"), *WRITING):
        if words[:2] not in (("unit", "swap"), ("unit", "move"), ("unit", "retire"), ("undo", "--because")):
            assert run(path, *words).exit_code in (0, 6), words
    raw = sqlite3.connect(path)
    raw.execute("PRAGMA journal_mode=DELETE")
    raw.close()
    return path


def flip(path: Path, rng: random.Random) -> None:
    content = bytearray(path.read_bytes())
    for _ in range(rng.choice((1, 1, 2, 8))):
        content[rng.randrange(100, len(content))] ^= 1 << rng.randrange(8)
    path.write_bytes(content)


def tear(path: Path, rng: random.Random) -> None:
    content = bytearray(path.read_bytes())
    page = rng.randrange(len(content) // PAGE)
    begin = page * PAGE + (100 if page == 0 else 0)
    length = rng.choice((PAGE, 512)) - (100 if page == 0 else 0)
    content[begin : begin + length] = rng.choice((bytes(length), rng.randbytes(length)))
    path.write_bytes(content)


def cut(path: Path, rng: random.Random) -> None:
    content = path.read_bytes()
    path.write_bytes(content[: rng.randrange(200, len(content))])


def values_for(table: str, column: str, kind: str) -> tuple[object, ...]:
    """What a column of that declared type cannot hold."""
    if column in ("payload", "content", "assumptions"):
        return DOCUMENTS
    if column.endswith("_at") or isinstance(lean(table, column).c[0].type, sa.Date):
        return DAYS
    if kind != "TEXT":
        return NUMBERS
    spec, names = SPECS.get(table, (None, {}))
    field = next((one for one in spec.fields if one.name == names.get(column, column)), None) if spec else None
    of_words = field is not None and (field.kind not in ("text", "list") or column == "resets")
    return WORDS if of_words or (table, column) in OTHERWISE else TEXTS


def impossible(path: Path, rng: random.Random) -> str:
    with past_the_guards(path) as raw:
        raw.execute("PRAGMA ignore_check_constraints=ON")
        while True:
            (tables,) = [raw.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall()]
            table = rng.choice(tables)[0]
            columns = [row[1:3] for row in raw.execute(f"PRAGMA table_info({table})") if row[1] != "id"]
            if not columns or table in ("derived", "schema_step"):
                continue
            column, kind = rng.choice(columns)
            value = rng.choice(values_for(table, column, kind))
            if isinstance(value, bytes):
                value = raw.execute("SELECT CAST(? AS TEXT)", (value,)) and value
            cast = "CAST(? AS TEXT)" if isinstance(value, bytes) else "?"
            try:
                done = raw.execute(
                    f"UPDATE {table} SET {column} = {cast} WHERE rowid = "  # noqa: S608
                    f"(SELECT rowid FROM {table} ORDER BY random() LIMIT 1)",
                    (value,),
                )
            except sqlite3.Error:  # a type that the column does not take, or a second of what there is one of
                continue
            if done.rowcount:
                return f"{table}.{column} {value!r}"


KINDS: dict[str, Callable[[Path, random.Random], str | None]] = {
    "bit flip": flip,
    "page": tear,
    "truncation": cut,
    "impossible value": impossible,
}


def answer(text: str) -> object:
    try:
        return json.loads(text)["dues"]
    except (ValueError, KeyError, TypeError):
        return text


def try_one(sound: Path, wanted: object, folder: Path, kind: str, rng: random.Random) -> str:
    """Damages a copy and holds every promise against it; says what became of it."""
    path = Path(shutil.copy(sound, folder / "copy.db"))
    what = KINDS[kind](path, rng)
    if path.read_bytes() == sound.read_bytes():
        return "unchanged"
    source = Path(shutil.copy(path, folder / "source.db"))
    checked = run(path, "check")
    found = checked.exit_code
    assert found in (0, 4, 5, 7), (kind, checked.output, checked.exception)
    told: object = None
    for words in COMMANDS:
        done = run(path, *words)
        assert done.exception is None or isinstance(done.exception, SystemExit), (kind, words, repr(done.exception))
        if words[0] == "due" and done.exit_code == 0 and "is damaged" not in done.stderr:
            told = answer(done.stdout)
    shutil.copy(source, path)
    copies = (("restore", str(source)), ("dump", str(folder / "d")), ("backup", str(folder / "b")))
    for number, words in enumerate(copies):
        store = folder / "new.db" if number == 0 else path
        done = run(store, *words)
        assert done.exception is None or isinstance(done.exception, SystemExit), (kind, words, repr(done.exception))
        if found:
            assert done.exit_code != 0, (kind, words, done.output, checked.output)
            assert "proved sound" not in done.output.replace("not sound", "")
    other = told is not None and told != wanted
    if other:
        print(f"{kind}: another answer ({what or 'unknown place'}): {checked.stdout[:300]}", flush=True)
    return f"{'found' if found else 'not found'}, {'another answer' if other else 'same or no answer'}"


def main(copies: int, seed: int) -> Counter[tuple[str, str]]:
    rng = random.Random(seed)
    became: Counter[tuple[str, str]] = Counter()
    with tempfile.TemporaryDirectory() as name:
        sound = sound_store(Path(name))
        wanted = answer(run(sound, "due", "--all", "--json").stdout)
        for number in range(copies):
            kind = list(KINDS)[number % len(KINDS)]
            with tempfile.TemporaryDirectory() as folder:
                became[kind, try_one(sound, wanted, Path(folder), kind, rng)] += 1
            if number % 25 == 24:
                print(f"{number + 1} copies: {dict(became)}", flush=True)
    return became


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--copies", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    for (kind, what), number in sorted(main(asked.copies, asked.seed).items()):
        print(f"{kind}: {what}: {number}")
