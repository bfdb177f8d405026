"""Prints how long commands take in a new process, median of seven, beside the imports that set the scale.

Usage: python tests/bench/start_up.py
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

TIMES = 7


def seconds(words: list[str], environment: dict[str, str]) -> float:
    """Median wall time of a new Python process [s]."""
    taken = []
    for _ in range(TIMES):
        started = time.perf_counter()
        subprocess.run([sys.executable, *words], env=environment, capture_output=True, check=True)
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "TAPWEAR_DB": str(Path(folder) / "fleet.db"), "TAPWEAR_TODAY": "2026-11-01"}
        tapwear = [sys.executable, "-m", "tapwear"]
        for words in (
            ["init"],
            ["unit", "add", "T1", "--station", "NORTH", "--digits", "6"],
            *(["log", "T1", str(1000 + 100 * m), "--on", f"2026-{m:02d}-01", "--sure", "start"] for m in range(1, 10)),
        ):
            subprocess.run([*tapwear, *words], env=environment, check=True, capture_output=True)
        log = ["log", "T1", "1999", "--on", "2026-10-01", "--sure", "x", "--replace", "--because", "y"]
        for name, program in (
            ("python -c pass", ["-c", "pass"]),
            ("import typer, sqlmodel", ["-c", "import typer, sqlmodel"]),
            ("tapwear --help", ["-m", "tapwear", "--help"]),
            ("tapwear log", ["-m", "tapwear", *log]),
            ("tapwear unit list", ["-m", "tapwear", "unit", "list"]),
        ):
            print(f"{name:<24}{seconds(program, environment):6.3f} s")


if __name__ == "__main__":
    main()
