"""`tapwear sheet`: a round as one HTML file, to print or to fill in on a phone without a network."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tapwear.cli.context import ON_THE_VISIT, as_of_or_today, open_the_store, say
from tapwear.cli.counter_check import expected
from tapwear.cli.entering import system_of
from tapwear.cli.next import samples_wanted
from tapwear.cli.scheduling import must_be_known
from tapwear.cli.writing import may_write, write_out
from tapwear.errors import UsageError
from tapwear.report.pages_choice import Paper

if TYPE_CHECKING:
    from tapwear.fleet import Assessment
    from tapwear.report.sheet_data import CounterBox, FieldBox, StationSheet, UnitBox
    from tapwear.store.engine import Store
    from tapwear.store.history import CounterPast

SHEET_HELP = (
    "Write a round sheet: one file to print, or to fill in on a phone without a network.\n\n"
    "Each unit of the station has its serial number, the last counter, the numbers to expect, and room for what is "
    "read. On a phone or tablet the page checks numbers as they are typed, asks once about an odd one, keeps entries, "
    "and saves a visit file; tapwear import takes it, from several people in any order. Units with a severe finding "
    "have a stop notice and nothing to fill in.\n\n"
    "Examples:\n\n"
    "  tapwear sheet --station AH --out ah.html\n\n"
    "  tapwear sheet --due-visits --out round.html --days 14"
)
DAYS = 30  # how long the numbers to expect hold, where not said otherwise: our choice
LONGEST_DAYS = 366
MAIN = (
    "position",
    "position_low",
    "position_high",
    "drag_hands_reset",
    "oil_level",
    "oil_temp_c",
    "breather",
    "seepage",
)
SOURCE_WORDS = {"controller": "controller's count", "raise": "raise counter", "lower": "lower counter"}


def register(app: typer.Typer) -> None:
    """Adds the command to the application."""
    app.command("sheet", help=SHEET_HELP, rich_help_panel=ON_THE_VISIT)(sheet)


def sheet(
    context: typer.Context,
    station: Annotated[
        list[str] | None, typer.Option("--station", metavar="S", help="All units in service there; may be given again.")
    ] = None,
    due_visits: Annotated[
        bool, typer.Option("--due-visits", help="Only units to be read or sampled before the sheet expires.")
    ] = False,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="The file; else round-DATE.html.")] = None,
    as_of: Annotated[
        str | None, typer.Option("--as-of", metavar="DATE", help="Day of issue (ISO); else today.")
    ] = None,
    days: Annotated[
        int, typer.Option("--days", min=1, max=LONGEST_DAYS, help="For how many days the numbers to expect hold.")
    ] = DAYS,
    paper: Annotated[Paper, typer.Option("--paper", help="Paper of the printed form, landscape.")] = Paper.A4,
    units: Annotated[
        str | None,
        typer.Option("--units", metavar="SYSTEM", help="metric or us; else `units` in the settings file, else metric."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there already.")] = False,
) -> None:
    """Write a round sheet: one file to print, or to fill in on a phone without a network."""
    from tapwear.report.sheet_data import RoundSheet
    from tapwear.report.sheet_html import sheet_html
    from tapwear.report.terminal import progress

    if not station and not due_visits:
        raise UsageError("Say which round: --station S, or --due-visits, or both.")
    system = system_of(context, units)
    day = as_of_or_today(as_of)
    expires = day + timedelta(days=days)
    path = out or Path(f"round-{day}.html")
    store = open_the_store(context)
    may_write(path, store, force=force)
    with progress("Working out what to expect"):
        assessment = _assess(store, day, station or [], due_visits)
        stations = _stations(store, assessment, station or [], due_visits, expires)
    sheet = RoundSheet(day, expires, stations, _fields(system))
    write_out(path, sheet_html(sheet, paper))
    stops = sum(unit.stop for unit in sheet.units)
    stopped = f", {stops} of them with a stop notice" if stops else ""
    where = ", ".join(one.station for one in sheet.stations[:5]) + (", ..." if len(sheet.stations) > 5 else "")
    count = "1 unit" if len(sheet.units) == 1 else f"{len(sheet.units)} units"
    say(f"Wrote {path}: {count} at {where}{stopped}; expires {expires}.")


def _assess(store: Store, day: date, stations: list[str], due_visits: bool) -> Assessment:
    """The fleet as of a day, or only the units of some stations where nothing else is asked for.

    Raises UsageError for an unknown station.
    """
    from tapwear.fleet import assess_store, assess_units
    from tapwear.store.company import station_codes, stood_at
    from tapwear.store.loading import load_units

    with store.rows() as connection:
        known, stood = station_codes(connection), stood_at(connection, stations)
    for name in stations:
        must_be_known("station", name, known)
    if due_visits:
        return assess_store(store, day)
    units = load_units(store, day, stood)
    folded = {name.casefold() for name in stations}
    return assess_units(store, units.loc[units["station"].str.casefold().isin(folded), "unit"].tolist(), day)


def _stations(
    store: Store, assessment: Assessment, wanted: list[str], due_visits: bool, expires: date
) -> tuple[StationSheet, ...]:
    """The stations of the round with their units in service, by bank and phase.

    A severe unit stands there also where no visit is due, so that nobody goes near. Raises UsageError when nothing is
    left.
    """
    from tapwear.fleet import severe_units
    from tapwear.report.sheet_data import StationSheet, UnitBox
    from tapwear.store.find import find_unit
    from tapwear.store.rounds import round_units

    units = assessment.book.units
    here = units[units["state"] == "in service"].sort_values(["station", "bank", "phase", "unit"], kind="stable")
    severe = severe_units(assessment)
    why = _reasons(assessment, expires)
    if due_visits:
        here = here[here["station"].isin(set(here.loc[here["unit"].isin(set(why) - severe), "station"]))]
        here = here[here["unit"].isin(set(why) | severe)]
    if wanted:
        folded = {name.casefold() for name in wanted}
        here = here[here["station"].str.casefold().isin(folded)]
    if here.empty:
        raise UsageError(f"No unit in service is on such a round by {expires}; see tapwear next, or name a --station.")
    outage = set(units.loc[units["sampling_needs_outage"].astype(bool), "unit"])
    boxes: dict[tuple[str, str], list[UnitBox]] = {}
    with store.rows() as connection:
        asked = round_units(connection, [find_unit(connection, str(tag)) for tag in here["unit"]], assessment.as_of)
    for one, row in zip(asked, here.itertuples(index=False), strict=True):
        box = UnitBox(one.tag, str(row.serial or ""), _place(row.bank, row.phase), stop=one.tag in severe)
        if not box.stop:
            counters = tuple(_counter(past, assessment.as_of, expires) for past in one.counters)
            told = tuple(why.get(one.tag, ()))
            box = replace(
                box,
                counters=counters,
                positions=one.positions,
                why=told,
                sample_needs_outage=one.tag in outage,
                last_pressure_kpa=one.pressure_kpa,
            )
        boxes.setdefault((str(row.station), str(row.station_name)), []).append(box)
    return tuple(StationSheet(station, name, tuple(mine)) for (station, name), mine in boxes.items())


def _reasons(assessment: Assessment, expires: date) -> dict[str, list[str]]:
    """Why a unit is to be visited before the sheet expires: readings and samples that are due, samples that the oil
    asks for. Severe units are among them."""
    from tapwear.fleet import visits_overdue
    from tapwear.report.due_words import sentence

    why: dict[str, list[str]] = {}
    due = visits_overdue(assessment.book, expires)
    for unit, what, on in zip(due["unit"], due["what"], due["due_on"].dt.date, strict=True):
        when = "since" if on <= assessment.as_of else "on"
        why.setdefault(str(unit), []).append(f"{str(what).capitalize()} due {when} {on}.")
    for tag, one in samples_wanted(assessment, expires).items():
        if one.why in ("flagged", "routine"):  # a sample never taken is no reason to travel
            why.setdefault(tag, []).append(f"Oil sample by {one.by}. {sentence(one.words)}")
    return why


def _place(bank: object, phase: object) -> str:
    return ", ".join([f"bank {bank}"] * bool(bank) + [f"phase {phase}"] * bool(phase))


def _counter(past: CounterPast, day: date, expires: date) -> CounterBox:
    """A counter with its last number, and what to expect on the first and on the last day of the sheet."""
    from tapwear.report.sheet_data import CounterBox, Expect

    last = past.last_before(day + timedelta(days=1))
    known = []
    if last is not None and last.value < 10**past.digits:
        for on in (day, expires):
            found = expected(past, on, last.value)
            if found.low is not None and found.high is not None:
                known.append(Expect(on, found.low, found.high))
    name = [f"drive {past.drive}"] if past.several_drives else []
    name += [SOURCE_WORDS[past.source]] if past.source in SOURCE_WORDS else []
    box = CounterBox(past.drive, past.source, past.digits, ", ".join(name), expected=tuple(known))
    return box if last is None else replace(box, last_value=last.value, last_on=last.on)


def _fields(system: str) -> tuple[FieldBox, ...]:
    """What can be noted beside the counter, in the unit of measure asked for."""
    from tapwear.measures import unit_in
    from tapwear.report.sheet_data import FieldBox
    from tapwear.visits.observations import POSITIONS, QUANTITIES, label

    found = []
    for spec in QUANTITIES:
        if spec.name == "remark":
            continue
        kind = "position" if spec.name in POSITIONS else "number" if spec.kind == "number" else "text"
        choices = ("yes", "no") if spec.kind == "yes or no" else spec.choices
        unit, said = unit_in(spec.measure, system) if spec.measure else ("", "")
        found.append(
            FieldBox(
                name=spec.name,
                label=label(spec.name).capitalize(),
                kind="choice" if choices else kind,
                choices=choices,
                unit=said,
                unit_name=spec.unit_column if unit else "",
                low=_as_read(spec.low, spec.measure, unit),
                high=_as_read(spec.high, spec.measure, unit),
                more=spec.name not in MAIN,
            )
        )
    return tuple(found)


def _as_read(value: float | None, measure: str, unit: str) -> float | None:
    from tapwear.measures import said_in

    return value if value is None or not unit else said_in(value, measure, unit)
