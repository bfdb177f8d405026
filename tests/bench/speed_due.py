"""Prints how long `tapwear due` takes in a new process on an invented fleet: wall time, median of seven [s].

    python tests/bench/speed_due.py [--units 300] [--readings 80] [--samples 10] [--times 7]
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from large_store import AS_OF, make


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=300)
    parser.add_argument("--readings", type=int, default=80)
    parser.add_argument("--samples", type=int, default=10)
    parser.add_argument("--times", type=int, default=7)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "fleet.db"
        make(path, asked.units, asked.readings, asked.samples)
        words = [sys.executable, "-m", "tapwear", "--db", str(path), "due", "--as-of", AS_OF.isoformat()]
        taken = []
        for _ in range(asked.times):
            started = time.perf_counter()
            subprocess.run(words, env=os.environ, capture_output=True, check=True)
            taken.append(time.perf_counter() - started)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(
        f"due, {asked.units:,} units x {asked.readings} readings, {asked.samples} samples: "
        f"median {statistics.median(taken):.2f} s, from {min(taken):.2f} to {max(taken):.2f} s; "
        f"CPU {(used.ru_utime + used.ru_stime) / asked.times:.2f} s a run; peak {used.ru_maxrss / 1e6:.2f} GB"
    )


if __name__ == "__main__":
    main()
