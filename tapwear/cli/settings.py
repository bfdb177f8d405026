"""The settings file: where it is, what may stand in it, and what is wrong with it, said before anything is done."""

from __future__ import annotations

import difflib
import os
import re
import tomllib
from pathlib import Path
from typing import Any

from tapwear.errors import UsageError

# What may be set -> what it says. `db` is relative to the settings file, `units` and `dates` are for what is typed.
SETTINGS = {
    "db": "the store's path or URL",
    "name": "the name of who records",
    "access": "owner or group",
    "units": "metric or us",
    "dates": "how dates may be typed besides 2026-06-30, e.g. DD.MM.YYYY",
}


def read_config() -> tuple[dict[str, str], str]:
    """The settings file: $TAPWEAR_CONFIG, else ./tapwear.toml, else the user's own. {} where there is none.

    Raises UsageError for a file that cannot be read, a setting that there is not, and one that is no text: a word
    misspelt and passed over would leave another store, or other access, in its place.
    """
    named = os.environ.get("TAPWEAR_CONFIG")
    for path in [Path(named)] if named else [Path("tapwear.toml"), *_of_the_user()]:
        try:
            text = path.read_text(encoding="utf-8-sig")
        except FileNotFoundError:
            if named:
                raise UsageError(f"TAPWEAR_CONFIG names {path}, which is not there.") from None
            continue
        except (OSError, ValueError) as error:
            raise UsageError(f"The settings file {path} cannot be read: {error}") from error
        try:
            config = tomllib.loads(_plain_backslashes(text))
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            raise UsageError(f"The settings file {path} is not valid TOML: {error}") from error
        for key, value in config.items():
            _check(path, key, value)
        if "db" in config and isinstance(place(config["db"]), Path):
            try:
                config["db"] = str((path.parent / Path(config["db"]).expanduser()).resolve())
            except RuntimeError as error:
                raise UsageError(f"The settings file {path}: db: {error}. Write the whole path.") from error
        return config, str(path)
    return {}, ""


def _of_the_user() -> list[Path]:
    """The user's own settings file; none for a user without a home."""
    try:
        base = Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config")
    except RuntimeError:
        return []
    return [base / "tapwear" / "tapwear.toml"]


def _plain_backslashes(text: str) -> str:
    r"""The text with a path such as `db = "C:\tap\fleet.db"` taken as it stands: nobody means a tab in it."""

    def literal(found: re.Match[str]) -> str:
        doubled = "\\" not in found[2].replace("\\\\", "")  # as TOML wants them
        return found[0] if doubled else f"{found[1]}'{found[2]}'"

    of_windows = r"""^(\s*db\s*=\s*)"((?:[A-Za-z]:\\|\\\\)[^"\n']*)\""""
    return re.sub(of_windows, literal, text, flags=re.MULTILINE)


def _check(path: Path, key: str, value: Any) -> None:
    if key not in SETTINGS:
        likely = difflib.get_close_matches(key.casefold(), SETTINGS, n=1)
        meant = f" Did you mean {likely[0]}?" if likely else ""
        raise UsageError(
            f"The settings file {path}: there is no setting {key!r}.{meant} It takes {', '.join(SETTINGS)}, outside "
            "any table in square brackets."
        )
    if not isinstance(value, str) or not value.strip() or "\0" in value:
        raise UsageError(f"The settings file {path}: {key} is {SETTINGS[key]}, in quotes; found {value!r}.")


def place(text: str) -> Path | str:
    """The path of a store, or the URL of its database as it is."""
    return text if "://" in text else Path(text)
