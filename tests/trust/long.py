"""The long part of the tests of trust, one after the other; prints what each measured.

python tests/trust/long.py [--kills 100] [--visits 1000] [--readings 1000000]
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent


def main() -> None:
    """Entry point. Ends at the first part that fails."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=100, help="writers killed at random moments")
    parser.add_argument("--visits", type=int, default=1_000, help="of each of eight writers at once")
    parser.add_argument("--readings", type=int, default=1_000_000, help="rows of one file that is imported twice")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        large = str(HERE.parent / "bench" / "speed_import.py")
        for words in (
            [str(HERE / "crash.py"), "--kills", str(asked.kills)],
            [str(HERE / "many.py"), "--visits", str(asked.visits)],
            [large, "--out", f"{folder}/in", "--readings", str(asked.readings)],
        ):
            print("\n$", Path(words[0]).name, *words[1:], flush=True)
            subprocess.run([sys.executable, *words], check=True)


if __name__ == "__main__":
    main()
