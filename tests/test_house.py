"""The house rules that a machine can check: layers, homes of third-party packages, style and types."""

from __future__ import annotations

import ast
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "tapwear"
BASE = {"errors", "findings", "measures", "peers", "weeks", "words"}
# Who may import whom. `fleet` calls the layers in order; the command line stands above everything.
MAY_IMPORT = {
    "base": set(),
    "visits": {"base"},
    "store": {"base", "visits"},
    "counts": {"base"},
    "oil": {"base"},
    "outlook": {"base", "counts", "oil"},
    "plan": {"base", "outlook"},
    "report": {"base", "counts", "oil", "outlook", "plan"},
    "fleet": {"base", "store", "counts", "oil", "outlook", "report"},
    "blocks": {"base", "store", "oil", "outlook", "fleet"},
    "stopping": {"base", "store", "oil", "outlook", "fleet"},
    "cli": {"base", "visits", "store", "counts", "oil", "outlook", "plan", "report", "fleet", "blocks", "stopping"},
}
HOMES = {
    "typer": {"cli"},
    "rich": {"report", "cli"},
    "sqlmodel": {"store"},
    "sqlalchemy": {"store"},
    "statsmodels": {"counts", "oil"},
    "matplotlib": {"report"},
    "jinja2": {"report"},
    "xlsxwriter": {"report"},
    "icalendar": {"report"},
}


def layer_of(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    if first in BASE or first == "__init__":
        return "base"
    return "cli" if first == "__main__" else first


def imports_of(path: Path) -> set[str]:
    """Dotted names of the modules that a file imports, wherever in the file it does so."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{name.name}" for name in node.names}
    return found


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_every_module_imports_only_what_its_layer_may(path: Path) -> None:
    layer = layer_of(path)
    for name in imports_of(path):
        parts = name.split(".")
        if parts[0] == "tapwear" and len(parts) > 1:
            other = "base" if parts[1] in BASE or parts[1] == "__version__" else parts[1]
            assert other == layer or other in MAY_IMPORT[layer], f"{layer} imports {name}"
        if parts[0] in HOMES:
            assert layer in HOMES[parts[0]], f"{name} has its home in {HOMES[parts[0]]}, not in {layer}"


def test_no_module_has_grown_past_its_one_idea() -> None:
    lines = {str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    # All tables of the store stand in one file, so that the schema can be read from top to bottom.
    allowed = {"tapwear/store/models.py": 700}
    assert not {name: count for name, count in lines.items() if count > allowed.get(name, 600)}


def test_a_file_that_somebody_named_is_written_in_one_place_only() -> None:
    texts = {path: path.read_text(encoding="utf-8") for path in MODULES}
    writing = [path.name for path, text in texts.items() if ".write_bytes(" in text or ".write_text(" in text]
    assert writing == ["writing.py"]  # it looks first whether that is the store


def test_style_is_clean() -> None:
    done = subprocess.run([sys.executable, "-m", "ruff", "check", "."], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout


@pytest.mark.slow
def test_types_are_clean() -> None:
    done = subprocess.run([sys.executable, "-m", "mypy"], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout


@pytest.mark.skipif(not (ROOT / ".git").exists() or shutil.which("git") is None, reason="not a clone")
def test_the_top_level_stays_short() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    top = {name.split("/")[0] for name in listed.stdout.splitlines() if not name.startswith(".")}
    assert top == {"README.md", "DEVELOPERS.md", "pyproject.toml", "tapwear", "data", "tests"}
