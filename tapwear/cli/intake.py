"""Commands that bring rows into the store: import, findings, demo."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import (
    KEEPING,
    Setup,
    access_of,
    now,
    open_the_store,
    parse_date,
    say,
    setup_of,
    store_path,
    today,
    who,
)
from tapwear.cli.stops import before_list, stops_named, tell_notice
from tapwear.errors import DataRejected, StoreError, UsageError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from tapwear.findings import Finding
    from tapwear.store.engine import Store
    from tapwear.store.importing import ImportResult
    from tapwear.visits.types import Intake

DEMO_AS_OF = "2026-06-30"  # the day up to which the invented fleet has been visited
DEMO_STORE = Path("tapwear-demo.db")
FINDINGS_SHOWN = 20  # of an import; all of them with `tapwear findings`. Our choice

IMPORT_HELP = (
    "Bring in rows from CSV files, or from all the files of a folder.\n\n"
    "A file feeds the table of its own name: places, units, service_rules, visit_rules, readings, events, samples, "
    "services, conditions, observations, limits, closures, transfer_groups, crews, teams, team_holidays, resources, "
    "outage_terms, other_outages, job_notes (readings_2024.csv feeds readings too). --template FOLDER writes an empty "
    "file for each, with all headings; --fields TABLE explains them. Other headings, units, words or date formats, "
    "files with one row per result and sheets of workbooks are translated by a mapping file (--map); "
    "data/maps/README.md shows how to write one.\n\n"
    "Visit files (.json), saved by a round sheet or another program, are taken as they are, from several people in any "
    "order and any number of times. Two numbers for one counter and day are both kept: tapwear resolve settles it.\n\n"
    "Importing a file twice adds nothing. A row that says otherwise than the store is a conflict: shown, not stored. "
    "A bad row becomes a finding, kept with the import (tapwear findings); good rows are stored. Exit code 3: some "
    "rows were not taken.\n\n"
    "Examples:\n\n"
    "  tapwear import units.csv readings.csv\n\n"
    "  tapwear import --map our-map.toml visits/2026 --dry-run\n\n"
    "  tapwear import readings.csv --date-format DD.MM.YYYY\n\n"
    "  tapwear import visits-AH-2026-06-30-Kim.json"
)
FINDINGS_HELP = (
    "Show what an import did not take, and what to do about it.\n\n"
    "Without a number: the latest import. --imports lists all imports instead.\n\n"
    "Examples:\n\n"
    "  tapwear findings\n\n"
    "  tapwear findings 3 --csv > to-mend.csv"
)
DEMO_HELP = (
    "Show the main job on an invented fleet.\n\n"
    f"Builds a store of its own ({DEMO_STORE} in this folder, or FILE), with eight years of visits up to "
    f"{DEMO_AS_OF}, and lists the overhauls that come due as of that day. A demo store that is there already is shown "
    "as it is.\n\n"
    "Example: tapwear demo"
)


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
    app.command("import", help=IMPORT_HELP, rich_help_panel=KEEPING)(import_rows)
    app.command("findings", help=FINDINGS_HELP, rich_help_panel=KEEPING)(findings)
    app.command("demo", help=DEMO_HELP, rich_help_panel=KEEPING)(demo)


def import_rows(
    context: typer.Context,
    paths: Annotated[
        list[Path] | None, typer.Argument(metavar="PATH...", help="CSV and visit files, or folders that hold them.")
    ] = None,
    mapping: Annotated[
        Path | None, typer.Option("--map", metavar="FILE", help="Mapping file (TOML) for headings other than ours.")
    ] = None,
    date_format: Annotated[
        str | None,
        typer.Option("--date-format", metavar="F", help="How dates are written, e.g. DD.MM.YYYY. Never guessed."),
    ] = None,
    encoding: Annotated[
        str | None, typer.Option("--encoding", metavar="E", help="Of files not in UTF-8: cp1252, as Excel's CSV.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would happen; store nothing.")] = False,
    by: Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who imports.")] = None,
    template: Annotated[
        Path | None, typer.Option("--template", metavar="FOLDER", help="Write an empty CSV for each table, and stop.")
    ] = None,
    fields: Annotated[
        str | None, typer.Option("--fields", metavar="TABLE", help="Explain the headings of a table, and stop.")
    ] = None,
) -> None:
    """Bring in rows from CSV files."""
    if fields is not None:
        _explain(fields)
        return
    if template is not None:
        _write_templates(template)
        return
    if not paths:
        raise UsageError("Name the files or folders to import; tapwear import --help says more.")
    _no_dumps(paths)
    store = open_the_store(context)
    result = _bring_in(store, paths, mapping, date_format, encoding=encoding, dry_run=dry_run, by=who(context, by))
    if result.number is not None:
        _raise_stops(context, store, result.number, by)
    tell_notice(stops_named(store, [f"{one.sentence()} {one.row}" for one in result.findings])[0])
    _tell(result, store.path, dry_run=dry_run)
    if not result.all_taken:
        rejected, conflicts, held = (result.total(what) for what in ("rejected", "conflicts", "held"))
        waits = f"; held for your word: {held:,} (tapwear confirm)" if held else ""
        if rejected or conflicts or held:
            raise DataRejected(f"Rows rejected: {rejected:,}; in conflict with the store: {conflicts:,}{waits}.")
        raise DataRejected("Not every file could be read.")


def _raise_stops(context: typer.Context, store: Store, number: int, by: str | None) -> None:
    """What an import brought in that is severe, or to be acted on at once, said before all else."""
    from tapwear.cli.stops import RAISES, raise_and_tell, tell_alarms
    from tapwear.store.stops import stopped_tags, tags_of_import

    with store.rows() as connection:
        tags = tags_of_import(connection, number, RAISES)
        seen = tags_of_import(connection, number, ("observation",))
    if not tags:
        return
    raise_and_tell(context, store, tags, by)
    if seen:
        from tapwear.stopping import import_alarms

        with store.rows() as connection:
            stopped = stopped_tags(connection)
        for tag, alarms in import_alarms(store, number, today()).items():
            if tag not in stopped:
                tell_alarms(tag, alarms)


def _no_dumps(paths: Sequence[Path]) -> None:
    """Raises UsageError for a folder that holds a whole store, which is brought back in another way."""
    from tapwear.store.dump import MANIFEST

    for path in paths:
        if (path / MANIFEST).is_file():
            from tapwear.store.undump import is_dump

            if is_dump(path):
                again = f"tapwear --db NEWFILE restore {path}"
                raise UsageError(f"{path} is a dump of a whole store. Make a store of it again with: {again}")


def _bring_in(
    store: Store,
    paths: Sequence[Path],
    mapping: Path | None,
    date_format: str | None,
    *,
    dry_run: bool,
    by: str,
    encoding: str | None = None,
) -> ImportResult:
    from tapwear.cli.counter_check import question_words
    from tapwear.report.terminal import progress
    from tapwear.store.importing import store_intake
    from tapwear.visits.mapping_file import known_encoding, load_mapping
    from tapwear.visits.reading import read_paths
    from tapwear.visits.values import printable

    feeds = load_mapping(mapping) if mapping else None
    with progress("Reading files") as done:
        intake: Intake = read_paths(paths, feeds, date_format, _steps(done), known_encoding(encoding, "--encoding"))
    with progress("Storing rows", len(intake.rows)) as done:
        return store_intake(
            store,
            intake,
            by=by,
            now=now(),
            today=today(),
            what=", ".join(printable(str(path)) for path in paths),
            dry_run=dry_run,
            progress=_steps(done),
            judge=question_words,
        )


def _steps(done: Callable[[int], None]) -> Callable[[str, int, int], None]:
    """Turns "so many so far" into the steps that the progress line counts."""
    last = 0

    def advance(words: str, so_far: int, of: int) -> None:
        nonlocal last
        done(max(so_far - last, 0))
        last = so_far

    return advance


def _tell(result: ImportResult, path: Path, *, dry_run: bool) -> None:
    """What became of the rows on standard output, the findings on standard error."""
    from tapwear.report.plain import plain

    head = ["table", "stored", "already known", "in conflict", "rejected"]
    rows = [
        [name or "(unknown)", f"{c.stored:,}", f"{c.known:,}", f"{c.conflicts:,}", f"{c.rejected:,}"]
        for name, c in result.counts.items()
    ]
    if result.total("held"):
        head.append("held")
        rows = [[*row, f"{count.held:,}"] for row, count in zip(rows, result.counts.values(), strict=True)]
    widths = [max(len(row[at]) for row in [head, *rows]) for at in range(len(head))]
    for row in [head, *rows]:
        cells = [row[0].ljust(widths[0]), *(cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True))]
        typer.echo("  ".join(cells))
    if result.sample_counters:
        typer.echo(f"Counters on sample sheets kept as readings of source sample: {result.sample_counters:,}")
    say(f"{result.rows_seen:,} rows read.")
    shown = len(result.findings) if dry_run else FINDINGS_SHOWN  # those of a dry run are kept nowhere
    for finding in result.findings[:shown]:
        say(f"{finding.severity}: {plain(finding.sentence())}")
    more = len(result.findings) - shown
    if more > 0:
        say(f"... and {more:,} more findings; all of them: tapwear findings")
    if result.files_left_alone:
        names = ", ".join(plain(Path(name).name) for name in result.files_left_alone)
        say(f"Left alone, since nothing says what they feed: {names}")
    say(f"Dry run: nothing was stored in {path}." if dry_run else f"Import {result.number} into {path} is done.")


def _explain(name: str) -> None:
    from tapwear.measures import KEPT_UNIT, MEASURES
    from tapwear.visits.fields import TABLES

    table = TABLES.get(name)
    if table is None:
        raise UsageError(f"There is no table {name}; there are {', '.join(TABLES)}.")
    typer.echo(f"{table.name}: {table.help}")
    typer.echo(f"Rows are the same when they agree in: {', '.join(table.key)}\n")
    for field in table.fields:
        needed = "needed; " if field.required else ""
        words = f"; one of: {', '.join(field.choices)}" if field.choices else ""
        measure = (
            f" [{KEPT_UNIT[field.measure]}; another unit in column {field.unit_column}: "
            f"{', '.join(sorted(MEASURES[field.measure]))}]"
            if field.measure
            else ""
        )
        typer.echo(f"  {field.name}: {needed}{field.help}{measure}{words}")


def _write_templates(folder: Path) -> None:
    from tapwear.visits.fields import TABLES

    files = {folder / f"{table.name}.csv": [field.name for field in table.fields] for table in TABLES.values()}
    try:
        for path in files:
            if path.exists():
                raise UsageError(f"{path} is there already; templates never overwrite. Name another folder.")
        folder.mkdir(parents=True, exist_ok=True)
        for path, headings in files.items():
            with path.open("x", encoding="utf-8", newline="") as file:
                file.write(",".join(headings) + "\n")
    except OSError as error:
        raise UsageError(f"The templates cannot be written to {folder}: {error.strerror}.") from error
    say(f"Empty files for {len(TABLES)} tables are in {folder}. Fill in what you have; leave the rest out.")


def findings(
    context: typer.Context,
    number: Annotated[
        int | None, typer.Argument(metavar="IMPORT", help="Number of the import; else the latest.")
    ] = None,
    imports: Annotated[bool, typer.Option("--imports", help="List all imports instead.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Give CSV on standard output.")] = False,
) -> None:
    """Show what an import did not take."""
    from tapwear.report.plain import plain
    from tapwear.store.runs import findings_of, import_runs

    store = open_the_store(context)
    if imports:
        for run in import_runs(store):
            typer.echo(
                f"{run.number}  {run.recorded_at:%Y-%m-%d %H:%M} UTC  by {plain(run.recorded_by)}: {plain(run.what)}; "
                f"stored {run.rows_stored:,}, known {run.rows_known:,}, findings {run.rows_in_findings:,}"
            )
        return
    run, found = findings_of(store, number)
    stops, marks = stops_named(store, [f"{one.sentence()} {one.row}" for one in found])
    if as_csv:
        _findings_csv(found, marks)
    else:
        typer.echo(before_list(stops), nl=False)
        for mark, finding in zip(marks, found, strict=True):
            stop = f"{mark}  " if mark else ""
            typer.echo(f"{stop}{finding.severity}: {plain(finding.sentence())}")
    say(f"Import {run.number} of {run.recorded_at:%Y-%m-%d}: {len(found):,} findings.")


def _findings_csv(found: Sequence[Finding], stops: Sequence[str]) -> None:
    """The findings as CSV. stops : of each, what stands at the unit that it names"""
    import csv

    from tapwear.report.due_data import csv_cell

    writer = csv.writer(sys.stdout, lineterminator="\n")
    columns = ("severity", "file", "line", "field", "found", "remedy", "row")
    writer.writerow(("stop", *columns))
    for stop, finding in zip(stops, found, strict=True):
        writer.writerow([stop, *(csv_cell(getattr(finding, name)) for name in columns)])


def demo_folder() -> Path:
    """Where the invented fleet's files are: beside the modules when installed, else in the checkout."""
    import tapwear

    package = Path(tapwear.__file__).parent
    for folder in (package / "data" / "demo", package.parent / "data" / "demo"):
        if folder.is_dir():
            return folder
    raise UsageError("The invented fleet's files are not part of this installation; install Tapwear again.")


def demo(
    context: typer.Context,
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="Where to keep the demo's store.")] = None,
) -> None:
    """Show the main job on an invented fleet."""
    from tapwear.cli.scheduling import due
    from tapwear.stopping import raise_stops
    from tapwear.store.backup import name_it
    from tapwear.store.engine import create_store
    from tapwear.store.recording import Stamp
    from tapwear.store.unfinished import making

    path = file or DEMO_STORE
    if path.exists():
        say(f"Using the demo store that is there: {path}")
    else:
        with making(path) as part:  # whatever stops it leaves no store that holds only a part of the fleet
            store = create_store(part, access_of(setup_of(context)))
            result = _bring_in(store, sorted(demo_folder().glob("*.csv")), None, None, dry_run=False, by="demo")
            raise_stops(store, None, parse_date(DEMO_AS_OF, "as of"), Stamp("demo", now()))
            store.close()
            name_it(part, path)
        say(f"Made an invented fleet in {path}: {result.total('stored'):,} rows, as of {DEMO_AS_OF}.")
    context.find_root().obj = Setup(path, "--db", setup_of(context).config)
    if not store_path(context).is_file():
        raise StoreError(f"{path} is not a file; name another place for the demo.")
    due(context, as_of=DEMO_AS_OF)
    again = f"tapwear --db {path}"
    say(f"The stories in this fleet are told in data/README.md. More to try, with {again}:")
    say(f"  {again} due --as-of {DEMO_AS_OF} --within '5 years'")
    say(f"  {again} plan show    (after plan build)")
    say(f"  {again} unit list")
