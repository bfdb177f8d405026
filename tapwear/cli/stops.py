"""`tapwear stop`: what stands, and an engineer's release; and what every command says first of a stopped unit."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Annotated, Any

import typer

from tapwear.cli.context import ON_THE_VISIT, as_of_or_today, now, open_the_store, parse_date, today, who
from tapwear.cli.entering import past_day, stamp_of, tell
from tapwear.errors import TapwearError, UsageError
from tapwear.report.plain import json_text
from tapwear.visits.fields import READINGS
from tapwear.words import as_typed, stop_notice, stop_short

if TYPE_CHECKING:
    from tapwear.outlook.signs import Alarm
    from tapwear.store.engine import Store
    from tapwear.store.find import UnitKey
    from tapwear.store.stops import StopRow

# Commands whose page opens with the stop of the unit that it is about, so that it is not said twice.
OPEN_WITH_IT = ("why", "oil", "history", "unit show", "stop show", "stop raise")

# Parameters of commands whose values are tags of units.
NAMING = ("unit", "units", "tags", "tag", "other")

# Kinds of rows after which the book may call for a stop that it did not call for before.
RAISES = ("sample", "condition", "observation", "service", "event")

stop_app = typer.Typer(
    no_args_is_help=True,
    help=(
        "Stops: possible arcing or overheating. Whatever is severe opens one: oil results, a noted condition, what a "
        "visit saw. It stands until a named engineer releases it; no later result does."
    ),
)
Tag = Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")]
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")]
AsOf = Annotated[str | None, typer.Option("--as-of", metavar="DATE", help="As of this day (ISO); else today.")]
AsJson = Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")]


def register(app: typer.Typer) -> None:
    """Adds the group to the application."""
    short = "Units that nobody may operate or go near: list, show, raise, release by the engineer."
    app.add_typer(stop_app, name="stop", rich_help_panel=ON_THE_VISIT, short_help=short)


@stop_app.command("list")
def show_all(
    context: typer.Context,
    everything: Annotated[bool, typer.Option("--all", help="Cleared ones too.")] = False,
    as_of: AsOf = None,
    as_json: AsJson = False,
) -> None:
    """List the stops that stand, and those that are released for work.

    Example: tapwear stop list
    """
    from tapwear.store.stops import list_stops

    day = as_of_or_today(as_of)
    with open_the_store(context).rows() as connection:
        rows = [row for row in list_stops(connection) if row.opened_on <= day]
    _show([row for row in rows if everything or row.state(day) != "cleared"], day, as_json)


@stop_app.command("show")
def show(context: typer.Context, unit: Tag, as_of: AsOf = None, as_json: AsJson = False) -> None:
    """Show the stops of one unit, cleared ones too: cause, evidence, day, and who released it and why.

    Example: tapwear stop show T1
    """
    from tapwear.store.find import find_unit
    from tapwear.store.stops import list_stops

    day = as_of_or_today(as_of)
    with open_the_store(context).rows() as connection:
        rows = [row for row in list_stops(connection, find_unit(connection, unit)) if row.opened_on <= day]
    _show(rows, day, as_json)


@stop_app.command("raise")
def raise_one(
    context: typer.Context,
    unit: Tag,
    because: Annotated[str, typer.Option("--because", metavar="REASON", help="What makes it necessary.")],
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Since when; else today.")] = None,
    by: By = None,
) -> None:
    """Stop a unit by hand. It then stands like any other, until an engineer releases it.

    Example: tapwear stop raise T1 --because "smell of burnt oil at the breather"
    """
    from tapwear.store.find import find_unit
    from tapwear.store.stops import Severe, open_stop, open_stops

    if not because.strip():
        raise UsageError("--because: say what makes the stop necessary.")
    day = past_day(READINGS.field("read_on"), on)
    store = open_the_store(context)
    stamp = stamp_of(context, by)
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        found = Severe(key.tag, day, "engineer", f"{because.strip().rstrip('.')}, by {stamp.by}.")
        number = open_stop(connection, key, found, stamp)
        rows = open_stops(connection, key)
    tell_stops({key.tag: rows})
    tell(f"Recorded. Store: {store.path}" if number else f"It stands already; nothing was added. Store: {store.path}")


@stop_app.command("release")
def release(
    context: typer.Context,
    unit: Tag,
    engineer: Annotated[str, typer.Option("--by", metavar="NAME", help="The engineer who releases it and answers.")],
    because: Annotated[str, typer.Option("--because", metavar="REASON", help="What was found, or why it may be.")],
    cleared: Annotated[
        bool, typer.Option("--cleared", help="The cause is found and gone: the unit is as any other again.")
    ] = False,
    for_work: Annotated[
        str | None,
        typer.Option(
            "--for-work-from",
            metavar="DATE",
            help="Work on it, de-energised, from this day; the stop stands for all else.",
        ),
    ] = None,
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day of the release; else today.")] = None,
) -> None:
    """Release a stopped unit: by the responsible engineer, with a reason. Nothing else ends a stop.

    Say either --cleared, or --for-work-from DATE: then it is planned as the most urgent job, with a job sheet; it stays
    out of operation until it is cleared.

    Examples:
      tapwear stop release T1 --by "K. Arden" --because "open it, suspected arcing" --for-work-from 2026-07-02
      tapwear stop release T1 --by "K. Arden" --because "contacts renewed, oil sampled twice since" --cleared

    Exit codes: 0 recorded; 2 command not understood, or nothing stands.
    """
    from tapwear.store.find import find_unit
    from tapwear.store.stops import open_stops, release_stops

    if cleared == (for_work is not None):
        raise UsageError("Say either --cleared, or --for-work-from DATE.")
    day = past_day(READINGS.field("read_on"), on)
    begins = None if for_work is None else parse_date(for_work, "--for-work-from")
    store = open_the_store(context)
    stamp = stamp_of(context, engineer)
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        before = release_stops(connection, key, day, engineer, because, stamp, begins)
        still = open_stops(connection, key)
    for row in before:
        tell(f"{'Cleared' if cleared else f'Released for work from {begins}'}: {key.tag}, {row.sentence}")
    if still:
        tell_stops({key.tag: still})
    tell(f"By {engineer.strip()}: {because.strip()}. Store: {store.path}")


def _show(rows: Sequence[StopRow], day: Any, as_json: bool) -> None:
    from tapwear.report.page import Block, show_page, table

    if as_json:
        records = [{"stop": _short(row, day), "state": row.state(day), **_record(row)} for row in rows]
        typer.echo(json_text(records, default=str))
        return
    if not rows:
        tell("No stop stands.")
        return
    open_ones = [row.unit for row in rows if row.state(day) != "cleared"]
    cells = [[row.state(day), row.unit, str(row.opened_on), row.sentence, _ended(row, day)] for row in rows]
    block = Block("Stops", tuple(table(["stop", "unit", "since", "evidence", "released"], cells)))
    show_page([*([Block(stop_notice(*dict.fromkeys(open_ones)), loud=True)] if open_ones else []), block])


def _ended(row: StopRow, day: Any) -> str:
    state = row.state(day)
    if state == "cleared":
        return f"cleared {row.cleared_on} by {row.cleared_engineer}: {row.cleared_words}"
    return "" if state == "stands" else f"for work, {row.work_released_on} by {row.work_engineer}: {row.work_words}"


def _short(row: StopRow, day: Any) -> str:
    """What the stop puts first in the rows of its unit; "" once it is cleared."""
    state = row.state(day)
    return "" if state == "cleared" else stop_short(row.opened_on, state != "stands")


def _record(row: StopRow) -> dict[str, Any]:
    from dataclasses import asdict

    return {name: value for name, value in asdict(row).items() if name != "id"}


# --- what every command says first ----------------------------------------------------------------------------


def tell_stops(stops: Mapping[str, Sequence[StopRow]]) -> None:
    """The notice of each stopped unit with its evidence, and what an engineer released it for."""
    for tag, rows in stops.items():
        if not rows:
            continue
        tell(stop_notice(tag), *(f"  {row.sentence}" for row in rows))
        released = [row for row in rows if row.work_from_on is not None]
        if len(released) == len(rows):
            tell(
                f"  Released for work de-energised from {released[-1].work_from_on} by {released[-1].work_engineer}: "
                f"{released[-1].work_words}"
            )


def refuse_stopped(rows: Sequence[StopRow], what: str) -> None:
    """Refuses what would plan or put off work on a unit whose stop stands: UsageError naming it and its release. The
    notice has been said by then."""
    if rows and any(row.work_from_on is None for row in rows):
        tag = rows[0].unit
        raise UsageError(
            f"{tag} is stopped since {min(row.opened_on for row in rows)}. {what}: the engineer decides now. "
            f"The release: tapwear stop release {as_typed(tag)} --by NAME --because REASON --cleared, or "
            "--for-work-from DATE"
        )


def announce(command: str, context: Any) -> None:
    """Says first, before the command does anything, that the unit which it names is stopped, or another one of its
    bank. What hinders it is left to the command itself, which says it better."""
    tags = _named(context)
    if not tags or command in OPEN_WITH_IT:
        return
    from tapwear.store.find import find_unit
    from tapwear.store.stops import open_stops

    found: dict[str, list[StopRow]] = {}
    beside: dict[str, str] = {}
    try:
        store = open_the_store(context)
        with store.rows() as connection:
            stands = open_stops(connection)
            for tag in tags if stands else ():
                with suppress(TapwearError):
                    key = find_unit(connection, tag)
                    found[key.tag] = [row for row in stands if row.unit == key.tag]
                    beside[key.tag] = _of_bank(connection, key, stands)
        store.close()
    except TapwearError:
        pass
    tell_stops(found)
    tell(*(f"{tag}: {words}" for tag, words in beside.items() if words))


def _of_bank(connection: Any, unit: UnitKey, stands: Sequence[StopRow]) -> str:
    """That another unit of its bank is stopped, as sentences; "" where none is, or the unit itself is stopped."""
    from tapwear.outlook.stops import bank_alarms, recorded_stops
    from tapwear.store.find import find_unit
    from tapwear.store.stays import standing_now

    stops = {tag: stop for tag, stop in recorded_stops(stands, today()).items() if stop is not None}
    if unit.tag in stops:
        return ""
    ids = {unit.tag: unit.id, **{tag: find_unit(connection, tag).id for tag in stops}}
    rows = {tag: standing_now(connection, number) for tag, number in ids.items()}
    alarm = bank_alarms({tag: (row.station, row.bank) for tag, row in rows.items() if row.bank}, stops).get(unit.tag)
    return alarm.sentence if alarm else ""


def stops_among(store: Store, tags: Iterable[str]) -> dict[str, str]:
    """Those of these units that are stopped, each with what stands first in its row."""
    from tapwear.store.stops import stops_short

    with store.rows() as connection:
        stops = stops_short(connection)
    return {tag: stops[tag] for tag in dict.fromkeys(tags) if tag in stops}


def stops_named(store: Store, texts: Sequence[str]) -> tuple[dict[str, str], list[str]]:
    """The stopped units that any of these texts names, each with what stands first in its row; and that of each text,
    "" where it names none."""
    from tapwear.store.stops import stops_short

    with store.rows() as connection:
        stops = stops_short(connection)
    if not stops:
        return {}, [""] * len(texts)
    tag = re.compile(rf"(?<![\w-])({'|'.join(map(re.escape, stops))})(?![\w-])", re.IGNORECASE)
    as_kept = {name.casefold(): name for name in stops}
    named = [as_kept[match[1].casefold()] if (match := tag.search(text)) else "" for text in texts]
    return {name: stops[name] for name in dict.fromkeys(named) if name}, [stops.get(name, "") for name in named]


def tell_notice(stops: Collection[str]) -> None:
    """The notice of these units, before what follows names them; nothing for none."""
    if stops:
        tell(stop_notice(*stops))


def before_list(stops: Collection[str]) -> str:
    """What a list on standard output opens with where it names stopped units: the notice and a blank line."""
    return f"{stop_notice(*stops)}\n\n" if stops else ""


def _named(context: Any) -> list[str]:
    """The units that a command's arguments name."""
    given = [context.params.get(name) for name in NAMING]
    found = [one for some in given if some for one in ([some] if isinstance(some, str) else some)]
    return [one for one in found if isinstance(one, str)]


def raise_and_tell(
    context: typer.Context, store: Store, tags: Collection[str] | None, by: str | None, *, announced: bool = False
) -> None:
    """Records the stops that the book calls for at these units (None: at all), and says them before all else; says too
    which newest sample contradicts a stop that stands.

    announced : the command named the unit, so that what stood before was said already
    """
    from tapwear.report.terminal import progress
    from tapwear.store.recording import Stamp

    if tags is not None and not tags:
        return
    with progress("Looking at what the oil says"):
        from tapwear.stopping import raise_stops

        raised = raise_stops(store, tags, today(), Stamp(who(context, by), now()))
    for tag, evidence in raised.opened.items():
        tell(stop_notice(tag), *(f"  {words}" for words in evidence))
    for tag, said in raised.told.items():
        tell(*(f"{tag}: {words}" for words in said))
    for tag, words in raised.contradicted.items():
        tell(*(() if announced or tag in raised.opened else (stop_notice(tag),)), f"  {tag}: {words}")


def tell_alarms(tag: str, alarms: Sequence[Alarm]) -> None:
    """What a visit saw that is to be acted on at once."""
    for alarm in alarms:
        tell(f"{tag}: {alarm.sentence}")
