"""`tapwear backtest counts`: how past forecasts of operations fared, or such forecasts for anybody to score."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.backtesting import MAX_HORIZON_DAYS, forecast_asked, read_origins
from tapwear.cli.context import as_of_or_today, open_the_store, say
from tapwear.cli.stops import stops_among, tell_notice
from tapwear.cli.writing import CSV, may_write, named, write_out
from tapwear.errors import DataRejected, UsageError

if TYPE_CHECKING:
    from tapwear.report.backtest_data import PastForecasts
    from tapwear.store.engine import Store

HORIZONS = "90,365,730"  # days ahead that are looked at unless told otherwise, as in tapwear.counts.backtest
COUNTS_HELP = (
    "Show how forecasts of operations have fared.\n\n"
    "On the store's own readings: forecasts are made again from up to twelve past dates, each from nothing dated "
    "later, and held against the readings that came. The page says how often the 80 % bands held, how far off the "
    "forecasts were beside plain averages, by how often units are read and how far ahead, and what the bands rest on. "
    "Counters on sample sheets are left aside; those noted by services count.\n\n"
    "With --origins and --out, the forecasts themselves: for each row of --origins the operations of the unit from its "
    "last reading on or before the origin (or from anchor_date, where the file has that column) to horizon_days after "
    "the origin, from the readings dated on or before the origin. --out has unit_id, origin, horizon_days, p10, p50, "
    "p90 and mean, in the order of --origins.\n\n"
    "Examples:\n\n"
    "  tapwear backtest counts\n\n"
    "  tapwear backtest counts --as-of 2025-06-30 --horizons 180,365 --json\n\n"
    "  tapwear --db fleet.db backtest counts --origins origins.csv --out forecasts.csv"
)


def register(group: typer.Typer) -> None:
    """Adds the command to the backtest group."""
    group.command("counts", help=COUNTS_HELP)(backtest_counts)


def backtest_counts(
    context: typer.Context,
    as_of: Annotated[
        str | None,
        typer.Option("--as-of", metavar="DATE", help="Use nothing dated after this day (ISO)."),
    ] = None,
    horizons: Annotated[
        str | None,
        typer.Option("--horizons", metavar="DAYS", help=f"How far ahead to look, in days. By default {HORIZONS}."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")] = False,
    origins: Annotated[
        Path | None, typer.Option("--origins", metavar="FILE", help="CSV with unit_id (or unit), origin, horizon_days.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="With --origins: CSV to write; written anew if it is there."),
    ] = None,
) -> None:
    """Show how forecasts of operations have fared."""
    if (origins is None) != (out is None):
        raise UsageError("--origins and --out go together: the questions, and the file for the forecasts.")
    if origins is None or out is None:
        day, ahead = as_of_or_today(as_of), _days_ahead(horizons or HORIZONS)
        _show(_past(open_the_store(context), day, ahead), as_json)
        return
    if as_of is not None or horizons is not None or as_json:
        raise UsageError("--as-of, --horizons and --json do not go with --origins, whose rows say which days to use.")
    _write_asked(open_the_store(context), origins, out)


def _days_ahead(text: str) -> tuple[int, ...]:
    """Horizons like `90,365,730`, ascending and each once. Raises UsageError naming the option."""
    days: set[int] = set()
    for part in text.split(","):
        try:
            days.add(int(part.strip()))
        except ValueError:
            raise UsageError(f"--horizons: days are written like {HORIZONS}, found {text!r}.") from None
    if not 0 < min(days) <= max(days) <= MAX_HORIZON_DAYS:
        raise UsageError(f"--horizons: give between 1 and {MAX_HORIZON_DAYS} days, found {text!r}.")
    return tuple(sorted(days))


def _past(store: Store, day: date, horizons: tuple[int, ...]) -> PastForecasts:
    """The backtest on the store's readings as of a day, with a bar on standard error while it runs."""
    from tapwear.counts.backtest import backtest
    from tapwear.counts.serviced import with_service_readings
    from tapwear.counts.settings import settings_of, settings_words
    from tapwear.fleet import assess_counts
    from tapwear.report.backtest_data import past_forecasts
    from tapwear.report.terminal import progress
    from tapwear.store.loading import load_book

    book = load_book(store, as_of=day)
    readings = with_service_readings(book.readings, book.services, book.units)
    readings = readings[readings["source"] != "sample"]
    shown = 0
    with progress("Past forecasts, percent", 100) as advance:

        def told(done: int, of: int) -> None:
            nonlocal shown
            advance(100 * done // of - shown)
            shown = 100 * done // of

        own = settings_of(book.rate_settings)
        frames = book.units, readings, book.events, book.stays
        result = backtest(*frames, day, horizons=horizons, settings=own, progress=told)
        _, model = assess_counts(book, day)
    words = settings_words(book.rate_settings.to_dict("records"))
    return past_forecasts(result, day, horizons, int(model.calibration.cases.sum()), words)


def _show(past: PastForecasts, as_json: bool) -> None:
    """The page on a screen, as plain lines into a pipe, or as JSON."""
    from tapwear.report.backtest_data import backtest_json
    from tapwear.report.backtest_view import backtest_page
    from tapwear.report.page import page_plain, print_page
    from tapwear.report.terminal import PAGE_WIDTH, can_draw, is_screen, make_console

    if as_json:
        typer.echo(backtest_json(past))
        return
    ascii_only = not can_draw(sys.stdout)
    if is_screen(sys.stdout):
        console = make_console(widest=PAGE_WIDTH)
        print_page(backtest_page(past, width=console.width - 2, ascii_only=ascii_only), console)
    else:
        typer.echo("\n".join(page_plain(backtest_page(past, ascii_only=ascii_only))))


def _write_asked(store: Store, origins: Path, out: Path) -> None:
    """The forecasts for the rows of an origins file, written to `out`; bad rows are named, the good ones kept."""
    from tapwear.store.loading import load_book

    may_write(out, store, force=True, endings=CSV)
    book = load_book(store)
    asked, findings = read_origins(origins, book.units["unit"])
    for finding in findings:
        say(finding.sentence())
    tell_notice(stops_among(store, (row.unit for row in asked)))
    written = forecast_asked(book, asked)
    write_out(out, written.to_csv(index=False, float_format="%.3f", date_format="%Y-%m-%d", lineterminator="\n"))
    say(f"{len(written):,} forecasts written to {named(out)}")
    if findings:
        rows = "1 row" if len(findings) == 1 else f"{len(findings):,} rows"
        raise DataRejected(f"No forecast for {rows} of {origins}; see above.")
