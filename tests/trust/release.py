"""Builds the wheel and the source archive, installs one after the other in a new environment, runs the demo there; once
for each Python, and once more with the lowest versions that pyproject.toml allows.

    python tests/trust/release.py [--python python3.12 ...] [--tests]

Without --python the interpreter that runs this is tried, and those of the others that Tapwear is for which are here;
--tests also runs the quick tests under each.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from lowest import HOUSE, lowest_versions

VERSIONS = ("3.11", "3.12", "3.13")


def run(*words: object, cwd: Path | None = None) -> str:
    """Runs a command and returns what it printed; stops with its own words where it fails."""
    environment = {name: value for name, value in os.environ.items() if not name.startswith(("TAPWEAR_", "PYTHON"))}
    done = subprocess.run([str(word) for word in words], cwd=cwd, env=environment, capture_output=True, text=True)
    if done.returncode:
        sys.exit(f"{' '.join(map(str, words))}: exit code {done.returncode}\n{done.stdout}\n{done.stderr}")
    return done.stdout


def environment(folder: Path, python: str) -> Path:
    """A new environment's interpreter."""
    run(python, "-m", "venv", folder)
    return folder / "bin" / "python"


def here() -> list[str]:
    """The interpreter that runs this, and one of each other version that can be found and makes environments."""
    found = [sys.executable]
    pyenv = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    for version in VERSIONS:
        if sys.version.startswith(f"{version}."):
            continue
        named = shutil.which(f"python{version}")
        for python in [*([named] if named else []), *map(str, sorted(pyenv.glob(f"{version}.*/bin/python")))]:
            if subprocess.run([python, "-c", "import ensurepip, venv"], capture_output=True).returncode == 0:
                found.append(python)
                break
        else:
            print(f"No Python {version} here: not tried.")
    return found


def tried(python: Path, archive: Path, folder: Path, name: str, pins: Sequence[str] = ()) -> None:
    """Installs an archive, over the one before, and runs the installed program away from the checkout."""
    begun = time.perf_counter()
    run(python, "-m", "pip", "install", "--quiet", f"{archive}[report]", *pins)
    run(python, "-m", "pip", "install", "--quiet", "--no-deps", "--force-reinstall", archive)
    folder.mkdir()
    tapwear = python.parent / "tapwear"
    version = run(tapwear, "--version", cwd=folder).strip()
    listed = run(tapwear, "demo", cwd=folder)
    if "OR-T1" not in listed or "Oil results call for an internal inspection now." not in listed:
        sys.exit(f"{name}: the demo does not list what it should:\n{listed}")
    on_demo = (tapwear, "--db", "tapwear-demo.db")
    run(*on_demo, "plan", "build", "2027", "--as-of", "2026-06-30", "--seconds", "2", cwd=folder)
    run(*on_demo, "report", "AH-T1", "--as-of", "2026-06-30", "--out", "a.html", cwd=folder)
    print(f"{name}: {version} installed, demo, plan and report made, {time.perf_counter() - begun:.0f} s", flush=True)


def main() -> None:
    """Entry point."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--python", nargs="*")
    parser.add_argument("--tests", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        room = Path(made)
        builder = environment(room / "builder", sys.executable)
        run(builder, "-m", "pip", "install", "--quiet", "build")
        run(builder, "-m", "build", "--outdir", room / "dist", HOUSE)
        (wheel,), (source,) = (room / "dist").glob("*.whl"), (room / "dist").glob("*.tar.gz")
        print(f"{wheel.name}: {wheel.stat().st_size:,} bytes; {source.name}: {source.stat().st_size:,} bytes")
        pythons = asked.python or here()

        jobs: list[tuple[str, tuple[Path, ...], Sequence[str]]] = [(python, (wheel, source), ()) for python in pythons]
        jobs.append((sys.executable, (wheel,), lowest_versions("report")))

        def try_all(number: int) -> None:
            python, archives, pins = jobs[number]
            inside = environment(room / str(number), python)
            for archive in archives:
                name = f"{python}, {archive.name}" + (", lowest versions" if pins else "")
                tried(inside, archive, room / f"{number}{archive.suffix}", name, pins)

        with ThreadPoolExecutor(os.cpu_count()) as pool:
            list(pool.map(try_all, range(len(jobs))))
        for number, python in enumerate(pythons if asked.tests else ()):
            inside = room / str(number) / "bin" / "python"
            run(inside, "-m", "pip", "install", "--quiet", "--force-reinstall", "--no-deps", "-e", HOUSE)
            run(inside, "-m", "pip", "install", "--quiet", f"{HOUSE}[report,test]")
            begun = time.perf_counter()
            last = run(inside, "-m", "pytest", "-m", "not slow", cwd=HOUSE).strip().splitlines()[-1]
            print(f"{python}: {last} ({time.perf_counter() - begun:.0f} s)", flush=True)


if __name__ == "__main__":
    main()
