"""The settings file: what it may say, and that a slip in it is told rather than passed over."""

from __future__ import annotations

from pathlib import Path

import pytest
from desk_store import make_desk, run
from typer.testing import CliRunner

from tapwear.cli.app import app

WRONG = [
    ('dbb = "fleet.db"', "there is no setting 'dbb'. Did you mean db?"),
    ('acces = "group"', "there is no setting 'acces'. Did you mean access?"),
    ('DB = "fleet.db"', "there is no setting 'DB'. Did you mean db?"),
    ('[tapwear]\ndb = "fleet.db"', "outside any table in square brackets"),
    ("db = 3", "db is the store's path or URL, in quotes; found 3."),
    ('db = ["fleet.db"]', "db is the store's path or URL, in quotes"),
    ('db = " "', "db is the store's path or URL, in quotes"),
    (r'db = "\u0000"', "db is the store's path or URL, in quotes"),
    ('name = ["Kim"]', "name is the name of who records, in quotes"),
    ("units = 2026-01-01", "units is metric or us, in quotes"),
    ("access = true", "access is owner or group, in quotes"),
    ("x = " + "[" * 100_000, "is not valid TOML"),
]


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The settings file of a desk, which lies beside its store and elsewhere than where one works."""
    make_desk(tmp_path)
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")
    monkeypatch.setenv("TAPWEAR_CONFIG", str(tmp_path / "tapwear.toml"))
    monkeypatch.delenv("TAPWEAR_DB", raising=False)
    return tmp_path / "tapwear.toml"


@pytest.mark.parametrize(("text", "said"), WRONG)
def test_a_slip_in_the_settings_file_is_told_and_nothing_is_done(settings: Path, text: str, said: str) -> None:
    settings.write_text(text + "\n", encoding="utf-8")
    done = run(settings.parent / "fleet.db", "unit", "list")
    assert done.exit_code == 2, done.output
    assert said in done.stderr
    assert not done.stdout


@pytest.mark.parametrize("mark", ["", "\ufeff"])  # editors of one system put U+FEFF before all text
def test_the_store_that_the_settings_file_names_is_found_from_its_own_folder(settings: Path, mark: str) -> None:
    settings.write_text(f'{mark}db = "fleet.db"\nname = "Kim"\naccess = "owner"\nunits = "us"\n', encoding="utf-8")
    done = CliRunner().invoke(app, ["unit", "list"])
    assert done.exit_code == 0, done.output
    assert "AH-T1" in done.stdout


def test_a_home_folder_in_the_settings_file_is_the_users(settings: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(settings.parent))
    settings.write_text('db = "~/fleet.db"\n', encoding="utf-8")
    assert CliRunner().invoke(app, ["unit", "list"]).exit_code == 0
