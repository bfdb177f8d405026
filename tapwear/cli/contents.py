"""What commands there are, in the order of the help, each loaded only when it is called.

Building all commands takes longer than logging a reading. So the help shows what stands here, and a test holds it
against the commands themselves.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import import_module
from inspect import cleandoc
from typing import Any

import typer
from typer.core import TyperCommand
from typer.main import get_group

from tapwear.cli.context import KEEPING, ON_THE_VISIT, PLANNING, SCHEDULING


@dataclass(frozen=True)
class Entry:
    """One command: its module in tapwear.cli, its panel in the help, and its first line."""

    module: str
    panel: str
    line: str

    def stand_in(self, name: str) -> TyperCommand:
        """What the help needs of the command."""
        return TyperCommand(name, help=self.line, rich_help_panel=self.panel)


@cache
def load(name: str) -> Any:
    """The command itself: what its module's `register` adds under that name, or what the module calls so."""
    module = import_module(f"tapwear.cli.{CONTENTS[name].module}")
    alone = typer.Typer()
    if hasattr(module, "register"):
        module.register(alone)
    elif isinstance(getattr(module, name), typer.Typer):
        alone.add_typer(getattr(module, name), name=name)
    else:
        alone.command(name)(getattr(module, name))
    command = get_group(alone).commands[name]
    _flow(command)
    for leaf in leaves(command):
        _stops_first(name, leaf)
        _clock_first(leaf)
    return command


def leaves(command: Any) -> list[Any]:
    """The command itself, or all of a group, however deep."""
    below = getattr(command, "commands", None)
    return [command] if below is None else [leaf for one in below.values() for leaf in leaves(one)]


def _stops_first(name: str, command: Any) -> None:
    """Before a command that names units runs, it is said which of them are stopped."""
    if not {"unit", "units", "tags", "tag", "other"} & {param.name for param in command.params}:
        return
    run = command.invoke
    path = name if command.name == name else f"{name} {command.name}"

    def invoke(context: Any) -> Any:
        from tapwear.cli.stops import announce

        announce(path, context)
        return run(context)

    command.invoke = invoke


def _clock_first(command: Any) -> None:
    """Before a command that records something in somebody's name, its clock is held against the store's entries."""
    if not any("--by" in param.opts and param.metavar == "NAME" for param in command.params):
        return
    run = command.invoke

    def invoke(context: Any) -> Any:
        from tapwear.cli.clock import ask_about_clock

        ask_about_clock(context)
        return run(context)

    command.invoke = invoke


def _flow(command: Any) -> None:
    """Joins the lines of each paragraph of the help, of all commands of a group, so that they break where the terminal
    does; paragraphs with indented lines stay as they are."""
    paragraphs = cleandoc(command.help or "").split("\n\n")
    command.help = "\n\n".join(part if "\n " in part else part.replace("\n", " ") for part in paragraphs)
    for one in getattr(command, "commands", {}).values():
        _flow(one)


_VISIT = {
    "visit": (
        "on_visit_visit",
        "Record a whole visit to a unit: the right unit first, then counter, positions, oil, breather and the rest.",
    ),
    "log": ("on_visit_log", "Record a counter reading."),
    "sample": ("on_visit_sample", "Record an oil sample."),
    "service": ("on_visit_service", "Record an overhaul or other work."),
    "event": ("on_visit_event", "Record an event, e.g. a replaced counter or a changed regulator setting."),
    "history": (
        "on_visit_history",
        "Show who recorded what of a unit, when, and what replaced it: the latest last.",
    ),
    "amend": (
        "on_visit_amend",
        "Correct or withdraw one row of the book. What was there before is kept and shows in: tapwear history.",
    ),
    "undo": (
        "on_visit_amend",
        "Undo your last entry: all rows that one command recorded. The book keeps it, and that it was taken back.",
    ),
    "sheet": ("sheet", "Write a round sheet: one file to print, or to fill in on a phone without a network."),
    "resolve": ("resolve", "Resolve conflicting readings of one counter and day."),
    "condition": (
        "on_visit_condition",
        "What people noted about a unit's condition: add, close and list. It acts as they say.",
    ),
    "stop": ("stops", "Units that nobody may operate or go near: list, show, raise, release by the engineer."),
    "unit": ("on_visit_unit", "Unit register: add, correct, move, swap, retire, show and list units."),
    "followups": ("followups", "What is to be followed up after visits: list, add, close, reopen."),
}
_SCHEDULING = {
    "due": ("scheduling", "List the overhauls that come due, the most pressing first."),
    "why": ("scheduling", "Show what one unit's dates rest on."),
    "next": ("next", "List what to look at next, by station."),
    "snapshot": ("tracking", "Keep today's dates, to hold them later against what happened."),
    "track": ("tracking", "Compare past forecasts with outcomes."),
    "changes": ("tracking", "Say what has changed since a day: the monthly sheet."),
    "oil": ("oil", "Show what the oil says."),
    "report": ("report", "Write a report: the fleet, the coming overhauls, and a page per unit."),
    "backtest": ("scheduling", "Forecasts as of past dates, to see how well they would have done."),
    "tune": ("tuning", "Fit the rate model's settings to your own readings."),
    "visit-rule": ("visit_rule", "How often units are to be read and sampled, by scheme or unit: list and set."),
    "defer": ("deferring", "Put a task off past its limit, by a recorded decision; list those."),
    "limits": ("limits", "Your own limits for the oil: show, set, export. None ship with Tapwear."),
}
_PLANNING = {
    "plan": (
        "planning",
        "Put the overhauls that are due into weeks; give the inputs; show, keep, compare and export plans.",
    ),
}
_KEEPING = {
    "import": ("intake", "Bring in rows from CSV files, or from all the files of a folder."),
    "findings": ("intake", "Show what an import did not take, and what to do about it."),
    "demo": ("intake", "Show the main job on an invented fleet."),
    "confirm": ("confirming", "Show rows that an import held as probably wrong, and say what is to become of them."),
    "init": ("keeping", "Make a new, empty store."),
    "upgrade": ("keeping", "Bring a store of an older Tapwear to the schema of this one; a backup is made first."),
    "backup": ("safekeeping", "Copy the whole store into one file, while others go on working."),
    "restore": ("safekeeping", "Put a backup, or the folder of a dump, in place as the store."),
    "dump": ("safekeeping", "Write everything in the store as plain CSV files into a new folder."),
    "server": ("server", "A team's store on PostgreSQL: roles for readers, technicians, schedulers, planners."),
    "check": ("safekeeping", "Look through the whole store for what cannot be right."),
}
CONTENTS: dict[str, Entry] = {
    name: Entry(module, panel, line)
    for panel, entries in (
        (ON_THE_VISIT, _VISIT), (SCHEDULING, _SCHEDULING), (PLANNING, _PLANNING), (KEEPING, _KEEPING)
    )
    for name, (module, line) in entries.items()
}  # fmt: skip
