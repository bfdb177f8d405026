"""The list of commands says what the commands say of themselves, and each is found under its name."""

from __future__ import annotations

import inspect

import pytest
from typer.testing import CliRunner

from tapwear.cli.app import app
from tapwear.cli.contents import CONTENTS, load


@pytest.mark.parametrize("name", CONTENTS)
def test_the_help_shows_what_the_command_says_of_itself(name: str) -> None:
    command, entry = load(name), CONTENTS[name]
    told = inspect.cleandoc(command.short_help or command.help).split("\n\n")[0]
    assert " ".join(told.split()) == entry.line
    panel = getattr(command, "rich_help_panel", None)
    assert not isinstance(panel, str) or panel == entry.panel
    assert command.name == name


def test_the_help_lists_every_command_in_its_panel() -> None:
    shown = CliRunner().invoke(app, ["--help"]).output
    places = [shown.index(entry.panel) for entry in dict.fromkeys(CONTENTS.values())]
    assert places == sorted(places)
    for name in CONTENTS:
        assert f" {name} " in shown


def test_a_mistyped_command_is_told_with_a_likely_one() -> None:
    done = CliRunner().invoke(app, ["reprot"])
    assert done.exit_code == 2
    assert "report" in done.output
