"""`tapwear tune`: the rate model's settings that a fleet's own readings make likeliest, kept or taken back."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import SCHEDULING, as_of_or_today, open_the_store, say
from tapwear.cli.entering import stamp_of, tell
from tapwear.errors import DataRejected, UsageError

if TYPE_CHECKING:
    from tapwear.counts.tune import Tuned
    from tapwear.store.engine import Store

TUNE_SCHEMA = "tapwear.tune/1"
LEAST_INTERVALS = 100  # fewer reading intervals tell too little of a fleet; our choice
TUNE_HELP = (
    "Fit the rate model's settings to your own readings.\n\n"
    "The settings say how much rates drift, how uneven they are from week to week, how often they change or a reading "
    "is wrong, and how units grow. Shipped ones hold until you keep your own. Each is shown with its standard error, "
    "and with what the same fitting, done without the newest readings, would have gained on these.\n\n"
    "Nothing is stored without --keep, and nothing that would have done worse. `due`, `why`, `next` and the report say "
    "that the settings are your own; --shipped, or undo, goes back. A large fleet takes minutes.\n\n"
    "Examples:\n\n"
    "  tapwear tune\n\n"
    '  tapwear tune --keep --because "gains 3 % on the last 540 days"\n\n'
    '  tapwear tune --shipped --because "after the merger"'
)


@dataclass(frozen=True)
class _Found:
    """Settings, and what they would have gained on readings not seen [% of loss; NaN: not known], on how many."""

    tuned: Tuned
    gain: float
    tried: int


def register(app: typer.Typer) -> None:
    """Adds the command to the application."""
    app.command("tune", rich_help_panel=SCHEDULING, help=TUNE_HELP)(tune)


def tune(
    context: typer.Context,
    keep: Annotated[bool, typer.Option("--keep", help="Keep what is found; from now on it holds.")] = False,
    anyway: Annotated[bool, typer.Option("--anyway", help="Keep them though they would have done worse.")] = False,
    shipped: Annotated[bool, typer.Option("--shipped", help="Take your own back; the shipped ones hold.")] = False,
    because: Annotated[str | None, typer.Option("--because", metavar="TEXT", help="Why; to store.")] = None,
    as_of: Annotated[str | None, typer.Option("--as-of", metavar="DATE", help="Nothing dated after this day.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")] = False,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who keeps or takes back; else you.")] = None,
) -> None:
    """Fit the rate model's settings to your own readings."""
    if keep and shipped:
        raise UsageError("--keep and --shipped are two things; give one.")
    if (keep or shipped) and not because:
        raise UsageError("Say why: --because TEXT")
    day = as_of_or_today(as_of)
    store = open_the_store(context)
    if shipped:
        _back(context, store, str(because), by)
        return
    found = _find(store, day)
    typer.echo(_json(found, day) if as_json else _words(found, day))
    if not keep:
        say("Nothing was stored. To let these hold: tapwear tune --keep --because TEXT")
        return
    if found.tried and found.gain < 0 and not anyway:
        raise DataRejected(
            "Nothing was kept: on readings that they did not see, such settings would have done worse than the shipped "
            "ones. To keep them all the same, add --anyway."
        )
    from tapwear.store.tuning import keep_settings

    gain = found.gain if found.gain == found.gain else None
    rows = [
        {
            "name": row["parameter"],
            "value": row["estimate"],
            "log_se": row["log_se"],
            "tuned_on": day,
            "intervals": found.tuned.intervals,
            "gain_percent": gain,
        }
        for row in found.tuned.table.to_dict("records")
    ]
    stamp = stamp_of(context, by, str(because))
    with store.rows(writing=True) as connection:
        keep_settings(connection, rows, stamp)
    tell(f"These settings hold from now on. Back to the shipped ones: tapwear tune --shipped. Store: {store.path}")


def _back(context: typer.Context, store: Store, because: str, by: str | None) -> None:
    from tapwear.store.tuning import drop_settings

    stamp = stamp_of(context, by, because)
    with store.rows(writing=True) as connection:
        dropped = drop_settings(connection, stamp)
    words = "The shipped settings hold again." if dropped else "The shipped settings hold already; nothing was changed."
    tell(f"{words} Store: {store.path}")


def _find(store: Store, day: date) -> _Found:
    """Raises DataRejected where there are too few readings."""
    from tapwear.counts.clean import read_counters
    from tapwear.counts.serviced import with_service_readings
    from tapwear.counts.tune import held_out_gain, tuned
    from tapwear.report.terminal import progress
    from tapwear.store.loading import load_book

    book = load_book(store, as_of=day)
    readings = with_service_readings(book.readings, book.services, book.units)
    frames = book.events, book.stays
    with progress("Fitting the rate model's settings"):
        found = tuned(read_counters(book.units, readings, *frames, day), book.units, *frames, day)
        if found.intervals < LEAST_INTERVALS:
            raise DataRejected(
                f"There are {found.intervals} reading intervals; {LEAST_INTERVALS} are needed to tell anything of this "
                "fleet. The shipped settings hold."
            )
        gain, tried = held_out_gain(book.units, readings, *frames, day)
    return _Found(found, gain, tried)


def _words(found: _Found, day: date) -> str:
    from tapwear.counts.tune import HELD_OUT_DAYS, WORDS
    from tapwear.report.terminal import columns

    rows = [
        (WORDS[row["parameter"]], f"{row['start']:.3g}", f"{row['estimate']:.3g}", f"{100 * row['log_se']:.0f} %")
        for row in found.tuned.table.to_dict("records")
    ]
    table = columns(("setting", "shipped", "your own", "standard error"), rows, right=(1, 2, 3))
    heading = f"Settings of the rate model   as of {day}, from {found.tuned.intervals:,} reading intervals"
    lines = [heading, "", *table, ""]
    if not found.tuned.converged:
        lines.append("The search was cut off before it settled; take these with care.")
    if found.tried:
        told = f"{abs(found.gain):.1f} % {'less' if found.gain >= 0 else 'MORE'}"
        lines.append(
            f"Held out: fitted without the last {HELD_OUT_DAYS} days, such settings would have lost {told} than the "
            f"shipped ones on {found.tried:,} forecasts since."
        )
    else:
        lines.append("Held out: there is too little history to try the settings on readings that they did not see.")
    return "\n".join(lines)


def _json(found: _Found, day: date) -> str:
    from tapwear.report.frames import json_values
    from tapwear.report.plain import json_text

    page = {
        "schema": TUNE_SCHEMA,
        "as_of": day,
        "intervals": found.tuned.intervals,
        "converged": found.tuned.converged,
        "held_out_gain_percent": found.gain if found.tried else None,
        "held_out_forecasts": found.tried,
        "settings": found.tuned.table.to_dict("records"),
    }
    return json_text(json_values(page))
