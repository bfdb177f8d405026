"""Prints how time and memory grow with the fleet: commands in new processes on invented fleets, wall time [s], CPU time
of all processes [s], and the most memory that all processes together held [GB].

    python tests/bench/scale.py [--units 1000 10000 100000] [--readings 100] [--samples 10] [--keep FOLDER] [--only due]

`--keep` leaves the stores in a folder, and uses those that are there already: 100,000 units take some minutes to write
and 1.7 GB. Memory is what /proc says (Linux); elsewhere it is left out.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from large_store import AS_OF, make

DAY = AS_OF.isoformat()
COMMANDS: dict[str, tuple[int, list[str]]] = {  # times, of which the fastest counts; words
    "dump": (1, ["dump", "{folder}/dump"]),
    "restore": (1, ["--db", "{folder}/again.db", "restore", "{folder}/dump"]),
    "due": (1, ["due", "--as-of", DAY]),
    "plan": (1, ["plan", "build", str(AS_OF.year + 1), "--as-of", DAY, "--seconds", "20"]),
    "next": (1, ["next", "--all", "--as-of", DAY]),
    "workbook": (1, ["report", "--out", "{folder}/fleet.xlsx", "--as-of", DAY]),
    "oil of the fleet": (1, ["oil", "--fleet", "--as-of", DAY]),
    "oil requests": (1, ["oil", "--requests", "--as-of", DAY]),
    "changes": (1, ["changes", "--since", f"{AS_OF - timedelta(days=30)}", "--as-of", DAY]),
    "track": (1, ["track", "--as-of", DAY]),
    "plan ahead": (1, ["plan", "ahead", "--as-of", DAY]),
    "plan export": (1, ["plan", "export", "--format", "xlsx", "--out", "{folder}/plan.xlsx"]),
    "sheet of a station": (1, ["sheet", "--station", "S00010", "--out", "{folder}/round.html", "--as-of", DAY]),
    "followups": (1, ["followups", "--as-of", DAY]),
    "check": (1, ["check"]),
    "backup": (1, ["backup", "{folder}/copy.db"]),
    "why": (5, ["why", "U000103", "--as-of", DAY]),
    "report of one unit": (5, ["report", "U000103", "--out", "{folder}/one.html", "--force", "--as-of", DAY]),
    "oil of one unit": (5, ["oil", "U000103", "--as-of", DAY]),
    "log": (5, ["log", "U000103", "130500", "--on", DAY, "--sure", "to measure"]),
    "history": (5, ["history", "U000103"]),
    "unit show": (5, ["unit", "show", "U000103"]),
}


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, nargs="+", default=[1_000, 10_000, 100_000])
    parser.add_argument("--readings", type=int, default=100)
    parser.add_argument("--samples", type=int, default=10)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--only", nargs="+", choices=[*COMMANDS], default=[*COMMANDS])
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = asked.keep or Path(scratch)
        for units in asked.units:
            path = folder / f"fleet_{units}_{asked.readings}_{asked.samples}.db"
            if not path.exists():
                started = time.perf_counter()
                make(path, units, asked.readings, asked.samples)
                took = time.perf_counter() - started
                print(f"{units:7,} units  written in {took:.0f} s, {path.stat().st_size / 1e6:.0f} MB")
            made = Path(scratch) / "made"
            made.mkdir()
            for name in asked.only:
                times, words = COMMANDS[name]
                runs = [_run(path, [word.format(folder=made) for word in words]) for _ in range(times)]
                wall, cpu, memory = min(runs)
                print(f"{units:7,} units  {name:20s} {wall:7.2f} s, CPU {cpu:7.2f} s, {memory:5.2f} GB", flush=True)
            shutil.rmtree(made)


def _run(path: Path, words: list[str]) -> tuple[float, float, float]:
    """Wall time, CPU time, and the most memory of one command and its processes together."""
    before = os.times()
    started = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, "-m", "tapwear", "--db", str(path), *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        most = 0.0
        while process.poll() is None:
            most = max(most, _memory_gb(process.pid))
            time.sleep(0.02 if time.perf_counter() - started < 5 else 0.5)
        assert process.stderr is not None
        told = process.stderr.read()
    wall = time.perf_counter() - started
    if process.returncode not in (0, 6):
        raise SystemExit(f"{' '.join(words)}: exit code {process.returncode}\n{told}")
    after = os.times()
    cpu = after.children_user + after.children_system - before.children_user - before.children_system
    return wall, cpu, most


def _memory_gb(root: int) -> float:
    """Memory of a process and of all that it started, shared pages counted once [GB]; NaN where /proc is not."""
    parents = {}
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            parents[int(folder.name)] = int((folder / "stat").read_text().rsplit(")", 1)[1].split()[1])
        except OSError:
            continue
    family = {root}
    while more := {pid for pid, parent in parents.items() if parent in family} - family:
        family |= more
    total = 0
    for pid in family:
        try:
            lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
        except OSError:
            continue
        total += sum(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
    return total / 1e6 if parents else float("nan")


if __name__ == "__main__":
    main()
