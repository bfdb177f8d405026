"""Whatever names a stopped unit says first that it is stopped: every command, in words, data and files.

Each command has a line in COMMANDS; one that has none fails the test, so that a new command cannot be forgotten.
"""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from desk_store import run
from openpyxl import load_workbook
from typer.testing import Result
from visits.visit_examples import entry, visit_file

from tapwear.cli.contents import CONTENTS, load
from tapwear.cli.intake import demo_folder
from tapwear.store.engine import create_store

OIL, ENGINEER = "OR-T1", "OR-T2"  # stopped by its oil, as the demo has it; and by an engineer
STOPPED = (OIL, ENGINEER)
DEMO_UNITS = (*STOPPED, "SC-T1", "DL-T2", "AH-T1", "AH-T2", "SP-05")
SINCE = "2022-01-01"  # readings and samples from then on
DEMO_FILES = (
    *("places", "units", "service_rules", "visit_rules", "readings", "events", "samples", "services", "conditions"),
    "observations",
)
WHY = ("--because", "manual, page 12")
DAY = "2026-06-30"
Words = tuple[str, ...]

# The commands, each with what is run, on a copy of the store, with files that are written into an empty folder OUT/; or
# with the reason for which none of what it prints or writes can name a unit.
COMMANDS: dict[str, tuple[Words, ...] | str] = {
    "visit": ((OIL, "--no-ask", "--counter", "121600"),),
    "log": ((OIL, "121600"),),
    "sample": ((OIL, "--on", "2026-06-27", "--acetylene", "2950", "--ethylene", "640"),),
    "service": ((OIL, "--work", "overhaul", "--as-found", "121600"),),
    "event": ((OIL, "inspection", "--remark", "exercised"),),
    "history": ((OIL,), (OIL, "--json"), (OIL, "--all"), (OIL, "--since", DAY, "--kind", "event")),
    "amend": ((OIL, "condition", "--on", "2026-06-03", "--set", "words=motor slow", *WHY),),
    "undo": (("--because", "entered for the wrong unit"),),
    "resolve": ((), ("--json",), (OIL,), (OIL, "--keep", "121500", "--because", "asked Robin")),
    "condition add": ((OIL, "infrared", "--words", "6 K above the main tank"),),
    "condition close": ((OIL, "motor_current", "--words", "brake set right"),),
    "condition list": ((), ("--json",), (OIL,)),
    "stop list": ((), ("--json",)),
    "stop show": ((OIL,), (OIL, "--json")),
    "stop raise": ((OIL, "--because", "smell of burnt oil"),),
    "stop release": (
        (OIL, "--by", "K. Arden", "--because", "open it", "--for-work-from", "2026-07-02"),
        (OIL, "--by", "K. Arden", "--because", "found and gone", "--cleared"),
    ),
    "tune": "tells of the fleet as a whole and names no unit",
    "unit add": "names the unit that it makes, which nothing can have stopped yet",
    "unit change": ((OIL, "--note", "lock stiff"),),
    "unit move": ((OIL, "--state", "workshop"),),
    "unit swap": ((OIL, "SP-05"), ("AH-T1", OIL)),
    "unit retire": ((OIL,),),
    "unit show": ((OIL,), (OIL, "--json")),
    "unit list": ((), ("--json",), ("--station", "OR")),
    "followups": ((), ("--json",), ("--unit", OIL), ("--station", "OR", "--all")),
    "followups add": ((OIL, "--words", "lock stiff"),),
    "followups close": ((OIL, "seepage", "--words", "gasket renewed"),),
    "followups reopen": ((OIL, "coating", "--because", "off again"),),
    "due": ((), ("--json",), ("--csv",), ("--all",), ("--station", "OR")),
    "why": ((OIL,), (OIL, "--json"), (OIL, "--if", "interval=60000"), (OIL, "--if", "interval=60000", "--json")),
    "next": ((), ("--json",), ("--csv",), ("--station", "OR", "--all")),
    "snapshot": "says how many dates it has kept, of no unit by name",
    "track": (("--all",), ("--json",)),
    "changes": (("--since", "2026-01-31", "--all"), ("--since", "2026-01-31", "--json")),
    "oil": (
        (OIL,),
        (OIL, "--json"),
        ("--fleet",),
        ("--fleet", "--all"),
        ("--fleet", "--json"),
        ("--requests",),
        ("--requests", "--json"),
        ("--requests", "--out", "OUT/samples.txt"),
        ("--requests", "--json", "--out", "OUT/samples.json"),
    ),
    "report": (
        ("--out", "OUT/fleet.html", "--units", "none"),
        (OIL, "--out", "OUT/one.html"),
        ("--out", "OUT/fleet.xlsx"),
        (OIL, ENGINEER, "--format", "json"),
    ),
    "backtest counts": (("--origins", "IN/origins.csv", "--out", "OUT/forecasts.csv"),),
    "backtest oil": (("--asof", "IN/asof.csv", "--out", "OUT/calls.csv"),),
    "visit-rule set": (("--unit", OIL, "--read", "30 days"),),
    "visit-rule list": ((), ("--json",)),
    "limits show": "limits and percentiles of groups, of no unit by name",
    "limits export": "limits of groups, of no unit by name",
    "limits set": (("resistor desiccant", "acetylene", "900", "--yes", *WHY),),
    "import": (("IN/bad/readings.csv",), ("IN/bad/readings.csv", "--dry-run"), ("IN/more/samples.csv",)),
    "findings": ((), ("--csv",)),
    "demo": (("fleet.db",),),
    "confirm": ((), ("--json",), ("--all", *WHY)),
    "init": "makes an empty store",
    "server roles": "grants on the tables, names no unit",
    "upgrade": "brings the schema on, and says how many rows there are, of no unit by name",
    "backup": "copies the file, and says how many rows there are, of no unit by name",
    "restore": "puts a file in place, and says how many rows there are, of no unit by name",
    "dump": "writes the tables themselves, that of stops among them, for restore: no list for people",
    "check": ((),),
    "sheet": (("--station", "OR", "--out", "OUT/or.html"),),
    "defer add": ((OIL, "--engineer", "K. Arden", "--reason", "peak", "--until", "2027-01-01", "--checks", "look"),),
    "defer end": ((OIL, *WHY),),
    "defer list": ((), ("--json",)),
    "plan build": (("2027", "--seconds", "1"),),
    "plan show": ((), ("--json",)),
    "plan list": ((),),
    "plan costs": "what lateness, trips and moves cost, of no unit by name",
    "plan publish": (("2027-a",),),
    "plan compare": (("2027-a", "2027-b"), ("2027-a", "2027-b", "--json")),
    "plan pin": ((OIL, "2027-W18"),),
    "plan unpin": ((OIL,),),
    "plan forbid": ((OIL, "2027-W20..2027-W25"),),
    "plan allow": ((OIL,),),
    "plan request": ((OIL, "asked"), (OIL, "cancelled")),
    "plan progress": ((OIL, "started"),),
    "plan work": ((OIL, "relay test"),),
    "plan ahead": ((), ("--json",)),
    "plan export": tuple(("--out", f"OUT/plan.{kind}", "--format", kind) for kind in ("csv", "xlsx", "ics", "html")),
    "plan outage-requests": ((), ("--out", "OUT/requests.html")),
    "plan job-sheets": (("--out", "OUT/sheets.html"),),
    "plan input close": "closes stations, names no unit",
    "plan input group": (("ring", "--unit", OIL),),
    "plan input crew": "hours of a region, names no unit",
    "plan input team": "people of a region, names no unit",
    "plan input holiday": "days of a team, names no unit",
    "plan input resource": "bookable things, names no unit",
    "plan input terms": (("--unit", OIL, "--approver", "control room"),),
    "plan input other": "outages of stations by others, names no unit",
    "plan input list": "what stations, crews and terms allow: given by people in words, and no list of units",
    "plan input drop": "takes a row of these back by its number, names no unit",
}

def leaves() -> Iterator[str]:
    """The full name of every command that does something by itself."""
    for name in CONTENTS:
        yield from _below(load(name), name)


def _below(command: Any, path: str) -> Iterator[str]:
    below = getattr(command, "commands", None)
    if below is None or command.invoke_without_command:
        yield path
    for name, one in (below or {}).items():
        yield from _below(one, f"{path} {name}")


def test_every_command_has_its_line() -> None:
    every = list(leaves())
    assert [path for path in every if path not in COMMANDS] == []
    assert [path for path in COMMANDS if path not in every] == []


# --- the store, made once -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's fleet with two stopped units, each in every list: conditions, follow-ups, rules, two numbers for one
    day, held rows, findings, a snapshot of January; Kim's last entry is about one of them."""
    folder = tmp_path_factory.mktemp("stops")
    db, made = folder / "fleet.db", folder / "IN"
    for place in (made, made / "bad", made / "more"):
        place.mkdir()
    write(made / "origins.csv", "unit_id,origin,horizon_days\nOR-T1,2025-06-30,365\nAH-T1,2025-06-30,365\n")
    write(made / "asof.csv", "unit_id,as_of\nOR-T1,2026-06-30\nAH-T1,2026-06-30\n")
    write(made / "bad" / "readings.csv", "unit,read_on,value\nOR-T1,2026-06-29,many\nXX-T9,2026-06-29,1\n")
    write(made / "more" / "samples.csv", "unit,sampled_on,acetylene_ul_per_l,ethylene_ul_per_l\nOR-T1,2026-06-27,9,5\n")
    create_store(db).close()
    done(run(db, "import", str(small_demo(folder / "demo"))))
    done(run(db, "snapshot", "--as-of", "2026-01-31"))
    for number, (name, value) in enumerate((("Kim", 121_500), ("Robin", 121_050))):
        seen = entry(
            id=f"{number}" * 32, unit=OIL, visited_on="2026-06-29", by=name, counters=[{"value": value}],
            observations=None,
        )  # fmt: skip
        done(run(db, "import", str(visit_file(folder / f"{name}.json", seen))), 3 if number else 0)
    rules = "unit,task,interval_operations\nOR-T1,contact service,700000\nOR-T1,contact replacement,3500000\n"
    write(folder / "service_rules.csv", rules)  # both are held; one is confirmed, so that `check` has something to say
    done(run(db, "import", str(folder / "service_rules.csv")), 3)
    held = json.loads(run(db, "confirm", "--json").stdout)
    assert [one["units"] for one in held] == [[OIL], [OIL]]
    done(run(db, "confirm", str(held[1]["number"]), *WHY))
    done(run(db, "import", str(made / "bad" / "readings.csv")), 3)
    for words in (
        ("visit-rule", "set", "--unit", OIL, "--read", "90 days"),
        ("condition", "add", OIL, "motor_current", "--on", "2026-06-03", "--words", "peak higher"),
        ("followups", "add", OIL, "--kind", "coating", "--words", "coating off"),
        ("followups", "close", OIL, "coating", "--words", "painted"),
        ("followups", "add", OIL, "--kind", "seepage", "--words", "drain valve"),
        ("defer", "add", ENGINEER, "--engineer", "K. Arden", "--reason", "x", "--until", "2027-06-01", "--checks", "x"),
        ("plan", "build", "2027", "--seconds", "1"),
        ("stop", "raise", ENGINEER, "--because", "smell of burnt oil"),
        ("condition", "add", OIL, "other", "--words", "cabinet door bent"),
    ):
        done(run(db, *words))
    done(run(db, "plan", "build", "2027", "--seconds", "1"))
    return folder


def small_demo(folder: Path) -> Path:
    """The demo's files with a few of its units: stopped, alarmed and ordinary ones, and a spare."""
    folder.mkdir()
    for name in DEMO_FILES:
        rows = list(csv.DictReader((demo_folder() / f"{name}.csv").read_text(encoding="utf-8").splitlines()))
        day = "read_on" if "read_on" in rows[0] else "sampled_on"
        kept = [row for row in rows if row.get("unit", "") in ("", *DEMO_UNITS) and row.get(day, SINCE) >= SINCE]
        out = io.StringIO()
        writer = csv.DictWriter(out, rows[0])
        writer.writeheader()
        writer.writerows(kept)
        write(folder / f"{name}.csv", out.getvalue())
    return folder


def write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")


def done(result: Result, code: int = 0) -> Result:
    assert result.exit_code == code, result.output
    return result


# --- what is held against it ----------------------------------------------------------------------------------


# Answers to questions of past days, in the form in which they are scored; the stop is said before they are written.
SCORED = ("forecasts.csv", "calls.csv")


def mention(tag: str) -> re.Pattern[str]:
    return re.compile(rf"(?<![\w-]){re.escape(tag)}(?![\w-])")


def faults_of_text(text: str) -> list[str]:
    """Stopped units that are named before the stop is said: in a line in which it does not stand before the name."""
    found = []
    for tag in STOPPED:
        for line in text.splitlines():
            at = mention(tag).search(line)
            if at is not None:
                found += [] if "STOP" in line[: at.start()] else [f"{tag} first in: {line[:160]}"]
                break
    return found


def faults_of_json(content: Any, at: str = "") -> list[str]:
    """Records of a stopped unit that do not begin with its stop; and texts that name one before any stop was said."""
    if isinstance(content, dict):
        tag = content.get("unit", content.get("tag"))
        mine = []
        if isinstance(tag, str) and tag in STOPPED:
            first = next(iter(content))
            mine = [] if first == "stop" and content["stop"] else [f"{at}: {first!r} first, {content.get('stop')!r}"]
        return mine + [fault for name, one in content.items() for fault in faults_of_json(one, f"{at}/{name}")]
    if isinstance(content, list):
        return [fault for i, one in enumerate(content) for fault in faults_of_json(one, f"{at}/{i}")]
    return []


def faults_of_json_text(text: str) -> list[str]:
    early = [tag for tag in STOPPED if (at := mention(tag).search(text)) and "STOP" not in text[: at.start()]]
    return [f"{tag} before any stop" for tag in early] + faults_of_json(json.loads(text))


def faults_of_rows(rows: list[list[str]], where: str) -> list[str]:
    """Rows of a table that name a stopped unit without its stop in the first column, which is called stop."""
    named = [row for row in rows[1:] if any(mention(tag).search(cell) for tag in STOPPED for cell in row)]
    found = [f"{where}: {row[:6]}" for row in named if not row[0].startswith("STOP")]
    return found + ([f"{where}: headings {rows[0][:3]}"] if named and rows[0][0] != "stop" else [])


def faults_of_file(path: Path) -> tuple[str, list[str]]:
    """What a file says, as text, and what is wrong with it."""
    if path.suffix == ".xlsx":
        found, said = [], ""
        for sheet in load_workbook(path).worksheets:
            rows = [["" if cell is None else str(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]
            text = "\n".join(" ".join(row) for row in rows)
            sentences = len(rows[0]) == 1 or sheet.title == "assumptions"
            found += faults_of_text(text) if sentences else faults_of_rows(rows, sheet.title)
            said += text
        return said, found
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".json":
        return text, faults_of_json_text(text)
    if path.name in SCORED:
        return "", []
    if path.suffix == ".csv":
        return text, faults_of_rows(list(csv.reader(io.StringIO(text))), path.name)
    if path.suffix == ".html":
        return text, faults_of_html(text)
    return text, faults_of_text(text)


def faults_of_html(text: str) -> list[str]:
    """Stopped units named before any stop; and rows of lists that do not have it before the unit."""
    found = [tag for tag in STOPPED if (at := mention(tag).search(text)) and "STOP" not in text[: at.start()]]
    for row in re.findall(r"<tr>(.*?)</tr>", text, re.DOTALL):
        for tag in STOPPED:
            head = re.search(rf'<th scope="row" class="tag">.*?{re.escape(tag)}\b', row)
            if head is not None and "STOP" not in row[: head.start()]:
                found.append(f"row of {tag}: {row[:120]}")
    return found


def faults_of(result: Result, words: Words, out: Path) -> list[str]:
    """Everything that names a stopped unit before its stop, in what was printed and in the files that were written."""
    machine = {"--json": "json", "--csv": "csv"}
    kind = next((machine[word] for word in words if word in machine), "json" if "json" in words else "")
    found, said = [], result.stderr + result.stdout
    seen = (result.output, result.stdout)  # both as at a terminal, and what goes on into a file or a program
    if kind and result.stdout.strip():
        parts = (faults_of_json_text(result.stdout),) if kind == "json" else (
            faults_of_rows(list(csv.reader(io.StringIO(result.stdout))), "stdout"),
        )  # fmt: skip
        found += [*parts[0], *faults_of_text(result.stderr)]
    else:
        found += [fault for text in seen for fault in faults_of_text(text)]
    for path in sorted(out.iterdir()):
        if path.suffix in (".xlsx", ".json", ".csv", ".html", ".txt", ".ics"):
            text, wrong = faults_of_file(path)
            said += text
            found += wrong
    return found if mention(OIL).search(said) or mention(ENGINEER).search(said) else ["no stopped unit is named"]


RUNS = [(path, words) for path, some in COMMANDS.items() if not isinstance(some, str) for words in some]


@pytest.mark.parametrize(("path", "words"), RUNS, ids=lambda part: part if isinstance(part, str) else " ".join(part))
def test_the_stop_is_said_before_the_unit_is_named(
    path: str, words: Words, template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    db = Path(shutil.copy(template / "fleet.db", tmp_path / "fleet.db"))
    shutil.copytree(template / "IN", tmp_path / "IN")
    (tmp_path / "OUT").mkdir()
    monkeypatch.chdir(tmp_path)
    result = run(db, *path.split(), *words)
    assert result.exit_code in (0, 2, 3, 6), result.output
    assert faults_of(result, words, tmp_path / "OUT") == []
