"""`tapwear backtest oil`: what the oil said of each unit as of past dates, for anybody to score."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import open_the_store, say
from tapwear.cli.stops import stops_among, tell_notice
from tapwear.cli.writing import CSV, may_write, named, write_out
from tapwear.errors import DataRejected, UsageError
from tapwear.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from tapwear.oil.types import OilVerdict
    from tapwear.store.engine import Store

OIL_HELP = (
    "Say what the oil said as of past dates.\n\n"
    "For each row of --asof: the call of the unit on that day (pull, resample or none) and, with a pull, the early "
    "one of its open-by dates, the one to plan by. Each answer uses only what is dated on or before its day: the "
    "store is read anew for every day, and counters and oil are worked out from that alone. --out has unit_id, as_of, "
    "call, open_by, in the order of --asof.\n\n"
    "Example:\n\n"
    "  tapwear --db fleet.db backtest oil --asof asof.csv --out calls.csv"
)
CALLS = {"pull forward": "pull", "resample": "resample"}  # all other calls ask for nothing: none
HEADINGS = ("unit_id", "as_of", "call", "open_by")


@dataclass(frozen=True)
class Question:
    """One row of the questions: what did the oil of `unit` say on `as_of`?"""

    unit: str
    as_of: date


def register(group: typer.Typer) -> None:
    """Adds the command to the backtest group."""
    group.command("oil", help=OIL_HELP)(backtest_oil)


def backtest_oil(
    context: typer.Context,
    asof: Annotated[Path, typer.Option("--asof", metavar="FILE", help="CSV with unit_id (or unit) and as_of.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="CSV to write; written anew if it is there.")],
) -> None:
    """Say what the oil said as of past dates."""
    from tapwear.store.overview import list_units

    store = open_the_store(context)
    may_write(out, store, force=True, endings=CSV)
    with store.rows() as connection:
        tags = {line.tag for line in list_units(connection)}
    questions, findings = read_questions(asof, tags)
    tell_notice(stops_among(store, (question.unit for question in questions)))
    for finding in findings:
        say(finding.sentence())
    written = answers(store, questions)
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([HEADINGS, *written])
    write_out(out, text.getvalue())
    say(f"{len(written):,} calls written to {named(out)}")
    if findings:
        rows = "1 row" if len(findings) == 1 else f"{len(findings):,} rows"
        raise DataRejected(f"No call for {rows} of {asof}; see above.")


def answers(store: Store, questions: list[Question]) -> list[tuple[str, str, str, str]]:
    """One row per question, as in HEADINGS and in their order; every day is worked out once, from its own past."""
    from tapwear.fleet import assess_counts, assess_oil
    from tapwear.report.terminal import progress
    from tapwear.store.loading import load_book

    by_day: dict[date, dict[str, OilVerdict]] = {}
    days = sorted({question.as_of for question in questions})
    with progress("The oil as of past dates", len(days)) as done:
        for day in days:
            book = load_book(store, as_of=day)
            _, model = assess_counts(book, day)
            by_day[day] = {verdict.unit: verdict for verdict in assess_oil(book, model, day)}
            done(1)
    return [_row(question, by_day[question.as_of]) for question in questions]


def _row(question: Question, verdicts: Mapping[str, OilVerdict]) -> tuple[str, str, str, str]:
    """The answer to one question."""
    from tapwear.report.due_data import csv_cell

    call, open_by = told(verdicts.get(question.unit), question.as_of)
    return str(csv_cell(question.unit)), question.as_of.isoformat(), call, open_by


def told(verdict: OilVerdict | None, as_of: date) -> tuple[str, str]:
    """Call (pull, resample or none) and open_by of a verdict for the scorer; a unit not yet known asks for nothing.

    The early date is given, which all lists lead with (on the bench it costs less than the middle one, which often
    comes after the next sample); a call without a date does not wait.
    """
    call = CALLS.get(verdict.call, "none") if verdict else "none"
    return call, (verdict.open_by_early or as_of).isoformat() if verdict and call == "pull" else ""


def read_questions(path: Path, units: Iterable[str]) -> tuple[list[Question], list[Finding]]:
    """The rows of a file of questions, and a finding for each that cannot be answered.

    Columns: unit_id (or unit) and as_of [ISO date]. Raises UsageError when the file or a column is missing.
    """
    known = set(units)
    questions, findings = [], []
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            headings = reader.fieldnames or []
            tag = next((name for name in ("unit_id", "unit") if name in headings), None)
            if tag is None or "as_of" not in headings:
                missing = ", ".join(([] if tag else ["unit_id"]) + ([] if "as_of" in headings else ["as_of"]))
                raise UsageError(f"{path} has no column {missing}; its columns are: {', '.join(headings) or 'none'}.")
            for row in reader:
                unit, day = ((row.get(name) or "").strip() for name in (tag, "as_of"))
                if unit not in known:
                    remedy = "give the tag of a unit of this store"
                    findings.append(Finding(path.name, reader.line_num, tag, f"found {unit or 'nothing'!r}", remedy))
                    continue
                try:
                    questions.append(Question(unit, date.fromisoformat(day)))
                except ValueError:
                    remedy = "give a date like 2024-12-31"
                    findings.append(Finding(path.name, reader.line_num, "as_of", f"found {day or 'nothing'!r}", remedy))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise UsageError(f"The questions cannot be read from {path}: {error}") from error
    return questions, findings
