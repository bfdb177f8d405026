"""What every command shares: which store, who is at the keyboard, what day it is."""

from __future__ import annotations

import getpass
import os
import re
import shlex
import shutil
import sys
import textwrap
from collections.abc import Collection
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from tapwear.cli.settings import place, read_config
from tapwear.cli.signals import nowhere
from tapwear.errors import StoreError, UsageError
from tapwear.report.plain import plain
from tapwear.words import masked

if TYPE_CHECKING:
    from tapwear.store.engine import Store
    from tapwear.store.holding import Waiting

_dates: ContextVar[str] = ContextVar("dates", default="")  # how dates may be typed, by the settings file in use
ON_THE_VISIT = "On the visit"
SCHEDULING = "Scheduling overhauls"
PLANNING = "Planning outages"
KEEPING = "Keeping the store"
# Who may read and write the store and all files that are written: as said -> bits of a file's mode.
ACCESS = {"owner": 0o600, "group": 0o660}


NO_EARLIER = date(2026, 1, 1)  # before this program was made


@dataclass(frozen=True)
class Setup:
    """The store's path, or the URL of its database, and where it was named; None where no store was named or found."""

    db: Path | str | None
    named_by: str
    config: dict[str, str]


def find_store(flag: str | None) -> Setup:
    """Which store to use: --db, then TAPWEAR_DB, then the settings file, then an existing ./tapwear.db."""
    config, config_path = read_config()
    _dates.set(config.get("dates", ""))
    if flag is not None:
        return Setup(place(flag), "--db", config)
    if os.environ.get("TAPWEAR_DB"):
        return Setup(place(os.environ["TAPWEAR_DB"]), "TAPWEAR_DB", config)
    if config.get("db"):
        return Setup(place(config["db"]), config_path, config)
    here = Path("tapwear.db")
    return Setup(here if here.exists() else None, "./tapwear.db", config)


def setup_of(context: typer.Context) -> Setup:
    setup = context.find_root().obj
    assert isinstance(setup, Setup)  # noqa: S101 - set by the root command
    return setup


def access_of(setup: Setup) -> int:
    """Who may read what is written, as bits of a file's mode: TAPWEAR_ACCESS, then `access` in the settings file.

    As usual the owner only. Raises UsageError for another word than owner or group.
    """
    word = os.environ.get("TAPWEAR_ACCESS") or setup.config.get("access", "owner")
    if word not in ACCESS:
        raise UsageError(f"access (TAPWEAR_ACCESS, or in the settings file) is owner or group, found {word!r}.")
    return ACCESS[word]


def with_store(setup: Setup) -> str:
    """` --db FILE` for a command that is suggested, where the store was named so."""
    return f" --db {shlex.quote(masked(setup.db))}" if setup.named_by == "--db" else ""


def store_path(context: typer.Context) -> Path:
    """The path of the store to use. Raises StoreError with the ways to name or make one, or for one on a server."""
    found = store_place(context)
    if isinstance(found, str):
        raise StoreError(
            "This command works on a store in a file. A database on a server is copied with the server's own tools "
            "(pg_dump, pg_restore); tapwear dump writes one as plain CSV, and restore brings that back."
        )
    return found


def store_place(context: typer.Context) -> Path | str:
    """The path or the URL of the store to use. Raises StoreError with the ways to name or make one."""
    setup = setup_of(context)
    if setup.db is None:
        raise StoreError(
            "No store is named, and there is no tapwear.db in this folder. Name one with --db FILE before the "
            "command, or with TAPWEAR_DB; make one with: tapwear --db FILE init; or look at an invented fleet "
            "with: tapwear demo"
        )
    return setup.db


def open_the_store(context: typer.Context) -> Store:
    """The store to use, in a file or on a server; raises what opening it raises."""
    return open_at(store_place(context))


def open_at(place: Path | str, *, any_version: bool = False) -> Store:
    """The store at a path or a URL."""
    from tapwear.store import engine

    return engine.open_at(place, any_version=any_version)


def say_waiting(store: Store, tags: Collection[str] | None = None) -> tuple[Waiting, ...]:
    """Says first of all that the file is damaged, where it is, that the rate model's settings are the fleet's own, and
    how many imported rows of these units await confirmation (None: of any); returns these."""
    from tapwear.counts.settings import settings_words
    from tapwear.store.backup import glance, raw_of
    from tapwear.store.holding import waiting, waiting_lines
    from tapwear.store.tuning import kept_settings

    with store.rows() as connection:
        damage = () if store.on_server else glance(raw_of(connection))
        rows = waiting(connection, tags)
        own = settings_words(kept_settings(connection))
    if damage:
        say(f"{store.path} is damaged ({damage[0]}): what follows may be wrong. All that is wrong: tapwear check")
    if own:
        say(f"{own} Back to the shipped ones: tapwear tune --shipped")
    for words in waiting_lines(rows)[:1]:
        from tapwear.cli.stops import stops_named, tell_notice

        tell_notice(stops_named(store, [words])[0])
        say(words)
    return rows


def today() -> date:
    """Today, from TAPWEAR_TODAY where that is set (for rehearsals and tests), else from the clock.

    Raises UsageError for a clock that is years off, as that of a laptop whose battery was empty.
    """
    given = os.environ.get("TAPWEAR_TODAY")
    if given:
        try:
            return date.fromisoformat(given.strip())
        except ValueError:
            raise UsageError(f"TAPWEAR_TODAY: a date is written like 2026-06-30, found {given!r}.") from None
    day = datetime.now().astimezone().date()
    if day < NO_EARLIER:
        raise UsageError(
            f"The clock of this machine says {day}, which cannot be: this Tapwear is newer. Set the clock, or say what "
            "day it is with TAPWEAR_TODAY=2026-06-30. Nothing was recorded."
        )
    return day


def now() -> datetime:
    return datetime.now(UTC)


def parse_date(text: str, option: str) -> date:
    """A date given on the command line. Raises UsageError naming the option."""
    day = day_typed(text)
    if day is None:
        raise UsageError(f"{option}: a date is written like {' or '.join(date_examples())}, found {text!r}.")
    return day


def day_typed(text: str) -> date | None:
    """A day as people type it: 2026-06-30, today, yesterday, or as `dates` in the settings file says; else None.

    Raises UsageError for a setting that is no format of dates.
    """
    from tapwear.visits.dates import date_parser

    word = text.strip()
    if word.casefold() in ("today", "yesterday"):
        return today() - timedelta(days=word.casefold() == "yesterday")
    for words in (None, *date_formats()):
        try:
            return date_parser(words)(word)
        except ValueError:
            continue
    return None


def date_formats() -> list[str]:
    """How dates may be typed besides ISO 8601, by the settings file; nothing where it does not say."""
    words = _dates.get()
    return [words] if words else []


def date_examples() -> list[str]:
    """A date as it may be typed, in each way."""
    from tapwear.visits.dates import strptime_pattern

    return ["2026-06-30", *(date(2026, 6, 30).strftime(strptime_pattern(words)) for words in date_formats())]


def as_of_or_today(text: str | None) -> date:
    return parse_date(text, "--as-of") if text else today()


def who(context: typer.Context, name: str | None) -> str:
    """Who records: --by, then TAPWEAR_NAME, then `name` in the settings file, then the login name."""
    if name and name.strip():
        return name.strip()
    given = os.environ.get("TAPWEAR_NAME") or setup_of(context).config.get("name", "")
    if given.strip():
        return given.strip()
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def say(message: str) -> None:
    """A message to the person, on standard error, so that standard output holds data only; no control characters and
    no password."""
    text = "\n".join(wrapped(plain(line)) for line in masked(message).split("\n"))
    try:
        typer.echo(text, err=True)
    except OSError:  # nobody takes it: what was done stays done, and the exit code says so
        nowhere(sys.stderr)


def wrapped(line: str) -> str:
    """A line for standard error: at a terminal broken between words, and not within a command, so that it can be
    copied; else as it is."""
    if not sys.stderr.isatty():
        return line
    width = shutil.get_terminal_size().columns
    if len(line) <= width:
        return line
    indent, end = line[: len(line) - len(line.lstrip())], line[len(line.rstrip()) :]

    def together(command: re.Match[str]) -> str:
        return command[0].replace(" ", "\0") if len(command[0]) < width else command[0]

    whole = re.sub(r"\btapwear [^;,)]+", together, line)
    broken = textwrap.wrap(whole, width, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False)
    return "\n".join(broken).replace("\0", " ") + end
