"""A small store in which every text that people may type is something nasty, put there past every check."""

from __future__ import annotations

import csv
import sqlite3
import sys
import zlib
from pathlib import Path

from typer.testing import CliRunner, Result

from tapwear.cli.app import app
from tapwear.cli.intake import demo_folder
from tapwear.store.engine import create_store

sys.path[:0] = [str(Path(__file__).parents[1] / "store")]

from store_content import past_the_guards  # noqa: E402

TODAY = "2026-06-30"
STATIONS = ("AH", "NS", "HB")
MARK = "Zq9"  # stands in every nasty text, so that it can be found again in the outputs
NASTY = (
    f'=HYPERLINK("http://x.invalid/{MARK}","{MARK}")',
    f"+{MARK}|' /C calc'!A0",
    f"@SUM({MARK})",
    f"-2+3+{MARK}",
    f"\t={MARK}",
    f"<script>alert('{MARK}')</script>",
    f"\"><img src=x onerror=alert('{MARK}')>",
    f"' onmouseover='{MARK}",
    f"</script><svg onload={MARK}>",
    f"\x1b[31m{MARK}\x1b[2J",
    f"\x1b]0;{MARK}\x07\x9b5A",
    f"[bold red]{MARK}[/bold red][/]",
    f"[link=file:///etc/passwd]{MARK}",
    f"../../../{MARK}",
    f"/etc/{MARK}\\..\\x",
    f"'; DROP TABLE reading; -- {MARK}",
    f"{MARK}\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nSUMMARY:{MARK}",
    f"{MARK}\u202egnp.exe\u2066",
    f"{{{{ {MARK} }}}}{{% raise %}}${{{MARK}}}%s%n",
    f"{MARK}\x00\x08\x7f\u2028",
    f'{MARK};,\\\\n:"^~|`',
)
# Texts that are no words of people: marks of rows, choices of ours, what other rows are found by, results kept.
OWN = {
    *("uid", "visit_id", "content", "content_key", "kind", "table_name", "quantity", "work", "resets", "task"),
    *("status", "week", "start_week", "tapwear_version", "severity", "slot", "method", "field", "file_kind"),
    *("source", "positions", "words_kind", "assumptions", "document"),
}


def nasty_for(text: str) -> str:
    """One of the nasty texts before the text itself; the same for the same text, so that what belongs together does."""
    return f"{NASTY[zlib.crc32(text.encode()) % len(NASTY)]} {text}"


def build(folder: Path) -> Path:
    """A part of the invented fleet, with a plan, a snapshot, a deferral and limits; then every text made nasty."""
    path = folder / "hostile.db"
    create_store(path).close()
    picked = folder / "picked"
    picked.mkdir()
    for source in sorted(demo_folder().glob("*.csv")):
        with source.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
        wanted = [
            row
            for row in rows[1:]
            if any(cell in STATIONS or cell[:3] in {f"{s}-" for s in STATIONS} for cell in row[:3])
        ]
        if source.name in ("service_rules.csv", "crews.csv"):
            wanted = rows[1:]
        with (picked / source.name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([rows[0], *wanted])
    for words in (
        ("import", str(picked)),
        ("limits", "set", "resistor desiccant", "acetylene", "5000", "--because", "own choice", "--yes"),
        ("defer", "add", "AH-T1", "--engineer", "E", "--reason", "r", "--until", "2026-12-01", "--checks", "c",
         "--task", "contact service"),
        ("event", "AH-T2", "other", "--on", "2026-06-01", "--remark", "looked at"),
        ("condition", "add", "NS-T2", "infrared", "--words", "warm", "--act-by", "2027-01-01"),
        ("snapshot",),
        ("plan", "build", "2027"),
    ):  # fmt: skip
        done = run(path, *words)
        assert done.exit_code in (0, 3, 6), (words, done.output)
    poison(path)
    return path


def poison(path: Path) -> None:
    """Changes the texts of all tables; a column whose texts are fixed by the schema stays as it is."""
    with past_the_guards(path) as raw:
        raw.create_function("nasty", 1, lambda text: nasty_for(text))
        changed = 0
        for (table,) in raw.execute("SELECT name FROM sqlite_schema WHERE type='table'").fetchall():
            if table in ("schema_step", "derived", "entry_row"):
                continue
            for _, name, kind, *_ in raw.execute(f"PRAGMA table_info({table})").fetchall():
                if (
                    kind != "TEXT"
                    or name in OWN
                    or name.endswith(("_on", "_at"))
                    or name in ("as_of", "early", "middle", "late")
                ):
                    continue
                blank = name in ("remark", "note", "kit", "why", "reader", "done_by", "doubt", "reason", "laboratory")
                try:
                    which = "1" if blank else f"{name} <> ''"
                    if (table, name) == ("observation", "words"):  # else words of ours, of which people choose one
                        which = "quantity IN ('seepage', 'bottle_number', 'photo_numbers', 'remark')"
                    raw.execute(f"UPDATE {table} SET {name} = nasty({name}) WHERE {which}")  # noqa: S608
                    changed += 1
                except sqlite3.IntegrityError:
                    continue
    assert changed > 60


def tags(path: Path) -> list[str]:
    raw = sqlite3.connect(path)
    found = [tag for (tag,) in raw.execute("SELECT tag FROM tap_changer ORDER BY id")]
    raw.close()
    return found


def run(path: Path, *words: str) -> Result:
    env = {"NO_COLOR": "1", "COLUMNS": "120", "TAPWEAR_TODAY": TODAY, "TAPWEAR_NAME": "Kim"}
    return CliRunner(env=env).invoke(app, ["--db", str(path), *words])
