"""Runs the tests with the lowest versions that pyproject.toml allows, in an environment of their own.

    python tests/trust/lowest.py FOLDER [pytest arguments]

FOLDER is made; the environment stays there for another run. Without arguments the slow tests are left out.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
import venv
from pathlib import Path

HOUSE = Path(__file__).parents[2]
TOOLS = ("ruff", "mypy", "pandas-stubs")  # they judge the code as written, so the newest do


def lowest_versions(*extras: str) -> list[str]:
    """The dependencies, and those of some extras, `pandas>=2.3` as `pandas==2.3.*`.

    Any last digits, so that a first release that was withdrawn does no harm.
    """
    project = tomllib.loads((HOUSE / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    pins = []
    for requirement in sum((project["optional-dependencies"][extra] for extra in extras), project["dependencies"]):
        name, version = re.fullmatch(r"([\w.-]+(?:\[\w+\])?)>=([\d.]+)", requirement).groups()  # type: ignore[union-attr]
        pins.append(requirement if name in TOOLS else f"{name}=={version}.*" if version.count(".") < 2 else
                    f"{name}=={version}")  # fmt: skip
    return pins


def main() -> int:
    """Entry point."""
    folder, asked = Path(sys.argv[1]), sys.argv[2:] or ["-m", "not slow"]
    python = folder / "bin" / "python"
    if not python.exists():
        venv.create(folder, with_pip=True)
    subprocess.run([python, "-m", "pip", "install", "--quiet", *lowest_versions("report", "test")], check=True)
    subprocess.run([python, "-m", "pip", "install", "--quiet", "--no-deps", "-e", str(HOUSE)], check=True)
    print(subprocess.run([python, "-m", "pip", "freeze"], capture_output=True, text=True, check=True).stdout)
    # Old packages speak to newer ones beneath them in words that go out of use: warnings are no failures here.
    return subprocess.run([python, "-m", "pytest", "-o", "filterwarnings=default", *asked], cwd=HOUSE).returncode


if __name__ == "__main__":
    sys.exit(main())
