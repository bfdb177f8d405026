"""What people mistype and misunderstand at the commands of the visit, and what they are told then."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from cli.visit_store import ENV, make_store
from typer.testing import CliRunner, Result

from tapwear.cli import app


@pytest.fixture(scope="module")
def template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_store(tmp_path_factory.mktemp("slips"))


@pytest.fixture
def db(template: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = Path(shutil.copy(template, tmp_path / "fleet.db"))
    for name, value in {**ENV, "XDG_CONFIG_HOME": str(tmp_path), "TAPWEAR_DB": str(path)}.items():
        monkeypatch.setenv(name, value)
    monkeypatch.chdir(tmp_path)
    return path


def run(*words: str, typed: str = "") -> Result:
    result = CliRunner().invoke(app, list(words), input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def said(*words: str, code: int = 0, typed: str = "") -> str:
    """What a command said, without regard to line ends; it had to end with that exit code."""
    result = run(*words, typed=typed)
    assert result.exit_code == code, result.output
    return " ".join(result.output.split())


def test_a_unit_without_a_scheme_has_only_the_intervals_of_its_own(db: Path) -> None:
    said("unit", "change", "T1", "--interval-years", "7")
    said("unit", "change", "T2", "--interval-years", "5")
    assert "contact service every 7 years" in said("unit", "show", "T1")
    assert "Service rules" not in said("unit", "show", "T3")
    words = said("service", "T3", "--work", "overhaul", "--on", "2026-10-01")
    assert "Starts again: contact service (no interval is known for it)" in words
