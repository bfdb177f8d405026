"""`tapwear amend` and `tapwear undo`: what was recorded wrongly is superseded or taken back, never deleted."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.context import open_the_store, parse_date, who
from tapwear.cli.entering import asked, at_a_terminal, in_words, stamp_of, tell, value_of
from tapwear.cli.stops import RAISES, raise_and_tell, stops_among, tell_notice
from tapwear.errors import UsageError
from tapwear.words import as_typed

if TYPE_CHECKING:
    from tapwear.store.engine import Store
    from tapwear.store.find import UnitKey
    from tapwear.store.trail import TrailRow

LISTED = 6  # rows named when it is not clear which one is meant; our choice

By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")]


def amend(
    context: typer.Context,
    unit: Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")],
    kind: Annotated[
        str,
        typer.Argument(
            metavar="KIND", help="What to correct: reading, sample, service, event, condition, observation ..."
        ),
    ],
    because: Annotated[str, typer.Option("--because", metavar="REASON", help="Why the book is corrected. Needed.")],
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Of which day, as it is in the book.")] = None,
    number: Annotated[
        int | None, typer.Option("--number", metavar="N", help="Its number, as tapwear history shows it.")
    ] = None,
    changes: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="FIELD=VALUE", help="What it should say; may be repeated. FIELD= clears."),
    ] = None,
    withdraw: Annotated[bool, typer.Option("--withdraw", help="Take it back altogether.")] = False,
    sure: Annotated[
        str | None,
        typer.Option("--sure", metavar="REASON", help="The counter is right although it looks odd: record it."),
    ] = None,
    witness: Annotated[
        str | None,
        typer.Option("--witness", metavar="NAME", help="A second name, for a service that ends an overdue task."),
    ] = None,
    by: By = None,
) -> None:
    """Correct or withdraw one row of the book. What was there before is kept and shows in: tapwear history.

    Say which row by its day or its number. Fields are called as in the tables of `tapwear import --help`. A corrected
    counter reading is held against the unit's past as by `tapwear log`.

    Examples:
      tapwear amend T1 reading --on 2026-06-20 --set value=65480 --because "digits transposed"
      tapwear amend T1 sample --number 31 --set acetylene_ul_per_l="<5" --because "laboratory's second report"
      tapwear amend T1 reading --on 2026-06-20 --withdraw --because "read on T2"

    Exit codes: 0 corrected; 2 command not understood; 3 the counter is questioned, not recorded.
    """
    from tapwear.store.amending import amend_entry, withdraw_entry
    from tapwear.store.find import find_unit
    from tapwear.store.trail import row_of

    if not because.strip():
        raise UsageError("--because: say why the book is corrected.")
    if withdraw == bool(changes):
        raise UsageError("Say either what is right with --set FIELD=VALUE, or --withdraw.")
    day = parse_date(on, "--on") if on else None
    typed = _pairs(changes or [])
    store = open_the_store(context)
    with store.rows() as connection:
        key = find_unit(connection, unit)
    row = _chosen(store, key, kind, day, number, typed)
    stamp = stamp_of(context, by, because.strip())
    if withdraw:
        with store.rows(writing=True) as connection:
            withdraw_entry(connection, row, stamp)
        if row.kind in RAISES:
            raise_and_tell(context, store, [key.tag], by, announced=True)
        tell(f"Withdrawn: {key.tag}, {row.name}. It stays in the book. Store: {store.path}")
        return
    given, doubt = _corrected(store, key, row, typed, sure, witness)
    with store.rows(writing=True) as connection:
        after = amend_entry(connection, key, row, given, stamp, doubt)
        before, now = row_of(connection, row.kind, row.id), row_of(connection, row.kind, after)
    if row.kind in RAISES:
        raise_and_tell(context, store, [key.tag], by, announced=True)
    from tapwear.cli.history_words import changed_words

    words = changed_words(before, now)
    tell(f"Corrected: {key.tag}, {row.name}: {words}. What was there before is kept. Store: {store.path}")


def undo(
    context: typer.Context,
    because: Annotated[
        str | None, typer.Option("--because", metavar="REASON", help="Why. Needed; asked for at a terminal.")
    ] = None,
    again: Annotated[
        bool, typer.Option("--again", help="Go one entry further back, for the same reason as just now.")
    ] = False,
    by: By = None,
) -> None:
    """Undo your last entry: all rows that one command recorded. The book keeps it, and that it was taken back.

    Run it again to go one entry further back; where nothing was recorded since and the reason is the same, with
    --again, so that a command given twice by mistake takes back nothing more. An entry on which later ones rest is not
    taken back; nor is an import.
    Changes of the register are set right with: tapwear unit change.

    Example: tapwear undo --because "entered for the wrong unit"
    """
    from tapwear.store.undoing import last_entry, register_changed_since, undone_just_now
    from tapwear.store.undoing import undo as take_back

    store = open_the_store(context)
    name = who(context, by)
    with store.rows() as connection:
        done = undone_just_now(connection, name, (because or "").strip()) if because and not again else None
        if done is not None:
            rows = ", ".join(row.name for row in done.rows)
            tell(
                f"Taken back already, for that reason: the entry of {done.at.astimezone():%Y-%m-%d %H:%M} ({rows}). "
                "Nothing more was changed. To go one entry further back: the same command with --again"
            )
            return
        entry = last_entry(connection, name)
        register = register_changed_since(connection, entry)
        tags = _tags(connection, entry.rows)
    from tapwear.cli.history_words import says_words

    tell_notice(stops_among(store, tags.values()))
    tell(f"Last entry of {name}, {entry.at.astimezone():%Y-%m-%d %H:%M}:")
    for row in entry.rows:
        tell(f"  {tags.get((row.kind, row.id), '')} {row.name}: {says_words(row)}".replace("   ", "  "))
    if register:
        tell("Since then the register was changed: that is left as it is, and set right with: tapwear unit change")
    reason = because if because is not None or not at_a_terminal() else asked("Why is it taken back (empty: leave it)")
    if not (reason and reason.strip()):
        raise UsageError("Nothing was changed. To take it back say why: --because REASON")
    with store.rows(writing=True) as connection:
        take_back(connection, entry, stamp_of(context, by, reason.strip()))
    raise_and_tell(context, store, {tag for (kind, _), tag in tags.items() if kind in RAISES and tag}, by)
    count = "1 row" if len(entry.rows) == 1 else f"{len(entry.rows)} rows"
    tell(f"Taken back: {count}. They stay in the book: tapwear history UNIT. Store: {store.path}")


def _tags(connection: Any, rows: Sequence[TrailRow]) -> dict[tuple[str, int], str]:
    """The unit of each row of an entry, by kind and number."""
    from tapwear.store.trail import tag_of

    return {(row.kind, row.id): tag_of(connection, row) for row in rows}


def _pairs(changes: Sequence[str]) -> dict[str, str]:
    """FIELD=VALUE apart. Raises UsageError for one without `=`."""
    typed = {}
    for change in changes:
        name, sign, text = change.partition("=")
        if not sign:
            raise UsageError(f"--set: {change!r} is not of the form FIELD=VALUE.")
        typed[name.strip().casefold().replace(" ", "_").replace("-", "_")] = text
    return typed


def _chosen(
    store: Store, key: UnitKey, kind: str, day: date | None, number: int | None, typed: Mapping[str, str]
) -> TrailRow:
    """The one row that stands and is meant. Raises UsageError listing the likely ones where that is not clear."""
    from tapwear.cli.history_words import says_words
    from tapwear.cli.on_visit_history import known_kind
    from tapwear.store.trail import book_tables, trail_of

    with store.rows() as connection:
        table = known_kind(kind, list(book_tables(connection)))
        rows = trail_of(connection, key, [table])
    if table == "visit":
        raise UsageError("A visit is corrected row by row (reading, observation), or taken back whole: tapwear undo")
    standing = [row for row in rows if row.stands]
    fit = [row for row in standing if day in (None, row.day) and number in (None, row.id)]
    if table == "observation" and len(fit) > 1:
        fit = [row for row in fit if row.says["quantity"] in typed] or fit
    if len(fit) == 1:
        return fit[0]
    gone = next((row for row in rows if row.id == number and not row.stands), None)
    if gone is not None:
        look = f"tapwear history {as_typed(key.tag)}"
        raise UsageError(f"{gone.name} does not stand any more; what took its place: {look}")
    which = [f"of {day}"] if day else []
    which += [f"with number {number}"] if number is not None else []
    listed = "; ".join(f"{row.name} ({says_words(row)})" for row in (fit or standing)[-LISTED:]) or "none"
    name = table.replace("_", " ")
    if fit:
        raise UsageError(
            f"{key.tag} has {len(fit)} rows of kind {' '.join([name, *which])}: say which with --on DATE or "
            f"--number N. The last: {listed}. All: tapwear history {as_typed(key.tag)} --kind {table}"
        )
    raise UsageError(f"{key.tag} has no {name} {' '.join(which)}. The last: {listed}.".replace("  ", " "))


def _corrected(
    store: Store, key: UnitKey, row: TrailRow, typed: Mapping[str, str], sure: str | None, witness: str | None
) -> tuple[dict[str, Any], str]:
    """All fields of the corrected row, and the doubt to keep with a reading; questions are asked here."""
    from tapwear.store.amending import fields_of, given_of

    fields = fields_of(row)
    if not fields:
        raise UsageError(f"A {row.kind} is not corrected field by field: --withdraw it, then enter it anew.")
    given = before = given_of(row)
    given = dict(given)
    for name, text in typed.items():
        spec = fields.get(name)
        if spec is None:
            raise UsageError(f"--set: {row.name} has no field {name} to correct; it has {', '.join(fields)}.")
        if text.strip():
            given[name] = value_of(spec, text, f"--set {name}")
        elif spec.required:
            raise UsageError(f"--set: {name} cannot be cleared: {spec.help}.")
        else:
            given.pop(name, None)
    if given == before:
        said = ", ".join(f"{name} {in_words(before.get(name))}" for name in typed)
        raise UsageError(f"{row.name} says so already ({said}); nothing was changed.")
    if row.kind == "reading":
        return given, _doubt(store, key, row, given, sure)
    if row.kind == "service":
        given["resets"] = _resets(before, given, typed)
        from tapwear.cli.overdue import cleared_overdue, refuse_without_proof

        if witness is not None:
            given["witness"] = value_of(fields["witness"], witness, "--witness")
        refuse_without_proof(key, given, cleared_overdue(store, key, given))
    return given, ""


def _resets(before: Mapping[str, Any], given: Mapping[str, Any], typed: Mapping[str, str]) -> tuple[str, ...] | None:
    """Which clocks a corrected service starts again: those of the other work, where the first ones were as usual."""
    from tapwear.visits.resets import NO_RESETS, resets_of

    usual = resets_of(before["work"], None) or (NO_RESETS,)
    if "resets" in typed or given["work"] == before["work"] or before["resets"] != usual:
        return given.get("resets")
    return resets_of(given["work"], None) or (NO_RESETS,)


def _doubt(store: Store, key: UnitKey, row: TrailRow, given: dict[str, Any], sure: str | None) -> str:
    """The doubt to keep with a corrected number; the row itself is left out of the past that it is held against."""
    from dataclasses import replace

    from tapwear.cli.counter_check import number_kept
    from tapwear.store.history import counter_past
    from tapwear.visits.values import minute_of

    time = given.get("read_time", "")
    if given["value"] == row.says["value"] and given["read_on"] == row.day and time == row.says["read_time"]:
        return str(row.says["doubt"])
    day = given["read_on"]
    with store.rows() as connection:
        past = counter_past(connection, key, row.says["drive"], row.says["source"], day)
    past = replace(past, readings=tuple(one for one in past.readings if one.id != row.id))
    given["value"], doubt = number_kept(past, day, given["value"], sure, minute_of(time))
    return doubt
