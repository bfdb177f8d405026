"""`tapwear followups`: what is to be followed up after visits, until somebody closes it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import ON_THE_VISIT, as_of_or_today, open_the_store, say, today, who
from tapwear.cli.entering import past_day, stamp_of, tell, value_of
from tapwear.errors import UsageError
from tapwear.visits.fields import CONDITIONS
from tapwear.words import FOLLOWUP_KINDS

if TYPE_CHECKING:
    from datetime import date

    from tapwear.outlook.followups import FollowUp
    from tapwear.store.engine import Store
    from tapwear.store.find import UnitKey
    from tapwear.store.followups import FollowupRow
    from tapwear.store.observations import Seen

followups = typer.Typer(
    invoke_without_command=True,
    help=(
        "What is to be followed up after visits: list, add, close, reopen.\n\n"
        "Visits open a follow-up by what they note: seepage, an oil level low or high, a breather to be renewed or "
        "blocked, a faulty heater, unusual noise, damaged coating, a gas cylinder that falls faster than before. A "
        "fault seen again is still one. It stays until somebody closes it; only what is seen on a later day opens it "
        "again.\n\n"
        "Examples:\n\n"
        "  tapwear followups\n\n"
        "  tapwear followups --station BRK --json\n\n"
        '  tapwear followups close T1 seepage --which "drain valve" --words "gasket renewed"'
    ),
)

Tag = Annotated[str, typer.Argument(metavar="UNIT", help="Tag of the unit.")]
Kind = Annotated[str, typer.Argument(metavar="KIND", help=f"One of: {', '.join(FOLLOWUP_KINDS)}.")]
Which = Annotated[str, typer.Option("--which", metavar="TEXT", help="Part of its words, where there are several.")]
By = Annotated[str | None, typer.Option("--by", metavar="NAME", help="Who records; else you.")]


def register(app: typer.Typer) -> None:
    """Adds this group's commands to the application."""
    app.add_typer(followups, name="followups", rich_help_panel=ON_THE_VISIT)


@followups.callback()
def show(
    context: typer.Context,
    station: Annotated[str | None, typer.Option("--station", metavar="S", help="Only units of this station.")] = None,
    unit: Annotated[str | None, typer.Option("--unit", metavar="UNIT", help="Only of this unit.")] = None,
    everything: Annotated[bool, typer.Option("--all", help="Closed ones too.")] = False,
    as_of: Annotated[
        str | None, typer.Option("--as-of", metavar="DATE", help="As known on this day; else today.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Give JSON on standard output instead of words.")] = False,
) -> None:
    if context.invoked_subcommand is not None:
        return
    from tapwear.cli.scheduling import must_be_known
    from tapwear.fleet import assess_store, assess_units, severe_units, unit_followups
    from tapwear.outlook.followups import open_ones
    from tapwear.report.followups_view import followups_json, followups_page
    from tapwear.report.page import show_page
    from tapwear.report.terminal import progress
    from tapwear.store.company import all_tags, station_codes, stood_at
    from tapwear.store.loading import load_units

    day = as_of_or_today(as_of)
    store = open_the_store(context)
    with store.rows() as connection:
        tags, codes = all_tags(connection), station_codes(connection)
        stood = stood_at(connection, [station]) if station else tags
    must_be_known("station", station, codes)
    must_be_known("unit", unit, set(tags))
    asked = [tag for tag in stood if unit is None or tag.casefold() == unit.casefold()]
    units = load_units(store, day, asked if unit or station else None)
    here = units[units["state"] != "retired"]
    stations = dict(zip(here["unit"], here["station"], strict=True))
    some = {tag for tag, where in stations.items() if station is None or where.casefold() == station.casefold()}
    with progress("Looking for units that nobody may approach"):
        assessment = assess_units(store, some, day) if unit or station else assess_store(store, day)
    found = [
        one
        for one in unit_followups(assessment.book, day)
        if one.unit in some and (everything or one.closed_on is None)
    ]
    stops = {tag: stop for tag, stop in severe_units(assessment).items() if tag in some}
    if as_json:
        typer.echo(followups_json(found, stations, stops, day))
        return
    show_page(followups_page(found, stations, stops, day))
    if not open_ones(found):
        say("Nothing is open; --all shows closed ones too." if not everything else "Nothing is open.")


@followups.command("add")
def add(
    context: typer.Context,
    unit: Tag,
    words: Annotated[str, typer.Option("--words", metavar="TEXT", help="What is to be followed up, in a sentence.")],
    kind: Annotated[
        str, typer.Option("--kind", metavar="KIND", help=f"One of: {', '.join(FOLLOWUP_KINDS)}.")
    ] = "other",
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day it was seen; else today.")] = None,
    by: By = None,
) -> None:
    """Put something down to be followed up.

    Example: tapwear followups add T1 --words "lock of the cabinet stiff"
    """
    from tapwear.store.find import find_unit
    from tapwear.store.followups import add_followup

    kind = _known(kind)
    said, day = value_of(CONDITIONS.field("words"), words, "--words"), _day(on)
    store = open_the_store(context)
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        made = add_followup(connection, key, kind, said, day, stamp_of(context, by))
    what = f"{key.tag}, {FOLLOWUP_KINDS[kind]} to follow up since {day}"
    tell(f"Stored: {what}. Store: {store.path}" if made else f"{what} is in the book already; nothing was added.")


@followups.command("close")
def close(
    context: typer.Context,
    unit: Tag,
    kind: Kind,
    words: Annotated[str, typer.Option("--words", metavar="TEXT", help="How it was settled.")],
    which: Which = "",
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day it was settled; else today.")] = None,
    by: By = None,
) -> None:
    """Close a follow-up, with how it was settled and by whom. What is seen on a later day opens it again.

    Example: tapwear followups close T1 seepage --which "drain valve" --words "gasket renewed"
    """
    from tapwear.store.find import find_unit
    from tapwear.store.followups import close_followup, list_followups
    from tapwear.store.observations import list_observations

    kind = _known(kind)
    how, day = value_of(CONDITIONS.field("closed_words"), words, "--words"), _day(on)
    store = open_the_store(context)
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        every = _open_followups(list_observations(connection, key), list_followups(connection, key), today())
        one = _the_open_one(key.tag, every, kind, which, day)
        about = {"kind": kind, "compartment": one.compartment, "place": one.place}
        close_followup(
            connection, key, **about, first_on=one.first_on, words=one.words, origin=one.origin, on=day, how=how,
            stamp=stamp_of(context, by),
        )  # fmt: skip
    tell(f"Closed on {day} by {who(context, by)}: {key.tag}, {one.words}. Store: {store.path}")


@followups.command("reopen")
def reopen(
    context: typer.Context,
    unit: Tag,
    kind: Kind,
    because: Annotated[str, typer.Option("--because", metavar="REASON", help="Why it is open again.")],
    which: Which = "",
    by: By = None,
) -> None:
    """Take the last closing of a follow-up back.

    Example: tapwear followups reopen T1 seepage --because "drips again after two days"
    """
    from tapwear.store.find import find_unit
    from tapwear.store.followups import reopen_followup

    kind = _known(kind)
    if not because.strip():
        raise UsageError("--because: say why it is open again; nothing was changed.")
    store = open_the_store(context)
    with store.rows(writing=True) as connection:
        key = find_unit(connection, unit)
        row = reopen_followup(connection, key, kind, which, stamp_of(context, by, because.strip()))
    tell(f"Open again: {key.tag}, {row.words}, closed on {row.closed_on} before. Store: {store.path}")


def open_words(store: Store, unit: UnitKey, as_of: date) -> list[str]:
    """What is open at the unit, a sentence each: noted conditions first, then follow-ups. Light."""
    from tapwear.outlook.conditions import Noted, pressing
    from tapwear.store.conditions import list_conditions
    from tapwear.store.followups import list_followups
    from tapwear.store.observations import list_observations

    with store.rows() as connection:
        conditions = list_conditions(connection, unit)
        rows, kept = list_observations(connection, unit), list_followups(connection, unit)
    noted = [
        Noted(row.kind, row.words, row.noted_on, row.act_by_on, row.severe, row.author)
        for row in conditions
        if row.noted_on <= as_of and (row.closed_on is None or row.closed_on > as_of)
    ]
    said = [one.sentence for one in sorted(noted, key=pressing)]
    said += [one.sentence for one in _open_followups(rows, kept, as_of)]
    return [f"{words[0].upper()}{words[1:].rstrip('.')}." for words in said]


def _open_followups(rows: Sequence[Seen], ended: Sequence[FollowupRow], as_of: date) -> tuple[FollowUp, ...]:
    from tapwear.outlook.followups import Kept, follow_ups, open_ones
    from tapwear.outlook.noticed import Noticed, in_order

    seen = in_order(Noticed(r.unit, r.observed_on, r.compartment, r.quantity, r.value, r.words) for r in rows)
    kept = [
        Kept(r.unit, r.kind, r.compartment, r.place, r.noted_on, r.words,
             "hand" if r.origin == "hand" else "observation", r.closed_on, r.closed_words, r.by)
        for r in ended
    ]  # fmt: skip
    return open_ones(follow_ups(seen, kept, as_of))


def _the_open_one(tag: str, every: Sequence[FollowUp], kind: str, which: str, day: date) -> FollowUp:
    """The unit's open follow-up of that kind on that day. Raises UsageError when there is none, or several."""
    fit = [one for one in every if one.kind == kind and which.casefold() in one.words.casefold()]
    name = FOLLOWUP_KINDS[kind]
    if len(fit) == 1:
        (one,) = fit
        if one.last_on > day:
            raise UsageError(f"{tag}: {one.words} was seen on {one.last_on}; it cannot be closed on {day}, before.")
        return one
    if fit:
        listed = "; ".join(one.words for one in fit)
        raise UsageError(f"{tag} has {len(fit)} of {name} open: {listed}. Say which with --which TEXT.")
    others = "; ".join(f"{one.kind}: {one.words}" for one in every)
    said = f" that says {which}" if which else ""
    raise UsageError(f"{tag} has no open follow-up {name}{said}; {f'open: {others}' if every else 'nothing is open'}.")


def _known(kind: str) -> str:
    """The kind that is meant. Raises UsageError naming all."""
    wanted = kind.strip().casefold().replace(" ", "_").replace("-", "_")
    if wanted not in FOLLOWUP_KINDS:
        raise UsageError(f"KIND: {kind!r} is none of the known words; write one of: {', '.join(FOLLOWUP_KINDS)}.")
    return wanted


def _day(text: str | None) -> date:
    return past_day(CONDITIONS.field("noted_on"), text)
