"""Kills writers at random moments (SIGKILL) and proves what is left: sound, and exactly what was acknowledged.

python tests/trust/crash.py [--kills 100] [--seed 1] [--only KIND ...]

A writer says `try N` before each piece of work and `did N` once Tapwear has come back from it. When it is killed, the
store must open, pass SQLite's proof and every reference, hold all that it said it did, and of the piece it was at
either everything or nothing. What a person would then do, give the last command again, must lead to everything once.
What a loss of power does to a disk is beyond this; each commit waits for the disk
(synchronous=FULL).
"""

from __future__ import annotations

import argparse
import atexit
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[1] / name) for name in ("store", "cli")]

from desk_store import run  # noqa: E402
from old_stores import old_store  # noqa: E402
from store_content import named, proved  # noqa: E402

from tapwear.store.backup import back_up, prove  # noqa: E402
from tapwear.store.checking import check_store  # noqa: E402
from tapwear.store.dump import dump_store  # noqa: E402
from tapwear.store.engine import Store, create_store, open_store  # noqa: E402
from tapwear.store.entries import add_reading  # noqa: E402
from tapwear.store.find import find_unit  # noqa: E402
from tapwear.store.importing import store_intake  # noqa: E402
from tapwear.store.migrate import upgrade  # noqa: E402
from tapwear.store.plans import load_plan, save_plan  # noqa: E402
from tapwear.store.recording import Stamp  # noqa: E402
from tapwear.store.register import add_unit  # noqa: E402
from tapwear.store.restore import restore  # noqa: E402
from tapwear.store.undump import load_dump  # noqa: E402
from tapwear.store.unfinished import leftovers  # noqa: E402
from tapwear.store.version import LATEST  # noqa: E402
from tapwear.store.visiting import record_visit  # noqa: E402
from tapwear.visits.types import Intake, Row  # noqa: E402
from tapwear.visits.visit import CounterSeen, Visit  # noqa: E402

TODAY = date(2026, 6, 30)
AT = datetime(2026, 6, 30, 12, tzinfo=UTC)
EVER = datetime(2100, 1, 1, tzinfo=UTC)  # after all that is recorded, whatever this machine's clock says
BEGIN = date(1990, 1, 1)
ROWS = 400  # of each file that is imported
UNITS = 3


@cache
def _made() -> Path:
    """A folder with what the writers work with, made once in a process."""
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    store = create_store(folder / "fleet.db")
    with store.rows(writing=True) as connection:
        for unit in range(UNITS):
            given = {"unit": f"T{unit}", "station": "NORTH", "bank": f"B{unit}", "counter_digits": 9}
            add_unit(connection, given, Stamp("setup", AT))
    store.close()
    old = open_store(old_store(1, folder / "old.db"), any_version=True)
    upgrade(old, folder / "old-backup.db")
    old.close()
    return folder


def prepare(folder: Path) -> None:
    """What the writers work with: a store, and one of an older schema that holds a plan."""
    shutil.copytree(_made(), folder, dirs_exist_ok=True)


# --- the writers: each does piece after piece of work, numbered from 0 -----------------------------------------


def visits(folder: Path) -> Callable[[int], None]:
    """Readings, every third one corrected at once in a piece of its own."""
    store = open_store(folder / "fleet.db")

    def piece(number: int) -> None:
        corrects = number % 3 == 2
        which = number - 1 if corrects else number
        with store.rows(writing=True) as connection:
            unit = find_unit(connection, f"T{which % UNITS}")
            values = {"value": number, "read_on": BEGIN + timedelta(days=which)}
            add_reading(connection, unit, values, Stamp("Kim", AT, "misread" if corrects else ""), replace=corrects)

    return piece


def commands(folder: Path) -> Callable[[int], None]:
    """The same readings, each by a process of the program itself."""

    def piece(number: int) -> None:
        words = [
            "log",
            f"T{number % UNITS}",
            str(number),
            "--on",
            str(BEGIN + timedelta(days=number)),
            "--sure",
            "seen",
        ]
        program = [sys.executable, "-m", "tapwear", "--db", str(folder / "fleet.db")]
        subprocess.run([*program, *words], check=True, capture_output=True)

    return piece


EACH = 40  # rows of a file that the program imports
WORDS = ("log", "visit", "service", "import")


def program(folder: Path, number: int, store: str = "fleet.db") -> None:
    """The program's command of that number: a reading, a visit, work or a file, each on a day of its own."""
    on = ("--on", str(BEGIN + timedelta(days=number)))
    unit, file = f"T{number % UNITS}", folder / f"file{number}" / "readings.csv"
    if number % 4 == 3:
        file.parent.mkdir(exist_ok=True)
        days = (date(1970, 1, 1) + timedelta(days=number * EACH + row) for row in range(EACH))
        lines = [f"{unit},{day},{number},controller,file {number}" for day in days]
        file.write_text("\n".join(["unit,read_on,value,source,reader", *lines]) + "\n", encoding="utf-8")
    words = {
        "log": ("log", unit, str(number), *on, "--sure", "seen"),
        "visit": ("visit", unit, "--counter", str(number), "--oil-level", "normal", *on, "--sure", "seen"),
        "service": ("service", unit, "--work", "inspection", *on, "--by", "Kim"),
        "import": ("import", str(file), "--by", "Kim"),
    }[WORDS[number % 4]]
    done = run(folder / store, *words, today=str(TODAY))
    assert done.exit_code in (0, 6), done.output


def book(folder: Path) -> Callable[[int], None]:
    """Commands of the program, one after the other in one process, so that kills fall into their work."""
    shutil.copy(folder / "fleet.db", folder / "warm.db")
    for number in range(len(WORDS)):  # so that no time goes into loading the program
        program(folder, number, "warm.db")
    return lambda number: program(folder, number)


def whole_visits(folder: Path) -> Callable[[int], None]:
    """Visits of two counters and four observations each."""
    store = open_store(folder / "fleet.db")

    def piece(number: int) -> None:
        seen = {
            "oil_temp_c": float(number % 80),
            "oil_level": "normal",
            "breather": "good",
            "remark": f"visit {number}",
        }
        counters = (CounterSeen(number), CounterSeen(number, source="controller"))
        day = BEGIN + timedelta(days=number)
        visit = Visit(f"{number:032x}", f"T{number % UNITS}", day, counters=counters, observations=seen)
        with store.rows(writing=True) as connection:
            record_visit(connection, visit, Stamp("Kim", AT))

    return piece


def imports(folder: Path) -> Callable[[int], None]:
    """Files of many rows each."""
    store = open_store(folder / "fleet.db")

    def piece(number: int) -> None:
        which = {"unit": f"T{number % UNITS}", "source": ("mechanical", "controller")[number % 2]}
        rows = []
        for line in range(ROWS):
            day = BEGIN + timedelta(days=(number // UNITS * ROWS + line) % 13_000)
            given = {**which, "read_on": day, "value": number * ROWS + line, "reader": f"file {number}"}
            rows.append(Row("readings", "f.csv", line, given))
        store_intake(store, Intake(tuple(rows), (), (), ROWS), by="Kim", now=AT, today=TODAY, what=f"file {number}")

    return piece


def plans(folder: Path) -> Callable[[int], None]:
    store = open_store(folder / "old.db")
    _, document = load_plan(store, None)

    def piece(number: int) -> None:
        save_plan(store, document, name=f"plan {number}", by="Kim", at=AT)

    return piece


def upgrades(folder: Path) -> Callable[[int], None]:
    def piece(number: int) -> None:
        store = open_store(old_store(1, folder / f"old{number}.db"), any_version=True)
        upgrade(store, folder / f"old{number}-backup.db")
        store.close()

    return piece


def backups(folder: Path) -> Callable[[int], None]:
    store = open_store(folder / "old.db")
    return lambda number: back_up(store, folder / f"copy{number}.db") and None


def dumps(folder: Path) -> Callable[[int], None]:
    store = open_store(folder / "old.db")
    return lambda number: dump_store(store, folder / f"dump{number}", at=AT) and None


def restores(folder: Path) -> Callable[[int], None]:
    """The store of two kinds in turn; what stood there before is kept aside each time."""
    sources = [folder / "old-backup.db", folder / "second.db"]
    if not sources[1].exists():
        back_up(open_store(folder / "old.db"), sources[1])

    def piece(number: int) -> None:
        restore(sources[number % 2], folder / "fleet.db", aside=folder / f"aside{number}.db", replace=True)

    return piece


# --- what must hold afterwards ----------------------------------------------------------------------------------


def _query(path: Path, query: str) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as raw:
        return raw.execute(query).fetchall()


def _exactly(found: set[int], did: int, tried: int) -> None:
    """All pieces that were acknowledged are there, and none but the one that was tried last."""
    assert set(range(did)) <= found <= set(range(tried)), (sorted(found)[-3:], did, tried)


def after_visits(folder: Path, did: int, tried: int) -> None:
    rows = _query(folder / "fleet.db", "SELECT value, supersedes_id FROM reading")
    _exactly({int(str(value)) for value, _ in rows}, did, tried)
    assert len(rows) == len({value for value, _ in rows})
    assert all((old is not None) == (int(str(value)) % 3 == 2) for value, old in rows)


def after_commands(folder: Path, did: int, tried: int) -> None:
    _exactly({int(str(value)) for (value,) in _query(folder / "fleet.db", "SELECT value FROM reading")}, did, tried)


def after_book(folder: Path, did: int, tried: int) -> None:
    """What was acknowledged is there once, of the last all or nothing; given again, it is there once, and whole."""
    _once(folder, did, tried)
    program(folder, did)
    _once(folder, did + 1, did + 1)


def _once(folder: Path, did: int, tried: int) -> None:
    path = folder / "fleet.db"
    rows = _query(path, "SELECT value, reader FROM reading")
    readings = Counter((int(str(value)), str(reader)[:5]) for value, reader in rows)
    logged = Counter({value: times for (value, reader), times in readings.items() if reader != "file "})
    filed = Counter({value: times for (value, reader), times in readings.items() if reader == "file "})
    noted = Counter(_day(on) for (on,) in _query(path, "SELECT observed_on FROM observation"))
    visits = Counter(_day(on) for (on,) in _query(path, "SELECT visited_on FROM visit"))
    worked = Counter(_day(on) for (on,) in _query(path, "SELECT done_on FROM service"))
    assert noted == visits == Counter(number for number in logged if number % 4 == 1)
    assert set(logged.values()) | set(worked.values()) <= {1}
    assert set(filed.values()) <= {EACH}
    _exactly({*logged, *worked, *filed}, did, tried)
    runs = _query(path, "SELECT count(*) FROM import_run")
    assert runs == [(len(filed),)]


def _day(text: object) -> int:
    return (date.fromisoformat(str(text)) - BEGIN).days


def after_whole_visits(folder: Path, did: int, tried: int) -> None:
    seen = Counter(int(str(visit), 16) for (visit,) in _query(folder / "fleet.db", "SELECT visit_id FROM observation"))
    read = Counter(int(str(value)) for (value,) in _query(folder / "fleet.db", "SELECT value FROM reading"))
    _exactly(set(read), did, tried)
    assert set(read) == set(seen)
    assert set(read.values()) <= {2}
    assert len(set(seen.values())) <= 1


def after_imports(folder: Path, did: int, tried: int) -> None:
    rows = _query(folder / "fleet.db", "SELECT reader, count(*) FROM reading GROUP BY reader")
    assert {number for _, number in rows} <= {ROWS}
    _exactly({int(str(reader).split()[1]) for reader, _ in rows}, did, tried)
    runs = _query(folder / "fleet.db", "SELECT what FROM import_run")
    assert sorted(what for (what,) in runs) == sorted(reader for reader, _ in rows)


def after_plans(folder: Path, did: int, tried: int) -> None:
    rows = _query(
        folder / "old.db", "SELECT name, count(*) FROM plan JOIN plan_job ON plan_id = plan.id GROUP BY plan.id, name"
    )
    assert len({number for _, number in rows}) == 1
    _exactly({int(str(name).split()[1]) for name, _ in rows if str(name).startswith("plan ")}, did, tried)


def after_upgrades(folder: Path, did: int, tried: int) -> None:
    for number in range(tried):
        path = folder / f"old{number}.db"
        if not path.exists() or not _query(path, "SELECT 1 FROM sqlite_schema WHERE name = 'schema_step'"):
            assert number >= did  # it was killed while the old store itself was being written
            continue
        proof = prove(path)
        assert proof.faults == ()
        assert proof.version in ((LATEST,) if number < did else (1, LATEST))
        assert proof.rows["reading"] == 38 or number >= did
        if proof.version == LATEST:
            assert prove(folder / f"old{number}-backup.db").version == 1
            assert check_store(open_store(path), today=TODAY, now=EVER) == ()


def after_backups(folder: Path, did: int, tried: int) -> None:
    found = {int(path.stem.removeprefix("copy")): prove(path) for path in folder.glob("copy*.db")}
    _exactly(set(found), did, tried)
    wanted = prove(folder / "old.db")
    assert all(proof == wanted for proof in found.values())


def after_dumps(folder: Path, did: int, tried: int) -> None:
    found = [path for path in folder.glob("dump*") if path.is_dir() and ".part" not in path.name]
    _exactly({int(path.name.removeprefix("dump")) for path in found}, did, tried)
    wanted = named(folder / "old.db")
    for path in found[-3:]:
        load_dump(path, folder / "again.db")
        assert named(folder / "again.db") == wanted


def after_restores(folder: Path, did: int, tried: int) -> None:
    first, second = prove(folder / "old-backup.db"), prove(folder / "second.db")
    now = prove(folder / "fleet.db")
    begun = now.rows.get("reading") == 0
    assert (begun and did == 0) or now in ((first, second) if tried > did else ((first, second)[(did - 1) % 2],))
    assert {number for number in range(tried) if (folder / f"aside{number}.db").exists()} >= set(range(did))


KINDS: dict[str, tuple[Callable[[Path], Callable[[int], None]], Callable[[Path, int, int], None]]] = {
    "visits and corrections": (visits, after_visits),
    "commands": (commands, after_commands),
    "log, visit, service, import": (book, after_book),
    "whole visits": (whole_visits, after_whole_visits),
    "import": (imports, after_imports),
    "plan": (plans, after_plans),
    "upgrade": (upgrades, after_upgrades),
    "backup": (backups, after_backups),
    "dump": (dumps, after_dumps),
    "restore": (restores, after_restores),
}


def work(kind: str, folder: Path) -> None:
    """The writer: piece after piece until it is killed."""
    piece = KINDS[kind][0](folder)
    os.write(1, b"ready\n")
    for number in range(1_000_000):
        os.write(1, b"try\n")
        piece(number)
        os.write(1, b"did\n")


def kill_one(
    kind: str, folder: Path, rng: random.Random, longest: float = 1.5, *, forked: bool = False
) -> tuple[int, int]:
    """Lets a writer work in `folder`, kills it, proves what is left. Pieces acknowledged, and pieces tried.

    forked : the writer is a copy of this process, which has loaded the program already
    """
    prepare(folder)
    said = (_forked if forked else _started)(kind, folder, lambda: time.sleep(rng.uniform(0, longest)))
    did, tried = said.count(b"did"), said.count(b"try")
    for name in ("fleet.db", "old.db"):
        proved(folder / name)
        store = open_store(folder / name, any_version=True)
        if prove(folder / name).version == LATEST:
            found = check_store(store, today=TODAY + timedelta(days=400), now=EVER)
            assert found == (), found
        _still_takes(store)
    KINDS[kind][1](folder, did, tried)
    for left in leftovers(folder, clear=True):
        assert left.doubt == "" or left.size == 0, left  # killed before it had written its mark
    return did, tried


def _started(kind: str, folder: Path, wait: Callable[[], None]) -> bytes:
    """What a writer of its own said until it was killed."""
    words = [sys.executable, __file__, "--work", kind, "--folder", str(folder)]
    writer = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, bufsize=0, start_new_session=True)
    assert writer.stdout is not None
    assert writer.stderr is not None
    first = writer.stdout.readline()
    wait()
    os.killpg(writer.pid, signal.SIGKILL)  # with what it has started
    said, complaint = writer.communicate()
    assert first == b"ready\n", complaint.decode()
    assert writer.returncode == -signal.SIGKILL, complaint.decode()
    return said


def _forked(kind: str, folder: Path, wait: Callable[[], None]) -> bytes:
    """The same of a copy of this process."""
    reads, writes = os.pipe()
    number = os.fork()
    if number == 0:
        try:
            os.setsid()
            os.dup2(writes, 1)
            work(kind, folder)
        finally:
            os._exit(1)  # which nobody ever sees: it works until it is killed
    os.close(writes)
    with os.fdopen(reads, "rb", buffering=0) as stream:
        first = stream.readline()
        wait()
        os.killpg(number, signal.SIGKILL)
        said = stream.read()
    _, status = os.waitpid(number, 0)
    assert first == b"ready\n"
    assert os.WIFSIGNALED(status)
    return said


def _still_takes(store: Store) -> None:
    """Whoever comes next can take the lock."""
    with store.rows(writing=True) as connection:
        connection.exec_driver_sql("SELECT count(*) FROM reading").scalar()


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=list(KINDS), action="append", help="only writers of this kind")
    parser.add_argument("--forked", action="store_true", help="quicker: writers are copies of this process")
    parser.add_argument("--work", help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.work:
        work(asked.work, asked.folder)
        return
    rng = random.Random(asked.seed)
    begun = time.monotonic()
    told: dict[str, list[tuple[int, int]]] = {kind: [] for kind in asked.only or KINDS}
    for number in range(asked.kills):
        kind = list(told)[number % len(told)]
        with tempfile.TemporaryDirectory() as folder:
            told[kind].append(kill_one(kind, Path(folder), rng, forked=asked.forked))
        if number % 25 == 24:
            print(f"{number + 1} kills", flush=True)
    for kind, outcomes in told.items():
        midway = sum(tried > did for did, tried in outcomes)
        done = sum(did for did, _ in outcomes)
        print(f"{kind}: {len(outcomes)} kills, {midway} of them in the middle of a piece; {done:,} pieces acknowledged")
    took = time.monotonic() - begun
    print(f"{asked.kills} kills in {took:.0f} s: every store sound, nothing lost, nothing half done")


if __name__ == "__main__":
    main()
