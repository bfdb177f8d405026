"""The README and the program say the same: every command and option named there exists, every exit code too."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from tapwear import errors
from tapwear.cli.app import app

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```sh\n(.*?)```", README, flags=re.DOTALL)
LINES = [line.split("#")[0].strip() for block in BLOCKS for line in block.splitlines()]
COMMANDS = [line for line in LINES if line.startswith("tapwear ")]


def walk(words: list[str]) -> tuple[Any, list[str]]:
    """The command that the words name, and the words after it."""
    command: Any = get_command(app).loaded()  # type: ignore[attr-defined]
    while words and hasattr(command, "commands"):
        if words[0].startswith("-"):
            words = words[2:]  # an option before the command, with its value
            continue
        command = command.commands[words[0]]
        words = words[1:]
    return command, words


@pytest.mark.parametrize("line", COMMANDS)
def test_commands_in_the_readme_exist_with_their_options(line: str) -> None:
    command, rest = walk(shlex.split(line)[1:])
    known = {name for parameter in command.params for name in parameter.opts + parameter.secondary_opts}
    for word in rest:
        if word.startswith("--"):
            assert word in known, f"{line}: {word}"


def test_the_readme_shows_both_commands_of_a_fresh_clone() -> None:
    assert sum("pip install" in line and line.endswith("tapwear demo") for line in LINES) == 1
    (tests,) = (line for line in LINES if "pip install" in line and " -m pytest" in line)
    assert tests in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_exit_codes_stand_in_readme_and_help_as_the_program_uses_them() -> None:
    listed = dict(
        re.findall(r"(\d+) ([a-z][^;.]*)", README.split("Exit codes:")[1].split("\n* ")[0].replace("\n", " "))
    )
    codes = {
        error.exit_code
        for error in vars(errors).values()
        if isinstance(error, type) and issubclass(error, errors.TapwearError)
    }
    assert {str(code) for code in codes} | {"0", "130"} == set(listed)
    shown = " ".join(CliRunner().invoke(app, ["--help"], env={"COLUMNS": "200"}).output.split())
    for code in listed:
        assert re.search(rf"\b{code} [a-z]", shown.split("Exit codes:")[1])
